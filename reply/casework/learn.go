package casework

import (
	"context"

	"meshclerk/intake/ledger"
	"meshclerk/intake/slice"
)

// Learned fits the finished prints of one printer and material; nil while there
// are too few.
func (o *Office) Learned(ctx context.Context, printer, material string) (*slice.Fit, error) {
	prints, err := o.Ledger.Prints(ctx, printer, material)
	if err != nil {
		return nil, err
	}
	return slice.FitPrints(Teaching(prints))
}

// Teaching are the prints that teach something: finished ones with an estimate.
func Teaching(prints []ledger.Print) []slice.Print {
	var out []slice.Print
	for _, p := range prints {
		if p.Good && p.EstHours > 0 && p.Hours > 0 {
			out = append(out, slice.Print{Printer: p.Printer, Material: p.Material,
				EstimatedHours: p.EstHours, ActualHours: p.Hours, EstimatedGrams: p.EstGrams, ActualGrams: p.Grams})
		}
	}
	return out
}

// learned is Learned for the preflight. An estimate without what prints taught is
// still an estimate.
func (o *Office) learned(ctx context.Context) func(printer, material string) *slice.Fit {
	return func(printer, material string) *slice.Fit {
		fit, err := o.Learned(ctx, printer, material)
		if err != nil {
			o.Log.Warn("estimate not corrected by finished prints", "why", err)
			return nil
		}
		return fit
	}
}
