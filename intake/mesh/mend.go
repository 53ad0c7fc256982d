package mesh

import (
	"context"
	"errors"

	"meshclerk/intake/budget"
	"meshclerk/intake/job"
)

// MendOptions bound what Mend may do. A zero field takes its default.
type MendOptions struct {
	Facts     Facts // of Read, so that the list says what reading already left out
	HoleEdges int   // edges of the longest hole that is closed; 400
}

// ErrUnmendable is the cause of a job.Fault that says why Mend cannot make a mesh
// sound without guessing.
var ErrUnmendable = errors.New("the mesh cannot be mended without guessing")

func unmendable(what job.Message) error { return &job.Fault{Message: what, Err: ErrUnmendable} }

// Mend makes a mesh sound: facets without area and repeated ones are left out,
// walls without thickness removed, all facets wound the same way, holes closed,
// bodies that are inside out turned, voids left voids. It returns a new mesh and
// a list of what was done, nothing where nothing was needed. What it cannot do
// honestly is a job.Fault caused by ErrUnmendable: holes too long or too uneven to guess what was
// there, sheets without thickness, edges where an odd number of facets meet.
// Crossings are left alone; a printer merges bodies that cross.
func Mend(ctx context.Context, m *Mesh, opts MendOptions) (*Mesh, []job.Message, error) {
	if opts.HoleEdges <= 0 {
		opts.HoleEdges = 400
	}
	budget.From(ctx).Spend(examineCost * len(m.Triangles))
	w := &mending{ctx: ctx, opts: opts}
	if err := w.clean(m); err != nil {
		return nil, nil, err
	}
	for _, step := range []func() error{w.examine, w.dropWalls, w.dropLoose, w.windAlike, w.close, w.turnOutward, w.verify} {
		if err := step(); err != nil {
			return nil, nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
	}
	return w.mesh, w.done, nil
}

// mending is a mesh on its way; top is always the topology of mesh.
type mending struct {
	ctx  context.Context
	opts MendOptions
	mesh *Mesh
	top  *Topology
	done []job.Message
}

func (w *mending) did(what job.Message) { w.done = append(w.done, what) }

// clean leaves out what a clean mesh has not, and lists what reading left out.
func (w *mending) clean(m *Mesh) error {
	facts := w.opts.Facts
	if !facts.edges.of(m) {
		s := m.withoutCollapsed()
		facts.Degenerate += len(m.Triangles) - len(s.Triangles)
		before := facts.Duplicate
		var err error
		if m, err = settle(w.ctx, s, findSlivers(s), &facts); err != nil {
			return err
		}
		facts.Duplicate += before
	}
	w.mesh = m
	if facts.Degenerate > 0 {
		w.did(job.Say("mending.without-area", job.Args{"n": facts.Degenerate}))
	}
	if facts.Duplicate > 0 {
		w.did(job.Say("mending.repeated", job.Args{"n": facts.Duplicate}))
	}
	if facts.WeldTolerance > 0 {
		w.did(job.Say("mending.joined", job.Args{"gap": job.Quantity{Amount: facts.WeldTolerance, Unit: "mm"}}))
	}
	return nil
}

// withoutCollapsed leaves out facets with a corner twice.
func (m *Mesh) withoutCollapsed() *Mesh {
	out := &Mesh{Vertices: m.Vertices, Triangles: make([][3]int32, 0, len(m.Triangles))}
	for _, t := range m.Triangles {
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			out.Triangles = append(out.Triangles, t)
		}
	}
	return out.compact()
}

// examine examines the mesh anew.
func (w *mending) examine() error {
	if len(w.mesh.Triangles) == 0 {
		return unmendable(job.Say("mending.nothing-left", nil))
	}
	var err error
	w.top, err = Examine(w.ctx, w.mesh, Facts{}, Options{SkipCrossings: true})
	return err
}

func (w *mending) replace(m *Mesh) error {
	w.mesh = m
	return w.examine()
}

// dropWalls removes pairs of facets back to back where that leaves the edges
// around them with two facets: walls between joined bodies, and fins.
func (w *mending) dropWalls() error {
	if w.top.Edges.NonManifold == 0 {
		return nil
	}
	pairs := backToBack(w.top.Edges)
	if len(pairs) == 0 {
		return nil
	}
	var drop []int32
	for _, p := range pairs {
		drop = append(drop, p[0], p[1])
	}
	m, e := w.mesh.without(drop)
	before := w.top.Edges
	if e.NonManifold >= before.NonManifold || e.Open > before.Open {
		return nil
	}
	w.did(job.Say("mending.wall-facets", job.Args{"n": len(pairs)}))
	return w.replace(m)
}

// dropLoose removes scraps of surface that enclose nothing and are too small to
// be what the model is about.
func (w *mending) dropLoose() error {
	limit := w.top.Shape.AreaMM2 / 100
	loose := map[int32]bool{}
	var drop []int32
	for i, s := range w.top.Shells {
		if !hasVolume(s.Volume, s.Area, 1e-3) && s.Area < limit {
			loose[int32(i)] = true
		}
	}
	if len(loose) == 0 {
		return nil
	}
	for f, s := range w.top.ShellOf {
		if loose[s] {
			drop = append(drop, int32(f))
		}
	}
	w.did(job.Say("mending.loose", job.Args{"n": len(drop)}))
	m, _ := w.mesh.without(drop)
	return w.replace(m)
}

// windAlike turns the facets that disagree with the most of their shell.
func (w *mending) windAlike() error {
	if w.top.reversed == nil {
		return nil
	}
	n := 0
	for _, t := range w.top.reversed {
		if t {
			n++
		}
	}
	if err := w.replace(w.mesh.withReversed(func(f int) bool { return w.top.reversed[f] })); err != nil {
		return err
	}
	w.did(job.Say("mending.faced-wrong", job.Args{"n": n}))
	if w.top.Edges.Flipped > 0 {
		return unmendable(job.Say("mending.one-side", job.Args{"place": place(w.top.FlippedAt[0])}))
	}
	return nil
}

// withReversed returns a copy in which the facets that which selects are wound
// the other way.
func (m *Mesh) withReversed(which func(f int) bool) *Mesh {
	out := &Mesh{Vertices: m.Vertices, Triangles: make([][3]int32, len(m.Triangles))}
	for f, t := range m.Triangles {
		if which(f) {
			t[1], t[2] = t[2], t[1]
		}
		out.Triangles[f] = t
	}
	return out
}

// turnOutward turns the shells that are inside out for what they are.
func (w *mending) turnOutward() error {
	bodies, voids := 0, 0
	for _, s := range w.top.Shells {
		switch {
		case s.InsideOut && s.Outer:
			bodies++
		case s.InsideOut:
			voids++
		}
	}
	if bodies+voids == 0 {
		return nil
	}
	if bodies > 0 {
		w.did(job.Say("mending.bodies-turned", job.Args{"n": bodies}))
	}
	if voids > 0 {
		w.did(job.Say("mending.hollows-turned", job.Args{"n": voids}))
	}
	return w.replace(w.mesh.withReversed(func(f int) bool { return w.top.Shells[w.top.ShellOf[f]].InsideOut }))
}

// verify refuses a result that is not sound. Edges where an even number of
// facets meet, half of them each way, are bodies that touch: that can be printed.
func (w *mending) verify() error {
	t := w.top
	for _, fan := range t.Edges.Fans() {
		if len(fan)%2 != 0 {
			return unmendable(job.Say("mending.odd-edge", job.Args{"place": place(t.NonmanifoldAt[0])}))
		}
	}
	switch {
	case t.Edges.Lopsided > 0:
		return unmendable(job.Say("mending.lopsided-edge", job.Args{"place": place(t.NonmanifoldAt[0])}))
	case t.Edges.Open > 0:
		return unmendable(job.Say("mending.still-open", job.Args{"place": place(t.OpenAt[0])}))
	case !hasVolume(t.Shape.VolumeMM3, t.Shape.AreaMM2, 1e-9):
		return unmendable(job.Say("mending.no-thickness", nil))
	}
	if t.Edges.NonManifold > 0 {
		w.did(job.Say("mending.touching", job.Args{"n": t.Edges.NonManifold}))
	}
	return nil
}

func place(p Vec) job.Message {
	return job.Say("mending.place", job.Args{"x": p[0], "y": p[1], "z": p[2]})
}
