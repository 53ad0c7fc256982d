package preflight

import (
	"cmp"
	"context"
	"math"
	"slices"

	"meshclerk/intake/mesh"
)

// facing is the cosine beyond which two surfaces count as the two sides of a
// wall or of a gap: within 37 degrees of parallel. It keeps edges and corners,
// where surfaces meet at an angle, from counting as thin.
const facing = 0.8

// probing is how far a thin place must go on, both along and across, to be a
// wall and not a rib, a pin or a letter, mm. Practice.
const probing = 1.0

// thickness bounds what is looked for, mm.
type thickness struct {
	wall   float64 // walls thinner than this
	line   float64 // walls and details thinner than this are lost
	detail float64
	layer  float64
	gap    float64 // gaps narrower than this
	loose  float64 // and, between pieces, than this
}

// thin is what walls and gaps were found; 0 where there are none.
type thin struct {
	wallMM2  float64 // one side of standing walls below the wall bound
	lostMM2  float64 // of it, below a line
	sheetMM2 float64 // lying sheets below the wall bound
	layerMM2 float64 // of them, below a layer
	standMM  float64 // the thinnest standing wall
	lieMM    float64 // the thinnest lying sheet
	standAt  mesh.Vec
	lieAt    mesh.Vec

	detailMM float64 // the thinnest rib or pin that is lost
	detailAt mesh.Vec

	edgeMM float64 // how far from a sharp edge its plastic is thinner than a line
	edgeAt mesh.Vec

	gapMM   float64 // the narrowest gap
	gapAt   mesh.Vec
	between bool // it is between two pieces

	looseMM float64 // the narrowest gap between pieces that is only stiff
	looseAt mesh.Vec
}

// raySample is what the rays from one place of the surface met.
type raySample struct {
	thick  float64 // mm of plastic behind it, if thin
	wall   bool    // it goes on both ways
	edge   float64 // mm from where the plastic is a line thick to the sharp edge it runs out in; 0 in a wall
	gap    float64 // mm of air before it, if narrow
	slot   bool    // the gap goes on both ways
	across int     // facet on the other side of the gap, or -1
	touch  int     // facet of another shell that lies against this place, or -1
}

// castRays measures plastic behind and air before about n places of the surface.
// Which piece a facet belongs to is asked only after the touches are known.
func (p *surface) castRays(ctx context.Context, t thickness, n int) ([]sample, []raySample) {
	places := p.samples(p.affordable(n), p.area)
	rays := make([]raySample, len(places))
	both(len(places), func(i int) {
		if ctx.Err() == nil {
			rays[i] = p.castFrom(t, places[i])
		}
	})
	return places, rays
}

func (p *surface) castFrom(t thickness, s sample) raySample {
	n := p.normal[s.facet]
	out := raySample{across: -1, touch: p.touched(s, n)}
	from, reach := s.at.Add(n.Mul(p.tiny())), max(t.gap, t.loose)
	if h, ok := p.first(from, n, reach); ok {
		if p.leaves(h.facet, n) {
			return out // the place is inside another body
		}
		if -p.normal[h.facet].Dot(n) > 0.9 {
			out.gap, out.across = h.far+p.tiny(), h.facet
			out.slot = out.gap < t.gap && p.goesOn(s.at.Add(n.Mul(out.gap/2)), n, 1.5*t.gap, false) &&
				narrow{p, s.at, n, out.gap, false}.runsOut() == 0
		}
	}
	back := n.Mul(-1)
	from = s.at.Add(back.Mul(p.tiny()))
	h, ok := p.exit(from, back, t.wall)
	if !ok || -p.normal[h.facet].Dot(n) < facing || p.buried(s.at.Add(n.Mul(p.tiny()))) {
		return out
	}
	out.thick = h.far + p.tiny()
	if slope := (narrow{p, s.at, back, out.thick, true}).runsOut(); slope > 0 {
		out.edge = t.line / slope
		return out
	}
	out.wall = p.goesOn(s.at.Add(back.Mul(out.thick/2)), n, 1.25*t.wall, true)
	return out
}

// goesOn says whether a wall (or a slot of air) of about the given width goes
// on around a place in its middle, along and across.
func (p *surface) goesOn(middle, n mesh.Vec, width float64, plastic bool) bool {
	r := rotationTo(n)
	var on [8]bool
	for k := range on {
		sin, cos := math.Sincos(math.Pi * float64(k) / 4)
		on[k] = p.between(middle.Add(r[0].Mul(probing*cos)).Add(r[1].Mul(probing*sin)), n, width, plastic)
	}
	for k := range on {
		if on[k] && on[(k+2)%8] {
			return true
		}
	}
	return false
}

// between says whether a place lies in a wall (or gap) no wider than width.
func (p *surface) between(at, n mesh.Vec, width float64, plastic bool) bool {
	ahead, ok := p.first(at, n, width)
	if !ok || p.leaves(ahead.facet, n) != plastic {
		return false
	}
	back := n.Mul(-1)
	behind, ok := p.first(at, back, width-ahead.far)
	return ok && p.leaves(behind.facet, back) == plastic
}

// touched gives a facet of another shell that lies against a place, or -1.
func (p *surface) touched(s sample, n mesh.Vec) int {
	if !p.mixed {
		return -1
	}
	own := p.topo.ShellOf[s.facet]
	for _, h := range p.tree.RayAll(s.at.Add(n.Mul(-touching)), n, 0, 2*touching, nil) {
		if p.topo.ShellOf[h.Facet] != own {
			return h.Facet
		}
	}
	return -1
}

// touchesOf gives the pairs of shells that touch, among the places that were looked from.
func (p *surface) touchesOf(places []sample, rays []raySample) [][2]int {
	seen := map[[2]int]bool{}
	var out [][2]int
	for i, l := range rays {
		if l.touch < 0 {
			continue
		}
		pair := [2]int{int(p.topo.ShellOf[places[i].facet]), int(p.topo.ShellOf[l.touch])}
		if !seen[pair] {
			seen[pair] = true
			out = append(out, pair)
		}
	}
	return out
}

// fewest is how many places must agree before a thing is reported: one alone
// may be an accident of the surface.
const fewest = 3

// sum adds up what was seen.
func (p *part) sum(s orientation, t thickness, places []sample, rays []raySample) thin {
	var out thin
	var walls, sheets, details, edges, gaps, loose []int
	for i, l := range rays {
		switch {
		case l.thick == 0:
		case l.edge > 0:
			edges = append(edges, i)
		case l.wall && p.lies(s, places[i].facet):
			sheets = append(sheets, i)
		case l.wall:
			walls = append(walls, i)
		case l.thick < t.detail:
			details = append(details, i)
		}
		if l.across < 0 || l.gap <= touching {
			continue
		}
		apart := p.pieceOf(l.across) != p.pieceOf(places[i].facet)
		switch {
		case l.gap < t.gap && (apart || l.slot):
			gaps = append(gaps, i)
		case l.gap < t.loose && apart:
			loose = append(loose, i)
		}
	}
	thick := func(l raySample) float64 { return l.thick }
	if len(walls) >= fewest {
		out.wallMM2, out.lostMM2 = oneSide(walls, places, rays, t.line)
		i := least(walls, rays, thick)
		out.standMM, out.standAt = rays[i].thick, places[i].at
	}
	if len(sheets) >= fewest {
		out.sheetMM2, out.layerMM2 = oneSide(sheets, places, rays, t.layer)
		i := least(sheets, rays, thick)
		out.lieMM, out.lieAt = rays[i].thick, places[i].at
	}
	if len(details) >= fewest {
		i := least(details, rays, thick)
		out.detailMM, out.detailAt = rays[i].thick, places[i].at
	}
	if len(edges) >= fewest {
		i := middle(edges, rays, func(l raySample) float64 { return l.edge })
		out.edgeMM, out.edgeAt = rays[i].edge, places[i].at
	}
	if len(gaps) >= fewest {
		i := least(gaps, rays, func(l raySample) float64 { return l.gap })
		out.gapMM, out.gapAt = rays[i].gap, places[i].at
		out.between = p.pieceOf(rays[i].across) != p.pieceOf(places[i].facet)
	}
	if len(loose) >= fewest {
		i := least(loose, rays, func(l raySample) float64 { return l.gap })
		out.looseMM, out.looseAt = rays[i].gap, places[i].at
	}
	return out
}

// least gives the place with nearly the smallest figure: one in twenty may be
// smaller, and always two, since a single sliver says little about the part.
func least(of []int, rays []raySample, figure func(raySample) float64) int {
	return ranked(of, rays, figure)[max(fewest-1, len(of)/20)]
}

// middle gives the place with the median figure.
func middle(of []int, rays []raySample, figure func(raySample) float64) int {
	return ranked(of, rays, figure)[len(of)/2]
}

// ranked puts places in the order of a figure, the smallest first.
func ranked(of []int, rays []raySample, figure func(raySample) float64) []int {
	slices.SortStableFunc(of, func(a, b int) int { return cmp.Compare(figure(rays[a]), figure(rays[b])) })
	return of
}

// oneSide sums the area of walls, which are seen from both sides, and of those
// too thin to be laid at all.
func oneSide(of []int, places []sample, rays []raySample, lost float64) (all, gone float64) {
	for _, i := range of {
		all += places[i].weight / 2
		if rays[i].thick < lost {
			gone += places[i].weight / 2
		}
	}
	return all, gone
}

// lies says that a facet faces up or down: what is thin there is a sheet, laid
// layer by layer.
func (p *part) lies(s orientation, f int) bool { return math.Abs(p.normal[f].Dot(s.up)) > 0.9 }
