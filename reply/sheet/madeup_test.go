package sheet

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/casework"
	"meshclerk/rules"
	"meshclerk/templates"
	"meshclerk/templates/madeup"
)

// A job sheet in a language that is only a folder has none of our words in another
// language: every word of it stands between the marks of the made-up language.
func TestMadeUpLanguageOnTheSheet(t *testing.T) {
	o := madeUpOffice(t)
	for name, change := range map[string]func(*job.Job){
		"as sent": func(*job.Job) {},
		"turned": func(j *job.Job) {
			j.Report.Orientation = &job.Orientation{PrintTimeS: 9000, SupportMM3: 0, Why: job.Say("mending.turned", nil)}
		},
		"turned, supported": func(j *job.Job) { j.Report.Orientation = &job.Orientation{PrintTimeS: 9000, SupportMM3: 40} },
		"soluble":           func(j *job.Job) { j.Settings.Supports = "soluble" },
		"soluble, of PVA":   func(j *job.Job) { j.Settings.Supports, j.Report.Estimate.SupportMaterial = "soluble", "PVA" },
		"no supports":       func(j *job.Job) { j.Settings.Supports = "no" },
		"nothing asked": func(j *job.Job) {
			j.Wishes, j.Settings, j.Patron, j.Report.Estimate = job.Wishes{}, job.Settings{}, job.Address{}, nil
		},
		"more than the page holds": func(j *job.Job) {
			for range 12 {
				j.Report.Findings = append(j.Report.Findings, j.Report.Findings[0])
			}
		},
		"raft": func(j *job.Job) { j.Report.Estimate.Adhesion = "raft" },
	} {
		t.Run(name, func(t *testing.T) {
			j := sheetJob()
			change(&j)
			s, err := New(o, j, madeup.Language)
			if err != nil {
				t.Fatal(err)
			}
			part, err := Lay(t.Context(), holed(t), o.Rules, [3][3]float64{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}, job.Say("mending.turned", nil), 0.8)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Show(part, "LP-000042.stl"); err != nil {
				t.Fatal(err)
			}
			if len(s.Done) < 4 {
				t.Errorf("what was done is %q", s.Done)
			}
			unmarkedNowhere(t, s)
		})
	}
}

// Also a sheet that says why there is no mended part.
func TestMadeUpLanguageWithoutAPart(t *testing.T) {
	s, err := New(madeUpOffice(t), sheetJob(), madeup.Language)
	if err != nil {
		t.Fatal(err)
	}
	s.Without(&job.Fault{Message: job.Say("mending.no-thickness", nil), Err: mesh.ErrUnmendable})
	unmarkedNowhere(t, s)
}

func unmarkedNowhere(t *testing.T, s *Sheet) {
	t.Helper()
	var b bytes.Buffer
	if err := s.Write(&b); err != nil {
		t.Fatal(err)
	}
	left, err := madeup.Left(b.String(), isName)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range left {
		t.Errorf("the sheet says %q without marks", text)
	}
	if n := strings.Count(b.String(), madeup.Begin); n < 20 {
		t.Errorf("the sheet has %d marks", n)
	}
}

// isName reports whether nothing is left of a text but names of the test's house.
func isName(text string) bool {
	left := strings.NewReplacer("Larkfield Public Library", "", "LP-000042", "", "bracket.stl", "", "Bench 1", "", "PLA", "", "PVA", "", "Ada Marlowe", "", "Millbrook", "").Replace(text)
	return !strings.ContainsFunc(left, unicode.IsLetter)
}

func madeUpOffice(t *testing.T) *casework.Office {
	t.Helper()
	dir := t.TempDir()
	if err := madeup.Write("../../templates/en", dir); err != nil {
		t.Fatal(err)
	}
	if err := madeup.WriteTexts("../../templates/en", dir); err != nil {
		t.Fatal(err)
	}
	r := rules.Default()
	r.Library.Languages = append(slices.Clone(r.Library.Languages), madeup.Language)
	set, err := templates.LoadHouse(dir, r)
	if err != nil {
		t.Fatal(err)
	}
	return &casework.Office{Rules: r, Templates: set, Now: func() time.Time { return time.Date(2026, 11, 27, 10, 0, 0, 0, time.UTC) }}
}

// holed is a file with something to mend.
func holed(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "holed.stl")
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, shapes.Flipped(shapes.Without(shapes.Box(20, 20, 20), 7), 3)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func sheetJob() job.Job {
	return job.Job{ID: "LP-000042", File: "bracket.stl", Patron: job.Address{Name: "Ada Marlowe"}, Settings: job.Settings{Scale: 0.8, Colour: "green"},
		Wishes: job.Wishes{Pickup: "Millbrook", NeededBy: "2026-12-04"},
		Report: &job.Report{Readable: true, Mesh: &job.Shape{SizeMM: [3]float64{60, 31, 48}},
			Findings: []job.Finding{{Code: "small-part-hazard", Level: job.Note, Text: job.Say("findings.unfinished", nil)}},
			Advice:   []job.Advice{{About: "check", Do: job.Say("mending.set-down", nil), Why: job.Say("mending.no-thickness", nil)}},
			Estimate: &job.Estimate{Printer: "Bench 1", Material: "PLA", PrintTimeS: 10200, LowS: 9400, HighS: 11700, MassG: 24.3, FilamentM: 8.1, Layers: 240,
				LayerMM: 0.2, Shells: 2, Infill: 0.1, Copies: 5, Plates: 2, PerPlate: 3, SupportMM3: 100, Adhesion: "skirt"}}}
}
