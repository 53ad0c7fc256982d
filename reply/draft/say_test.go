package draft

import (
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
		Findings: []job.Finding{{Code: "thin-wall", Level: job.Ask, Text: "about 3 cm² of wall is thin", Amount: 300, Unit: "mm2"}, {Code: "house-check", Level: job.Note, Text: "it is blue_ish"}},
		Estimate: &job.Estimate{LayerMM: 0.2, MassG: 24, Material: "PLA", Copies: 1, WhatIf: []job.Choice{{Label: "coarser layers", Settings: job.Settings{LayerMM: 0.3}}}},
		Quote:    &job.Quote{Currency: "CAD", Total: "3.40", Lines: []job.Line{{Label: "for each job", Amount: "1.00", Kind: "job"}, {Label: "24 g of PLA", Amount: "2.40", Kind: "mass"}}}}}
	for lang, want := range map[string][5]string{
		"en": {"About 3 cm² of wall is thin", "It is blue_ish", "For each job", "24 g of PLA", "Coarser layers"},
		"fr": {"parois sont très minces (3 cm²)", "It is blue_ish", "Forfait par demande", "Plastique (24\u00a0g PLA)", "couches de 0,3"},
		"es": {"3 cm²", "It is blue_ish", "", "24\u00a0g PLA", "0,3"},
	} {
		s := Say(r, templates.Default(), lang, j)
		if len(s.Findings) != 2 || len(s.Lines) != 2 || len(s.Options) != 1 {
			t.Fatalf("%s: %+v", lang, s)
		}
		for i, got := range []string{s.Findings[0], s.Findings[1], s.Lines[0], s.Lines[1], s.Options[0]} {
			if got == "" || !strings.Contains(strings.ReplaceAll(got, "\u00a0cm", " cm"), want[i]) {
				t.Errorf("%s: %q, want %q in it", lang, got, want[i])
			}
		}
	}
	if s := Say(r, templates.Default(), "fr", &job.Job{}); s.Findings != nil || s.Lines != nil {
		t.Errorf("of a job without a report: %+v", s)
	}
}
