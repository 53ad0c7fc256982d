package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// laid is a part as it goes onto the printer: mended, scaled, the advised way up,
// standing on the bed in the middle of it.
type laid struct {
	mesh *mesh.Mesh
	done []string // what was done to it, in order
}

// layPart mends a file and sets it on the bed. A turn or scale that changes
// nothing is not mentioned.
func layPart(ctx context.Context, path string, r *rules.Rules, turn [3][3]float64, why string, scale float64) (laid, error) {
	m, facts, err := mesh.ReadFile(ctx, path, mesh.Limits{Bytes: r.Caps.MeshBytes, Facets: r.Caps.Facets, CoordinateMM: r.Caps.CoordinateMM})
	if err != nil {
		return laid{}, err
	}
	m, done, err := mesh.Mend(ctx, m, mesh.MendOptions{Facts: facts})
	if bad, ok := errors.AsType[*mesh.Unmendable](err); ok {
		return laid{}, fmt.Errorf("it cannot be mended honestly: %s", bad.What)
	}
	if err != nil {
		return laid{}, err
	}
	p := laid{m, done}
	if turn != mesh.Upright {
		p.mesh = p.mesh.Transformed(turn, 1)
		p.did("turned it the advised way up%s", after(": ", why))
	}
	if scale > 0 && scale != 1 {
		p.mesh = p.mesh.Transformed(mesh.Upright, scale)
		p.did("scaled it to %.4g %%", 100*scale)
	}
	p.setDown()
	return p, nil
}

func after(lead, s string) string {
	if s == "" {
		return ""
	}
	return lead + s
}

func (p *laid) did(format string, args ...any) { p.done = append(p.done, fmt.Sprintf(format, args...)) }

// setDown moves the part onto the bed: its lowest point at z = 0, its middle at x = y = 0.
func (p *laid) setDown() {
	b := p.mesh.Bounds()
	move := mesh.Vec{-(b.Min[0] + b.Max[0]) / 2, -(b.Min[1] + b.Max[1]) / 2, -b.Min[2]}
	if move.Len() < 1e-6 {
		return
	}
	out := &mesh.Mesh{Vertices: make([]mesh.Vec, len(p.mesh.Vertices)), Triangles: p.mesh.Triangles}
	for i, v := range p.mesh.Vertices {
		out.Vertices[i] = v.Add(move)
	}
	p.mesh = out
	p.did("set it down on the bed, with its middle at x = y = 0")
}

// writeNew writes a file that must not exist yet, whole or not at all.
func writeNew(path string, mode os.FileMode, fill func(w io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already and is left as it is; name another file", path)
	}
	return writeOver(path, mode, fill)
}

// writeOver writes a file whole or not at all, in the place of an earlier one.
func writeOver(path string, mode os.FileMode, fill func(w io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".meshclerk-*")
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	defer os.Remove(f.Name()) // gone already when all went well
	for _, do := range []func() error{func() error { return fill(f) }, f.Sync, func() error { return f.Chmod(mode) }} {
		if err == nil {
			err = do()
		}
	}
	if errClose := f.Close(); err == nil {
		err = errClose
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	return nil
}
