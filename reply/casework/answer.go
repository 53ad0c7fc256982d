package casework

import (
	"context"
	"reflect"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/wishes"
)

// answer is a letter in one of our conversations. It changes jobs only when it
// surely comes from their patron; else staff decide.
func (in *incoming) answer(ctx context.Context, t ledger.Thread) error {
	jobs, err := in.tx.JobsIn(ctx, t.Token)
	if err != nil {
		return err
	}
	if name, other, err := in.otherHand(ctx, t, jobs); err != nil || other {
		if err != nil {
			return err
		}
		return in.ownRequest(ctx, name)
	}
	for _, j := range jobs {
		if err := in.tx.Link(ctx, j.ID, in.id, ledger.RoleAnswer); err != nil {
			return err
		}
	}
	came, err := in.form(ctx, jobs)
	if err != nil {
		return err
	}
	if !t.SameSender || in.l.Authenticated != job.Pass {
		return in.notThePatron(ctx, jobs, came)
	}
	if len(jobs) == 1 {
		in.l.Wishes = asOne(in.l.Wishes, []string{jobs[0].File})
	}
	if jobs, err = in.proveBy(ctx, jobs); err != nil {
		return err
	}
	if in.joint != nil {
		if first, others := in.joint.of(jobs); first.ID != "" && len(others) == len(in.joint.pieces)-1 {
			return in.joinJobs(ctx, jobs)
		}
	}
	if files := notYet(in.meshes(), jobs); len(files) > 0 {
		return in.newFiles(ctx, jobs, files)
	}
	if came && in.l.Wishes.Answer == "" { // staff look at it anyway
		for _, j := range jobs {
			if now, again := in.merged(j); !again && offered[j.Stage] {
				if err := in.tx.SaveJob(ctx, now, in.who(), in.byLetter()); err != nil {
					return err
				}
			}
		}
		return in.done(ctx, job.Say("history.brings-form", nil))
	}
	if lastWordSaid(jobs) && thanks(in.l, in.o.Rules.Words) {
		return in.done(ctx, job.Say("history.thanks", nil))
	}
	return in.reply(ctx, jobs)
}

// proveBy takes an answer that surely comes from the patron as the proof that an earlier
// letter of theirs lacked, as one that staff passed on. What that lack held up is looked
// at again.
func (in *incoming) proveBy(ctx context.Context, jobs []job.Job) ([]job.Job, error) {
	for i, j := range jobs {
		if j.Auth == job.Pass || j.Stage.Over() || !job.SameAddress(j.Patron.Address, in.l.From.Address) {
			continue
		}
		jobs[i].Auth = job.Pass
		if err := in.tx.SaveJob(ctx, jobs[i], ledger.Robot, job.Say("history.sender-proven", job.Args{"letter": in.id})); err != nil {
			return nil, err
		}
		if j.Stage != job.NeedsAgreement {
			continue
		}
		if err := in.tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{}); err != nil {
			return nil, err
		}
	}
	return jobs, nil
}

// notYet leaves out the files that are those of open jobs, byte for byte: a letter that
// brings them once more changes nothing by it.
func notYet(files []job.Attachment, jobs []job.Job) (out []job.Attachment) {
	for _, f := range files {
		if !slices.ContainsFunc(jobs, func(j job.Job) bool { return !j.Stage.Over() && j.Blob == f.SHA256 }) {
			out = append(out, f)
		}
	}
	return out
}

// lastWordSaid reports whether nothing about the jobs waits for their patron's word.
func lastWordSaid(jobs []job.Job) bool {
	return !slices.ContainsFunc(jobs, func(j job.Job) bool { return offered[j.Stage] })
}

// reply acts on the words of an answer.
func (in *incoming) reply(ctx context.Context, jobs []job.Job) error {
	if in.doubt {
		if err := in.plainly(ctx, jobs); err != nil {
			return err
		}
		return in.ask(ctx, jobs, ledger.NoticeQuestion, "question")
	}
	if len(in.own) > 0 {
		return in.replyParts(ctx, jobs)
	}
	return in.as(ctx, in.l.Wishes.Answer, jobs)
}

// as acts on an answer that says the same of all the jobs that it is about.
func (in *incoming) as(ctx context.Context, a job.Reply, jobs []job.Job) error {
	switch a {
	case job.Accept:
		if len(in.l.Wishes.Unread) > 0 && len(in.own) == 0 { // a yes beside something that nobody understood
			return in.ask(ctx, jobs, ledger.NoticeQuestion, "question")
		}
		return in.accept(ctx, jobs)
	case job.Decline:
		return in.each(ctx, in.meant(jobs), job.Withdrawn, job.Say("history.patron-no", nil))
	case job.Change:
		if in.by == "" && !in.bringsAnything(in.meant(jobs)) { // "make it nicer": nobody knows how
			return in.ask(ctx, jobs, ledger.NoticeQuestion, "question")
		}
		return in.change(ctx, in.meant(jobs))
	case job.Question:
		return in.question(ctx, jobs)
	}
	if in.answersUs(jobs) {
		return in.fillIn(ctx, in.meant(jobs))
	}
	return in.question(ctx, jobs)
}

// question leaves a letter to staff. A yes of its own beside a question about collecting or
// paying, on which the print does not depend, is kept: it counts when the question is
// dealt with, if the offer still stands.
func (in *incoming) question(ctx context.Context, jobs []job.Job) error {
	if err := in.ask(ctx, jobs, ledger.NoticeQuestion, "question"); err != nil {
		return err
	}
	if !in.l.Wishes.Agrees || !in.o.asksOnlyOfCollecting(in.l) {
		return nil
	}
	for _, j := range in.meant(jobs) {
		if !waitsForYes(j) {
			continue
		}
		if _, err := in.o.sayYes(ctx, in.tx, j, in.id, in.who()); err != nil {
			return err
		}
	}
	return nil
}

// answersUs reports whether a letter that says neither yes nor no settles something
// that is still to be asked, and leaves nothing that was not understood.
func (in *incoming) answersUs(jobs []job.Job) bool {
	if len(in.l.Wishes.Unread) > 0 {
		return false
	}
	return slices.ContainsFunc(jobs, func(j job.Job) bool { return !j.Stage.Over() && wishesAnew(j, in.wishesFor(j)) })
}

// bringsAnything reports whether a letter wishes something of a job that it has not.
func (in *incoming) bringsAnything(jobs []job.Job) bool {
	return slices.ContainsFunc(jobs, func(j job.Job) bool { return j.Stage.Over() || wishesAnew(j, in.wishesFor(j)) })
}

// wishesAnew reports whether a letter brings a wish that a job does not have yet.
func wishesAnew(j job.Job, own job.Wishes) bool {
	was, now := j.Wishes, wishes.Merge(j.Wishes, own)
	for _, w := range []*job.Wishes{&was, &now} {
		w.Answer, w.Words, w.Unread = "", nil, nil
	}
	return !reflect.DeepEqual(was, now)
}

// meant are the jobs that the letter names by their files, or all of them.
func (in *incoming) meant(jobs []job.Job) []job.Job {
	if len(in.own) > 0 {
		return jobs // divided among them already
	}
	var out []job.Job
	for _, j := range jobs {
		if namesFile(in.l.Text, j.File, jobs) {
			out = append(out, j)
		}
	}
	if len(out) == 0 {
		return jobs
	}
	return out
}

// wishesFor are the letter's wishes for one job.
func (in *incoming) wishesFor(j job.Job) job.Wishes {
	if len(j.Pieces) > 0 {
		return wishesOfPieces(in.instead(in.l.Wishes, j), j, in.l.Text)
	}
	if own, ok := in.own[j.ID]; ok {
		return wishesOf(in.instead(own, j), j.File)
	}
	return wishesOf(in.instead(in.l.Wishes, j), j.File)
}

// fillIn takes over the answers to what was asked. What changes the price has the job
// checked anew; else it goes on waiting for a yes, or a yes that is kept counts now.
func (in *incoming) fillIn(ctx context.Context, jobs []job.Job) error {
	late := 0
	for _, j := range jobs {
		now, recheck := in.merged(j)
		other := recheck || now.Settings.Colour != j.Settings.Colour
		switch {
		case j.Stage.Over():
		case offered[j.Stage]:
			if err := in.take(ctx, j); err != nil {
				return err
			}
		case other && job.MayGo(j.Stage, job.Taken): // agreed to something else
			if err := in.again(ctx, j, j.File, j.Blob); err != nil {
				return err
			}
		case other:
			late++
		default: // where and how it is collected may change to the end
			if err := in.tx.SaveJob(ctx, now, in.who(), in.byLetter()); err != nil {
				return err
			}
		}
	}
	if late > 0 {
		return in.ask(ctx, jobs, ledger.NoticeTooLate, "too-late-change")
	}
	return in.done(ctx, job.Say("history.answers", nil))
}

// take merges the letter's wishes into a job that is not on the print list, and looks
// what follows.
func (in *incoming) take(ctx context.Context, j job.Job) error {
	now, again := in.merged(j)
	if again {
		return in.again(ctx, j, j.File, j.Blob)
	}
	if err := in.tx.SaveJob(ctx, now, in.who(), in.byLetter()); err != nil {
		return err
	}
	y, ok, err := in.tx.OpenYes(ctx, j.ID)
	if err != nil {
		return err
	}
	if ok && y.State == ledger.YesKept {
		return in.o.standing(ctx, in.tx, now)
	}
	if now.Stage != job.Quoted && now.Stage != job.NeedsAgreement {
		return nil // its letter is still to be written
	}
	return in.tx.Enqueue(ctx, ledger.StepStillNeeded, now.Thread, time.Time{})
}

// merged lays the letter's wishes over a job's, and tells whether the job must be
// checked anew: everything but its colour changes time or plastic.
func (in *incoming) merged(j job.Job) (now job.Job, again bool) {
	own := in.wishesFor(j)
	was := settings(j.Wishes, in.o.Rules)
	now = j
	now.Wishes = wishes.Merge(j.Wishes, own)
	now.Settings = overlay(j.Settings, was, settings(now.Wishes, in.o.Rules))
	now.Settings = ofPieces(now.Settings, now.Wishes, now.Pieces, in.o.Rules)
	if own.Size != nil || own.Scale != nil {
		if wished := wishes.Merge(job.Wishes{}, own); !sameSize(wished, j.Wishes) {
			now.Settings.Scale, again = 0, true // the check reads the part's size
		}
	}
	before, after := j.Settings, now.Settings
	before.Colour, after.Colour = "", ""
	return now, again || !before.Equal(after)
}

func sameSize(a, b job.Wishes) bool {
	return reflect.DeepEqual(a.Size, b.Size) && reflect.DeepEqual(a.Scale, b.Scale)
}

// ask leaves the letter to staff.
func (in *incoming) ask(ctx context.Context, jobs []job.Job, kind ledger.NoticeKind, because string) error {
	if in.by != "" {
		return job.Refuse(job.Say("faults.not-so."+because, job.Args{"letter": in.id}))
	}
	why := job.Say("notices.why."+because, nil)
	text := job.Say("notices.left", job.Args{"letter": in.id, "jobs": ids(jobs), "why": why})
	if err := in.tx.AddNotice(ctx, kind, in.id, text); err != nil {
		return err
	}
	if kind == ledger.NoticeQuestion && (in.l.Wishes.Answer == job.Question || in.o.setsCondition(in.l) || in.o.asksOnlyOfCollecting(in.l)) {
		if err := in.tx.Enqueue(ctx, ledger.StepQuestion, jobs[0].Thread, time.Time{}); err != nil {
			return err
		}
	}
	return in.done(ctx, job.Say("history.left-to-staff", job.Args{"why": why}))
}
