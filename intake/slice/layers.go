package slice

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync/atomic"

	"meshclerk/intake/budget"
	"meshclerk/intake/job"
)

// layer is one that is cut, at half its height.
type layer struct {
	index         int // counted from the plate
	bottom, thick float64
	count         int   // layers it stands for; 0 when it is cut only because it covers others
	hatch         int   // which frame its lines follow
	frames        uint8 // in which frames its shape is needed, one bit each
}

func (l layer) middle() float64 { return l.bottom + l.thick/2 }

// affordable is how many layers of a part are cut at most. A part that fits on a
// printer has fewer; one that is far too large for any is looked at less closely.
func (p *recipe) affordable(part *part) int {
	const lines = 8e6
	across := math.Hypot(part.size[0], part.size[1]) / p.width
	return int(min(max(lines/(across+1), 100), 10_000))
}

// layers is how many layers a height (mm) takes: those whose middle it reaches.
func (p *recipe) layerCount(height float64) int {
	n := math.Ceil((height-p.firstHeight)/p.layerHeight - 0.5)
	return 1 + int(min(max(n, 0), 1e8))
}

// chosenLayers lists the layers of a height that are cut: the middle ones of the runs
// that were chosen (nil: every layer), and such above and below them as tell
// where solid faces are.
func (p *recipe) chosenLayers(height float64, c *choice, most int) []layer {
	n := p.layerCount(height)
	var planned []layer
	from := 0
	for _, end := range p.withEnds(c.runs(n, most), n) {
		if count := end - from; count > 0 {
			hatch := len(planned) % 2
			l := p.layerAt(from + (count-hatch)/2) // of an even number, the upper and the lower by turns
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

// withCoverers adds the layers, of n, that tell where the planned ones have solid faces.
func (p *recipe) withCoverers(planned []layer, n int, c *choice) []layer {
	out := slices.Clone(planned)
	for _, l := range planned {
		for _, k := range p.coverers(l, c) {
			if k >= 0 && k < n {
				out = append(out, p.layerAt(k))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b layer) int { return a.index - b.index }) // planned ones first
	return slices.CompactFunc(out, func(a, b layer) bool { return a.index == b.index })
}

// coverers are the layers that tell where a layer's solid faces and bridges are. Of
// one that stands for others, the farthest and the one below it tell enough.
// Where nothing faces up, or down, the layers on that side leave nothing bare.
func (p *recipe) coverers(l layer, c *choice) []int {
	var out []int
	reach := p.printing.SolidLayers
	if p.infill >= solidInfill {
		reach = 0
	}
	within := func(step int) {
		for k := 1; k < reach && l.count == 1; k++ {
			out = append(out, l.index+k*step)
		}
		out = append(out, l.index+reach*step)
	}
	if c == nil || c.layers[l.index].above {
		within(1)
	}
	if c == nil || c.layers[l.index].below {
		within(-1)
		out = append(out, l.index-1)
	}
	return out
}

// markFrames notes in which frames each shape is needed: its own and those of
// the layers that it may cover.
func (p *recipe) markFrames(layers []layer) {
	reach := max(1, p.printing.SolidLayers)
	for i := range layers {
		l := &layers[i]
		if l.count == 0 {
			continue
		}
		l.frames |= 1 << l.hatch
		for _, step := range [2]int{-1, 1} {
			for k := i + step; k >= 0 && k < len(layers) && (layers[k].index-l.index)*step <= reach; k += step {
				layers[k].frames |= 1 << l.hatch
			}
		}
	}
}

// layerAt returns a layer as it lies, not yet planned.
func (p *recipe) layerAt(index int) layer {
	bottom, thick := p.lies(index)
	return layer{index: index, bottom: bottom, thick: thick}
}

// lies returns the height of a layer's bottom and its thickness, mm.
func (p *recipe) lies(layer int) (bottom, thick float64) {
	if layer == 0 {
		return 0, p.firstHeight
	}
	return p.firstHeight + float64(layer-1)*p.layerHeight, p.layerHeight
}

// withEnds ends runs between the layers of the solid bottom and top too.
func (p *recipe) withEnds(ends []int, n int) []int {
	ends = slices.Clone(ends)
	for i := range min(p.printing.SolidLayers+1, n) {
		ends = append(ends, i+1, n-i)
	}
	if at := p.layerCount(p.in.ChangeMM); p.in.ChangeMM > 0 && at < n {
		ends = append(ends, at) // what is below is of one colour
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

// cutLayer is one layer, cut and with its shells.
type cutLayer struct {
	area   float64  // mm2, of the region
	signed float64  // mm2, as the outlines wind
	shells []shell  // centre lines, from the outside
	lanes  []lane   // narrow places between shells
	shape  [2]*rows // the region, hatched either way where that is needed
	inside *rows    // what the shells leave, hatched the layer's way
	first  []loop   // the region itself, of the first layer only
}

// sliced is a part with all its layers.
type sliced struct {
	*recipe
	part     *part
	total    int // layers
	layers   []layer
	cuts     []cutLayer
	frames   [2]frame
	second   *sliced      // what the second nozzle lays
	ground   *supportGrid // where the part stands, and would have supports
	supports *supportGrid // supports; nil for none
}

const sqrtHalf = math.Sqrt2 / 2

// sliceAll cuts a part, in the layers that were chosen; nil for all.
func sliceAll(ctx context.Context, part *part, p *recipe, c *choice) (*sliced, error) {
	s := &sliced{recipe: p, part: part, total: p.layerCount(part.size[2]), layers: p.chosenLayers(part.size[2], c, p.affordable(part))}
	s.frames = [2]frame{{sqrtHalf, sqrtHalf, p.width}, {sqrtHalf, -sqrtHalf, p.width}}
	s.cuts = make([]cutLayer, len(s.layers))
	zs := make([]float64, len(s.layers))
	for i, l := range s.layers {
		zs[i] = min(l.middle(), (l.bottom+part.size[2])/2) // a sheet is thinner than its layer
	}
	budget.From(ctx).Spend(6*len(part.triangles) + 10*len(zs))
	facets := sortFacets(part, zs)
	workers := runtime.GOMAXPROCS(0)
	cutters := make([]cutter, workers)
	meter := budget.From(ctx)
	var tooManyCrossings atomic.Bool
	err := inRuns(ctx, len(s.cuts), 16, workers, func(w, from, to int) bool {
		c := &cutters[w]
		c.begin(facets, from)
		good := true
		for i := from; i < to && good && ctx.Err() == nil; i++ {
			good = s.cutOne(c, facets, i)
			meter.Spend(c.comparisons / comparisonsPerUnit)
			c.comparisons = 0
		}
		if !good {
			tooManyCrossings.Store(true)
		}
		return good
	})
	if err == nil && tooManyCrossings.Load() {
		err = errTooManyCrossings
	}
	return s, err
}

// comparisonsPerUnit is how many comparisons of the inner loops make a unit of work.
const comparisonsPerUnit = 4

var errTooManyCrossings = job.Refuse(job.Say("findings.slice.crossings", nil))

// cutOne cuts layer i and lays its shells; false if it is too complicated for that.
func (s *sliced) cutOne(c *cutter, facets *sorted, i int) bool {
	b := &s.cuts[i]
	region := c.layer(facets, i)
	if c.tooManyCrossings {
		return false
	}
	b.signed = areaOf(c.loops)
	b.area = areaOf(region)
	if s.layers[i].index == 0 {
		b.first = region
	}
	l := &s.layers[i]
	for k, f := range s.frames {
		if l.frames&(1<<k) != 0 {
			b.shape[k] = c.hatched(region, f)
		}
	}
	if l.count > 0 {
		b.inside = c.hatched(c.layShells(b, region, s.recipe), s.frames[l.hatch])
	}
	return true
}

// hatched is as the function of that name, and counts what it costs.
func (c *cutter) hatched(region []loop, f frame) *rows {
	out := hatched(region, f)
	for _, l := range region {
		c.comparisons += 8 * len(l)
	}
	c.comparisons += len(out.starts) + 20*len(out.ends)
	return out
}
