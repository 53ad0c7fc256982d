package draft

import (
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// A report reads in each language of the house, one sentence for each thing in
// its order, and says in words of the language what the English report says.
func TestSay(t *testing.T) {
	r := rules.Default()
	j := &job.Job{Report: &job.Report{
		Estimate: &job.Estimate{LayerMM: 0.2, MassG: 24, Material: "PLA", Copies: 1, WhatIf: []job.Choice{{Label: job.Say("choices.layers", job.Args{"now": 0.3, "before": 0.2}), Settings: job.Settings{LayerMM: 0.3}}}},
		Quote:    &job.Quote{Currency: "CAD", Total: "3.40", Lines: []job.Line{{Label: job.Say("price.job", nil), Amount: "1.00", Kind: "job"}, {Label: job.Say("price.mass", job.Args{"grams": 24.0, "material": "PLA", "each": job.Money{Amount: "0.10", Currency: "CAD"}}), Amount: "2.40", Kind: "mass"}}}}}
	for lang, want := range map[string][3]string{
		"en": {"For each job", "24 g of PLA at $0.10", "Layers of 0.3 mm instead of 0.2 mm"},
		"fr": {"Forfait par demande", "24\u00a0g de PLA à 0,10\u00a0$ le gramme", "Couches de 0,3\u00a0mm au lieu de 0,2\u00a0mm"},
		"es": {"Cargo fijo", "24\u00a0g de PLA a 0,10\u00a0$ el gramo", "Capas de 0,3\u00a0mm en vez de 0,2\u00a0mm"},
	} {
		s := Say(r, templates.Default(), lang, j)
		if len(s.Lines) != 2 || len(s.Options) != 1 {
			t.Fatalf("%s: %+v", lang, s)
		}
		for i, got := range []string{s.Lines[0], s.Lines[1], s.Options[0]} {
			if got == "" || !strings.Contains(got, want[i]) {
				t.Errorf("%s: %q, want %q in it", lang, got, want[i])
			}
		}
	}
	for i, l := range []string{"for each job", "24 g of PLA at $0.10"} { // as earlier versions kept them
		j.Report.Quote.Lines[i].Label = job.Plain(l)
	}
	j.Report.Estimate.WhatIf[0].Label = job.Plain("layers of 0.3 mm instead of 0.2 mm")
	s := Say(r, templates.Default(), "fr", j)
	if got := append(s.Lines, s.Options...); !slices.Equal(got, []string{"Forfait par demande", "Plastique (24\u00a0g PLA)", "couches de 0,3\u00a0mm"}) {
		t.Errorf("of an earlier version: %q", got)
	}
	if s := Say(r, templates.Default(), "fr", &job.Job{}); s.Lines != nil {
		t.Errorf("of a job without a report: %+v", s)
	}
}
