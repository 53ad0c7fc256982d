package slice

import (
	"context"
	"math"

	"meshclerk/intake/budget"
	"meshclerk/intake/mesh"
)

// layerEstimate is what each layer roughly holds, summed up from the facets without
// cutting a layer: enough to tell which layers are so alike that one of them may
// stand for the others. Every list has one place more than there are layers.
type layerEstimate struct {
	*recipe
	layers  int
	outline []float64 // mm, the length of the outlines
	area    []float64 // mm2, within them
	up      []float64 // mm2, seen from above: of surface on the layer that faces up
	down    []float64 // and under it that faces down
	support []float64 // mm2, of supports
	gapX    []float64 // mm, from where the outlines end to where they begin: 0 when they close
	gapY    []float64
}

func (p *recipe) newLayerEstimate(layers int) *layerEstimate {
	list := func() []float64 { return make([]float64, layers+1) }
	return &layerEstimate{p, layers, list(), list(), list(), list(), list(), list(), list()}
}

// estimateLayers sums up the layers of a part and its supports; nil for none.
// Stopped by the context, it is not whole.
func (p *recipe) estimateLayers(ctx context.Context, part *part, g *supportGrid) *layerEstimate {
	s := p.newLayerEstimate(p.layerCount(part.size[2]))
	const perSpend = 1 << 12
	meter := budget.From(ctx)
	meter.Spend(3*len(part.triangles) + 20*s.layers)
	var own [sharers]*layerEstimate
	shared(len(part.triangles), func(k, from, to int) {
		own[k] = p.newLayerEstimate(s.layers)
		cut := 0
		for f := from; f < to && (f%64 != 0 || ctx.Err() == nil); f++ {
			t := part.triangles[f]
			cut += own[k].facet(&part.vertices[t[0]], &part.vertices[t[1]], &part.vertices[t[2]])
			if cut >= perSpend {
				meter.Spend(cut)
				cut = 0
			}
		}
		meter.Spend(cut)
	})
	for _, o := range own {
		s.add(o)
	}
	if g != nil {
		for _, b := range g.columns {
			if lo, hi := s.above(float64(b.bottom)), s.above(float64(b.top))-1; lo <= hi {
				s.spread(s.support, lo, hi, g.cell*g.cell, false)
			}
		}
	}
	for _, l := range [][]float64{s.up, s.down, s.support} {
		for i := 1; i < len(l); i++ {
			l[i] += l[i-1]
		}
	}
	return s
}

func (s *layerEstimate) add(o *layerEstimate) {
	for i := range s.outline {
		s.outline[i] += o.outline[i]
		s.area[i] += o.area[i]
		s.up[i] += o.up[i]
		s.down[i] += o.down[i]
		s.gapX[i] += o.gapX[i]
		s.gapY[i] += o.gapY[i]
	}
}

// above is the lowest layer that is cut above a height.
func (s *layerEstimate) above(z float64) int {
	if z < s.firstHeight/2 {
		return 0
	}
	return int(max(z-s.firstHeight, -s.layerHeight/2)/s.layerHeight+0.5) + 1
}

// spread adds an amount to each of the layers from one to another, or to all of
// them together. It only notes where the amount begins and where it ends.
func (s *layerEstimate) spread(list []float64, lo, hi int, amount float64, together bool) {
	lo, hi = min(max(lo, 0), s.layers-1), min(max(hi, 0), s.layers-1)
	if together && lo != hi {
		amount /= float64(hi - lo + 1)
	}
	list[lo] += amount
	list[hi+1] -= amount
}

// facet adds a facet to the layers that it lies in.
func (s *layerEstimate) facet(a, b, c *mesh.Vec) (cut int) {
	seen := ((b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])) / 2 // from above
	sign := 1.0
	// By height, from the lowest corner.
	if a[2] > b[2] {
		a, b, sign = b, a, -sign
	}
	if b[2] > c[2] {
		b, c, sign = c, b, -sign
	}
	if a[2] > b[2] {
		a, b, sign = b, a, -sign
	}
	lo, hi := s.above(a[2]), s.above(c[2])
	if seen > 0 {
		s.spread(s.up, lo-1, hi-1, seen, true)
	} else {
		s.spread(s.down, lo, hi, -seen, true)
	}
	cut = max(0, min(hi, s.layers)-lo)
	for i := lo; i < min(hi, s.layers); i++ {
		bottom, thick := s.lies(i)
		z := bottom + thick/2
		if z <= a[2] || z > c[2] {
			continue // by rounding; as where layers are cut, a corner at the height is above it
		}
		x, y := between(a, c, z)
		u, v := between(a, b, z)
		if z > b[2] {
			u, v = between(b, c, z)
		}
		s.outline[i] += math.Sqrt((u-x)*(u-x) + (v-y)*(v-y))
		s.area[i] += sign * (x*v - y*u) / 2
		s.gapX[i] += sign * (u - x)
		s.gapY[i] += sign * (v - y)
	}
	return cut
}

// between is where the line from a to b passes a height.
func between(a, b *mesh.Vec, z float64) (x, y float64) {
	r := (z - a[2]) / (b[2] - a[2])
	return a[0] + r*(b[0]-a[0]), a[1] + r*(b[1]-a[1])
}

// guess is how long a layer roughly takes, and how much of that its solid faces, s.
type guess struct {
	all, solid   float64
	above, below bool // something faces up, or down, within the thickness of a solid face
	open         bool // its outlines do not close: what they will hold is not known
}

// guesses returns one for every layer, from what there is to lay and how fast.
func (s *layerEstimate) guesses() []guess {
	out := make([]guess, s.layers)
	v := s.printer.Speed
	outsidePace, shellPace, sparsePace, supportPace := s.pace(v.Outside), s.pace(v.Shells), s.pace(v.Infill), s.pace(v.Support)
	solidPace, bridgePace := s.pace(v.Solid), s.pace(v.Bridge)
	for i := range out {
		area := max(0, s.area[i])
		shells := min(float64(s.shellCount), area/max(s.outline[i]*s.width, 1e-9))
		inside := max(0, area-shells*s.outline[i]*s.width)
		over, under := s.bare(i)
		solid := inside
		if s.infill < solidInfill {
			solid = min(inside, over+under)
		}
		g := &out[i]
		g.solid = solid * solidPace
		if i > 0 {
			g.solid += min(solid, s.down[i]) * (bridgePace - solidPace)
		}
		g.all = s.outline[i]*s.width*(min(shells, 1)*outsidePace+max(shells-1, 0)*shellPace) +
			g.solid + (inside-solid)*s.infill*sparsePace + s.support[i]*s.printing.SupportDensity*supportPace
		g.above, g.below = over > trifle, under > trifle || s.down[i] > trifle
		g.open = math.Hypot(s.gapX[i], s.gapY[i]) > s.width/8
	}
	return out
}

// trifle is an area, mm2, no larger than what rounding leaves.
const trifle = 1e-6

// bare is how much of layer i no layer covers within the thickness of a solid face, and
// how much none carries, mm2.
func (s *layerEstimate) bare(i int) (over, under float64) {
	for k := range s.printing.SolidLayers {
		if i-k >= 0 {
			under += s.down[i-k]
		}
		if s.printing.SolidTop && i+k < s.layers {
			over += s.up[i+k]
		}
	}
	return max(0, over), max(0, under)
}

// pace is how long an area of lines takes at a speed, s/mm2.
func (s *layerEstimate) pace(speed float64) float64 {
	if s.printer.MaxFlow > 0 {
		speed = min(speed, s.printer.MaxFlow/(s.width*s.layerHeight))
	}
	return 1 / (max(speed, 0.01) * s.width)
}
