package casework

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/letter"
	"meshclerk/templates"
)

// readingDir holds attachments while their letter is read.
const readingDir = "reading"

// Tidy removes what a stop in the middle of a letter left behind. Call it once
// before the first letter.
func (o *Office) Tidy() error { return os.RemoveAll(filepath.Join(o.Ledger.Dir(), readingDir)) }

// Receive ends the first step of a letter that was parsed: it makes or finds its
// jobs, or is left alone.
func (o *Office) Receive(ctx context.Context, s *ledger.Step, l *job.Letter) error {
	o.at("files kept")
	threads, err := o.Ledger.FindThreads(ctx, *l)
	if err != nil {
		return err
	}
	own, doubt, err := o.inContext(ctx, l, threads)
	if err != nil {
		return err
	}
	p, err := o.joinedFor(ctx, l, threads)
	if err != nil {
		return err
	}
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.SaveParsed(ctx, s.Subject, *l, ledger.Robot); err != nil {
			return err
		}
		in := &incoming{o: o, tx: tx, id: s.Subject, l: l, own: own, doubt: doubt, joint: p}
		if err := in.route(ctx, threads); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
}

// inContext reads the wishes of an answer again, knowing what was asked and what
// was known before. It gives those of each part where the answer names several,
// and reports whether what it says of one is not clear: then only plain answers are given.
func (o *Office) inContext(ctx context.Context, l *job.Letter, threads []ledger.Thread) (own map[job.ID]job.Wishes, doubt bool, err error) {
	if l.Disposition != job.Answer || len(threads) != 1 || threads[0].Guess {
		return nil, false, nil
	}
	jobs, err := o.Ledger.JobsIn(ctx, threads[0].Token)
	if err != nil || len(jobs) == 0 {
		return nil, false, err
	}
	sent, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Thread: threads[0].Token, States: []ledger.DraftState{ledger.DraftSent}})
	if err != nil {
		return nil, false, err
	}
	to := known{earlier: offeredWishes(jobs[0]), parts: len(stillOpen(jobs))}
	if d, ok := answeredOf(l, sent); ok {
		w := WrittenOf(d)
		for _, q := range w.Questions {
			to.asked = append(to.asked, q.Text)
		}
		to.personal = d.Kind == templates.TextQuestion && (w.Edited || w.Promises || w.Proposes)
	}
	if before := jobs[0].Language; before != "" {
		l.Language = letter.Language(l.Text, before, o.Rules.Words)
	}
	l.Wishes = o.understand(l, to)
	if len(jobs) == 1 {
		if err := o.plainAnswer(ctx, l, to, jobs[0]); err != nil {
			return nil, false, err
		}
	}
	asked := o.drawnIn(l, to, jobs)
	own, clear := o.ofParts(l, to, jobs)
	if !clear {
		l.Wishes.Answer = job.Question
		return o.plainIn(l, to, jobs), true, nil
	}
	if own == nil {
		own = asked
	}
	return own, false, nil
}

// offeredWishes are the wishes for a job with the number of copies that it was offered at,
// where none was wished: "one more" is one beside those.
func offeredWishes(j job.Job) job.Wishes {
	w := j.Wishes
	if n := j.Asked().Copies; w.Copies == nil && len(w.Items) == 0 {
		w.Copies = &n
	}
	return w
}

// stillOpen are the jobs that are not over.
func stillOpen(jobs []job.Job) []job.Job {
	return slices.DeleteFunc(slices.Clone(jobs), func(j job.Job) bool { return j.Stage.Over() })
}

// answeredOf is which of the letters that were sent one answers: the one that it names
// (RFC 5322, 3.6.4), else the last.
func answeredOf(l *job.Letter, sent []ledger.Draft) (ledger.Draft, bool) {
	for _, d := range sent {
		if l.InReplyTo != "" && d.MessageID == l.InReplyTo {
			return d, true
		}
	}
	if len(sent) == 0 {
		return ledger.Draft{}, false
	}
	return sent[len(sent)-1], true
}

// Parse reads the letter from its raw bytes and keeps the files in it that
// somebody will look at.
func (o *Office) Parse(ctx context.Context, id string) (*job.Letter, error) {
	rec, err := o.Ledger.Letter(ctx, id)
	if err != nil {
		return nil, err
	}
	raw, err := o.Ledger.OpenBlob(rec.SHA256)
	if err != nil {
		return nil, err
	}
	defer raw.Close()
	parent := filepath.Join(o.Ledger.Dir(), readingDir)
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp(parent, "letter-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	l, err := letter.Read(ctx, raw, letter.OptionsFrom(o.Rules, dir, rec.ReceivedAt))
	if errors.Is(err, letter.ErrNotMail) {
		return nil, err
	}
	if err != nil {
		return nil, err
	}
	if !leftAlone(l) { // else its wishes are nobody's
		l.Wishes = o.understand(l, known{})
	}
	return l, o.keep(ctx, l)
}

// leftAlone tells of a letter that is none of the service's business.
func leftAlone(l *job.Letter) bool {
	return l.Disposition == job.Automatic || l.Disposition == job.Enquiry
}

// keep stores the attachments that are worth keeping: meshes for the check,
// documents and pictures because one may be a signed agreement.
func (o *Office) keep(ctx context.Context, l *job.Letter) error {
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
		a.SHA256, _, err = o.Ledger.PutBlob(ctx, kind, f, 0)
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
