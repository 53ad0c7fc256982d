package casework

import (
	"context"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// perhaps are the conversations, of those its proven sender has, that a letter which
// begins one of its own may be meant for: "please cancel the rod" under a new subject.
// A letter that speaks of a part by its name, or answers an offer, is never taken for
// a new request nor left alone; staff confirm the guess.
func (in *incoming) perhaps(ctx context.Context, threads []ledger.Thread) ([]ledger.Thread, error) {
	again := len(in.meshes()) > 0
	if in.l.Authenticated != job.Pass || otherModel(in.l) != "" || onlyThanks(in.l, in.o.Rules.Words) {
		return nil, nil
	}
	var open, named []ledger.Thread
	for _, t := range threads {
		if !t.Guess || !t.SameSender {
			continue
		}
		jobs, err := in.tx.JobsIn(ctx, t.Token)
		if err != nil {
			return nil, err
		}
		if again {
			if in.sentBefore(jobs) {
				named = append(named, t)
			}
			continue
		}
		if slices.ContainsFunc(jobs, func(j job.Job) bool { return speaksOf(in.l, j.File) }) {
			named = append(named, t)
		}
		if slices.ContainsFunc(jobs, func(j job.Job) bool { return !j.Stage.Over() && j.Blob != "" }) {
			open = append(open, t)
		}
	}
	switch {
	case len(named) > 0 || again:
		return named, nil
	case in.l.Disposition == job.Enquiry || in.answersSomething():
		return open, nil
	}
	return nil, nil
}

// sentBefore reports whether a letter brings nothing but the files of jobs that are not
// agreed yet, byte for byte and under the same names, and wishes nothing of them that is
// new: its writer is not sure that the first one came. Once a job is agreed, the same
// file is another print.
func (in *incoming) sentBefore(jobs []job.Job) bool {
	for _, f := range in.meshes() {
		if !slices.ContainsFunc(jobs, func(j job.Job) bool {
			return slices.Contains(beforeTheYes, j.Stage) && j.Blob == f.SHA256 && j.File == f.Name && !wishesAnew(j, in.wishesFor(j))
		}) {
			return false
		}
	}
	return true
}

var beforeTheYes = []job.Stage{job.Taken, job.Checked, job.Drafted, job.NeedsAgreement, job.Quoted}

// answersSomething reports whether a letter reads as a yes or a no to an offer.
func (in *incoming) answersSomething() bool {
	l := *in.l
	l.Disposition = job.Answer
	a := in.o.understand(&l, known{}).Answer
	return a == job.Accept || a == job.Decline
}
