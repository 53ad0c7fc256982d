package robot

import (
	"context"
	"time"
)

// between is how often the robot looks what the calendar asks for. All that it
// does is counted in days.
const between = 10 * time.Minute

// tidy does what time alone asks for, once per look at the mailbox: reminders,
// requests that nobody answered, parts that nobody collected, and what has been
// kept long enough. It may be done any number of times.
func (r *Robot) tidy(ctx context.Context) error {
	if err := r.TellMoved(ctx); err != nil {
		return err
	}
	if !r.clockDoubt().IsZero() {
		return nil
	}
	if now := r.Now(); r.tidied.IsZero() || now.Sub(r.tidied) >= between || now.Before(r.tidied) {
		for _, do := range []func(context.Context) error{r.SeeQuotes, r.SeePickups, r.ForgetOld} {
			if err := do(ctx); err != nil {
				return err
			}
		}
		r.tidied = now
	}
	return nil
}
