package casework

import (
	"cmp"
	"context"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// change takes new wishes into every job that is not on a printer yet, and has
// them checked anew where they change more than how it is collected. A part that was
// collected is printed again from the file that is kept, and so is one that is printed
// where the letter began as a request of its own.
func (in *incoming) change(ctx context.Context, jobs []job.Job) error {
	if in.onlyCollecting(jobs) {
		return in.fillIn(ctx, jobs)
	}
	changed, late := 0, 0
	for _, j := range jobs {
		if !job.MayGo(j.Stage, job.Taken) {
			if !j.Stage.Over() && wishesAnew(j, in.wishesFor(j)) {
				late++ // it is on the printer, or ready
			}
			continue
		}
		if err := in.again(ctx, j, j.File, j.Blob); err != nil {
			return err
		}
		changed++
	}
	if changed == 0 && len(jobs) == 1 && jobs[0].Blob != "" && (jobs[0].Stage == job.Collected || in.afresh && jobs[0].Stage == job.Ready) {
		return in.repeat(ctx, jobs[0])
	}
	if changed == 0 || late > 0 && in.by == "" {
		return in.ask(ctx, jobs, ledger.NoticeTooLate, "too-late-change")
	}
	return in.done(ctx, job.Say("history.wants-change", nil))
}

// again puts a job back to its check, with the letter's wishes and a file.
func (in *incoming) again(ctx context.Context, j job.Job, file, blob string) error {
	now, _ := in.merged(j)
	now.File, now.Blob = file, blob
	return checkAnew(ctx, in.tx, now, in.who(), in.byLetter())
}

// newFiles lets each file take the place of the one it corrects: of the same
// name, else of a job without a printable file, else of the only job where the letter
// does not bring a further part. What corrects nothing is a job of its own, to be
// collected where the others are; a yes beside it is to what was offered before.
func (in *incoming) newFiles(ctx context.Context, jobs []job.Job, files []job.Attachment) error {
	in.l.Wishes = in.eachFile(files)
	left := slices.Clone(jobs)
	for _, f := range files {
		i := corrected(left, f)
		if i < 0 && len(left) == 1 && open(left[0]) && !in.further(left[0], f) {
			i = 0
		}
		if i < 0 {
			in.whereTheOthers(jobs)
			if _, err := in.newJobs(ctx, jobs[0].Thread, f); err != nil {
				return err
			}
			continue
		}
		left[i].File = cmp.Or(left[i].File, f.Name) // what is said of the file is said of a job that had none
		if err := in.again(ctx, left[i], f.Name, f.SHA256); err != nil {
			return err
		}
		left = slices.Delete(left, i, i+1)
	}
	if len(left) == len(jobs) && in.l.Wishes.Answer == job.Accept && slices.ContainsFunc(jobs, waitsForYes) {
		return in.accept(ctx, jobs)
	}
	return in.done(ctx, job.Say("history.new-files", job.Args{"n": len(files)}))
}

func waitsForYes(j job.Job) bool { return j.Stage == job.Quoted || j.Stage == job.NeedsAgreement }

// whereTheOthers has a further part collected where the others of the conversation are,
// unless its letter names a branch.
func (in *incoming) whereTheOthers(jobs []job.Job) {
	if in.l.Wishes.Pickup == "" {
		in.l.Wishes.Pickup = jobs[0].Wishes.Pickup
	}
}

// further reports whether a letter brings a part beside the one that it is about, and no
// other version of it: it says so ("another piece that I forgot"), or the part is agreed
// to, and the file has another name and wishes of its own.
func (in *incoming) further(j job.Job, f job.Attachment) bool {
	said, guards := saidIn(in.l.Text), in.o.Rules.Words.Guards[in.l.Language]
	switch w := in.l.Wishes; {
	case j.Stage.Over() && j.Report.Printable() && !partOf(j.File, f.Name):
		return true // what was declined or given up stays so: "then print this wand for me instead"
	case said.has(guards["newversion"]):
		return false
	case said.has(guards["furtherpart"]):
		return true
	default:
		return afterTheYes(j.Stage) && !partOf(j.File, f.Name) && (w.Copies != nil || len(w.Colours) > 0 || w.Size != nil)
	}
}

func afterTheYes(s job.Stage) bool { return s == job.Agreed || s == job.Failed }

func open(j job.Job) bool { return job.MayGo(j.Stage, job.Taken) || j.Stage == job.Taken }

func corrected(jobs []job.Job, f job.Attachment) int {
	i := slices.IndexFunc(jobs, func(j job.Job) bool { return open(j) && sameFileName(j.File, f.Name) })
	if i < 0 {
		i = slices.IndexFunc(jobs, func(j job.Job) bool { return open(j) && !j.Report.Printable() })
	}
	return i
}
