package ledger

import (
	"archive/tar"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// Every version opens the ledgers of earlier versions, brings them up to date,
// and says of each job, draft and notice what the version that wrote them said.
func TestFrozenLedgers(t *testing.T) {
	all, err := filepath.Glob("../../testdata/ledgers/*.tar.gz")
	if err != nil || len(all) == 0 {
		t.Fatalf("no ledgers of earlier versions: %v", err)
	}
	for _, file := range all {
		t.Run(filepath.Base(file), func(t *testing.T) {
			dir := t.TempDir()
			unpack(t, file, dir)
			if _, err := OpenCopy(t.Context(), filepath.Join(dir, "ledger"), nil); err == nil || !strings.Contains(err.Error(), "older version") {
				t.Errorf("looked at as a copy, it says %v", err)
			}
			l, err := Open(t.Context(), filepath.Join(dir, "ledger"), nil, nil)
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			whole(t, l)
			sameJobs(t, l, filepath.Join(dir, "want", "jobs.jsonl"))
			sameDrafts(t, l, filepath.Join(dir, "want", "drafts.jsonl"))
			sameNotices(t, l, filepath.Join(dir, "want", "notices.jsonl"))
			goesOn(t, l)
		})
	}
}

// goesOn holds that what an earlier version offered can still be said yes to, and that
// what was agreed before is as agreed as ever.
func goesOn(t *testing.T, l *Ledger) {
	t.Helper()
	ctx := t.Context()
	rows, err := l.Jobs(ctx, Filter{Stages: []job.Stage{job.Quoted, job.Ready}})
	if err != nil {
		t.Fatal(err)
	}
	quoted, agreed := 0, 0
	for _, row := range rows {
		y, said, err := l.OpenYes(ctx, row.ID)
		if err != nil {
			t.Fatal(err)
		}
		if row.Stage == job.Ready {
			if agreed++; !said || y.State != YesCounts {
				t.Errorf("job %s is ready, and no yes is on record", row.ID)
			}
			continue
		}
		quoted++
		if err := sayYes(t, l, row.ID); err != nil {
			t.Errorf("job %s, quoted by an earlier version: %v", row.ID, err)
		} else if err := l.Move(ctx, row.ID, job.Agreed, "patron", job.Plain("")); err != nil {
			t.Errorf("job %s, quoted by an earlier version: %v", row.ID, err)
		}
	}
	if quoted < 3 || agreed < 1 {
		t.Errorf("%d quoted and %d agreed jobs: too few to prove anything", quoted, agreed)
	}
}

func unpack(t *testing.T, file, dir string) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return
		}
		if err == nil && h.Typeflag == tar.TypeDir {
			err = root.MkdirAll(strings.TrimSuffix(h.Name, "/"), 0o700)
		} else if err == nil {
			var raw []byte
			if raw, err = io.ReadAll(r); err == nil {
				err = root.WriteFile(h.Name, raw, 0o600)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// lines decodes what the earlier version printed, and reports that it is something.
func lines[T any](t *testing.T, file string) (out []T) {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(strings.NewReader(string(raw)))
	for d.More() {
		var v T
		if err := d.Decode(&v); err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	if len(out) == 0 {
		t.Fatalf("%s says nothing", file)
	}
	return out
}

func sameJobs(t *testing.T, l *Ledger, file string) {
	t.Helper()
	type row struct {
		ID, Stage, File, Thread, Total string
		Patron                         job.Address
		Copies                         int
	}
	for _, want := range lines[row](t, file) {
		j, err := l.Job(t.Context(), job.ID(want.ID))
		if err != nil {
			t.Error(err)
			continue
		}
		price := ""
		if j.Report != nil && j.Report.Quote != nil {
			price = j.Report.Quote.Total
		}
		if got := (row{string(j.ID), string(j.Stage), j.File, j.Thread, price, j.Patron, max(1, j.Settings.Copies)}); got != want {
			t.Errorf("job %+v, want %+v", got, want)
		}
		if _, err := l.History(t.Context(), j.ID); err != nil {
			t.Error(err)
		}
	}
}

func sameDrafts(t *testing.T, l *Ledger, file string) {
	t.Helper()
	for _, want := range lines[Draft](t, file) {
		d, err := l.Draft(t.Context(), want.ID)
		if err != nil {
			t.Error(err)
			continue
		}
		if d.State != want.State || d.SHA256 != want.SHA256 || d.To != want.To || d.Subject != want.Subject || (d.Approval == nil) != (want.Approval == nil) {
			t.Errorf("draft %+v, want %+v", d, want)
		}
		if raw, err := l.DraftBytes(t.Context(), d.ID); err != nil || int64(len(raw)) != want.Bytes {
			t.Errorf("draft %s has %d octets, want %d (%v)", d.ID, len(raw), want.Bytes, err)
		}
	}
}

func sameNotices(t *testing.T, l *Ledger, file string) {
	t.Helper()
	got, err := l.Notices(t.Context(), true)
	if err != nil {
		t.Fatal(err)
	}
	byID := map[string]Notice{}
	for _, n := range got {
		byID[n.ID] = n
	}
	for _, want := range lines[Notice](t, file) {
		if n := byID[want.ID]; n.Kind != want.Kind || n.Text.String() != want.Text.String() || n.Open != want.Open {
			t.Errorf("notice %+v, want %+v", n, want)
		}
	}
}
