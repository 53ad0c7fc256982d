package casework

import (
	"cmp"
	"context"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// incoming is one understood letter on its way to its jobs, inside the
// transaction that ends its step.
type incoming struct {
	o  *Office
	tx *ledger.Tx
	id string
	l  *job.Letter

	own   map[job.ID]job.Wishes // of each part that an answer names, where it names several
	doubt bool                  // what it says of one of them is not clear; own has the plain answers about others

	joint *joint // the file that was made of those that are one print; nil where none are

	afresh bool // it began as a request of its own, and a person tied it to a conversation

	by string // the person who says what the letter means; "" reads it by itself
}

// who is who a change goes back to: the patron, or the person who took the letter so.
func (in *incoming) who() string { return cmp.Or(in.by, "patron") }

// route decides whose letter it is: nobody's, a conversation's, or a new request.
func (in *incoming) route(ctx context.Context, threads []ledger.Thread) error {
	if leftAlone(in.l) {
		came, err := in.strayForm(ctx, threads)
		if err != nil {
			return err
		}
		if came { // staff are told of it already
			return in.leave(ctx, in.l.Why)
		}
	}
	if len(threads) == 1 && !threads[0].Guess && !leftAlone(in.l) {
		return in.answer(ctx, threads[0])
	}
	if in.l.Disposition == job.Request || in.l.Disposition == job.Enquiry {
		ours, err := in.perhaps(ctx, threads)
		if err != nil {
			return err
		}
		if len(ours) > 0 {
			return in.stray(ctx, ours)
		}
	}
	if leftAlone(in.l) {
		return in.leave(ctx, in.l.Why)
	}
	if in.l.Disposition == job.Answer && len(in.meshes()) == 0 {
		return in.stray(ctx, threads)
	}
	return in.open(ctx, "")
}

func (in *incoming) leave(ctx context.Context, why job.Message) error {
	in.o.Log.Info("letter left alone", "letter", in.id, "disposition", in.l.Disposition)
	return in.tx.SetLetter(ctx, in.id, ledger.LetterLeftAlone, ledger.Robot, why)
}

func (in *incoming) done(ctx context.Context, why job.Message) error {
	in.o.Log.Info("letter read", "letter", in.id, "disposition", in.l.Disposition, "files", len(in.l.Attachments))
	return in.tx.SetLetter(ctx, in.id, ledger.LetterDone, ledger.Robot, why)
}

// stray is an answer to something that is none of ours, or not surely ours: it
// is left to staff, with a guess where there is one.
func (in *incoming) stray(ctx context.Context, threads []ledger.Thread) error {
	if len(threads) == 0 {
		return in.leave(ctx, job.Say("history.stray", nil))
	}
	var guess []string
	for _, t := range threads {
		for _, id := range t.Jobs {
			guess = append(guess, string(id))
		}
	}
	text := job.Say("notices.stray", job.Args{"letter": in.id, "jobs": guess})
	if err := in.tx.AddNotice(ctx, ledger.NoticeStray, in.id, text); err != nil {
		return err
	}
	return in.leave(ctx, job.Say("history.perhaps-of", job.Args{"jobs": guess}))
}

// meshes are the files that can be checked, up to the house's limit.
func (in *incoming) meshes() []job.Attachment {
	var out []job.Attachment
	for _, a := range in.l.Attachments {
		if a.Kind == job.KindMesh && a.SHA256 != "" && a.Path != "" && len(out) < in.o.Rules.Limits.FilesPerLetter {
			out = append(out, a)
		}
	}
	return out
}

// meshesIn counts the meshes of a letter, those beyond the house's limit too.
func meshesIn(l *job.Letter) (n int) {
	for _, a := range l.Attachments {
		if a.Kind == job.KindMesh && a.SHA256 != "" {
			n++
		}
	}
	return n
}

// open makes one job for each mesh and each size or material that it is wished in, or
// one without a mesh, so that its writer gets an answer that says what is missing.
func (in *incoming) open(ctx context.Context, thread string) error {
	files := in.meshes()
	if len(files) == 0 {
		files = []job.Attachment{{Name: otherModel(in.l)}}
	}
	if thread == "" {
		thread = ledger.NewThread()
	}
	in.l.Wishes = eachOnce(asOne(in.eachFile(files), namesOf(files)), meshesIn(in.l))
	n := 0
	if in.joint != nil {
		if err := in.newJoint(ctx, thread); err != nil {
			return err
		}
		n, files = 1, in.joint.without(files)
	}
	for _, f := range files {
		made, err := in.newJobs(ctx, thread, f)
		if err != nil {
			return err
		}
		n += made
	}
	return in.done(ctx, job.Say("history.opened", job.Args{"n": n}))
}

// newJobs opens the jobs for one file.
func (in *incoming) newJobs(ctx context.Context, thread string, f job.Attachment) (int, error) {
	list := separately(wishesOf(in.l.Wishes, f.Name))
	for _, w := range list {
		j, err := in.tx.NewJob(ctx, job.Job{
			Thread: thread, Patron: in.l.From, Language: in.l.Language, Auth: in.l.Authenticated,
			File: f.Name, Blob: f.SHA256, Wishes: w, Settings: settings(w, in.o.Rules),
		}, in.id, ledger.Robot, job.Say("history.asked-for", job.Args{"letter": in.id}))
		if err != nil {
			return 0, err
		}
		if err := in.tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{}); err != nil {
			return 0, err
		}
	}
	return len(list), nil
}

// otherModel is the name of the first 3D file that we do not take, or "".
func otherModel(l *job.Letter) string {
	for _, a := range l.Attachments {
		if a.Kind == job.KindModel {
			return a.Name
		}
	}
	return ""
}

func namesOf(files []job.Attachment) []string {
	var out []string
	for _, f := range files {
		out = append(out, f.Name)
	}
	return out
}

func (in *incoming) byLetter() job.Message {
	return job.Say("history.by-letter", job.Args{"letter": in.id})
}

func names(jobs []job.Job) string { return strings.Join(ids(jobs), ", ") }

// IDs are the numbers of jobs.
func IDs(jobs []job.Job) (out []job.ID) {
	for _, j := range jobs {
		out = append(out, j.ID)
	}
	return out
}

func ids(jobs []job.Job) []string {
	var out []string
	for _, j := range jobs {
		out = append(out, string(j.ID))
	}
	return out
}
