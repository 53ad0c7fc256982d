package casework

import (
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
	changed := 0
	for _, j := range jobs {
		if !job.MayGo(j.Stage, job.Taken) {
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
	if changed == 0 {
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
// name, else of a job without a printable file. What corrects nothing is a
// job of its own.
func (in *incoming) newFiles(ctx context.Context, jobs []job.Job, files []job.Attachment) error {
	left := slices.Clone(jobs)
	for _, f := range files {
		i := corrected(left, f)
		if i < 0 {
			if _, err := in.newJobs(ctx, jobs[0].Thread, f); err != nil {
				return err
			}
			continue
		}
		if err := in.again(ctx, left[i], f.Name, f.SHA256); err != nil {
			return err
		}
		left = slices.Delete(left, i, i+1)
	}
	return in.done(ctx, job.Say("history.new-files", job.Args{"n": len(files)}))
}

func corrected(jobs []job.Job, f job.Attachment) int {
	open := func(j job.Job) bool { return job.MayGo(j.Stage, job.Taken) || j.Stage == job.Taken }
	i := slices.IndexFunc(jobs, func(j job.Job) bool { return open(j) && sameFileName(j.File, f.Name) })
	if i < 0 {
		i = slices.IndexFunc(jobs, func(j job.Job) bool { return open(j) && !j.Report.Printable() })
	}
	if i < 0 && len(jobs) == 1 && open(jobs[0]) {
		return 0
	}
	return i
}
