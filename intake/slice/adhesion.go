package slice

import "math"

// bedside is what is laid beside or under a copy to hold it to the plate.
type bedside struct {
	tracks [][]move // one for each layer of its own
	layers []layer
}

// raftRim is how far a raft reaches beyond the part, mm. Common practice, no source.
const raftRim = 3

// layBedside lays a brim or raft. A skirt goes around all copies of a plate, and is the plate's.
func (s *sliced) layBedside() bedside {
	var r overlay
	switch s.printing.Adhesion {
	case "brim":
		return s.layBrim(&r)
	case "raft":
		return s.layRaft(&r)
	}
	return bedside{}
}

func (s *sliced) layBrim(r *overlay) bedside {
	var t track
	t.reset(s.recipe)
	outer := outsides(s.cuts[0].first)
	var rings []ring
	for k := range int(math.Round(s.printing.BrimMM / s.width)) {
		for _, l := range outsides(r.inset(outer, -(float64(k)+0.5)*s.width)) {
			rings = append(rings, ring{loop: l, feature: brim, width: s.width})
		}
	}
	t.layRings(rings)
	return bedside{[][]move{t.moves}, []layer{s.layerAt(0)}}
}

// outsides keeps the outlines around bodies, not those around holes.
func outsides(ls []loop) []loop {
	var out []loop
	for _, l := range ls {
		if l.area() > 0 {
			out = append(out, l)
		}
	}
	return out
}

func (s *sliced) layRaft(r *overlay) bedside {
	var out bedside
	region := outsides(r.inset(outsides(s.cuts[0].first), -raftRim))
	for k := range s.printing.RaftLayers {
		var t track
		t.reset(s.recipe)
		fr := s.frames[k%2]
		t.hatch(t.strands(hatched(region, fr), func(int) bool { return true }), fr, raft, true)
		out.tracks, out.layers = append(out.tracks, t.moves), append(out.layers, s.layerAt(k))
	}
	return out
}

// skirtAround lays the skirt's loops around places on the plate.
func (p *recipe) skirtAround(places []point) []move {
	hull := hullOf(places)
	if p.printing.Adhesion != "skirt" || len(hull) < 3 {
		return nil
	}
	var t track
	var r overlay
	t.reset(p)
	for k := range p.printing.SkirtLoops {
		for _, l := range r.inset([]loop{hull}, -p.printing.SkirtGapMM-(float64(k)+0.5)*p.width) {
			t.layRings([]ring{{loop: l, feature: skirt, width: p.width}})
		}
	}
	return t.moves
}
