package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// secrets are words of Ada's that must not be found in the folder once she is forgotten.
var secrets = []string{"ada@example.org", "Ada Example", "Ada-Secret-Word", "ada-owl.stl", "555-0100", "Card-9876"}

// adasJob gives a whole conversation of Ada's that came to its end.
func adasJob(t *testing.T, l *Ledger) (job.ID, Draft, string) {
	t.Helper()
	ctx := t.Context()
	letter := taken(t, l, 100, "From: ada@example.org\r\n\r\nAda-Secret-Word")
	mesh, _, err := l.PutBlob(ctx, KindMesh, strings.NewReader("solid Ada-Secret-Word"), 0)
	if err != nil {
		t.Fatal(err)
	}
	ada := job.Address{Name: "Ada Example", Address: "ada@example.org"}
	var j job.Job
	do(t, l, func(tx *Tx) error {
		p := job.Letter{From: ada, Subject: "Ada-Secret-Word", Text: "Ada-Secret-Word", MessageID: "<Ada-Secret-Word@example.org>", Attachments: []job.Attachment{{Name: "ada-owl.stl", SHA256: mesh, Kind: job.KindMesh}}}
		if err := tx.SaveParsed(ctx, letter, p, Robot); err != nil {
			return err
		}
		j, err = tx.NewJob(ctx, job.Job{Patron: ada, File: "ada-owl.stl", Blob: mesh, Wishes: job.Wishes{Phone: "555-0100", Card: "Card-9876", Words: map[string]string{"size": "Ada-Secret-Word"}},
			Settings: job.Settings{Material: "PLA"}, Report: &job.Report{File: "ada-owl.stl", Estimate: &job.Estimate{PrintTimeS: 7200, MassG: 30, Printer: "Alder"}, Quote: &job.Quote{Total: "3.00", Currency: "CAD"}},
			Agreement: &job.Agreement{State: job.AgreementGood, Name: "Ada Example", Address: "ada@example.org", Card: "Card-9876"}}, letter, Robot, job.Plain("from Ada Example"))
		if err != nil {
			return err
		}
		if err := tx.AddNotice(ctx, "check", string(j.ID), job.Plain("look at Ada Example")); err != nil {
			return err
		}
		s, err := tx.lease(ctx, "robot", time.Minute, nil)
		if err != nil {
			return err
		}
		if err := tx.Retry(ctx, s, errors.New("Ada-Secret-Word"), time.Hour); err != nil {
			return err
		}
		return tx.SetLetter(ctx, letter, LetterDone, Robot, job.Plain("Ada-Secret-Word"))
	})
	d := newDraft(t, l, "Dear Ada-Secret-Word", j.ID)
	if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	s, _, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil {
		t.Fatal(err)
	}
	if err := l.EndSend(ctx, s, Delivered, job.Plain("250 ok for ada@example.org"), Robot); err != nil {
		t.Fatal(err)
	}
	do(t, l, func(tx *Tx) error {
		for _, to := range []job.Stage{job.Checked, job.Drafted, job.Quoted, job.Agreed, job.Printing, job.Ready, job.Collected} {
			if to == job.Agreed {
				if err := agrees(t, tx, j.ID); err != nil {
					return err
				}
			}
			if err := tx.Move(ctx, j.ID, to, Robot, job.Plain("for Ada Example")); err != nil {
				return err
			}
		}
		if err := tx.RecordPrint(ctx, j.ID, "", 2.5, 31, true, "Bo Example"); err != nil {
			return err
		}
		if err := tx.RecordPayment(ctx, j.ID, "3.00", "CAD", "Bo Example"); err != nil {
			return err
		}
		_, err := tx.UpsertAgreements(ctx, []agreement.Entry{{Address: "ada@example.org", Name: "Ada Example", Card: "Card-9876", Signed: "2026-01-02", Version: "1"},
			{Address: "family@example.org", Others: []string{"ada@example.org"}, Name: "Kim Example", Signed: "2026-01-02", Version: "1"}}, "Bo Example", "")
		return err
	})
	return j.ID, d, letter
}

// found lists the files below the ledger's folder that hold a word, the
// database's free pages and write-ahead log included.
func found(t *testing.T, l *Ledger, word string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(l.Dir(), func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		if bytes.Contains(b, []byte(word)) {
			out = append(out, filepath.Base(p))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestForgetAddress(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	id, d, letter := adasJob(t, l)
	other := newJob(t, l, taken(t, l, 200, "of another"))
	do(t, l, func(tx *Tx) error {
		j, err := tx.Job(ctx, other.ID)
		if err != nil {
			return err
		}
		j.Patron = job.Address{Name: "Cleo Example", Address: "cleo@example.org"}
		return tx.SaveJob(ctx, j, Robot, job.Plain(""))
	})
	month := func() Report {
		r, err := l.Report(ctx, clock.Now().Add(-24*time.Hour), clock.Now().Add(24*time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		r.Letters = nil
		return r
	}
	for _, word := range secrets {
		if len(found(t, l, word)) == 0 {
			t.Fatalf("%q is nowhere before; the test proves nothing", word)
		}
	}
	before := month()
	done, err := l.ForgetAddress(ctx, " ADA@example.org ", "Bo Example")
	if err != nil || done != (Forgotten{Letters: 1, Jobs: 1, Drafts: 1, Agreements: 1}) {
		t.Fatalf("%+v, %v", done, err)
	}
	whole(t, l)
	for _, word := range secrets {
		if files := found(t, l, word); len(files) > 0 {
			t.Errorf("%q is still in %v", word, files)
		}
	}
	after := month()
	b, _ := json.Marshal(before)
	a, _ := json.Marshal(after)
	if string(a) != string(b) {
		t.Errorf("figures changed:\n%s\nwas\n%s", a, b)
	}
	if stage, err := rebuilt(ctx, l, id); err != nil || stage != job.Collected {
		t.Errorf("history: %s, %v", stage, err)
	}
	if got, err := l.Draft(ctx, d.ID); err != nil || got.Approval == nil || got.SHA256 != d.SHA256 || got.Approval.By != "Bo Example" {
		t.Errorf("the approval is gone: %+v, %v", got, err)
	}
	if rows, err := l.Jobs(ctx, Filter{Patron: "cleo@example.org"}); err != nil || len(rows) != 1 {
		t.Errorf("another patron's job: %+v, %v", rows, err)
	}
	if list, _ := l.Agreements(ctx); len(list) != 1 || len(list[0].Others) != 0 || list[0].Name != "Kim Example" {
		t.Errorf("agreements %+v", list)
	}
	// The letter still lies in the mailbox. It must not come in again.
	got, fresh, err := take(ctx, l, 77, 5, "From: ada@example.org\r\n\r\nAda-Secret-Word")
	if err != nil || fresh || got != letter {
		t.Errorf("taken again: %s, fresh %v, %v", got, fresh, err)
	}
	if files := found(t, l, "Ada-Secret-Word"); len(files) > 0 {
		t.Errorf("seen again, its bytes are back in %v", files)
	}
	whole(t, l)
}

func TestForgetRefusesOpenJobs(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	_, err := l.ForgetAddress(ctx, "ada@example.org", "Bo Example")
	open, ok := errors.AsType[*OpenJobsError](err)
	if !ok || !slices.Equal(open.Jobs, []string{string(j.ID)}) || err.Error() != "job LP-000001 is not finished yet; decline or finish first, then forget" {
		t.Fatal(err)
	}
	if got, _ := l.Job(ctx, j.ID); got.Patron.Address == "" {
		t.Error("forgotten all the same")
	}
	if _, err := l.ForgetAddress(ctx, "  ", "Bo Example"); err == nil {
		t.Error("forgot nobody")
	}
}

func TestForgetKeepsFilesOfOthers(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	adasJob(t, l)
	mesh := hashOf([]byte("solid Ada-Secret-Word"))
	do(t, l, func(tx *Tx) error { // another patron sent the very same mesh
		_, err := tx.NewJob(ctx, job.Job{Patron: job.Address{Address: "cleo@example.org"}, Blob: mesh}, "", Robot, job.Plain(""))
		return err
	})
	if _, err := l.ForgetAddress(ctx, "ada@example.org", "Bo Example"); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(l.BlobPath(mesh)); err != nil {
		t.Errorf("the other patron's mesh is gone: %v", err)
	}
	whole(t, l)
}

func TestExpire(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	id, _, letter := adasJob(t, l)
	shared := taken(t, l, 300, "two files, one still open")
	over, open := newJob(t, l, shared), newJob(t, l, shared)
	if err := l.Move(ctx, over.ID, job.Withdrawn, "patron", job.Plain("")); err != nil {
		t.Fatal(err)
	}
	enquiry := taken(t, l, 400, "when do you open?")
	do(t, l, func(tx *Tx) error {
		if err := drop(ctx, tx, StepRead, enquiry); err != nil {
			return err
		}
		return tx.SetLetter(ctx, enquiry, LetterLeftAlone, Robot, job.Plain("a question"))
	})
	aside := taken(t, l, 500, "a broken one")
	do(t, l, func(tx *Tx) error {
		if err := drop(ctx, tx, StepRead, aside); err != nil {
			return err
		}
		return tx.SetLetter(ctx, aside, LetterSetAside, Robot, job.Plain("unreadable"))
	})
	if done, err := l.Expire(ctx, clock.Now(), Robot); err != nil || done != (Forgotten{}) {
		t.Fatalf("before its time: %+v, %v", done, err)
	}
	clock.pass(24 * time.Hour)
	done, err := l.Expire(ctx, clock.Now(), Robot)
	if err != nil || done != (Forgotten{Letters: 3, Jobs: 2, Drafts: 1}) {
		t.Fatalf("%+v, %v", done, err)
	}
	for what, raw := range map[string]bool{letter: false, enquiry: false, shared: true, aside: false} {
		if got, err := l.Letter(ctx, what); err != nil || got.Raw != raw {
			t.Errorf("letter %s: raw kept %v, %v; want %v", what, got.Raw, err, raw)
		}
	}
	for what, gone := range map[job.ID]bool{id: true, over.ID: true, open.ID: false} {
		if got, err := l.Job(ctx, what); err != nil || (got.Patron.Address == "") != gone {
			t.Errorf("job %s: %+v, %v", what, got.Patron, err)
		}
	}
	if list, _ := l.Agreements(ctx); len(list) != 2 {
		t.Errorf("agreements went with the letters: %+v", list)
	}
	whole(t, l)
	if done, err := l.Expire(ctx, clock.Now(), Robot); err != nil || done != (Forgotten{}) {
		t.Errorf("once more: %+v, %v", done, err)
	}
	// The other job ends: now the letter they share may go too.
	if err := l.Move(ctx, open.ID, job.Withdrawn, "patron", job.Plain("")); err != nil {
		t.Fatal(err)
	}
	clock.pass(24 * time.Hour)
	if done, err := l.Expire(ctx, clock.Now(), Robot); err != nil || done.Letters != 1 || done.Jobs != 1 {
		t.Errorf("%+v, %v", done, err)
	}
	whole(t, l)
}

func TestExportAddress(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	id, d, letter := adasJob(t, l)
	newJob(t, l, taken(t, l, 1, "a")) // Ada's too: open jobs are exported as well
	x, err := l.ExportAddress(ctx, "Ada@Example.org")
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Letters) != 2 || len(x.Jobs) != 2 || len(x.Drafts) != 1 || len(x.Prints) != 1 || len(x.Payments) != 1 || len(x.Agreements) != 2 || len(x.History) < 12 {
		t.Errorf("%d letters, %d jobs, %d drafts, %d prints, %d payments, %d agreements, %d events", len(x.Letters), len(x.Jobs), len(x.Drafts), len(x.Prints), len(x.Payments), len(x.Agreements), len(x.History))
	}
	var names []string
	for _, f := range x.Files {
		names = append(names, f.Name)
		file, err := l.OpenBlob(f.SHA256)
		if err != nil {
			t.Error(err)
			continue
		}
		file.Close()
	}
	for _, want := range []string{letter + ".eml", d.ID + ".eml"} {
		if !slices.Contains(names, want) {
			t.Errorf("files %v; want %s", names, want)
		}
	}
	if len(names) != 4 || x.Jobs[1].ID != id && x.Jobs[0].ID != id {
		t.Errorf("files %v, jobs %v", names, x.Jobs)
	}
	b, err := json.Marshal(x)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range secrets {
		if !strings.Contains(string(b), word) {
			t.Errorf("%q is not in the export", word)
		}
	}
	if x, err := l.ExportAddress(ctx, "nobody@example.org"); err != nil || len(x.Letters)+len(x.Jobs)+len(x.Files) != 0 {
		t.Errorf("%+v, %v", x, err)
	}
}

// A letter that there is still something to do about is kept, however old, until that is
// done or given up.
func TestExpireLeavesWhatIsStillToBeDone(t *testing.T) {
	for name, c := range map[string]struct {
		begin, end bool
		gone       bool
	}{
		"waiting": {false, false, false}, "under way": {true, false, false}, "done": {true, true, true},
	} {
		l, clock := newLedger(t)
		ctx := t.Context()
		letter := taken(t, l, 1, "From: ada@example.org\r\n\r\nhello")
		do(t, l, func(tx *Tx) error { return tx.SetLetter(ctx, letter, LetterLeftAlone, Robot, job.Plain("")) })
		if c.begin {
			s, err := l.Lease(ctx, "robot", 48*time.Hour)
			if err != nil || s == nil {
				t.Fatalf("%+v, %v", s, err)
			}
			if c.end {
				do(t, l, func(tx *Tx) error { return tx.Done(ctx, s) })
			}
		}
		clock.pass(time.Hour)
		got, err := l.Expire(ctx, clock.Now(), Robot)
		if want := map[bool]int{true: 1}[c.gone]; err != nil || got.Letters != want {
			t.Errorf("%s: %+v, want %d letters, %v", name, got, want, err)
		}
	}
}
