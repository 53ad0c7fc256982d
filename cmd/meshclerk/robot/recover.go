package robot

import (
	"context"
	"time"
)

// Recover puts right what a stop in the middle left behind. Call it once
// before the first step.
func (r *Robot) Recover(ctx context.Context) error {
	if err := r.Tidy(); err != nil {
		return err
	}
	open, err := r.Ledger.RecoverSends(ctx, owner)
	if err != nil {
		return err
	}
	for _, d := range open {
		r.Log.Error("send uncertain", "draft", d.ID, "why", "the program stopped while it was sending")
	}
	if _, err := r.Ledger.ReleaseOwned(ctx, owner); err != nil {
		return err
	}
	_, err = r.Ledger.Sweep(ctx, 24*time.Hour)
	return err
}
