package casework

import (
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Where we asked in which unit a part was drawn, a clause that names one is the answer,
// and what stands beside it may be a yes or courtesy; what denies or doubts it, or asks,
// is left to staff. An inch is 25.4 mm (NIST SP 811, appendix B).
func TestUnitIsAnsweredBesideCourtesy(t *testing.T) {
	doubtful := job.Job{ID: "LP-1", File: "spacer.stl", Stage: job.Quoted, Report: &job.Report{Findings: []job.Finding{{Code: job.CodeUnitsDoubtful, Level: job.Ask}}}}
	o := &Office{Rules: rules.Default()}
	for _, c := range []struct {
		lang, text string
		change     bool
		scale      float64
	}{
		{"en", "Yes, it was drawn in inches, sorry about that.\nHank", true, 25.4},
		{"en", "It was drawn in inches.", true, 25.4},
		{"fr", "Oui, en pouces, désolé.", true, 25.4},
		{"en", "It was not drawn in inches.", false, 0},
		{"en", "I am not sure, perhaps in inches.", false, 0},
		{"en", "Was it drawn in inches?", false, 0},
		{"en", "In inches, but please wait until my brother has looked at it.", false, 0},
	} {
		l := &job.Letter{Text: c.text, Language: c.lang, Disposition: job.Answer, From: job.Address{Name: "Hank Dubois"}}
		l.Wishes = o.understand(l, known{})
		o.drawnIn(l, known{}, []job.Job{doubtful})
		change := l.Wishes.Answer == job.Change && len(l.Wishes.Unread) == 0
		if change != c.change || change && (l.Wishes.Scale == nil || *l.Wishes.Scale != c.scale) {
			t.Errorf("%q: %q, unread %v, scale %v", c.text, l.Wishes.Answer, l.Wishes.Unread, l.Wishes.Scale)
		}
	}
}
