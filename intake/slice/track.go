package slice

import "math"

// feature is what a move lays.
type feature uint8

// The order is that in which plastic is summed: another one changes the last
// digits of every estimate.
const (
	travel      feature = iota // lays nothing
	outsideLine                // the outermost shell
	shellLine                  // the other shells
	narrowLine                 // where there is no room for a shell
	solidLine                  // solid bottom and top
	bridge                     // solid, across a gap
	sparse                     // infill
	supports
	skirt
	brim
	raft
	features // how many there are
)

var featureNames = [features]string{travel: "travel", bridge: "bridge", outsideLine: "outside", solidLine: "solid", shellLine: "shell",
	narrowLine: "narrow", supports: "support", sparse: "infill", skirt: "skirt", brim: "brim", raft: "raft"}

func (f feature) String() string { return featureNames[f] }

// spot is a place on the plate, mm.
type spot struct{ x, y float64 }

func (p point) spot() spot { return spot{float64(p.x) / perMM, float64(p.y) / perMM} }

func (a spot) to(b spot) float64 { return math.Sqrt(a.square(b)) }

func (a spot) square(b spot) float64 { return (b.x-a.x)*(b.x-a.x) + (b.y-a.y)*(b.y-a.y) }

// move is one straight move of the nozzle.
type move struct {
	from, to spot
	feature  feature
	width    float32 // mm, of the line; 0 for travel
	hop      bool    // travel with the filament pulled back: begun and ended at rest
}

// track is the nozzle's way through one layer of one copy.
type track struct {
	recipe      *recipe
	moves       []move
	at          spot
	begun       bool
	first       spot
	begins      [][4]spot // of the strands that are being laid
	comparisons int       // comparisons made, each a few nanoseconds
}

func (t *track) reset(r *recipe) { *t = track{recipe: r, moves: t.moves[:0], begins: t.begins} }

// travelTo moves without laying; a soft travel never pulls the filament back.
func (t *track) travelTo(to spot, soft bool) {
	if !t.begun {
		t.begun, t.first, t.at = true, to, to
		return
	}
	d := t.at.to(to)
	if d < 1e-6 {
		return
	}
	hop := !soft && d > t.recipe.printer.MinTravelForRetractMM
	t.moves = append(t.moves, move{from: t.at, to: to, feature: travel, hop: hop})
	t.at = to
}

func (t *track) lay(to spot, f feature, width float64) {
	if t.at == to {
		return
	}
	t.moves = append(t.moves, move{from: t.at, to: to, feature: f, width: float32(width)})
	t.at = to
}

// ring is a line that is to be laid: closed, or open between its ends.
type ring struct {
	loop    loop
	feature feature
	width   float64
	open    bool
}

// manyRings is the number of rings in a layer from which the way between them
// is no longer the shortest found by trying all.
const manyRings = 300

// layRings lays shells, going on to the nearest each time.
func (t *track) layRings(rings []ring) {
	for len(rings) > 0 {
		pick, corner := t.nearest(rings)
		t.layRing(rings[pick], corner)
		rings[pick] = rings[len(rings)-1]
		rings = rings[:len(rings)-1]
	}
}

// nearest is the ring, and its corner, nearest to where the nozzle is.
func (t *track) nearest(rings []ring) (pick, corner int) {
	from := max(0, len(rings)-manyRings)
	x, y := int64(t.at.x*perMM), int64(t.at.y*perMM)
	best := int64(math.MaxInt64)
	for i, r := range rings[from:] {
		t.comparisons += len(r.loop)
		for k, p := range r.loop {
			if r.open && k > 0 && k < len(r.loop)-1 {
				continue
			}
			dx, dy := int64(p.x)-x, int64(p.y)-y
			if d := dx*dx + dy*dy; d < best {
				best, pick, corner = d, from+i, k
			}
		}
	}
	return pick, corner
}

func (t *track) layRing(r ring, corner int) {
	t.travelTo(r.loop[corner].spot(), false)
	n := len(r.loop)
	step, steps := 1, n
	if r.open {
		steps = n - 1
		if corner > 0 {
			step = n - 1 // backwards
		}
	}
	for k := 1; k <= steps; k++ {
		t.lay(r.loop[(corner+k*step)%n].spot(), r.feature, r.width)
	}
}

// hatch lays strands of lines, going on to the nearest end each time. Lines
// that lie close are joined.
func (t *track) hatch(ss []strand, fr frame, f feature, join bool) {
	const many = 400
	t.begins = t.begins[:0]
	for _, s := range ss {
		t.begins = append(t.begins, [4]spot{s.begin(fr, 0), s.begin(fr, 1), s.begin(fr, 2), s.begin(fr, 3)})
	}
	for from := range ss {
		best, pick, way := math.Inf(1), from, 0
		t.comparisons += 8 * min(many, len(ss)-from)
		for i, b := range t.begins[from:min(from+many, len(ss))] {
			for w := range b {
				if d := t.at.square(b[w]); d < best {
					best, pick, way = d, from+i, w
				}
			}
		}
		t.layStrand(ss[pick], fr, f, way, join)
		ss[pick], t.begins[pick] = ss[from], t.begins[from]
	}
}

// begin is where a strand begins: way is a bit for the last line first, and a
// bit for its far end first.
func (s strand) begin(fr frame, way int) spot {
	l := s[0]
	if way&1 != 0 {
		l = s[len(s)-1]
	}
	along := l.from
	if way&2 != 0 {
		along = l.to
	}
	x, y := fr.toMM(float64(along), fr.across(l.row))
	return spot{x, y}
}

// layStrand lays lines to and fro. Between joined lines, plastic is laid across
// too; the lines are then shorter by as much, so that the plastic stays the same.
func (t *track) layStrand(s strand, fr frame, f feature, way int, join bool) {
	n := len(s)
	cut := 0.0 // taken off the beginning of the next line
	for k := range n {
		l, back := s.nth(k, way)
		from, to := float64(l.from), float64(l.to)
		if back {
			from, to = to, from
		}
		sign := math.Copysign(1, to-from)
		end, nextCut := to, 0.0
		joined := cut > 0
		if join && k+1 < n {
			m, _ := s.nth(k+1, way)
			start := float64(m.to)
			if back {
				start = float64(m.from)
			}
			c := math.Hypot(start-to, fr.pitch*float64(m.row-l.row))
			if c <= 3*fr.pitch && float64(l.to-l.from) > c && float64(m.to-m.from) > c {
				end, nextCut = to-sign*c/2, c/2
			}
		}
		t.layLine(fr, l.row, from+sign*cut, end, f, joined, k > 0)
		cut = nextCut
	}
}

// nth is the k-th line to be laid, and whether it is laid from its far end.
func (s strand) nth(k, way int) (line, bool) {
	back := (way&2 != 0) != (k%2 != 0)
	if way&1 != 0 {
		return s[len(s)-1-k], back
	}
	return s[k], back
}

func (t *track) layLine(fr frame, row int, from, to float64, f feature, joined, soft bool) {
	v := fr.across(row)
	x, y := fr.toMM(from, v)
	if joined {
		t.lay(spot{x, y}, f, t.recipe.width)
	} else {
		t.travelTo(spot{x, y}, soft)
	}
	x, y = fr.toMM(to, v)
	t.lay(spot{x, y}, f, t.recipe.width)
}
