package shapes_test

import (
	"context"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

func TestThings(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"t": shapes.T(10, 40, 40, 10), "mushroom": shapes.Mushroom(48, 5, 20, 40), "box with hole": shapes.BoxWithHole(20, 20, 20, 10),
		"vase": shapes.Vase(120, 40, 2), "knob": shapes.Knob(16, 24), "gear": shapes.Gear(24, 2, 6, 8), "bracket": shapes.Bracket(60, 20),
		"plate": shapes.NamePlate("WEI TAN", 20), "all letters": shapes.NamePlate("AEFHIKLMNOTVWXYZ-147", 20),
		"planter": shapes.Planter(90, 160, 8), "shield": shapes.Shield(220, 4), "box": shapes.OpenBox(60, 40, 30, 2), "lid": shapes.Lid(60, 40, 2, 0.3),
		"stand": shapes.Stand(80, 90, 60, 6), "tube": shapes.Tube(64, 20, 2, 50),
		"tetra": shapes.Tetrahedron(1), "octa": shapes.Octahedron(1), "dodeca": shapes.Dodecahedron(1), "sphere": shapes.UVSphere(10, 32, 16),
		"torus": shapes.Torus(10, 3, 64, 32), "prism": shapes.Prism(64, 10, 20), "cone": shapes.Cone(32, 10, 20),
	} {
		top, err := mesh.Examine(context.Background(), m, mesh.Facts{}, mesh.Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := top.Shape
		t.Logf("%s: %d facets V %.6f A %.6f genus %d parts %d", name, s.Triangles, s.VolumeMM3, s.AreaMM2, s.Genus, s.Parts)
		if !s.EnclosesVolume || s.InsideOut || s.Shells != 1 || s.Parts != 1 || s.SelfIntersections != 0 || !s.IntersectionsExact {
			t.Errorf("%s: %+v", name, s)
		}
	}
}
