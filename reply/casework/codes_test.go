package casework

import (
	"errors"
	"slices"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/intake/preflight"
	"meshclerk/templates"
)

// Every finding that the preflight can make is one that the reply texts know,
// and the other way round.
func TestFindingsAndTextsHaveTheSameCodes(t *testing.T) {
	all := append(preflight.Codes(), job.CodeUnfinished) // which no rule has a check for
	found, told := slices.Sorted(slices.Values(all)), slices.Sorted(slices.Values(templates.Codes()))
	if !slices.Equal(found, told) {
		t.Errorf("the preflight makes %v\nthe texts know %v", found, told)
	}
}

// No number of ours comes into a reason that a patron is told: who types one is told so,
// and what an earlier version wrote by itself is left out.
func TestNoNumberOfOursInAReason(t *testing.T) {
	ctx := t.Context()
	o, l, sha := officeWith(t, shapes.Bracket(60, 30))
	var j job.Job
	to := func(stages ...job.Stage) {
		t.Helper()
		if err := l.Tx(ctx, func(tx *ledger.Tx) (err error) {
			if j, err = tx.NewJob(ctx, job.Job{Patron: job.Address{Address: "ada@example.org"}, File: "bracket.stl", Blob: sha}, "", ledger.Robot, job.Plain("")); err != nil {
				return err
			}
			for _, s := range stages {
				if err := tx.Move(ctx, j.ID, s, ledger.Robot, job.Plain("the reply D-000011 was set aside")); err != nil {
					return err
				}
			}
			j, err = tx.Job(ctx, j.ID)
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	to(job.Checked)
	for name, err := range map[string]error{
		"refused":  o.Refuse(ctx, j.ID, Refusal{Words: "the same as LP-000042"}, clerk),
		"declined": o.Close(ctx, j.ID, job.Declined, clerk, "see D-000011"),
		"failed":   o.PrintFailed(ctx, j.ID, Spent{}, clerk, "knocked over with LP-000042"),
	} {
		if fault, ok := errors.AsType[*job.Fault](err); !ok || fault.Message.Key != "faults.number-for-patron" {
			t.Errorf("%s with a number of ours: %v", name, err)
		}
	}
	to(job.Checked, job.Declined)
	if told, err := o.reason(ctx, j); err != nil || told != "" {
		t.Errorf("the patron is told %q, %v", told, err)
	}
	for _, f := range o.Rules.Refusals {
		for lang, text := range f.Say {
			if ours.MatchString(text) {
				t.Errorf("%s in %s: %s", f.Code, lang, text)
			}
		}
	}
}
