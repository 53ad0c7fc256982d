package rules

import (
	"testing"

	"meshclerk/intake/job"
)

// What a patron settled beats the wish, and the wish beats the house; a wished
// infill of nothing is a wish, and what no printer could follow is not hidden.
func TestSettings(t *testing.T) {
	r := Default()
	r.Printing.Material, r.Printing.LayerMM, r.Printing.Shells, r.Printing.Infill = "PLA", 0.2, 3, 0.15
	none, three := 0.0, 3
	for name, c := range map[string]struct {
		job  job.Job
		want job.Settings
	}{
		"nothing said": {job.Job{}, job.Settings{Material: "PLA", LayerMM: 0.2, Shells: 3, Infill: 0.15, Copies: 1}},
		"wished":       {job.Job{Wishes: job.Wishes{Copies: &three, Infill: &none, Supports: "no", Material: "PETG"}}, job.Settings{Material: "PETG", LayerMM: 0.2, Shells: 3, Infill: 0, InfillSet: true, Copies: 3, Supports: "no"}},
		"settled": {job.Job{Settings: job.Settings{Copies: 2, LayerMM: 0.1, Shells: 5, Infill: 0.4, Supports: "yes", Material: "ABS"}, Wishes: job.Wishes{Copies: &three, Infill: &none, Supports: "no"}},
			job.Settings{Material: "ABS", LayerMM: 0.1, Shells: 5, Infill: 0.4, Copies: 2, Supports: "yes"}},
		"impossible": {job.Job{Settings: job.Settings{LayerMM: -1, Shells: -2}}, job.Settings{Material: "PLA", LayerMM: -1, Shells: -2, Infill: 0.15, Copies: 1}},
	} {
		if got := r.Settings(c.job); !got.Equal(c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}
