package robot

import (
	"context"
	"fmt"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// stepReceipt is named as its text is.
const stepReceipt = "collected"

// Receipt asks for a letter of thanks about a part that was handed over, with
// what was paid. Few patrons want one, so it is only drafted when asked for.
func Receipt(ctx context.Context, l *ledger.Ledger, id job.ID) error {
	return l.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if j.Stage != job.Collected {
			return fmt.Errorf("job %s is %s; a receipt is for a part that was collected", id, j.Stage)
		}
		return tx.Enqueue(ctx, stepReceipt, string(id), time.Time{})
	})
}

// thank writes the receipt of one job.
func (r *Robot) thank(ctx context.Context, s *ledger.Step) error {
	j, err := r.Ledger.Job(ctx, job.ID(s.Subject))
	if err != nil {
		return err
	}
	if j.Stage != job.Collected {
		return r.Ledger.Done(ctx, s)
	}
	payments, err := r.Ledger.Payments(ctx, j.ID)
	if err != nil {
		return err
	}
	jobs := []job.Job{j}
	in, answers, err := r.input(ctx, jobs)
	if err != nil {
		return err
	}
	in.Template, in.Picture = stepReceipt, nil
	if n := len(payments); n > 0 {
		in.Paid = payments[n-1].Amount // handed over once, paid once
	}
	return r.write(ctx, s, in, answers, jobs, false)
}
