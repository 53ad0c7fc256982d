package picture

import (
	"bytes"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// large is a mesh of about half a million facets.
func large() *mesh.Mesh { return shapes.Torus(40, 12, 1000, 250) }

// BenchmarkView draws one view of 500,000 facets at 640 x 480, with overhangs
// shaded and sizes written. The aim is half a second.
func BenchmarkView(b *testing.B) {
	m := large()
	o := Options{Sizes: true, Shade: Overhangs(m, 45)}
	b.ReportMetric(float64(len(m.Triangles)), "facets")
	for _, v := range []View{Corner, Front, Side, Top} {
		b.Run(v.Name, func(b *testing.B) {
			for b.Loop() {
				Draw(m, v, o)
			}
		})
	}
	b.Run("thin walls marked", func(b *testing.B) {
		thin := o
		thin.Spots = ThinWalls(m, 0.8)
		for b.Loop() {
			Draw(m, Corner, thin)
		}
	})
	b.Run("thin walls sought", func(b *testing.B) {
		for b.Loop() {
			ThinWalls(m, 0.8)
		}
	})
	b.Run("cut open", func(b *testing.B) {
		for b.Loop() {
			Inside(m, nil, o)
		}
	})
	b.Run("a turntable of eight", func(b *testing.B) {
		for b.Loop() {
			Strip(m, 8, Options{})
		}
	})
	b.Run("as PNG", func(b *testing.B) {
		img := Draw(m, Corner, o)
		var buf bytes.Buffer
		for b.Loop() {
			buf.Reset()
			if err := WritePNG(&buf, img); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(buf.Len())/1000, "kB")
	})
	b.Run("simplified", func(b *testing.B) {
		for b.Loop() {
			if _, err := Simplified(b.Context(), m, 150_000); err != nil {
				b.Fatal(err)
			}
		}
	})
}
