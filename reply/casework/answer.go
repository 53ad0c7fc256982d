package casework

import (
	"cmp"
	"context"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/wishes"
)

// incoming is one understood letter on its way to its jobs, inside the
// transaction that ends its step.
type incoming struct {
	o  *Office
	tx *ledger.Tx
	id string
	l  *job.Letter

	by string // the person who says what the letter means; "" reads it by itself
}

// who is who a change goes back to: the patron, or the person who took the letter so.
func (in *incoming) who() string { return cmp.Or(in.by, "patron") }

// route decides whose letter it is: nobody's, a conversation's, or a new request.
func (in *incoming) route(ctx context.Context, threads []ledger.Thread) error {
	if leftAlone(in.l) {
		if err := in.strayForm(ctx, threads); err != nil {
			return err
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
	in.l.Wishes = eachOnce(asOne(in.l.Wishes, namesOf(files)), meshesIn(in.l))
	n := 0
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
	if files := in.meshes(); len(files) > 0 {
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
	if lastWordSaid(jobs) && onlyThanks(in.l, in.o.Rules.Words) {
		return in.done(ctx, job.Say("history.thanks", nil))
	}
	return in.reply(ctx, jobs)
}

// lastWordSaid reports whether nothing about the jobs waits for their patron's word.
func lastWordSaid(jobs []job.Job) bool {
	return !slices.ContainsFunc(jobs, func(j job.Job) bool { return offered[j.Stage] })
}

// reply acts on the words of an answer.
func (in *incoming) reply(ctx context.Context, jobs []job.Job) error {
	switch in.l.Wishes.Answer {
	case job.Accept:
		if len(in.l.Wishes.Unread) > 0 { // a yes beside something that nobody understood
			return in.ask(ctx, jobs, ledger.NoticeQuestion, "question")
		}
		return in.accept(ctx, jobs)
	case job.Decline:
		return in.each(ctx, in.meant(jobs), job.Withdrawn, job.Say("history.patron-no", nil))
	case job.Change:
		return in.change(ctx, in.meant(jobs))
	case job.Question:
		return in.ask(ctx, jobs, ledger.NoticeQuestion, "question")
	}
	if in.answersUs(jobs) {
		return in.fillIn(ctx, in.meant(jobs))
	}
	return in.ask(ctx, jobs, ledger.NoticeQuestion, "question")
}

// answersUs reports whether a letter that says neither yes nor no settles something
// that is still to be asked, and leaves nothing that was not understood.
func (in *incoming) answersUs(jobs []job.Job) bool {
	if len(in.l.Wishes.Unread) > 0 {
		return false
	}
	return slices.ContainsFunc(jobs, func(j job.Job) bool { return !j.Stage.Over() && in.wishesAnew(j) })
}

// wishesAnew reports whether the letter brings a wish that the job does not have yet.
func (in *incoming) wishesAnew(j job.Job) bool {
	was, now := j.Wishes, wishes.Merge(j.Wishes, in.wishesFor(j))
	for _, w := range []*job.Wishes{&was, &now} {
		w.Answer, w.Words = "", nil
	}
	return !reflect.DeepEqual(was, now)
}

// meant are the jobs that the letter names by their files, or all of them.
func (in *incoming) meant(jobs []job.Job) []job.Job {
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
func (in *incoming) wishesFor(j job.Job) job.Wishes { return wishesOf(in.l.Wishes, j.File) }

func namesOf(files []job.Attachment) []string {
	var out []string
	for _, f := range files {
		out = append(out, f.Name)
	}
	return out
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
	if in.l.Wishes.Answer == job.Question && kind == ledger.NoticeQuestion {
		if err := in.tx.Enqueue(ctx, ledger.StepQuestion, jobs[0].Thread, time.Time{}); err != nil {
			return err
		}
	}
	return in.done(ctx, job.Say("history.left-to-staff", job.Args{"why": why}))
}

// form tells staff that a document came while an agreement is missing.
func (in *incoming) form(ctx context.Context, jobs []job.Job) (came bool, err error) {
	if in.l.Authenticated != job.Pass {
		return false, nil
	}
	for _, j := range jobs {
		if j.Stage == job.NeedsAgreement && mayBeForm(in.l, true) {
			return true, formCame(ctx, in.tx, in.id, j.ID)
		}
	}
	return false, nil
}

// strayForm is form for a letter that begins a conversation of its own and is
// surely from a patron whose agreement is missing.
func (in *incoming) strayForm(ctx context.Context, threads []ledger.Thread) error {
	if in.l.Disposition != job.Enquiry || in.l.Authenticated != job.Pass || !mayBeForm(in.l, true) {
		return nil
	}
	for _, t := range threads {
		jobs, err := in.tx.JobsIn(ctx, t.Token)
		if err != nil {
			return err
		}
		for _, j := range jobs {
			if j.Stage != job.NeedsAgreement || j.Patron.Address != in.l.From.Address {
				continue
			}
			if err := in.tx.Link(ctx, j.ID, in.id, ledger.RoleAnswer); err != nil {
				return err
			}
			return formCame(ctx, in.tx, in.id, j.ID)
		}
	}
	return nil
}

// mayBeForm tells whether a letter brings what may be a signed agreement. In a
// letter that was asked for one, that may be a photograph too.
func mayBeForm(l *job.Letter, asked bool) bool {
	return slices.ContainsFunc(l.Attachments, func(a job.Attachment) bool {
		return a.SHA256 != "" && (a.Kind == job.KindDocument || asked && a.Kind == job.KindPicture)
	})
}

func formCame(ctx context.Context, tx *ledger.Tx, letter string, id job.ID) error {
	return tx.AddNotice(ctx, ledger.NoticeForm, letter, job.Say("notices.form", job.Args{"letter": letter, "job": string(id)}))
}

// accept takes a yes to the last offer of each job that it means. A yes to a part
// that is too big is a yes to the smaller size that was offered; one to what was
// closed asks for a new offer; one that is said again is filed.
func (in *incoming) accept(ctx context.Context, jobs []job.Job) error {
	said, again := 0, 0
	for _, j := range in.meant(jobs) {
		switch {
		case j.Stage == job.Quoted && len(jobs) == 1 && onlyTooBig(j.Report):
			return in.shrink(ctx, j)
		case j.Stage == job.Lapsed && j.Blob != "", j.Stage == job.Withdrawn:
			if err := in.again(ctx, j, j.File, j.Blob); err != nil {
				return err
			}
			said++
		case j.Stage == job.Agreed || j.Stage == job.Printing || j.Stage == job.Failed || j.Stage == job.Ready || j.Stage == job.Collected:
			again++
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
	switch {
	case said > 0:
		return in.done(ctx, job.Say("history.patron-yes", nil))
	case again > 0:
		return in.done(ctx, job.Say("history.yes-again", nil))
	}
	return in.ask(ctx, jobs, ledger.NoticeYesToWhat, "yes-to-what")
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

// onlyTooBig tells whether nothing stops a part but its size.
func onlyTooBig(r *job.Report) bool {
	if r == nil || !r.Readable || r.CutShort() || r.Fit == nil || r.Fit.ScaleToFit <= 0 || r.Fit.ScaleToFit >= 1 {
		return false
	}
	for _, f := range r.Findings {
		if f.Level == job.Stop && f.Code != job.CodeTooBig && f.Code != job.CodeTooLong {
			return false
		}
	}
	return true
}

// shrink has a part checked anew at the whole percentage that fits.
func (in *incoming) shrink(ctx context.Context, j job.Job) error {
	now := j.Settings.Scale
	if now == 0 {
		now = 1 // as drawn
	}
	scale := math.Floor(100*now*j.Report.Fit.ScaleToFit) / 100
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

// change takes new wishes into every job that is not on a printer yet, and has
// them checked anew where they change more than how it is collected. A part that was
// collected is printed again from the file that is kept.
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
	if changed == 0 && len(jobs) == 1 && jobs[0].Stage == job.Collected && jobs[0].Blob != "" {
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
	if j.Stage != job.Taken {
		if err := in.tx.Move(ctx, j.ID, job.Taken, in.who(), in.byLetter()); err != nil {
			return err
		}
	}
	if err := in.tx.SaveJob(ctx, now, in.who(), in.byLetter()); err != nil {
		return err
	}
	return in.tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{})
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
	i := slices.IndexFunc(jobs, func(j job.Job) bool { return open(j) && strings.EqualFold(j.File, f.Name) })
	if i < 0 {
		i = slices.IndexFunc(jobs, func(j job.Job) bool { return open(j) && !j.Report.Printable() })
	}
	if i < 0 && len(jobs) == 1 && open(jobs[0]) {
		return 0
	}
	return i
}

func (in *incoming) byLetter() job.Message {
	return job.Say("history.by-letter", job.Args{"letter": in.id})
}

func names(jobs []job.Job) string { return strings.Join(ids(jobs), ", ") }

func ids(jobs []job.Job) []string {
	var out []string
	for _, j := range jobs {
		out = append(out, string(j.ID))
	}
	return out
}
