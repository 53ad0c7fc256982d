package casework

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// drawn keeps a box in the ledger that is drawn at a place, and gives its SHA-256.
func (w *walk) drawn(x, y, z, dx, dy, dz float64) string {
	w.t.Helper()
	var b bytes.Buffer
	w.must(mesh.WriteSTL(&b, shapes.Moved(shapes.Box(dx, dy, dz), x, y, z)))
	sha, _, err := w.l.PutBlob(w.ctx, ledger.KindMesh, &b, 0)
	w.must(err)
	return sha
}

// A letter's files are one print where it says so, is no machine's, brings two of them at
// least and as many as are allowed at most, that meet as they are drawn, and wishes them
// once each. Files that its conversation has are meant where it brings none.
func TestFilesThatALetterJoins(t *testing.T) {
	w := newWalk(t, 1)
	base, letters, feet := w.drawn(0, 0, 0, 60, 30, 4), w.drawn(10, 5, 4, 20, 10, 2), w.drawn(5, 5, -3, 8, 8, 3)
	apart, nothing := w.drawn(200, 0, 0, 9, 9, 9), "none"
	file := func(name, sha string) job.Attachment {
		return job.Attachment{Name: name, Kind: job.KindMesh, SHA256: sha}
	}
	two := []job.Attachment{file("letters.stl", letters), file("base.stl", base)}
	three := append(two[:2:2], file("feet.stl", feet))
	tower := func(n int) (out []job.Attachment) {
		for i := range n {
			out = append(out, file(fmt.Sprintf("floor%c.stl", 'a'+i), w.drawn(0, 0, 10*float64(i), 9, 9, 10)))
		}
		return out
	}
	jobsOf := func(stage job.Stage) []job.Job {
		return []job.Job{{File: "base.stl", Blob: base, Stage: stage}, {File: "letters.stl", Blob: letters, Stage: job.Quoted}}
	}
	for name, c := range map[string]struct {
		files []job.Attachment
		jobs  []job.Job
		edit  func(l *job.Letter)
		most  int
		want  string
	}{
		"two":                     {two, nil, nil, 9, "base.stl + letters.stl"},
		"it does not say so":      {two, nil, func(l *job.Letter) { l.Wishes.Together = "no" }, 9, ""},
		"a machine's":             {two, nil, func(l *job.Letter) { l.Disposition = job.Automatic }, 9, ""},
		"one":                     {two[:1], nil, nil, 9, ""},
		"none":                    {nil, nil, nil, 9, ""},
		"those it has":            {nil, jobsOf(job.Quoted), nil, 9, "base.stl + letters.stl"},
		"one of those is printed": {nil, jobsOf(job.Printing), nil, 9, ""},
		"those it brings":         {two, jobsOf(job.Quoted)[:1], nil, 9, "base.stl + letters.stl"},
		"it has one, brings one":  {two[:1], jobsOf(job.Quoted), nil, 9, ""},
		"a picture beside":        {append(two[:2:2], job.Attachment{Name: "p.png", Kind: job.KindPicture, SHA256: base}), nil, nil, 9, "base.stl + letters.stl"},
		"one is not kept":         {append(two[:2:2], file("c.stl", "")), nil, nil, 9, "base.stl + letters.stl"},
		"three":                   {three, nil, nil, 9, "base.stl + letters.stl + feet.stl"},
		"as many as the rules":    {three, nil, nil, 3, "base.stl + letters.stl + feet.stl"},
		"more than the rules":     {three, nil, nil, 2, ""},
		"as many as we join":      {tower(8), nil, nil, 20, "floora.stl + floorb.stl + floorc.stl + floord.stl + floore.stl + floorf.stl + floorg.stl + floorh.stl"},
		"more than we join":       {tower(9), nil, nil, 20, ""},
		"two of three are named":  {three, nil, func(l *job.Letter) { l.Wishes.Items = []job.Item{{Part: "feet"}, {Part: "base"}} }, 9, "base.stl + feet.stl"},
		"one of three is named":   {three, nil, func(l *job.Letter) { l.Wishes.Items = []job.Item{{Part: "feet"}} }, 9, "base.stl + letters.stl + feet.stl"},
		"in two numbers": {two, nil, func(l *job.Letter) {
			l.Wishes.Items = []job.Item{{Part: "base", Copies: 1}, {Part: "letters", Copies: 2}}
		}, 9, ""},
		"they lie apart":     {[]job.Attachment{two[0], file("apart.stl", apart)}, nil, nil, 9, ""},
		"one cannot be read": {[]job.Attachment{two[0], file("gone.stl", nothing)}, nil, nil, 9, ""},
	} {
		r := *w.o.Rules
		r.Limits.FilesPerLetter = c.most
		w.o.Rules = &r
		l := &job.Letter{Attachments: c.files, Wishes: job.Wishes{Together: "yes"}, Disposition: job.Request}
		if c.edit != nil {
			c.edit(l)
		}
		got, err := w.o.toJoin(w.ctx, l, c.jobs)
		w.must(err)
		is := ""
		if got != nil {
			is = got.file
		}
		if is != c.want {
			t.Errorf("%s: joined as %q, want %q", name, is, c.want)
		}
	}
}

// An answer joins what its one conversation has; a letter that begins one, or of which it
// is not sure where it belongs, does not.
func TestWhoseFilesAreJoined(t *testing.T) {
	w := newWalk(t, 1)
	drawn := []string{w.drawn(0, 0, 0, 60, 30, 4), w.drawn(10, 5, 4, 20, 10, 2)}
	w.another()
	w.sign()
	w.edit = func(l *job.Letter) {
		for i, sha := range drawn {
			l.Attachments[i].SHA256 = sha
		}
	}
	w.asks("base.stl", "letters.stl")
	w.edit = nil
	thread := ledger.Thread{Token: w.thread}
	guess := thread
	guess.Guess = true
	for name, c := range map[string]struct {
		together string
		as       job.Disposition
		threads  []ledger.Thread
		want     bool
	}{
		"its own": {"yes", job.Answer, []ledger.Thread{thread}, true}, "no word of it": {"", job.Answer, []ledger.Thread{thread}, false},
		"a request": {"yes", job.Request, []ledger.Thread{thread}, false}, "a guess": {"yes", job.Answer, []ledger.Thread{guess}, false},
		"of two": {"yes", job.Answer, []ledger.Thread{thread, thread}, false}, "of none": {"yes", job.Answer, nil, false},
	} {
		got, err := w.o.joinedFor(w.ctx, &job.Letter{Disposition: c.as, Wishes: job.Wishes{Together: c.together}}, c.threads)
		if err != nil || (got != nil) != c.want {
			t.Errorf("%s: joined %v, %v", name, got != nil, err)
		}
	}

	for _, j := range w.ids {
		got, err := w.o.Joinable(w.ctx, func() job.Job { k, err := w.l.Job(w.ctx, j); w.must(err); return k }())
		if err != nil || len(got) != 1 || got[0].ID == j {
			t.Errorf("%s may be joined with %d others, %v", j, len(got), err)
		}
	}
	refused := func(what, want string, ids ...job.ID) {
		t.Helper()
		if _, err := w.o.Join(w.ctx, ids, clerk); job.Why(err).Key != want {
			t.Errorf("%s: %v, want %s", what, err, want)
		}
	}
	both := w.ids
	refused("one", "faults.join-two", both[0])
	refused("none", "faults.join-two")
	w.offer("lid.stl")
	refused("of another conversation", "faults.not-joined", both[0], w.ids[0])
	w.ids = both
	first, err := w.o.Join(w.ctx, both, clerk)
	w.must(err)
	refused("what was joined", "faults.not-joined", both...)
	j, err := w.l.Job(w.ctx, first)
	w.must(err)
	if first != both[0] || j.File != "base.stl + letters.stl" || j.Stage != job.Taken || len(j.Pieces) != 2 || j.Settings.Colour != "blue" {
		t.Errorf("joined: %+v", j)
	}
	if got, err := w.o.Joinable(w.ctx, j); err != nil || len(got) != 0 {
		t.Errorf("a joined one may be joined with %d more, %v", len(got), err)
	}
	w.must(w.o.Part(w.ctx, first, clerk))
	if err := w.o.Part(w.ctx, first, clerk); job.Why(err).Key != "faults.not-parted" {
		t.Errorf("parted twice: %v", err)
	}
	jobs, err := w.l.JobsIn(w.ctx, thread.Token)
	w.must(err)
	var files []string
	for _, j := range jobs {
		files = append(files, j.File+" "+string(j.Stage))
		if j.Stage == job.Taken && (len(j.Pieces) != 0 || j.Settings.Second != nil) {
			t.Errorf("a piece: %+v", j)
		}
		if letters, err := w.l.LettersOf(w.ctx, j.ID); err != nil || len(letters) != 1 {
			t.Errorf("%s has %d letters, %v", j.ID, len(letters), err)
		}
	}
	if got := strings.Join(files, ", "); got != "base.stl taken, letters.stl taken" {
		t.Errorf("parted: %s", got)
	}
}

// Jobs that are joined keep their colours where each has one, and what staff set stands
// before what was wished.
func TestColoursOfWhatIsJoined(t *testing.T) {
	for name, c := range map[string]struct {
		a, b          job.Job
		items         int
		colour, other string
	}{
		"as wished":      {job.Job{Wishes: job.Wishes{Colours: []string{"blue"}}}, job.Job{Wishes: job.Wishes{Colours: []string{"red"}}}, 2, "blue", "red"},
		"as staff set":   {job.Job{Wishes: job.Wishes{Colours: []string{"blue"}}, Settings: job.Settings{Colour: "black"}}, job.Job{Wishes: job.Wishes{Colours: []string{"red"}}}, 2, "black", "red"},
		"the same":       {job.Job{Wishes: job.Wishes{Colours: []string{"blue"}}}, job.Job{Wishes: job.Wishes{Colours: []string{"blue"}}}, 2, "blue", ""},
		"one of no word": {job.Job{Wishes: job.Wishes{Colours: []string{"blue"}}}, job.Job{}, 0, "blue", ""},
	} {
		w := newWalk(t, 1)
		c.a.File, c.b.File = "base.stl", "letters.stl"
		var got job.Job
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) (err error) {
			for _, j := range []*job.Job{&c.a, &c.b} {
				if *j, err = tx.NewJob(w.ctx, *j, "", clerk, job.Plain("")); err != nil {
					return err
				}
			}
			got, err = w.o.joinTo(w.ctx, tx, c.a, []job.Job{c.b}, joint{file: "x", blob: "y", pieces: []job.Piece{{File: "base.stl", Bodies: []int{1}}, {File: "letters.stl", Bodies: []int{2}}}}, clerk)
			return err
		}))
		other := ""
		if got.Settings.Second != nil {
			other = got.Settings.Second.Colour
		}
		if len(got.Wishes.Items) != c.items || got.Settings.Colour != c.colour || other != c.other {
			t.Errorf("%s: items %+v, %q and %q", name, got.Wishes.Items, got.Settings.Colour, other)
		}
	}
}

// Two parts of a conversation are noted where one is drawn to stand on the other, whichever
// is checked last: not with one that is over, of several files, of the same file, without
// a mesh, or that stands on a third.
func TestWhichPartsAreNotedAsOne(t *testing.T) {
	base, letters := job.Shape{SizeMM: [3]float64{60, 30, 4}}, job.Shape{AtMM: [3]float64{10, 5, 4}, SizeMM: [3]float64{20, 10, 2}}
	for name, c := range map[string]struct {
		change func(checked, other *job.Job)
		want   bool
	}{
		"stands on it":          {func(a, b *job.Job) {}, true},
		"it stands on this":     {func(a, b *job.Job) { a.Report.Mesh, b.Report.Mesh = b.Report.Mesh, a.Report.Mesh }, true},
		"lies elsewhere":        {func(a, b *job.Job) { a.Report.Mesh.AtMM[0] = 500 }, false},
		"not looked at":         {func(a, b *job.Job) { a.Report = nil }, false},
		"without a mesh":        {func(a, b *job.Job) { a.Report.Mesh = nil }, false},
		"of several":            {func(a, b *job.Job) { a.Pieces = make([]job.Piece, 1) }, false},
		"other not looked at":   {func(a, b *job.Job) { b.Report = nil }, false},
		"other without a mesh":  {func(a, b *job.Job) { b.Report.Mesh = nil }, false},
		"other of several":      {func(a, b *job.Job) { b.Pieces = make([]job.Piece, 1) }, false},
		"the same file":         {func(a, b *job.Job) { b.Blob = a.Blob }, false},
		"other is over":         {func(a, b *job.Job) { b.Stage = job.Withdrawn }, false},
		"other is with a third": {func(a, b *job.Job) { b.Report.Onto = &job.Onto{Job: "J-9"} }, false},
		"other is with this":    {func(a, b *job.Job) { b.Report.Onto = &job.Onto{Job: a.ID} }, true},
		"other's conversation":  {func(a, b *job.Job) { b.Thread = "MC-OTHER" }, false},
	} {
		w := newWalk(t, 1)
		files := []string{w.drawn(0, 0, 0, 1, 1, 1), w.drawn(0, 0, 0, 2, 2, 2)}
		a := job.Job{Thread: "MC-ONE", File: "letters.stl", Blob: files[0], Report: &job.Report{Mesh: new(letters)}}
		b := job.Job{Thread: "MC-ONE", File: "base.stl", Blob: files[1], Report: &job.Report{Mesh: new(base)}}
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) (err error) {
			if a, err = tx.NewJob(w.ctx, a, "", clerk, job.Plain("")); err != nil {
				return err
			}
			c.change(&a, &b)
			stage := b.Stage
			b.Stage = ""
			if b, err = tx.NewJob(w.ctx, b, "", clerk, job.Plain("")); err != nil {
				return err
			}
			if stage != "" {
				w.must(tx.Move(w.ctx, b.ID, stage, clerk, job.Plain("")))
			}
			w.must(tx.SaveJob(w.ctx, a, clerk, job.Plain("")))
			got, err := findOnto(w.ctx, tx, a)
			w.must(err)
			noted := got.Report != nil && got.Report.Onto != nil && got.Report.Onto.Job == b.ID
			if b, err = tx.Job(w.ctx, b.ID); err != nil {
				return err
			}
			both := b.Report != nil && b.Report.Onto != nil && b.Report.Onto.Job == a.ID
			if noted != c.want || both != c.want && name != "other is with this" {
				t.Errorf("%s: noted %v, with the other %v", name, noted, both)
			}
			if !noted {
				return nil
			}
			w.must(tx.SaveJob(w.ctx, got, clerk, job.Plain("")))
			w.must(leavesAlone(w.ctx, tx, job.Job{ID: "J-9", Thread: a.Thread}))
			for i, gone := range []job.Job{{ID: "J-9", Thread: a.Thread}, b} {
				w.must(leavesAlone(w.ctx, tx, gone))
				if a, err = tx.Job(w.ctx, a.ID); err != nil || (a.Report.Onto == nil) != (i == 1) {
					t.Errorf("%s: after %s is given up, with %+v, %v", name, gone.ID, a.Report.Onto, err)
				}
			}
			return nil
		}))
	}
}

// A print of several files is opened with their wishes, and is checked; a job is moved to
// be checked anew unless it already is.
func TestJobOfTheJoinedFile(t *testing.T) {
	w := newWalk(t, 1)
	for copies, want := range map[int]int{2: 0, 3: 3} {
		id := w.letter("Please print these as one.")
		in := &incoming{o: w.o, id: id, l: &job.Letter{From: job.Address{Address: "ada@example.org"}, Wishes: job.Wishes{Copies: &copies, Colours: []string{"blue"}}},
			joint: &joint{file: "base.stl + letters.stl", blob: w.drawn(0, 0, 0, 1, 1, 1), pieces: []job.Piece{{File: "base.stl"}, {File: "letters.stl"}}}}
		thread := ledger.NewThread()
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { in.tx = tx; return in.newJoint(w.ctx, thread) }))
		jobs, err := w.l.JobsIn(w.ctx, thread)
		if err != nil || len(jobs) != 1 || jobs[0].Settings.Copies != want || jobs[0].Settings.Colour != "blue" {
			t.Fatalf("%d copies of two pieces: %+v, %v", copies, jobs, err)
		}
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return checkAnew(w.ctx, tx, jobs[0], clerk, job.Plain("")) }))
		w.must(w.l.Move(w.ctx, jobs[0].ID, job.Checked, clerk, job.Plain("")))
		j, err := w.l.Job(w.ctx, jobs[0].ID)
		w.must(err)
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return checkAnew(w.ctx, tx, j, clerk, job.Plain("")) }))
		if j, err = w.l.Job(w.ctx, j.ID); err != nil || j.Stage != job.Taken {
			t.Errorf("to be checked anew: %s, %v", j.Stage, err)
		}
		steps, err := w.l.OpenSteps(w.ctx)
		if err != nil || !slices.ContainsFunc(steps, func(s ledger.OpenStep) bool { return s.Kind == ledger.StepCheck && s.Subject == string(j.ID) }) {
			t.Errorf("the check of %s is not to be done: %+v, %v", j.ID, steps, err)
		}
	}
}
