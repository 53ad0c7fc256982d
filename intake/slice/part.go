package slice

import (
	"cmp"
	"context"
	"math"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/room"
)

// part is a mesh made ready for cutting: scaled, and standing on z = 0 with its
// box centred on x = y = 0.
type part struct {
	vertices  []mesh.Vec
	triangles [][3]int32
	size      mesh.Vec
	outline   [][2]float64 // the convex outline of its plan, mm
	closed    bool         // every edge is run as often one way as the other
	second    *part        // what the second nozzle lays, in the same place and with the same size; nil for one colour
}

func newPart(ctx context.Context, m *mesh.Mesh, p *recipe) (*part, error) {
	if m == nil || len(m.Triangles) == 0 {
		return nil, job.Refuse(job.Say("findings.slice.no-facets", nil))
	}
	b := m.Bounds()
	second := p.in.Second
	if second != nil && len(second.Triangles) > 0 {
		o := second.Bounds()
		for k := range 3 {
			b.Min[k], b.Max[k] = min(b.Min[k], o.Min[k]), max(b.Max[k], o.Max[k])
		}
	}
	size := b.Size().Mul(p.scale)
	for k := range 3 {
		if math.IsNaN(size[k]) || size[k] > 100e3 {
			return nil, job.Refuse(job.Say("findings.slice.too-large", nil))
		}
	}
	at := mesh.Vec{(b.Min[0] + b.Max[0]) / 2, (b.Min[1] + b.Max[1]) / 2, b.Min[2]}
	out, err := placed(ctx, m, at, p.scale, size)
	if err == nil && second != nil && len(second.Triangles) > 0 {
		out.second, err = placed(ctx, second, at, p.scale, size)
	}
	if err == nil {
		out.outline = out.whole().plan()
	}
	return out, err
}

// plan returns the convex outline of the part's plan. What lies inside the polygon of
// eight far vertices, nearly all of a large part, is left out beforehand.
func (p *part) plan() [][2]float64 {
	var ring [8]mesh.Vec
	for k := range ring {
		sin, cos := math.Sincos(math.Pi * float64(k) / 4)
		along := func(v mesh.Vec) float64 { return cos*v[0] + sin*v[1] }
		ring[k] = slices.MaxFunc(p.vertices, func(a, b mesh.Vec) int { return cmp.Compare(along(a), along(b)) })
	}
	inside := func(v mesh.Vec) bool {
		for k, a := range ring {
			b := ring[(k+1)%len(ring)]
			if a != b && (b[0]-a[0])*(v[1]-a[1])-(b[1]-a[1])*(v[0]-a[0]) <= 0 {
				return false
			}
		}
		return true
	}
	var out [][2]float64
	for _, v := range p.vertices {
		if !inside(v) {
			out = append(out, [2]float64{v[0], v[1]})
		}
	}
	return room.Outline(out)
}

// holds reports whether a printer's build volume holds the part as it stands, turned
// about the upright axis by any angle.
func (p *part) holds(build [3]float64) bool { return room.Scale(p.outline, p.size[2], build) >= 1 }

func placed(ctx context.Context, m *mesh.Mesh, at mesh.Vec, scale float64, size mesh.Vec) (*part, error) {
	out := &part{vertices: make([]mesh.Vec, len(m.Vertices)), triangles: m.Triangles, size: size}
	for i, v := range m.Vertices {
		out.vertices[i] = v.Sub(at).Mul(scale)
	}
	return out, out.mend(ctx)
}

// whole is the part with what the second nozzle lays.
func (p *part) whole() *part {
	if p.second == nil {
		return p
	}
	out := &part{vertices: slices.Concat(p.vertices, p.second.vertices), triangles: slices.Clone(p.triangles), size: p.size}
	n := int32(len(p.vertices))
	for _, t := range p.second.triangles {
		out.triangles = append(out.triangles, [3]int32{t[0] + n, t[1] + n, t[2] + n})
	}
	return out
}

// volume is the mesh's own volume, mm3: the sum of v0.(v1 x v2)/6.
func (p *part) volume() float64 {
	sum := 0.0
	for _, t := range p.triangles {
		a, b, c := p.vertices[t[0]], p.vertices[t[1]], p.vertices[t[2]]
		sum += a.Dot(b.Cross(c))
	}
	return sum / 6
}

// scaled is the part at another size.
func (p *part) scaled(by float64) *part {
	out := &part{vertices: make([]mesh.Vec, len(p.vertices)), triangles: p.triangles, size: p.size.Mul(by), closed: p.closed}
	for i, v := range p.vertices {
		out.vertices[i] = v.Mul(by)
	}
	for _, c := range p.outline {
		out.outline = append(out.outline, [2]float64{c[0] * by, c[1] * by})
	}
	if p.second != nil {
		out.second = p.second.scaled(by)
	}
	return out
}
