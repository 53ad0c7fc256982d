package casework

import (
	"context"
	"slices"
	"strings"
	"time"
	"unicode"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/wishes"
)

// otherHand reports whether a letter in a conversation brings a file of somebody else
// than its patron: from a proven address of their own, or from the same address under
// another name. Their file is a request of theirs, never a new version of the patron's.
// It gives the name that the letter is signed with.
func (in *incoming) otherHand(ctx context.Context, t ledger.Thread, jobs []job.Job) (name string, other bool, err error) {
	if in.by != "" || len(jobs) == 0 || len(in.meshes()) == 0 || in.l.Authenticated != job.Pass || in.saysGuardian() {
		return "", false, nil
	}
	patron := jobs[0].Patron
	name = signature(in.l.Text)
	if name == "" {
		name = in.l.From.Name
	}
	if name == "" || sameName(name, patron.Name) {
		return "", false, nil
	}
	if !job.SameAddress(in.l.From.Address, patron.Address) {
		return in.l.From.Name, !t.SameSender && !sameName(in.l.From.Name, patron.Name), nil
	}
	letters, err := in.tx.LettersOf(ctx, jobs[0].ID)
	for _, l := range letters {
		if l.Parsed != nil && job.SameAddress(l.Parsed.From.Address, patron.Address) && sameName(name, signature(l.Parsed.Text)) {
			return "", false, err // as they signed before: a short name, perhaps
		}
	}
	return name, true, err
}

// ownRequest takes an answer for a request of its own, of who signed it.
func (in *incoming) ownRequest(ctx context.Context, name string) error {
	l := *in.l
	l.Disposition, l.From.Name = job.Request, name
	l.Wishes = in.o.understand(&l, known{})
	in.l = &l
	return in.open(ctx, "")
}

// signature is the name in the last line of a letter: one that stands behind words of
// farewell, or a first and a last name.
func signature(text string) string {
	lines := strings.FieldsFunc(text, func(r rune) bool { return r == '\n' || r == '\r' })
	lines = slices.DeleteFunc(lines, func(l string) bool { return strings.TrimSpace(l) == "" })
	if len(lines) < 2 {
		return ""
	}
	last, before := strings.TrimSpace(lines[len(lines)-1]), strings.TrimSpace(lines[len(lines)-2])
	words := strings.Fields(last)
	if len(words) == 0 || len(words) > 3 || slices.ContainsFunc(words, func(w string) bool { return !likeName(w) }) {
		return ""
	}
	if len(words) == 1 && !strings.HasSuffix(before, ",") {
		return ""
	}
	return last
}

// likeName reports whether a word has a capital and else letters, as names do.
func likeName(w string) bool {
	w = strings.TrimRight(w, ".")
	for i, r := range w {
		if i == 0 && !unicode.IsUpper(r) || !unicode.IsLetter(r) && r != '-' && r != '\'' && r != '’' {
			return false
		}
	}
	return w != ""
}

// sameName reports whether two names may be those of one person: their first names
// agree, one of them being perhaps an initial or a short form.
func sameName(a, b string) bool {
	x, y := saidIn(a), saidIn(b)
	if len(x) == 0 || len(y) == 0 {
		return false
	}
	return strings.HasPrefix(x[0], y[0]) || strings.HasPrefix(y[0], x[0]) || slices.Contains(y, x[0]) && len(x) == 1
}

// saysGuardian reports whether a letter says that a parent or guardian writes it.
func (in *incoming) saysGuardian() bool {
	return saidIn(in.l.Text).has(in.o.Rules.Words.Replies[in.l.Language]["guardian"])
}

// notThePatron leaves an answer of somebody who is not surely the patron to staff. A
// form that a parent sends is announced as a form, and what says that a parent writes
// is told: whoever takes such a letter for the patron's word records it.
func (in *incoming) notThePatron(ctx context.Context, jobs []job.Job, form bool) error {
	switch {
	case form && in.l.Wishes.Answer == "":
		return in.done(ctx, job.Say("history.brings-form", nil))
	case in.l.Authenticated == job.Pass && in.saysGuardian():
		return in.ask(ctx, jobs, ledger.NoticeUnproven, "guardian")
	}
	return in.ask(ctx, jobs, ledger.NoticeUnproven, "unproven")
}

// recordGuardian records, when a person takes a letter of a parent for the patron's
// word, that this parent speaks for the patron.
func (in *incoming) recordGuardian(ctx context.Context, jobs []job.Job) error {
	if in.by == "" || in.l.Authenticated != job.Pass || !in.saysGuardian() {
		return nil
	}
	for _, j := range jobs {
		if job.SameAddress(j.Patron.Address, in.l.From.Address) {
			continue
		}
		if err := in.tx.SpeaksFor(ctx, j.ID, in.id, in.by, job.Say("history.guardian", job.Args{"letter": in.id})); err != nil {
			return err
		}
	}
	return nil
}

// repeat opens a job for a part that was collected, to be printed again from the file
// that is kept, with what the letter wishes otherwise.
func (in *incoming) repeat(ctx context.Context, j job.Job) error {
	own := in.wishesFor(j)
	w := wishes.Merge(j.Wishes, own)
	w.NeededBy, w.Answer, w.Words = own.NeededBy, "", nil
	made, err := in.tx.NewJob(ctx, job.Job{
		Thread: j.Thread, Patron: j.Patron, Language: in.l.Language, Auth: in.l.Authenticated,
		File: j.File, Blob: j.Blob, Wishes: w, Settings: settings(w, in.o.Rules),
	}, in.id, in.who(), job.Say("history.again", job.Args{"job": string(j.ID)}))
	if err != nil {
		return err
	}
	if err := in.tx.Enqueue(ctx, ledger.StepCheck, string(made.ID), time.Time{}); err != nil {
		return err
	}
	return in.done(ctx, job.Say("history.again", job.Args{"job": string(j.ID)}))
}

// onlyCollecting reports whether a letter changes nothing of its jobs but where they
// are collected, or the telephone: the price and what is agreed stay.
func (in *incoming) onlyCollecting(jobs []job.Job) bool {
	w := in.l.Wishes
	if w.Pickup == "" && w.Phone == "" || len(w.Unread) > 0 {
		return false
	}
	return !slices.ContainsFunc(jobs, func(j job.Job) bool {
		now, again := in.merged(j)
		return again || now.Settings.Colour != j.Settings.Colour
	})
}
