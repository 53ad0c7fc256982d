package casework

import (
	"context"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/preflight"
	"meshclerk/rules"
)

// Several files that are one print
//
// "base.stl and letters.stl are one part, the base black, the letters red." Where a
// letter says that its files are one print, or staff do, their meshes are joined into one
// file, each placed as it is drawn, and the job of the first has it. What was a job of its
// own before is joined to that one and leaves the conversation. Part makes jobs of the
// pieces again.
//
// Nobody's word is needed to ask: a part that is drawn to stand on or in another one of
// its conversation is noted at the check (job.Report.Onto), and the letter asks whether
// the two are one print. Where a letter wishes one print of files that do not meet as they
// are drawn, they stay apart, and the letter says so.

// mostPieces is how many files are joined into one.
const mostPieces = 8

// joint is a file that was made of several.
type joint struct {
	file, blob string
	pieces     []job.Piece
}

// joinedFor joins the files that a letter wants as one print; see toJoin.
func (o *Office) joinedFor(ctx context.Context, l *job.Letter, threads []ledger.Thread) (*joint, error) {
	if l.Wishes.Together != "yes" {
		return nil, nil
	}
	var jobs []job.Job
	if l.Disposition == job.Answer && len(threads) == 1 && !threads[0].Guess {
		var err error
		if jobs, err = o.Ledger.JobsIn(ctx, threads[0].Token); err != nil {
			return nil, err
		}
	}
	return o.toJoin(ctx, l, jobs)
}

// toJoin reads whether a letter wants files as one print, and joins them: those that it
// brings, else those of its conversation's jobs. It gives nil where they are not to be
// joined, or cannot be.
func (o *Office) toJoin(ctx context.Context, l *job.Letter, jobs []job.Job) (*joint, error) {
	if l.Wishes.Together != "yes" || leftAlone(l) {
		return nil, nil
	}
	var pieces []job.Piece
	for _, a := range l.Attachments {
		if a.Kind == job.KindMesh && a.SHA256 != "" {
			pieces = append(pieces, job.Piece{File: a.Name, Blob: a.SHA256})
		}
	}
	if len(pieces) == 0 {
		for _, j := range jobs {
			if joinable(j) {
				pieces = append(pieces, job.Piece{File: j.File, Blob: j.Blob})
			}
		}
	}
	if named := namedIn(l.Wishes, pieces); len(named) > 1 {
		pieces = named
	}
	if len(pieces) < 2 || len(pieces) > min(mostPieces, o.Rules.Limits.FilesPerLetter) || !onceEach(l.Wishes) {
		return nil, nil
	}
	return o.joined(ctx, pieces)
}

// namedIn are the pieces that a letter's items name.
func namedIn(w job.Wishes, pieces []job.Piece) (out []job.Piece) {
	for _, p := range pieces {
		if slices.ContainsFunc(w.Items, func(i job.Item) bool { return i.Part != "" && partOf(p.File, i.Part) }) {
			out = append(out, p)
		}
	}
	return out
}

// onceEach reports whether a letter wishes its parts in one number, size and material, as
// pieces of one print are.
func onceEach(w job.Wishes) bool {
	for _, i := range w.Items {
		if i.Size != nil || i.Scale != nil || i.Material != "" || i.Copies != w.Items[0].Copies && i.Copies > 0 && w.Items[0].Copies > 0 {
			return false
		}
	}
	return true
}

// joined writes the file of several, the largest first. It gives nil where one of them
// cannot be read, or they do not meet as they are drawn.
func (o *Office) joined(ctx context.Context, pieces []job.Piece) (*joint, error) {
	shapes, ok, err := o.shapesOf(ctx, pieces)
	if err != nil || !ok || !allMeet(shapes) {
		return nil, err
	}
	order := make([]int, len(pieces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return larger(shapes[b], shapes[a]) })
	out := &joint{}
	var names, paths []string
	for _, i := range order {
		out.pieces = append(out.pieces, pieces[i])
		names, paths = append(names, pieces[i].File), append(paths, o.Ledger.BlobPath(pieces[i].Blob))
	}
	out.file = strings.Join(names, " + ")
	w, err := o.Ledger.NewBlob(ledger.KindMesh, o.Rules.Caps.MeshBytes)
	if err != nil {
		return nil, err
	}
	defer w.Abort()
	bodies, err := preflight.Join(ctx, paths, o.Rules.Caps, w)
	if err != nil {
		return nil, ctx.Err() // the check of each says what is wrong with it
	}
	for i := range out.pieces {
		out.pieces[i].Bodies = bodies[i]
	}
	out.blob, err = w.Keep(ctx)
	return out, err
}

// shapesOf reads where the pieces lie. It reports false where one of them cannot be read.
func (o *Office) shapesOf(ctx context.Context, pieces []job.Piece) (out []job.Shape, ok bool, err error) {
	for _, p := range pieces {
		f, err := preflight.Open(ctx, o.Ledger.BlobPath(p.Blob), o.Rules.Caps)
		if err != nil {
			return nil, false, ctx.Err()
		}
		b := f.Mesh.Bounds()
		out = append(out, job.Shape{SizeMM: b.Size(), AtMM: b.Min})
	}
	return out, true, nil
}

// touching (mm) is how far apart two files may be drawn that are said to be one print.
const touching = 0.1

// allMeet reports whether each piece meets another one, and none lies in the same place
// as another, as files do that are drawn each for itself.
func allMeet(shapes []job.Shape) bool {
	for i, a := range shapes {
		meets := false
		for k, b := range shapes {
			if i == k {
				continue
			}
			if sameMiddle(a, b) {
				return false
			}
			meets = meets || near(a, b, touching)
		}
		if !meets {
			return false
		}
	}
	return true
}

// near reports whether the boxes of two parts overlap, or are no further apart than that.
func near(a, b job.Shape, mm float64) bool {
	for k := range 3 {
		if a.AtMM[k] > b.AtMM[k]+b.SizeMM[k]+mm || b.AtMM[k] > a.AtMM[k]+a.SizeMM[k]+mm {
			return false
		}
	}
	return true
}

// sameMiddle reports whether two parts are drawn around the same point.
func sameMiddle(a, b job.Shape) bool {
	for k := range 3 {
		if d := a.AtMM[k] + a.SizeMM[k]/2 - b.AtMM[k] - b.SizeMM[k]/2; d < -0.01 || d > 0.01 {
			return false
		}
	}
	return true
}

// larger compares parts by the boxes around them.
func larger(a, b job.Shape) int {
	volume := func(s job.Shape) float64 { return s.SizeMM[0] * s.SizeMM[1] * s.SizeMM[2] }
	switch x, y := volume(a), volume(b); {
	case x > y:
		return 1
	case x < y:
		return -1
	}
	return 0
}

// standsOn reports whether a part is drawn to stand on or in another: above the lowest
// point of that one, and nowhere beyond its sides.
func standsOn(top, base job.Shape) bool {
	if sameMiddle(top, base) || !near(top, base, touching) || top.AtMM[2] <= base.AtMM[2]+touching {
		return false
	}
	for k := range 2 {
		if top.AtMM[k] < base.AtMM[k]-touching || top.AtMM[k]+top.SizeMM[k] > base.AtMM[k]+base.SizeMM[k]+touching {
			return false
		}
	}
	return true
}

// findOnto notes with a part that was checked, and with the other one, that one is drawn
// to stand on the other.
func findOnto(ctx context.Context, tx *ledger.Tx, j job.Job) (job.Job, error) {
	if j.Report == nil || j.Report.Mesh == nil || len(j.Pieces) > 0 {
		return j, nil
	}
	jobs, err := tx.JobsIn(ctx, j.Thread)
	if err != nil {
		return j, err
	}
	for _, k := range jobs {
		if k.ID == j.ID || k.Stage.Over() || k.Report == nil || k.Report.Mesh == nil || len(k.Pieces) > 0 || k.Blob == j.Blob || k.Report.Onto != nil && k.Report.Onto.Job != j.ID {
			continue
		}
		if !standsOn(*j.Report.Mesh, *k.Report.Mesh) && !standsOn(*k.Report.Mesh, *j.Report.Mesh) {
			continue
		}
		j.Report.Onto = &job.Onto{Job: k.ID, File: k.File}
		k.Report.Onto = &job.Onto{Job: j.ID, File: j.File}
		return j, tx.SaveJob(ctx, k, ledger.Robot, job.Say("history.checked", nil))
	}
	return j, nil
}

// leavesAlone takes back what the other parts of a conversation say of one that is given
// up: nothing stands on it any more.
func leavesAlone(ctx context.Context, tx *ledger.Tx, gone job.Job) error {
	jobs, err := tx.JobsIn(ctx, gone.Thread)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		if j.Report == nil || j.Report.Onto == nil || j.Report.Onto.Job != gone.ID {
			continue
		}
		j.Report.Onto = nil
		if err := tx.SaveJob(ctx, j, ledger.Robot, job.Message{}); err != nil {
			return err
		}
	}
	return nil
}

// wishesOfPieces reads a letter's wishes as those of a job whose file was joined: what is
// said of one piece leaves the others as they are.
func wishesOfPieces(w job.Wishes, j job.Job, text string) job.Wishes {
	if named := piecesIn(text, j.Pieces); len(w.Items) == 0 && len(w.Colours) > 0 && len(named) == 1 {
		w.Items = []job.Item{{Part: named[0].File, Colours: w.Colours}} // "could the letters be blue?"
	}
	said := func(items []job.Item, p job.Piece) (job.Item, bool) {
		i := slices.IndexFunc(items, func(i job.Item) bool { return i.Part != "" && partOf(p.File, i.Part) })
		if i < 0 {
			return job.Item{}, false
		}
		return items[i], true
	}
	var items []job.Item
	var colours []string
	any, sum := false, 0
	for _, p := range j.Pieces {
		item, now := said(w.Items, p)
		any, sum = any || now, sum+item.Copies
		if !now {
			item, _ = said(j.Wishes.Items, p)
		}
		if item = (job.Item{Part: p.File, Colours: item.Colours, Other: item.Other}); len(item.Colours) == 0 && item.Other == "" {
			item.Colours = j.Wishes.Colours
		}
		items, colours = append(items, item), append(colours, item.Colours...)
	}
	if !any {
		return w
	}
	if w.Copies != nil && *w.Copies == sum {
		w.Copies = nil // each piece once
	}
	w.Items, w.Colours = items, slices.Compact(colours)
	return w
}

// piecesIn are the pieces that a text names by a word that no other one has.
func piecesIn(text string, pieces []job.Piece) (out []job.Piece) {
	var each []job.Job
	for _, p := range pieces {
		each = append(each, job.Job{File: p.File})
	}
	for _, p := range pieces {
		if namesFile(text, p.File, each) {
			out = append(out, p)
		}
	}
	return out
}

// ofPieces gives the second colour the bodies of the pieces that are wished in it.
func ofPieces(s job.Settings, w job.Wishes, pieces []job.Piece, r *rules.Rules) job.Settings {
	if s.Second == nil || s.Second.ByHeight() || len(s.Second.Bodies) > 0 || len(pieces) == 0 {
		return s
	}
	two := *s.Second
	for i, p := range pieces {
		second := i > 0
		for _, item := range w.Items {
			if item.Part != "" && partOf(p.File, item.Part) {
				second = inStock(job.Wishes{Material: w.Material, Colours: item.Colours}, r) == two.Colour
			}
		}
		if second {
			two.Bodies = append(two.Bodies, p.Bodies...)
		}
	}
	slices.Sort(two.Bodies)
	s.Second = &two
	return s
}

// newJoint opens the job for a file that was joined.
func (in *incoming) newJoint(ctx context.Context, thread string) error {
	j := job.Job{Thread: thread, Patron: in.l.From, Language: in.l.Language, Auth: in.l.Authenticated, File: in.joint.file, Blob: in.joint.blob, Pieces: in.joint.pieces}
	j.Wishes = wishesOfPieces(in.l.Wishes, j, in.l.Text)
	if len(j.Wishes.Items) == 0 {
		j.Wishes = one(j.Wishes, len(j.Pieces))
	}
	j.Settings = ofPieces(settings(j.Wishes, in.o.Rules), j.Wishes, j.Pieces, in.o.Rules)
	made, err := in.tx.NewJob(ctx, j, in.id, ledger.Robot, job.Say("history.asked-for", job.Args{"letter": in.id}))
	if err != nil {
		return err
	}
	return in.tx.Enqueue(ctx, ledger.StepCheck, string(made.ID), time.Time{})
}

// without leaves out the files that are pieces of it.
func (p *joint) without(files []job.Attachment) []job.Attachment {
	return slices.DeleteFunc(slices.Clone(files), func(f job.Attachment) bool {
		return slices.ContainsFunc(p.pieces, func(x job.Piece) bool { return x.Blob == f.SHA256 && x.File == f.Name })
	})
}

// one reads a count that is the number of the pieces as their number.
func one(w job.Wishes, pieces int) job.Wishes {
	if w.Copies != nil && *w.Copies == pieces {
		w.Copies = nil
	}
	return w
}

// joinJobs has the jobs whose files were joined go on as one.
func (in *incoming) joinJobs(ctx context.Context, jobs []job.Job) error {
	first, others := in.joint.of(jobs)
	now, err := in.o.joinTo(ctx, in.tx, first, others, *in.joint, in.who())
	if err != nil {
		return err
	}
	for _, w := range others {
		now.Wishes = alsoOf(now.Wishes, w.Wishes)
	}
	if err := in.again(ctx, now, now.File, now.Blob); err != nil {
		return err
	}
	return in.done(ctx, job.Say("history.wants-change", nil))
}

// of finds the jobs that have the pieces, the one of the first piece apart.
func (p *joint) of(jobs []job.Job) (first job.Job, others []job.Job) {
	for _, piece := range p.pieces {
		i := slices.IndexFunc(jobs, func(j job.Job) bool { return j.Blob == piece.Blob && j.File == piece.File && !j.Stage.Over() })
		switch {
		case i < 0:
		case first.ID == "":
			first = jobs[i]
		default:
			others = append(others, jobs[i])
		}
	}
	return first, others
}

// joinTo gives a job the joined file, with the colours of the jobs that it is joined
// from, and takes those out of the conversation. The job is still to be checked.
func (o *Office) joinTo(ctx context.Context, tx *ledger.Tx, first job.Job, others []job.Job, p joint, who string) (job.Job, error) {
	var items []job.Item
	for _, j := range append([]job.Job{first}, others...) {
		item := job.Item{Part: j.File, Colours: j.Wishes.Colours}
		if j.Settings.Colour != "" {
			item.Colours = []string{j.Settings.Colour}
		}
		items = append(items, item)
	}
	for _, j := range others {
		j.JoinedTo = first.ID
		why := job.Say("history.joined", job.Args{"job": string(first.ID)})
		if err := tx.SaveJob(ctx, j, who, why); err != nil {
			return job.Job{}, err
		}
		if err := tx.Move(ctx, j.ID, job.Withdrawn, who, why); err != nil {
			return job.Job{}, err
		}
	}
	first.File, first.Blob, first.Pieces, first.Wishes.Together = p.file, p.blob, p.pieces, "yes"
	if !slices.ContainsFunc(items, func(i job.Item) bool { return len(i.Colours) == 0 }) {
		first.Wishes.Items, first.Wishes.Colours = items, nil
		for _, i := range items {
			if !slices.Contains(first.Wishes.Colours, i.Colours[0]) {
				first.Wishes.Colours = append(first.Wishes.Colours, i.Colours[0])
			}
		}
	}
	s := settings(first.Wishes, o.Rules)
	first.Settings.Colour, first.Settings.Second = s.Colour, s.Second
	first.Settings = ofPieces(first.Settings, first.Wishes, first.Pieces, o.Rules)
	return first, nil
}

// alsoOf keeps what only another of the joined jobs knew of how they are collected.
func alsoOf(w, other job.Wishes) job.Wishes {
	for _, f := range []struct{ into, from *string }{{&w.Pickup, &other.Pickup}, {&w.Phone, &other.Phone}, {&w.Card, &other.Card}, {&w.NeededBy, &other.NeededBy}} {
		if *f.into == "" {
			*f.into = *f.from
		}
	}
	return w
}

// joinable reports whether a job may go on as one print with another.
func joinable(j job.Job) bool {
	return job.MayGo(j.Stage, job.Withdrawn) && j.Blob != "" && len(j.Pieces) == 0 && j.JoinedTo == ""
}

// Joinable are the jobs that may go on as one print with a job: those of its conversation
// that are not printed yet.
func (o *Office) Joinable(ctx context.Context, j job.Job) ([]job.Job, error) {
	if !joinable(j) {
		return nil, nil
	}
	jobs, err := o.Ledger.JobsIn(ctx, j.Thread)
	return slices.DeleteFunc(jobs, func(k job.Job) bool { return k.ID == j.ID || !joinable(k) }), err
}

// Partable reports whether a job was joined from several files, and may be parted again.
func Partable(j job.Job) bool {
	return len(j.Pieces) > 0 && !j.Stage.Over() && (j.Stage == job.Taken || job.MayGo(j.Stage, job.Taken))
}

// Join has several jobs of one conversation go on as one print, on a person's word.
func (o *Office) Join(ctx context.Context, ids []job.ID, by string) (job.ID, error) {
	var jobs []job.Job
	var pieces []job.Piece
	for _, id := range ids {
		j, err := o.Ledger.Job(ctx, id)
		if err != nil {
			return "", err
		}
		if !joinable(j) || len(jobs) > 0 && j.Thread != jobs[0].Thread {
			return "", job.Refuse(job.Say("faults.not-joined", job.Args{"job": string(id)}))
		}
		jobs, pieces = append(jobs, j), append(pieces, job.Piece{File: j.File, Blob: j.Blob})
	}
	if len(jobs) < 2 {
		return "", job.Refuse(job.Say("faults.join-two", nil))
	}
	p, err := o.joined(ctx, pieces)
	if err != nil {
		return "", err
	}
	if p == nil {
		return "", job.Refuse(job.Say("faults.pieces-apart", job.Args{"files": filesOf(pieces)}))
	}
	first, _ := p.of(jobs)
	return first.ID, o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		var now []job.Job
		for _, j := range jobs {
			k, err := tx.Job(ctx, j.ID)
			if err != nil {
				return err
			}
			if k.Blob != j.Blob || !joinable(k) {
				return job.Refuse(job.Say("faults.not-joined", job.Args{"job": string(j.ID)}))
			}
			now = append(now, k)
		}
		first, others := p.of(now)
		j, err := o.joinTo(ctx, tx, first, others, *p, by)
		if err != nil {
			return err
		}
		return checkAnew(ctx, tx, j, by, job.Say("history.joined-from", job.Args{"files": filesOf(p.pieces)}))
	})
}

// Part makes jobs of their own of the pieces of a job, on a person's word.
func (o *Office) Part(ctx context.Context, id job.ID, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if !Partable(j) {
			return job.Refuse(job.Say("faults.not-parted", job.Args{"job": string(id)}))
		}
		letters, err := tx.LettersOf(ctx, id)
		if err != nil {
			return err
		}
		letter := ""
		if len(letters) > 0 {
			letter = letters[0].ID
		}
		pieces := j.Pieces
		why := job.Say("history.parted", job.Args{"job": string(id)})
		for _, p := range pieces[1:] {
			other := job.Job{Thread: j.Thread, Patron: j.Patron, Language: j.Language, Auth: j.Auth, File: p.File, Blob: p.Blob, Wishes: pieceAlone(j.Wishes, p)}
			other.Settings = settings(other.Wishes, o.Rules)
			made, err := tx.NewJob(ctx, other, letter, by, why)
			if err != nil {
				return err
			}
			if err := tx.Enqueue(ctx, ledger.StepCheck, string(made.ID), time.Time{}); err != nil {
				return err
			}
		}
		j.File, j.Blob, j.Pieces = pieces[0].File, pieces[0].Blob, nil
		j.Wishes = pieceAlone(j.Wishes, pieces[0])
		j.Settings.Second, j.Settings.Colour = nil, settings(j.Wishes, o.Rules).Colour
		return checkAnew(ctx, tx, j, by, why)
	})
}

// pieceAlone are the wishes of a print narrowed to one piece of it.
func pieceAlone(w job.Wishes, p job.Piece) job.Wishes {
	copies := w.Copies
	w = wishesOf(w, p.File)
	w.Together, w.Copies, w.Items = "no", copies, nil
	return w
}

// checkAnew saves a job that a letter or a person changed, and has it checked.
func checkAnew(ctx context.Context, tx *ledger.Tx, j job.Job, by string, why job.Message) error {
	if j.Stage != job.Taken {
		if err := tx.Move(ctx, j.ID, job.Taken, by, why); err != nil {
			return err
		}
	}
	if err := tx.SaveJob(ctx, j, by, why); err != nil {
		return err
	}
	return tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{})
}

func filesOf(pieces []job.Piece) []string {
	var out []string
	for _, p := range pieces {
		out = append(out, p.File)
	}
	return out
}
