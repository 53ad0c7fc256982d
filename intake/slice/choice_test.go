package slice

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// Through fewer cuts, the time and the plastic stay within 1 % of cutting every layer.
func TestFewerCuts(t *testing.T) {
	parts := scaleParts(t)
	parts["smooth ball"] = shapes.UVSphere(50, 320, 160)
	parts["mushroom"] = shapes.Turned(shapes.Outline{{0, 0}, {10, 0}, {10, 40}, {40, 40}, {40, 50}, {0, 60}}, 100)
	for name, m := range parts {
		for _, scale := range []float64{0.7, 1, 1.6} {
			few, all := planned(t, m, job.Settings{Scale: scale})
			name := fmt.Sprintf("%s x %g", name, scale)
			t.Logf("%s: %d of %d cuts: time %+.2f%%, part %+.2f%%, supports %.0f of %.0f", name, len(few.layers), len(all.layers), 100*(few.alone()/all.alone()-1),
				100*(few.plastic.model()/all.plastic.model()-1), few.plastic.support(), all.plastic.support())
			near(t, name+": time", few.alone(), all.alone(), 0.01*all.alone())
			near(t, name+": plastic", few.plastic.all(), all.plastic.all(), 0.01*all.plastic.all())
		}
	}
}

// planned plans a part from layers that stand for the rest, and from all.
func planned(t *testing.T, m *mesh.Mesh, s job.Settings) (few, all *printed) {
	t.Helper()
	p, part := prepared(t, m, inputFor(t, m, s))
	ground, err := placeSupports(context.Background(), p, part)
	if err != nil {
		t.Fatal(err)
	}
	layers := p.estimateLayers(context.Background(), part, ground).guesses()
	if few, err = planOn(context.Background(), part, p, ground, newJudge(layers).choice(closely)); err != nil {
		t.Fatal(err)
	}
	if all, err = planOn(context.Background(), part, p, ground, nil); err != nil {
		t.Fatal(err)
	}
	return few, all
}

// manyParts are parts of many kinds, as drawn and turned at random.
func manyParts() []*mesh.Mesh {
	r := rand.New(rand.NewPCG(1, 5))
	var out []*mesh.Mesh
	for _, m := range []*mesh.Mesh{
		shapes.Torus(30, 10, 120, 60), shapes.Tube(90, 20, 3, 60), shapes.Gear(24, 2, 10, 8), shapes.Planter(40, 60, 3), shapes.Vase(90, 25, 1.6),
		shapes.Knob(20, 25), shapes.NamePlate("MILO", 12), shapes.Bracket(50, 20), shapes.Dodecahedron(25), shapes.DiceTower(40, 40, 90, 3),
		shapes.T(60, 60, 15, 20), shapes.Cone(120, 30, 60), shapes.Shield(50, 4), shapes.Lid(60, 40, 2, 0.3), shapes.Stand(60, 80, 60, 4),
	} {
		axis := mesh.Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		out = append(out, m, shapes.OnBed(shapes.Rotated(m, axis, 180*r.Float64())))
	}
	return out
}

// The same for parts at any angle, holes in the mesh among them.
func TestFewerCutsOfManyParts(t *testing.T) {
	var off []float64
	cut, layers := 0, 0
	for i, m := range manyParts() {
		few, all := planned(t, m, job.Settings{})
		worst := max(math.Abs(few.alone()/all.alone()-1), math.Abs(few.plastic.all()/all.plastic.all()-1))
		if worst > 0.01 {
			t.Errorf("part %d: %d of %d layers cut: off by %.2f%%", i, len(few.layers), len(all.layers), 100*worst)
		}
		off = append(off, worst)
		cut, layers = cut+len(few.layers), layers+len(all.layers)
	}
	slices.Sort(off)
	t.Logf("%d of %d layers cut; off by %.2f%% in the middle, %.2f%% at worst", cut, layers, 100*off[len(off)/2], 100*off[len(off)-1])
	if cut > layers*3/4 {
		t.Errorf("%d of %d layers are cut, which proves little", cut, layers)
	}
}

// The layer estimate has the outlines and areas of the cut layers, and all that faces up and down.
func TestLayerEstimate(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"cone": shapes.Cone(120, 30, 60), "gear": shapes.Gear(24, 2, 10, 8), "boat": boat(t), "tube on its side": shapes.OnBed(shapes.Rotated(shapes.Tube(90, 20, 3, 60), mesh.Vec{1, 0, 0}, 90)),
	} {
		_, all := planned(t, m, job.Settings{})
		s := all.estimateLayers(context.Background(), all.part, nil)
		for i, b := range all.cuts[:len(all.cuts)-1] { // the last is cut lower where the part ends in it
			near(t, fmt.Sprintf("%s: area of layer %d", name, i), s.area[i], b.signed, 0.002*b.signed+0.02)
			if s.guesses()[i].open {
				t.Fatalf("%s: layer %d is said to be open", name, i)
			}
		}
		up, down := 0.0, 0.0
		for i := range s.layers {
			up, down = up+s.up[i], down+s.down[i]
		}
		near(t, name+": up and down", up, down, 1e-6*up)
	}
}

// A cube of 20 mm: each layer has an outline of 80 mm around 400 mm2; what faces
// up lies on the last of 100 layers, and what faces down under the first.
func TestLayerEstimateOfCube(t *testing.T) {
	_, all := planned(t, box(0, 0, 0, 20, 20, 20), job.Settings{})
	s := all.estimateLayers(context.Background(), all.part, nil)
	for i := range 100 {
		near(t, "outline", s.outline[i], 80, 1e-9)
		near(t, "area", s.area[i], 400, 1e-9)
		near(t, "up", s.up[i], map[int]float64{99: 400}[i], 1e-9)
		near(t, "down", s.down[i], map[int]float64{0: 400}[i], 1e-9)
	}
}

// Where outlines do not close, layers stand for themselves alone.
func TestOpenLayersAreCut(t *testing.T) {
	few, all := planned(t, shapes.DiceTower(40, 40, 90, 3), job.Settings{})
	open := 0
	for i, g := range all.estimateLayers(context.Background(), all.part, nil).guesses() {
		if !g.open {
			continue
		}
		open++
		if k := slices.IndexFunc(few.layers, func(l layer) bool { return l.index == i }); k < 0 || few.layers[k].count != 1 {
			t.Errorf("layer %d is open and not cut for itself", i)
		}
	}
	if open < 100 {
		t.Errorf("%d layers are open", open)
	}
}

// Which parts are cut whole: the few layers, the short jobs, and what is to add up to the moves.
func TestWhichAreCutWhole(t *testing.T) {
	for _, c := range []struct {
		name  string
		mesh  *mesh.Mesh
		every bool
		whole bool
	}{
		{"a large ball", shapes.UVSphere(40, 100, 50), false, false},
		{"the same for its moves", shapes.UVSphere(40, 100, 50), true, true},
		{"a short job", box(0, 0, 0, 20, 20, 20), false, true},
		{"a sheet", box(0, 0, 0, 180, 180, 4), false, true},
	} {
		in := inputFor(t, c.mesh, job.Settings{})
		in.EveryLayer = c.every
		p, err := NewPlan(context.Background(), c.mesh, in)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(p.printed.layers); (n == p.printed.total) != c.whole {
			t.Errorf("%s: %d of %d layers are cut", c.name, n, p.printed.total)
		}
	}
}

// Every layer is stood for once, by itself or by another.
func TestRuns(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 200 {
		n := 1 + r.IntN(500)
		layers := make([]guess, n)
		for i := range layers {
			layers[i] = guess{all: 10 + 5*r.Float64()*r.Float64(), open: r.IntN(50) == 0}
			layers[i].solid = layers[i].all * r.Float64()
		}
		p, err := newRecipe(inputFor(t, box(0, 0, 0, 1, 1, 1), job.Settings{}))
		if err != nil {
			t.Fatal(err)
		}
		height := p.firstHeight + float64(n-1)*p.layerHeight
		sum, last := 0, -1
		for _, l := range p.chosenLayers(height, newJudge(layers).choice(0.1*r.Float64()), n) {
			if l.index <= last || l.index >= n {
				t.Fatalf("%d layers: layer %d after %d", n, l.index, last)
			}
			sum, last = sum+l.count, l.index
		}
		if sum != n {
			t.Fatalf("%d layers are stood for %d times", n, sum)
		}
	}
}
