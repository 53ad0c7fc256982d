package slice

import (
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
)

// level is one layer, or several like it of which only the middle one is cut.
// It is cut at half its height.
type level struct {
	bottom, thick float64
	count         int // layers it stands for
}

func (l level) middle() float64 { return l.bottom + l.thick/2 }

// affordable is how many layers of a part are cut at most. A part that fits on a
// printer has fewer; one that is far too large for any is looked at less closely.
func (p *recipe) affordable(part *part) int {
	const lines = 8e6
	across := math.Hypot(part.size[0], part.size[1]) / p.width
	return int(math.Min(math.Max(lines/(across+1), 100), 10_000))
}

// layers is how many layers a height (mm) takes: those whose middle it reaches.
func (p *recipe) layers(height float64) int {
	n := math.Ceil((height-p.first)/p.layer - 0.5)
	return 1 + int(math.Min(math.Max(n, 0), 1e8))
}

// levels lists the layers that a height takes, or fewer that stand for them:
// one for each of the runs that some marks, as parts of the height, divide it into.
func (p *recipe) levels(height float64, marks []float64, most int) []level {
	n := p.layers(height)
	if marks == nil {
		marks = evenMarks(n, most)
	}
	marks = withEnds(marks, n, p.printing.SkinLayers)
	out := []level{{0, p.first, 1}}
	i := 1
	for _, m := range marks {
		count := int(math.Round(m*float64(n))) - i
		if count < 1 {
			continue
		}
		out = append(out, level{p.first + float64(i+count/2-1)*p.layer, p.layer, count})
		i += count
	}
	return out
}

// withEnds adds marks between the layers of the bottom's and the top's skins.
func withEnds(marks []float64, n, skins int) []float64 {
	marks = slices.Clone(marks)
	for i := range min(skins+1, n) {
		marks = append(marks, float64(i+1)/float64(n), float64(n-i)/float64(n))
	}
	slices.Sort(marks)
	return marks
}

// evenMarks divides n layers into as many runs, or into most of them.
func evenMarks(n, most int) []float64 {
	k := min(n, most)
	marks := make([]float64, k)
	for i := range marks {
		marks[i] = float64(i+1) / float64(k)
	}
	return marks
}

// slab is one layer, cut and with its walls.
type slab struct {
	area   float64  // mm2, of the region
	signed float64  // mm2, as the outlines wind
	walls  []wall   // centre lines, per shell from the outside
	lanes  []lane   // narrow places between walls
	shape  [2]*rows // the region, hatched either way
	inside *rows    // what the walls leave, hatched the layer's way
	first  []loop   // the region itself, of the first layer only
}

// sliced is a part with all its layers.
type sliced struct {
	*recipe
	part   *part
	levels []level
	slabs  []slab
	frames [2]frame
	second *sliced // what the second nozzle lays
	ground *posts  // where the part stands, and would have supports
	posts  *posts  // supports; nil for none
}

const sqrtHalf = math.Sqrt2 / 2

// sliceAll cuts a part, in every layer or as the marks say.
func sliceAll(ctx context.Context, part *part, p *recipe, marks []float64) (*sliced, error) {
	s := &sliced{recipe: p, part: part, levels: p.levels(part.size[2], marks, p.affordable(part))}
	s.frames = [2]frame{{sqrtHalf, sqrtHalf, p.width}, {sqrtHalf, -sqrtHalf, p.width}}
	s.slabs = make([]slab, len(s.levels))
	zs := make([]float64, len(s.levels))
	for i, l := range s.levels {
		zs[i] = math.Min(l.middle(), (l.bottom+part.size[2])/2) // a film is thinner than its layer
	}
	facets := sortFacets(part, zs)
	workers := runtime.GOMAXPROCS(0)
	cutters := make([]cutter, workers)
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	err := inRuns(ctx, len(s.slabs), 16, workers, func(w, from, to int) {
		c := &cutters[w]
		c.begin(facets, from)
		for i := from; i < to && ctx.Err() == nil; i++ {
			if !s.cutSlab(c, facets, i) {
				stop(errTangled)
			}
		}
	})
	if err != nil {
		return nil, context.Cause(ctx)
	}
	return s, nil
}

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
	if i == 0 {
		b.first = region
	}
	for k, f := range s.frames {
		b.shape[k] = hatched(region, f)
	}
	region = c.layWalls(b, region, s.recipe)
	b.inside = hatched(region, s.frames[i%2])
	return true
}
