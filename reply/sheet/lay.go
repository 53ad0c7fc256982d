package sheet

import (
	"context"
	"errors"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/preflight"
	"meshclerk/rules"
)

// Part is a part as it goes onto the printer: mended, scaled, the advised way up,
// standing on the bed in the middle of it.
type Part struct {
	Mesh *mesh.Mesh
	Done []job.Message // what was done to it, in order
}

// Lay mends a file and sets it on the bed. A rotation or scale that changes
// nothing is not mentioned. Why puts its error into a message.
func Lay(ctx context.Context, path string, r *rules.Rules, rotation [3][3]float64, why job.Message, scale float64) (Part, error) {
	f, err := preflight.Open(ctx, path, r.Caps)
	if err != nil {
		return Part{}, err
	}
	m, done, err := mesh.Mend(ctx, f.Mesh, mesh.MendOptions{Facts: f.Facts})
	if err != nil {
		return Part{}, err
	}
	p := Part{m, done}
	if rotation != mesh.Upright {
		p.Mesh = p.Mesh.Transformed(rotation, 1)
		p.did(turned(why))
	}
	if scale > 0 && scale != 1 {
		p.Mesh = p.Mesh.Transformed(mesh.Upright, scale)
		p.did(job.Say("mending.scaled", job.Args{"percent": job.Quantity{Amount: 100 * scale, Unit: "%"}}))
	}
	p.setDown()
	return p, nil
}

// Why says why Lay could make no part of a file.
func Why(err error) job.Message {
	if errors.Is(err, mesh.ErrUnmendable) {
		return job.Say("mending.refused", job.Args{"why": job.Why(err)})
	}
	return job.Why(err)
}

func turned(why job.Message) job.Message {
	if why.IsZero() {
		return job.Say("mending.turned", nil)
	}
	return job.Say("mending.turned-why", job.Args{"why": why})
}

func (p *Part) did(what job.Message) { p.Done = append(p.Done, what) }

// setDown moves the part onto the bed: its lowest point at z = 0, its middle at x = y = 0.
func (p *Part) setDown() {
	b := p.Mesh.Bounds()
	move := mesh.Vec{-(b.Min[0] + b.Max[0]) / 2, -(b.Min[1] + b.Max[1]) / 2, -b.Min[2]}
	if move.Len() < 1e-6 {
		return
	}
	out := &mesh.Mesh{Vertices: make([]mesh.Vec, len(p.Mesh.Vertices)), Triangles: p.Mesh.Triangles}
	for i, v := range p.Mesh.Vertices {
		out.Vertices[i] = v.Add(move)
	}
	p.Mesh = out
	p.did(job.Say("mending.set-down", nil))
}
