package ledger

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// restored puts a backup in the place of a ledger's folder, as OPERATING says:
// the copy moves in, and the list of what was forgotten stays.
func restored(t *testing.T, copied, keep string, clock *aClock) *Ledger {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "data")
	if err := os.CopyFS(dir, os.DirFS(copied)); err != nil {
		t.Fatal(err)
	}
	if keep != "" {
		b, err := os.ReadFile(filepath.Join(keep, forgetFile))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, forgetFile), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return open(t, dir, clock)
}

// backedUp copies a ledger while Ada is in it, with one job at its end and one
// that is still open, a draft of which is approved.
func backedUp(t *testing.T, l *Ledger) (copied string, openJob job.Job, waiting Draft) {
	t.Helper()
	adasJob(t, l)
	openJob = newJob(t, l, taken(t, l, 500, "From: ada@example.org\r\n\r\nAda-Secret-Word, more"))
	waiting = newDraft(t, l, "Dear Ada-Secret-Word, once more", openJob.ID)
	if err := l.Enqueue(t.Context(), "draft", openJob.Thread, time.Time{}); err != nil {
		t.Fatal(err)
	}
	if err := l.Approve(t.Context(), waiting.ID, waiting.SHA256, "Bo Example", ViaPage); err != nil {
		t.Fatal(err)
	}
	copied = filepath.Join(t.TempDir(), "copy")
	if err := l.Backup(t.Context(), copied); err != nil {
		t.Fatal(err)
	}
	return copied, openJob, waiting
}

func wantGone(t *testing.T, l *Ledger) {
	t.Helper()
	for _, word := range secrets {
		if files := found(t, l, word); len(files) > 0 {
			t.Errorf("%q is back in %v", word, files)
		}
	}
	if x, err := l.ExportAddress(t.Context(), "ada@example.org"); err != nil || len(x.Letters)+len(x.Jobs)+len(x.Drafts)+len(x.Agreements) != 0 {
		t.Errorf("an export finds %d letters, %d jobs, %d drafts, %d agreements, %v", len(x.Letters), len(x.Jobs), len(x.Drafts), len(x.Agreements), err)
	}
	whole(t, l)
}

// What was forgotten after a backup is forgotten again when the backup is restored.
func TestForgottenStaysForgottenAfterARestore(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	copied, j, d := backedUp(t, l)
	if _, err := os.Stat(filepath.Join(copied, forgetFile)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the backup took the list along: %v", err)
	}
	clock.pass(time.Hour)
	late := "From: ada@example.org\r\n\r\nAda-Secret-Word, after the backup"
	lateJob := newJob(t, l, taken(t, l, 600, late))
	for _, id := range []job.ID{j.ID, lateJob.ID} {
		if err := l.Move(ctx, id, job.Withdrawn, "Bo Example", job.Plain("")); err != nil {
			t.Fatal(err)
		}
	}
	clock.pass(time.Hour)
	if done, err := l.ForgetAddress(ctx, "ADA@example.org", "Bo Example"); err != nil || done.Jobs != 3 {
		t.Fatalf("%+v, %v", done, err)
	}
	list, err := os.ReadFile(filepath.Join(l.Dir(), forgetFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range append(secrets, "ada@", "example.org", "Bo Example", hashOf([]byte(late))) {
		if bytes.Contains(bytes.ToLower(list), bytes.ToLower([]byte(word))) {
			t.Errorf("the list names %q in clear", word)
		}
	}
	clock.pass(time.Hour)

	r := restored(t, copied, l.Dir(), clock)
	wantGone(t, r)
	if got, err := r.Job(ctx, j.ID); err != nil || !got.Stage.Over() {
		t.Errorf("the job that was open in the backup: %s, %v", got.Stage, err)
	}
	if stage, err := rebuilt(ctx, r, j.ID); err != nil || !stage.Over() {
		t.Errorf("its history: %s, %v", stage, err)
	}
	if _, _, err := r.BeginSend(ctx, d.ID, "robot"); err == nil {
		t.Error("the approved reply to her would be sent")
	}
	if got, err := r.Draft(ctx, d.ID); err != nil || got.State != DraftSetAside {
		t.Errorf("it is %s, %v", got.State, err)
	}
	if open, err := r.OpenSteps(ctx); err != nil || len(open) != 0 {
		t.Errorf("work is planned for her: %+v, %v", open, err)
	}
	// Letters that came after the backup still lie in the mailbox, hers too.
	if id, fresh, err := take(ctx, r, 1, 600, late); err != nil || fresh || id == "" {
		t.Errorf("her letter comes in again: %s, fresh %v, %v", id, fresh, err)
	}
	wantGone(t, r)
	// She may write anew, and is forgotten no second time.
	again := newJob(t, r, taken(t, r, 700, "From: ada@example.org\r\n\r\nhello again"))
	dir := r.Dir()
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	clock.pass(time.Hour)
	if got, err := open(t, dir, clock).Job(ctx, again.ID); err != nil || got.Patron.Address != "ada@example.org" {
		t.Errorf("what she sent later: %+v, %v", got.Patron, err)
	}
}

// What expired stays expired too.
func TestExpiredStaysExpiredAfterARestore(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	copied, j, _ := backedUp(t, l)
	if err := l.Move(ctx, j.ID, job.Withdrawn, "Bo Example", job.Plain("")); err != nil {
		t.Fatal(err)
	}
	clock.pass(time.Hour)
	if done, err := l.Expire(ctx, clock.Now(), Robot); err != nil || done.Jobs != 2 {
		t.Fatalf("%+v, %v", done, err)
	}
	r := restored(t, copied, l.Dir(), clock)
	if got, err := r.Job(ctx, j.ID); err != nil || got.Patron.Address != "" || !got.Stage.Over() {
		t.Errorf("%s of %q, %v", got.Stage, got.Patron.Address, err)
	}
	if files := found(t, r, "Ada-Secret-Word"); len(files) > 0 {
		t.Errorf("expired words are back in %v", files)
	}
	if list, err := r.Agreements(ctx); err != nil || len(list) != 2 {
		t.Errorf("agreements expired: %+v, %v", list, err)
	}
	whole(t, r)
}

// The list may be brought over after the service had begun without it: what came
// in since and is not on it stays. Until then staff are told that it is missing.
func TestListOfForgottenBroughtLater(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	copied, j, _ := backedUp(t, l)
	late := "From: ada@example.org\r\n\r\nAda-Secret-Word, after the backup"
	lateJob := newJob(t, l, taken(t, l, 600, late))
	for _, id := range []job.ID{j.ID, lateJob.ID} {
		if err := l.Move(ctx, id, job.Withdrawn, "Bo Example", job.Plain("")); err != nil {
			t.Fatal(err)
		}
	}
	clock.pass(time.Hour)
	if _, err := l.ForgetAddress(ctx, "ada@example.org", "Bo Example"); err != nil {
		t.Fatal(err)
	}
	clock.pass(time.Hour)
	r := restored(t, copied, "", clock)
	if got := openNotices(t, r); len(got) == 0 || got[len(got)-1].Kind != "forget-list-missing" || got[len(got)-1].Text.Args["file"] != forgetFile {
		t.Errorf("nobody is told: %+v", got)
	}
	newJob(t, r, taken(t, r, 600, late)) // taken in once more
	do(t, r, func(tx *Tx) error {
		_, err := tx.UpsertAgreements(ctx, []agreement.Entry{{Address: "dee@example.org", Name: "Dee Example", Signed: "2026-01-02", Version: "1"}}, "Bo Example", "")
		return err
	})
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(l.Dir(), forgetFile))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(r.Dir(), forgetFile), b, 0o600); err != nil {
		t.Fatal(err)
	}
	r = open(t, r.Dir(), clock)
	wantGone(t, r)
	if list, err := r.Agreements(ctx); err != nil || len(list) != 2 {
		t.Errorf("agreements: %+v, %v", list, err)
	}
	for _, n := range openNotices(t, r) {
		if n.Kind == "forget-list-missing" {
			t.Errorf("still said to be missing: %s", n.Text)
		}
	}
}

// The list is on disk before the ledger says that it is done: after a crash in
// between the forgetting is finished at the next start. A line that was cut off
// by a crash is no obstacle.
func TestForgetIsListedBeforeItIsDone(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	id, _, _ := adasJob(t, l)
	crash := errors.New("the power went")
	err := l.Tx(ctx, func(tx *Tx) error {
		if _, err := tx.forget(ctx, "ada@example.org", "Bo Example"); err != nil {
			return err
		}
		return crash
	})
	if !errors.Is(err, crash) {
		t.Fatal(err)
	}
	if got, err := l.Job(ctx, id); err != nil || got.Patron.Address == "" {
		t.Fatalf("the transaction took hold: %v", err)
	}
	f, err := os.OpenFile(filepath.Join(l.Dir(), forgetFile), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString(`{"id":"ABC","at":"2026-`); err != nil {
		t.Fatal(err)
	}
	f.Close()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	clock.pass(time.Minute)
	r := open(t, l.Dir(), clock)
	wantGone(t, r)
	cleo := job.Address{Address: "cleo@example.org"}
	do(t, r, func(tx *Tx) error {
		j, err := tx.NewJob(ctx, job.Job{Patron: cleo}, "", Robot, job.Plain(""))
		if err != nil {
			return err
		}
		return tx.Move(ctx, j.ID, job.Declined, "Bo Example", job.Plain(""))
	})
	if _, err := r.ForgetAddress(ctx, cleo.Address, "Bo Example"); err != nil {
		t.Fatal(err)
	}
	if list, err := readForgetList(filepath.Join(r.Dir(), forgetFile)); err != nil || len(list.entries) != 2 {
		t.Errorf("after a torn line: %+v, %v", list, err)
	}
}

// A list that is no list stops the start, since it might be the one that counts.
func TestForgetListThatIsNone(t *testing.T) {
	l, clock := newLedger(t)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(l.Dir(), forgetFile)
	if err := os.WriteFile(file, []byte("something else\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), l.Dir(), nil, clock.Now); err == nil || !strings.Contains(err.Error(), forgetFile) {
		t.Error(err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(file, 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), l.Dir(), nil, clock.Now); err == nil {
		t.Error("a folder is taken for the list")
	}
}

// Who was forgotten and writes anew before the list is brought over keeps what she then
// wrote, asked for and was answered: a line of the list is about what was there when it
// was written, to the moment.
func TestWhatCameAfterTheForgettingStays(t *testing.T) {
	for name, after := range map[string]time.Duration{"at its moment": 0, "a moment later": time.Millisecond, "a day later": 24 * time.Hour} {
		l, clock := newLedger(t)
		ctx := t.Context()
		copied, j, _ := backedUp(t, l)
		if err := l.Move(ctx, j.ID, job.Withdrawn, "Bo Example", job.Plain("")); err != nil {
			t.Fatal(err)
		}
		clock.pass(time.Hour)
		if _, err := l.ForgetAddress(ctx, "ada@example.org", "Bo Example"); err != nil {
			t.Fatal(err)
		}
		clock.pass(after)
		r := restored(t, copied, "", clock)
		letter := taken(t, r, 700, "From: ada@example.org\r\n\r\nhello again")
		anew := newJob(t, r, "") // each of the three is found by itself, and not by the others
		reply := newDraft(t, r, "welcome back")
		clock.pass(time.Hour)
		list, err := os.ReadFile(filepath.Join(l.Dir(), forgetFile))
		if err != nil {
			t.Fatal(err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(r.Dir(), forgetFile), list, 0o600); err != nil {
			t.Fatal(err)
		}
		r = open(t, r.Dir(), clock)
		stays := after > 0
		if got, err := r.Job(ctx, anew.ID); err != nil || (got.Patron.Address != "") != stays || got.Stage.Over() == stays {
			t.Errorf("%s: the job is %s of %q, %v", name, got.Stage, got.Patron.Address, err)
		}
		if got, err := r.Draft(ctx, reply.ID); err != nil || (got.To.Address != "") != stays || (got.State == DraftWaiting) != stays {
			t.Errorf("%s: the reply to it is %s to %q, %v", name, got.State, got.To.Address, err)
		}
		if got, err := r.Letter(ctx, letter); err != nil || (got.MessageID != "") != stays {
			t.Errorf("%s: her letter is %q, %v", name, got.MessageID, err)
		}
		if got, err := r.Job(ctx, j.ID); err != nil || got.Patron.Address != "" || !got.Stage.Over() {
			t.Errorf("%s: the job of before is %s of %q, %v", name, got.Stage, got.Patron.Address, err)
		}
	}
}
