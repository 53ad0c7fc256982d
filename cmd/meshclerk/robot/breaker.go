package robot

import (
	"context"
	"sync"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// breaker keeps a sending server that takes letters and does not answer from
// making every letter uncertain: after each silence there is a wait, longer
// each time, and then the server is probed before another letter is risked.
type breaker struct {
	mu     sync.Mutex
	silent int       // sends in a row that had no answer
	until  time.Time // nothing is tried before
}

// note counts a send that had no answer, or forgets those before one that had.
func (b *breaker) note(silent bool, now time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !silent {
		b.silent, b.until = 0, time.Time{}
		return
	}
	b.silent++
	b.until = now.Add(backoff(b.silent))
}

// open reports whether nothing is to be tried now, and whether the server is to
// be probed first.
func (b *breaker) open(now time.Time) (wait, probe bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return now.Before(b.until), b.silent > 0
}

var errSilentServer = job.Refuse(job.Say("servers.next-waits", nil))

// mayTry reports as an error why no letter is to be tried now.
func (r *Robot) mayTry(ctx context.Context) error {
	wait, probe := r.breaker.open(r.Now())
	if wait {
		return houseError{ledger.SendingAway, errSilentServer}
	}
	if probe && r.Reach != nil {
		if err := r.Reach(ctx); err != nil {
			return houseError{ledger.SendingAway, err}
		}
	}
	return nil
}
