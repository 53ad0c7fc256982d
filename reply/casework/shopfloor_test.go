package casework

import (
	"bytes"
	"image/png"
	"log/slog"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// officeWith is an office under the default rules whose ledger holds a part on its bed.
func officeWith(t *testing.T, part *mesh.Mesh) (o *Office, l *ledger.Ledger, sha string) {
	t.Helper()
	l, err := ledger.Open(t.Context(), t.TempDir(), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, shapes.OnBed(part)); err != nil {
		t.Fatal(err)
	}
	sha, _, err = l.PutBlob(t.Context(), ledger.KindMesh, &b, 0)
	if err != nil {
		t.Fatal(err)
	}
	return &Office{Ledger: l, Rules: rules.Default(), Templates: texts(), Domain: "larkfield.example", Log: slog.New(slog.DiscardHandler), Now: time.Now}, l, sha
}

// A job that goes to another printer's list has that printer's hours, and still
// the price that the patron was told.
func TestReassignWorksOutTheHours(t *testing.T) {
	ctx := t.Context()
	o, l, sha := officeWith(t, shapes.Bracket(60, 30))
	j := job.Job{Patron: job.Address{Address: "ada@example.org"}, File: "bracket.stl", Blob: sha, Settings: job.Settings{Printer: "Bench 1"}}
	var err error
	if j.Report, _, err = o.Examine(ctx, j); err != nil {
		t.Fatal(err)
	}
	if err := l.Tx(ctx, func(tx *ledger.Tx) (err error) {
		j, err = tx.NewJob(ctx, j, "", ledger.Robot, job.Plain(""))
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if err := o.Reassign(ctx, j.ID, "Bench 2", "Marisol Teague"); err != nil {
		t.Fatal(err)
	}
	asked := j
	asked.Settings.Printer = "Bench 2"
	want, _, err := o.Examine(ctx, asked)
	if err != nil {
		t.Fatal(err)
	}
	got, err := l.Job(ctx, j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if got.Settings.Printer != "Bench 2" || got.Report.Estimate.Printer != "Bench 2" || got.Report.Estimate.PrintTimeS != want.Estimate.PrintTimeS || want.Estimate.PrintTimeS == j.Report.Estimate.PrintTimeS {
		t.Errorf("on %s: %v s for %s, want %v s (it was %v s)", got.Settings.Printer, got.Report.Estimate.PrintTimeS, got.Report.Estimate.Printer, want.Estimate.PrintTimeS, j.Report.Estimate.PrintTimeS)
	}
	if got.Report.Quote.Total != j.Report.Quote.Total {
		t.Errorf("the price became %s, told was %s", got.Report.Quote.Total, j.Report.Quote.Total)
	}
	rows, err := l.Jobs(ctx, ledger.Filter{Printer: "Bench 2"})
	if err != nil || len(rows) != 1 || rows[0].PrintTimeS != want.Estimate.PrintTimeS {
		t.Errorf("the list of the printer holds %+v, %v", rows, err)
	}
	if err := o.Reassign(ctx, j.ID, "Bench 9", "Marisol Teague"); err == nil || !strings.Contains(err.Error(), "Bench 9") {
		t.Errorf("a printer that is not there: %v", err)
	}
}

// The picture in a letter is light, and says in the patron's language what it shows.
func TestLettersPicture(t *testing.T) {
	ctx := t.Context()
	o, _, sha := officeWith(t, shapes.Torus(40, 12, 300, 100))
	for lang, want := range map[string]string{"en": "104\u00a0mm wide, 104\u00a0mm deep and 24\u00a0mm high", "fr": "104\u00a0mm de large, 104\u00a0mm de profondeur et 24\u00a0mm de haut", "es": "104\u00a0mm de ancho, 104\u00a0mm de fondo y 24\u00a0mm de alto"} {
		p := o.picture(ctx, []*job.Job{{File: "ring.stl", Blob: sha, Language: lang, Report: &job.Report{Readable: true}}}, lang)
		if p == nil || len(p.PNG) == 0 || len(p.PNG) > mostPicture || !strings.Contains(p.Alt, "ring.stl") || !strings.Contains(p.Alt, want) {
			t.Errorf("%s: %+v", lang, p)
			continue
		}
		if img, err := png.Decode(bytes.NewReader(p.PNG)); err != nil || img.Bounds().Dx() != 640 {
			t.Errorf("%s: %v", lang, err)
		}
	}
}
