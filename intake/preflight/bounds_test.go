package preflight

import (
	"context"
	"math"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

func partOf(t *testing.T, m *mesh.Mesh) *part {
	t.Helper()
	topo, err := mesh.Examine(context.Background(), m, mesh.Facts{}, examineOptions(len(m.Triangles)))
	if err != nil {
		t.Fatal(err)
	}
	return newPart(newSurface(m, topo, envelopeOf(m)), findPieces(topo, nil))
}

// The same part gives the same bed to the last digit: sums do not hang on the order of a map.
func TestBedIsTheSameEachTime(t *testing.T) {
	var cubes []*mesh.Mesh
	for i := range 9 {
		cubes = append(cubes, shapes.Moved(cube(math.Sqrt(float64(i)+2)/3), 5*float64(i), 0, 0))
	}
	p := partOf(t, shapes.Merge(cubes...))
	first := p.contactPatchAt(p.standing(upright), 0.2).bedMM2
	for range 200 {
		if again := p.contactPatchAt(p.standing(upright), 0.2).bedMM2; again != first {
			t.Fatalf("the bed is %.17g mm2, and then %.17g", first, again)
		}
	}
}

// A surface without thickness encloses less than 3 % of a ball of its area, and its
// holes are more than a fifth of it. A ball of radius 3 has 36 pi mm2 and 36 pi mm3.
func TestSheetAtEachBound(t *testing.T) {
	const ball = 36 * math.Pi
	for _, c := range []struct {
		volume, holes float64 // shares
		open          int
		want          bool
	}{
		{0.0299, 0.5, 4, true}, {0.0301, 0.5, 4, false}, {-0.0299, 0.5, 4, true}, {-0.0301, 0.5, 4, false},
		{0, 0.201, 4, true}, {0, 0.199, 4, false}, {0, 0.5, 0, false},
	} {
		topo := &mesh.Topology{Shape: job.Shape{AreaMM2: ball, VolumeMM3: c.volume * ball, OpenEdges: c.open}, Holes: []mesh.Hole{{AreaMM2: c.holes * ball}}}
		if got := isSheet(topo); got != c.want {
			t.Errorf("%+v: a sheet %v", c, got)
		}
	}
}

// A part stands badly on less than a twentieth of what is seen from above, or when
// 7 degrees tip it over.
func TestShakyAtEachBound(t *testing.T) {
	for _, c := range []struct {
		share, tip float64
		want       bool
	}{{0.0499, 45, true}, {0.05, 45, false}, {0.5, 6.99, true}, {0.5, 7, false}} {
		if got := (contactPatch{share: c.share, tipDeg: c.tip}).shaky(); got != c.want {
			t.Errorf("%+v: shaky %v", c, got)
		}
	}
}

// Less than 20 mm2 of coarse curve is not worth a word.
func TestCoarsenessFromTwentySquareMillimetres(t *testing.T) {
	const tiny = 1e-4
	at := func(scale float64) coarse {
		return partOf(t, shapes.Scaled(seamedDisc(24, 10), scale, scale, scale)).coarseness(tiny)
	}
	scale := math.Sqrt(20 / at(1).areaMM2)
	if less, more := at(0.995*scale), at(1.005*scale); less.areaMM2 != 0 || more.areaMM2 == 0 {
		t.Errorf("19.8 mm2 give %+v, 20.2 mm2 %+v", less, more)
	}
}

// A step as high as a layer, within a thousandth, is laid as one.
func TestLowStepsAtTheLayer(t *testing.T) {
	for share, want := range map[float64]bool{0.9985: true, 0.9995: false} {
		p := partOf(t, ribbed(5, 0.2*share))
		if got := p.lowSteps(p.standing(upright), 0.2).count > 0; got != want {
			t.Errorf("a rise of %g layers: found %v", share, got)
		}
	}
}
