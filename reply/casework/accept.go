package casework

import (
	"context"
	"math"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// accept takes a yes to the last offer of each job that it means. A yes to a part
// that is too large is a yes to the smaller size that its letter named; one to what was
// closed asks for a new offer; one that is said again is filed. Where what it wishes beside
// that comes too late for one part, staff are told first, and no yes of it counts before.
func (in *incoming) accept(ctx context.Context, jobs []job.Job) error {
	meant := in.meant(jobs)
	open := slices.ContainsFunc(meant, func(j job.Job) bool { return offered[j.Stage] })
	again, late, err := in.acceptedBefore(ctx, meant, open)
	if err != nil {
		return err
	}
	if late {
		if err := in.ask(ctx, jobs, ledger.NoticeTooLate, "too-late-change"); err != nil {
			return err
		}
	}
	said := 0
	for _, j := range meant {
		switch {
		case j.Stage == job.Quoted && len(jobs) == 1 && onlyTooLarge(j.Report):
			return in.shrink(ctx, j)
		case open && j.Stage.Over(), agreedOnce[j.Stage]:
			// the yes is to what is offered, not to what was given up or agreed to
		case j.Stage == job.Lapsed && j.Blob != "", j.Stage == job.Withdrawn:
			if err := in.again(ctx, j, j.File, j.Blob); err != nil {
				return err
			}
			said++
		default:
			ok, err := in.acceptOne(ctx, j)
			if err != nil {
				return err
			}
			if ok {
				said++
			}
		}
	}
	if said > 0 {
		if err := in.theRest(ctx, jobs[0].Thread); err != nil {
			return err
		}
	}
	switch {
	case late:
		return nil
	case said > 0:
		return in.done(ctx, job.Say("history.patron-yes", nil))
	case again > 0:
		return in.done(ctx, job.Say("history.yes-again", nil))
	}
	return in.ask(ctx, jobs, ledger.NoticeYesToWhat, "yes-to-what")
}

// agreedOnce are the stages of what was agreed to.
var agreedOnce = map[job.Stage]bool{job.Agreed: true, job.Printing: true, job.Failed: true, job.Ready: true, job.Collected: true}

// acceptedBefore takes what a yes says beside it to those of the jobs that were agreed to
// already: how many there are, and whether it comes too late for one. Where an offer is
// open, it says nothing to those that are over.
func (in *incoming) acceptedBefore(ctx context.Context, jobs []job.Job, open bool) (again int, late bool, err error) {
	for _, j := range jobs {
		if !agreedOnce[j.Stage] || open && j.Stage.Over() {
			continue
		}
		inTime, err := in.acceptAgain(ctx, j)
		if err != nil {
			return 0, false, err
		}
		late = late || !inTime
		again++
	}
	return again, late, nil
}

// acceptAgain takes what a yes to a job that is agreed to already says beside it: another
// colour leads to a new offer, another branch changes just that. It reports whether the
// letter came in time.
func (in *incoming) acceptAgain(ctx context.Context, j job.Job) (inTime bool, err error) {
	now, recheck := in.merged(j)
	switch other := recheck || now.Settings.Colour != j.Settings.Colour; {
	case !wishesAnew(j, in.wishesFor(j)) || j.Stage.Over():
		return true, nil
	case other && job.MayGo(j.Stage, job.Taken):
		return true, in.again(ctx, j, j.File, j.Blob)
	case other:
		return false, nil
	}
	return true, in.tx.SaveJob(ctx, now, in.who(), in.byLetter())
}

// theRest opens the jobs for the files of a request that were more than are looked at
// at once, as its reply promised. They are offered in a letter of their own.
func (in *incoming) theRest(ctx context.Context, thread string) error {
	jobs, err := in.tx.JobsIn(ctx, thread)
	if err != nil || len(jobs) == 0 {
		return err
	}
	letters, err := in.tx.LettersOf(ctx, jobs[0].ID)
	if err != nil || len(letters) == 0 || letters[0].Parsed == nil {
		return err
	}
	request := *letters[0].Parsed
	most := in.o.Rules.Limits.FilesPerLetter
	if meshesIn(&request) <= most {
		return nil
	}
	first := &incoming{o: in.o, tx: in.tx, id: letters[0].ID, l: &request}
	request.Wishes = eachOnce(request.Wishes, meshesIn(&request))
	for _, a := range request.Attachments {
		known := slices.ContainsFunc(jobs, func(j job.Job) bool { return j.Blob == a.SHA256 && j.File == a.Name })
		if a.Kind != job.KindMesh || a.SHA256 == "" || known || most == 0 {
			continue
		}
		if _, err := first.newJobs(ctx, thread, a); err != nil {
			return err
		}
		most--
	}
	return nil
}

// acceptOne takes a yes to one job, with what the letter answers beside it.
func (in *incoming) acceptOne(ctx context.Context, j job.Job) (bool, error) {
	now, recheck := in.merged(j)
	if most := in.o.Rules.Limits.MaxCopies; now.Wishes.Copies != nil && *now.Wishes.Copies > most && now.Settings.Copies == most {
		now.Wishes.Copies = &most // the offer asked whether that many will do
	}
	if !offered[j.Stage] {
		return false, nil
	}
	now.Wishes.Words = withHeight(now)
	if err := in.tx.SaveJob(ctx, now, in.who(), in.byLetter()); err != nil {
		return false, err
	}
	if recheck {
		if err := in.o.checkFirst(ctx, in.tx, now, in.who()); err != nil {
			return false, err
		}
		now.Stage = job.Taken
	}
	return in.o.sayYes(ctx, in.tx, now, in.id, in.who())
}

// onlyTooLarge tells whether nothing stops a part but its size, and a smaller one is known
// that would do: that it is too big, or takes too long.
func onlyTooLarge(r *job.Report) bool {
	if r == nil || !r.Readable || r.CutShort() || r.FitsAt() == 0 {
		return false
	}
	stops := 0
	for _, f := range r.Findings {
		switch {
		case f.Level != job.Stop:
		case f.Code != job.CodeTooBig && f.Code != job.CodeTooLong:
			return false
		default:
			stops++
		}
	}
	return stops > 0
}

// shrink has a part checked anew at the size that its letter named.
func (in *incoming) shrink(ctx context.Context, j job.Job) error {
	now := j.Settings.Scale
	if now == 0 {
		now = 1 // as drawn
	}
	scale := math.Round(1e4*now*j.Report.FitsAt()) / 1e4
	in.l.Wishes.Answer, in.l.Wishes.Scale = job.Change, &scale
	return in.change(ctx, []job.Job{j})
}

// each moves jobs that may go there and drafts the letter that says so.
func (in *incoming) each(ctx context.Context, jobs []job.Job, to job.Stage, why job.Message) error {
	moved := 0
	for _, j := range jobs {
		if !job.MayGo(j.Stage, to) {
			continue
		}
		if err := in.tx.Move(ctx, j.ID, to, in.who(), why); err != nil {
			return err
		}
		if err := leavesAlone(ctx, in.tx, j); err != nil {
			return err
		}
		moved++
	}
	if moved == 0 && !slices.ContainsFunc(jobs, func(j job.Job) bool { return !j.Stage.Over() || j.Stage == job.Collected }) {
		return in.done(ctx, job.Say("history.no-again", nil))
	}
	if moved == 0 {
		return in.ask(ctx, jobs, ledger.NoticeTooLate, "too-late")
	}
	if err := in.tx.Enqueue(ctx, ledger.StepDraft, jobs[0].Thread, time.Time{}); err != nil {
		return err
	}
	return in.done(ctx, why)
}
