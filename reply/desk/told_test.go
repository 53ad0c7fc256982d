package desk

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/intake/preflight"
	"meshclerk/rules"
	"meshclerk/templates"
)

func french(t *testing.T) *localizer {
	t.Helper()
	s, err := newLocalizer("fr", rules.Default(), templates.DefaultBook())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Each sentence of the file is met by its own turn, and loses none of what
// differs in it.
func TestEveryTurnKeepsWhatDiffers(t *testing.T) {
	b, err := files.ReadFile("words/told.fr.toml")
	if err != nil {
		t.Fatal(err)
	}
	pairs := map[string]string{}
	if err := toml.Unmarshal(b, &pairs); err != nil {
		t.Fatal(err)
	}
	s := french(t)
	for from, to := range pairs {
		fill := func(v string) string { return place.ReplaceAllString(v, "x$1") }
		if got := s.told(fill(from)); got != fill(to) {
			t.Errorf("%q: told %q, want %q", from, got, fill(to))
		}
		for _, at := range place.FindAllString(to, -1) {
			if !regexp.MustCompile(regexp.QuoteMeta(at)).MatchString(from) {
				t.Errorf("%q has no %s", from, at)
			}
		}
	}
}

var english = regexp.MustCompile(`(?i)\b(the|is|of|and|it|its|that|no|signed|instead|needs|takes|stands|by)\b`)

func inFrench(t *testing.T, s *localizer, sentence string) {
	t.Helper()
	if got := s.told(sentence); sentence == "" || english.MatchString(got) {
		t.Errorf("%q is told as %q", sentence, got)
	}
}

// What the agreement register and the preflight really say is told in French.
func TestWhatOtherRoomsTellIsToldInFrench(t *testing.T) {
	s, r := french(t), rules.Default()
	current := r.Agreement.Current
	for _, e := range []agreement.Entry{
		{Address: "ada@example.org", Name: "Ada Moreau", Version: current, Signed: "2026-05-04"},
		{Address: "ada@example.org", Name: "Ada Moreau", Version: current, Signed: "2020-05-04"},
		{Address: "ada@example.org", Name: "Ada Moreau", Version: "1999", Signed: "2026-05-04"},
		{Address: "ada@example.org", Version: current, Signed: "2031-05-04"},
		{Address: "lin@example.org", Version: current, Signed: "2026-05-04"},
	} {
		for _, auth := range []job.Verdict{job.Pass, job.Fail, job.None} {
			now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
			a := agreement.Judge(job.Address{Address: "ada@example.org"}, auth, "", now, []agreement.Entry{e}, r.Agreement)
			inFrench(t, s, s.say(a.Why))
		}
	}
	for _, m := range []*mesh.Mesh{shapes.T(10, 50, 50, 12), shapes.Box(8, 8, 100), shapes.UVSphere(10, 48, 48), shapes.Box(20, 20, 20)} {
		path := filepath.Join(t.TempDir(), "part.stl")
		var file bytes.Buffer
		if err := errors.Join(mesh.WriteSTL(&file, m), os.WriteFile(path, file.Bytes(), 0o600)); err != nil {
			t.Fatal(err)
		}
		report := preflight.Check(context.Background(), path, r, job.Settings{}, preflight.Options{})
		inFrench(t, s, s.say(report.Orientation.Why))
		for _, a := range report.Advice {
			inFrench(t, s, s.say(a.Why))
		}
	}
}

// The ledger's own notices are told in French too.
func TestLedgersNoticesAreToldInFrench(t *testing.T) {
	s, dir := french(t), t.TempDir()
	for range 2 { // the second time without its list of what was forgotten
		l, err := ledger.Open(t.Context(), dir, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		notices, err := l.Notices(t.Context(), false)
		if err := errors.Join(err, l.Close(), os.Remove(filepath.Join(dir, "forgotten.log"))); err != nil {
			t.Fatal(err)
		}
		for _, n := range notices {
			inFrench(t, s, s.say(n.Text))
			dir = ""
		}
	}
	if dir != "" {
		t.Error("there was no notice to tell")
	}
}

// A sentence from outside stays as it is, however long, and words that look
// like a turn's places are no places.
func TestToldLeavesStrangersAlone(t *testing.T) {
	s := french(t)
	for _, v := range []string{"", "hello {1}", "<script>alert(1)</script>", "Owen printed it twice"} {
		if got := s.told(v); got != v {
			t.Errorf("%q became %q", v, got)
		}
	}
}
