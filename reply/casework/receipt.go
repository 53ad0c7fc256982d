package casework

import (
	"context"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// Receipt asks for a letter of thanks about a part that was handed over, with
// what was paid. Few patrons want one, so it is only drafted when asked for.
func (o *Office) Receipt(ctx context.Context, id job.ID) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if j.Stage != job.Collected {
			return job.Refuse(job.Say("faults.no-receipt", job.Args{"job": string(id), "stage": j.Stage.Word()}))
		}
		return tx.Enqueue(ctx, ledger.StepReceipt, string(id), time.Time{})
	})
}

// thank writes the receipt of one job.
func (o *Office) Thank(ctx context.Context, s *ledger.Step) error {
	j, err := o.Ledger.Job(ctx, job.ID(s.Subject))
	if err != nil {
		return err
	}
	if j.Stage != job.Collected {
		return o.Ledger.Done(ctx, s)
	}
	payments, err := o.Ledger.Payments(ctx, j.ID)
	if err != nil {
		return err
	}
	jobs := []job.Job{j}
	in, answers, err := o.input(ctx, jobs)
	if err != nil {
		return err
	}
	in.Template, in.Picture = templates.TextCollected, nil
	if n := len(payments); n > 0 {
		in.Paid = payments[n-1].Amount // handed over once, paid once
	}
	return o.write(ctx, s, in, answers, jobs, false)
}
