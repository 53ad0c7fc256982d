package slice

import (
	"context"
	"math"
	"runtime"
)

// level is one layer: where it lies and how thick it is. It is cut at half its height.
type level struct{ bottom, thick float64 }

func (l level) middle() float64 { return l.bottom + l.thick/2 }

// levels lists the layers that a height (mm) takes: those whose middle it reaches.
func (p *recipe) levels(height float64) []level {
	out := []level{{0, p.first}}
	for {
		l := level{p.first + float64(len(out)-1)*p.layer, p.layer}
		if l.middle() >= height || len(out) >= maxLayers {
			return out
		}
		out = append(out, l)
	}
}

// maxLayers bounds the layers of a part that is far too tall for any printer.
const maxLayers = 100_000

// slab is one layer, cut and with its walls.
type slab struct {
	area   float64  // mm2, of the region
	signed float64  // mm2, as the outlines wind
	walls  []wall   // centre lines, per shell from the outside
	lanes  []lane   // narrow places between walls
	shape  [2]*rows // the region, hatched either way
	inside *rows    // what the walls leave, hatched the layer's way
	first  []loop   // the region itself, of the first layer only
	box    [2]point // of the region
}

// sliced is a part with all its layers.
type sliced struct {
	*recipe
	part   *part
	levels []level
	slabs  []slab
	frames [2]frame
	ground *posts // where the part stands, and would have supports
	posts  *posts // supports; nil for none
}

const sqrtHalf = math.Sqrt2 / 2

// sliceAll cuts every layer of a part.
func sliceAll(ctx context.Context, part *part, p *recipe) (*sliced, error) {
	s := &sliced{recipe: p, part: part, levels: p.levels(part.size[2])}
	s.frames = [2]frame{{sqrtHalf, sqrtHalf, p.width}, {sqrtHalf, -sqrtHalf, p.width}}
	s.slabs = make([]slab, len(s.levels))
	zs := make([]float64, len(s.levels))
	for i, l := range s.levels {
		zs[i] = math.Min(l.middle(), (l.bottom+part.size[2])/2)
	}
	facets := sortFacets(part, zs)
	workers := runtime.GOMAXPROCS(0)
	cutters := make([]cutter, workers)
	err := inRuns(ctx, len(s.slabs), 16, workers, func(w, from, to int) {
		c := &cutters[w]
		c.begin(facets, from)
		for i := from; i < to && ctx.Err() == nil; i++ {
			s.cutSlab(c, facets, i)
		}
	})
	return s, err
}

// cutSlab cuts layer i and lays its walls.
func (s *sliced) cutSlab(c *cutter, facets *sorted, i int) {
	b := &s.slabs[i]
	region := c.layer(facets, i)
	b.signed = areaOf(c.loops)
	b.area = areaOf(region)
	b.box = boxOf(region)
	if i == 0 {
		b.first = region
	}
	for k, f := range s.frames {
		b.shape[k] = hatched(region, f)
	}
	region = c.layWalls(b, region, s.recipe)
	b.inside = hatched(region, s.frames[i%2])
}

func boxOf(ls []loop) [2]point {
	b := [2]point{{math.MaxInt32, math.MaxInt32}, {math.MinInt32, math.MinInt32}}
	for _, l := range ls {
		for _, p := range l {
			b[0].x, b[0].y = min(b[0].x, p.x), min(b[0].y, p.y)
			b[1].x, b[1].y = max(b[1].x, p.x), max(b[1].y, p.y)
		}
	}
	return b
}
