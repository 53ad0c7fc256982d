package templates

import (
	"strings"
	"testing"
)

// The usual letter fits the text that is looked at: one about a file that cannot be
// printed says why, one about several names them, and none of them says otherwise.
func TestUsualFitsTheText(t *testing.T) {
	s := Default()
	for text, c := range map[string]struct{ says, not string }{
		TextQuote:       {"Yes, we can print bracket.stl.", "cannot be printed"},
		TextCannotPrint: {"The surface has 3 holes.", "overhang"},
		TextTooBig:      {"At 80% of this size", "$3.40"},
		TextTooLong:     {"8 hours", "$3.40"},
		TextSeveral:     {"we can print both files.** Together they cost **$6.80**", "all 1"},
	} {
		d, err := s.SampleFor("en", SampleUsual, text)
		if err != nil {
			t.Fatal(err)
		}
		written, err := s.Get("en", text)
		if err != nil {
			t.Fatal(err)
		}
		_, got, err := written.Render(d)
		if err != nil || !strings.Contains(got, c.says) || strings.Contains(got, c.not) {
			t.Errorf("%s does not say %q, or says %q (%v):\n%s", text, c.says, c.not, err, got)
		}
	}
	if _, err := s.SampleFor("en", "no such", TextQuote); err == nil {
		t.Error("a sample that there is not is shown")
	}
}
