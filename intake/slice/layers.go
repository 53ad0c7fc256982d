package slice

import (
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"sync/atomic"

	"meshclerk/intake/budget"
)

// level is a layer that is cut, at half its height.
type level struct {
	layer         int // counted from the plate
	bottom, thick float64
	count         int   // layers it stands for; 0 when it is cut only because it covers others
	hatch         int   // which frame its lines follow
	frames        uint8 // in which frames its shape is needed, one bit each
}

func (l level) middle() float64 { return l.bottom + l.thick/2 }

// affordable is how many layers of a part are cut at most. A part that fits on a
// printer has fewer; one that is far too large for any is looked at less closely.
func (p *recipe) affordable(part *part) int {
	const lines = 8e6
	across := math.Hypot(part.size[0], part.size[1]) / p.width
	return int(min(max(lines/(across+1), 100), 10_000))
}

// layers is how many layers a height (mm) takes: those whose middle it reaches.
func (p *recipe) layers(height float64) int {
	n := math.Ceil((height-p.first)/p.layer - 0.5)
	return 1 + int(min(max(n, 0), 1e8))
}

// levels lists the layers of a height that are cut: the middle ones of the runs
// that were chosen (nil: every layer), and such above and below them as tell
// where skins are.
func (p *recipe) levels(height float64, c *choice, most int) []level {
	n := p.layers(height)
	var planned []level
	from := 0
	for _, end := range p.withEnds(c.runs(n, most), n) {
		if count := end - from; count > 0 {
			hatch := len(planned) % 2
			l := p.level(from + (count-hatch)/2) // of an even number, the upper and the lower by turns
			l.count, l.hatch = count, hatch
			planned = append(planned, l)
			from = end
		}
	}
	if len(planned) < n {
		planned = p.withCoverers(planned, n, c)
	}
	p.markFrames(planned)
	return planned
}

// withCoverers adds the layers, of n, that tell where the planned ones have skins.
func (p *recipe) withCoverers(planned []level, n int, c *choice) []level {
	out := slices.Clone(planned)
	for _, l := range planned {
		for _, k := range p.coverers(l, c) {
			if k >= 0 && k < n {
				out = append(out, p.level(k))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b level) int { return a.layer - b.layer }) // planned ones first
	return slices.CompactFunc(out, func(a, b level) bool { return a.layer == b.layer })
}

// coverers are the layers that tell where a layer's skins and bridges are. Of
// one that stands for others, the farthest and the one below it tell enough.
// Where nothing faces up, or down, the layers on that side leave nothing bare.
func (p *recipe) coverers(l level, c *choice) []int {
	var out []int
	reach := p.printing.SkinLayers
	if p.infill >= solidInfill {
		reach = 0
	}
	within := func(step int) {
		for k := 1; k < reach && l.count == 1; k++ {
			out = append(out, l.layer+k*step)
		}
		out = append(out, l.layer+reach*step)
	}
	if c == nil || c.layers[l.layer].above {
		within(1)
	}
	if c == nil || c.layers[l.layer].below {
		within(-1)
		out = append(out, l.layer-1)
	}
	return out
}

// markFrames notes in which frames each shape is needed: its own and those of
// the layers that it may cover.
func (p *recipe) markFrames(levels []level) {
	reach := max(1, p.printing.SkinLayers)
	for i := range levels {
		l := &levels[i]
		if l.count == 0 {
			continue
		}
		l.frames |= 1 << l.hatch
		for _, step := range [2]int{-1, 1} {
			for k := i + step; k >= 0 && k < len(levels) && (levels[k].layer-l.layer)*step <= reach; k += step {
				levels[k].frames |= 1 << l.hatch
			}
		}
	}
}

// level is a layer as it lies, with nothing told of how it is cut.
func (p *recipe) level(layer int) level {
	bottom, thick := p.lies(layer)
	return level{layer: layer, bottom: bottom, thick: thick}
}

// lies tells how high a layer's bottom is and how thick it is, mm.
func (p *recipe) lies(layer int) (bottom, thick float64) {
	if layer == 0 {
		return 0, p.first
	}
	return p.first + float64(layer-1)*p.layer, p.layer
}

// withEnds ends runs between the layers of the bottom's and the top's skins too.
func (p *recipe) withEnds(ends []int, n int) []int {
	ends = slices.Clone(ends)
	for i := range min(p.printing.SkinLayers+1, n) {
		ends = append(ends, i+1, n-i)
	}
	slices.Sort(ends)
	return ends
}

// evenEnds divides n layers into k runs.
func evenEnds(n, k int) []int {
	ends := make([]int, k)
	for i := range ends {
		ends[i] = int(int64(i+1) * int64(n) / int64(k))
	}
	return ends
}

// slab is one layer, cut and with its walls.
type slab struct {
	area   float64  // mm2, of the region
	signed float64  // mm2, as the outlines wind
	walls  []wall   // centre lines, per shell from the outside
	lanes  []lane   // narrow places between walls
	shape  [2]*rows // the region, hatched either way where that is needed
	inside *rows    // what the walls leave, hatched the layer's way
	first  []loop   // the region itself, of the first layer only
}

// sliced is a part with all its layers.
type sliced struct {
	*recipe
	part   *part
	total  int // layers
	levels []level
	slabs  []slab
	frames [2]frame
	second *sliced // what the second nozzle lays
	ground *posts  // where the part stands, and would have supports
	posts  *posts  // supports; nil for none
}

const sqrtHalf = math.Sqrt2 / 2

// sliceAll cuts a part, in the layers that were chosen; nil for all.
func sliceAll(ctx context.Context, part *part, p *recipe, c *choice) (*sliced, error) {
	s := &sliced{recipe: p, part: part, total: p.layers(part.size[2]), levels: p.levels(part.size[2], c, p.affordable(part))}
	s.frames = [2]frame{{sqrtHalf, sqrtHalf, p.width}, {sqrtHalf, -sqrtHalf, p.width}}
	s.slabs = make([]slab, len(s.levels))
	zs := make([]float64, len(s.levels))
	for i, l := range s.levels {
		zs[i] = min(l.middle(), (l.bottom+part.size[2])/2) // a film is thinner than its layer
	}
	budget.From(ctx).Spend(6*len(part.triangles) + 10*len(zs))
	facets := sortFacets(part, zs)
	workers := runtime.GOMAXPROCS(0)
	cutters := make([]cutter, workers)
	meter := budget.From(ctx)
	var tangled atomic.Bool
	err := inRuns(ctx, len(s.slabs), 16, workers, func(w, from, to int) bool {
		c := &cutters[w]
		c.begin(facets, from)
		good := true
		for i := from; i < to && good && ctx.Err() == nil; i++ {
			good = s.cutSlab(c, facets, i)
			meter.Spend(c.looks / looksPerUnit)
			c.looks = 0
		}
		if !good {
			tangled.Store(true)
		}
		return good
	})
	if err == nil && tangled.Load() {
		err = errTangled
	}
	return s, err
}

// looksPerUnit is how many comparisons of the inner loops make a unit of work.
const looksPerUnit = 4

var errTangled = errors.New("the part's faces cross each other so often that no time can be worked out; the file must be mended first")

// cutSlab cuts layer i and lays its walls; false if it is too tangled for that.
func (s *sliced) cutSlab(c *cutter, facets *sorted, i int) bool {
	b := &s.slabs[i]
	region := c.layer(facets, i)
	if c.tangled {
		return false
	}
	b.signed = areaOf(c.loops)
	b.area = areaOf(region)
	if s.levels[i].layer == 0 {
		b.first = region
	}
	l := &s.levels[i]
	for k, f := range s.frames {
		if l.frames&(1<<k) != 0 {
			b.shape[k] = c.hatched(region, f)
		}
	}
	if l.count > 0 {
		b.inside = c.hatched(c.layWalls(b, region, s.recipe), s.frames[l.hatch])
	}
	return true
}

// hatched is as the function of that name, and counts what it costs.
func (c *cutter) hatched(region []loop, f frame) *rows {
	out := hatched(region, f)
	for _, l := range region {
		c.looks += 8 * len(l)
	}
	c.looks += len(out.starts) + 20*len(out.ends)
	return out
}
