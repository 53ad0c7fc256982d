package robot

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/letter"
)

// readingDir holds attachments while their letter is read.
const readingDir = "reading"

// Recover puts right what a stop in the middle left behind. Call it once
// before the first step.
func (r *Robot) Recover(ctx context.Context) error {
	if err := os.RemoveAll(filepath.Join(r.Ledger.Dir(), readingDir)); err != nil {
		return err
	}
	open, err := r.Ledger.RecoverSends(ctx, owner)
	if err != nil {
		return err
	}
	for _, d := range open {
		r.Log.Error("send uncertain", "draft", d.ID, "why", "the program stopped while it was sending")
	}
	if _, err := r.Ledger.ReleaseOwned(ctx, owner); err != nil {
		return err
	}
	_, err = r.Ledger.Sweep(ctx, 24*time.Hour)
	return err
}

// read understands one letter and makes or finds its jobs.
func (r *Robot) read(ctx context.Context, s *ledger.Step, early *ahead) error {
	l, err := early.letter(ctx, r, s)
	if err != nil {
		return err
	}
	r.at("files kept")
	threads, err := r.Ledger.FindThreads(ctx, *l)
	if err != nil {
		return err
	}
	if err := r.inContext(ctx, l, threads); err != nil {
		return err
	}
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.SaveParsed(ctx, s.Subject, *l, ledger.Robot); err != nil {
			return err
		}
		in := &incoming{r: r, tx: tx, id: s.Subject, l: l}
		if err := in.route(ctx, threads); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
}

// inContext reads the wishes of an answer again, knowing what was asked and what
// was known before.
func (r *Robot) inContext(ctx context.Context, l *job.Letter, threads []ledger.Thread) error {
	if l.Disposition != job.Answer || len(threads) != 1 || threads[0].Guess {
		return nil
	}
	jobs, err := r.Ledger.JobsIn(ctx, threads[0].Token)
	if err != nil || len(jobs) == 0 {
		return err
	}
	sent, err := r.Ledger.Drafts(ctx, ledger.DraftFilter{Thread: threads[0].Token, States: []ledger.DraftState{ledger.DraftSent}})
	if err != nil {
		return err
	}
	var asked []string
	if n := len(sent); n > 0 {
		for _, q := range writtenOf(sent[n-1]).Questions {
			asked = append(asked, q.Text)
		}
	}
	if before := jobs[0].Language; before != "" {
		l.Language = letter.Language(l.Text, before)
	}
	l.Wishes = r.understand(l, asked, jobs[0].Wishes)
	return nil
}

// parse reads the letter from its raw bytes and keeps the files in it that
// somebody will look at.
func (r *Robot) parse(ctx context.Context, id string) (*job.Letter, error) {
	rec, err := r.Ledger.Letter(ctx, id)
	if err != nil {
		return nil, err
	}
	raw, err := r.Ledger.OpenBlob(rec.SHA256)
	if err != nil {
		return nil, err
	}
	defer raw.Close()
	parent := filepath.Join(r.Ledger.Dir(), readingDir)
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp(parent, "letter-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	l, err := letter.Read(ctx, raw, letter.OptionsFrom(r.Rules, dir, rec.ReceivedAt))
	if errors.Is(err, letter.ErrNotMail) {
		return nil, err
	}
	if err != nil {
		return nil, err
	}
	if !leftAlone(l) { // else its wishes are nobody's
		l.Wishes = r.understand(l, nil, job.Wishes{})
	}
	return l, r.keep(ctx, l)
}

// leftAlone tells of a letter that is none of the service's business.
func leftAlone(l *job.Letter) bool {
	return l.Disposition == job.Automatic || l.Disposition == job.Enquiry
}

// keep stores the attachments that are worth keeping: meshes for the check,
// documents and pictures because one may be a signed agreement.
func (r *Robot) keep(ctx context.Context, l *job.Letter) error {
	for i := range l.Attachments {
		a := &l.Attachments[i]
		kind := keptAs(a.Kind)
		if a.Path == "" || kind == "" {
			continue
		}
		f, err := os.Open(a.Path)
		if err != nil {
			return err
		}
		a.SHA256, _, err = r.Ledger.PutBlob(ctx, kind, f, 0)
		f.Close()
		if err != nil {
			return err
		}
	}
	return nil
}

func keptAs(k job.Kind) string {
	switch k {
	case job.KindMesh:
		return ledger.KindMesh
	case job.KindDocument, job.KindPicture:
		return ledger.KindFile
	}
	return ""
}
