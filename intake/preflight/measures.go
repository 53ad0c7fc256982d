package preflight

import (
	"fmt"
	"reflect"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// measureNames lists the names an expression may use, in the order of Measures.
func measureNames() []string {
	var names []string
	for f := range reflect.TypeFor[Measures]().Fields() {
		names = append(names, f.Tag.Get("expr"))
	}
	return names
}

// fill writes the measures named in braces into a sentence.
func (m Measures) fill(text string) string {
	v := reflect.ValueOf(m)
	return braces.ReplaceAllStringFunc(text, func(s string) string {
		for i := range v.NumField() {
			if v.Type().Field(i).Tag.Get("expr") == s[1:len(s)-1] {
				return spoken(v.Field(i).Interface())
			}
		}
		return s
	})
}

func spoken(v any) string {
	switch v := v.(type) {
	case float64:
		return plain.Figure(v)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	}
	return fmt.Sprint(v)
}

// shape takes over the geometry.
func (m *Measures) shape(s job.Shape) {
	m.VolumeMM3, m.AreaMM2 = s.VolumeMM3, s.AreaMM2
	m.Triangles, m.Shells, m.Parts, m.Genus = float64(s.Triangles), float64(s.Shells), float64(s.Parts), float64(s.Genus)
	m.Holes, m.OpenEdges = float64(s.Holes), float64(s.OpenEdges)
	m.Nonmanifold, m.Flipped = float64(s.NonmanifoldEdges), float64(s.FlippedEdges)
	m.Crossings = float64(s.SelfIntersections)
	m.DegenerateTris, m.DuplicateTris = float64(s.DegenerateTris), float64(s.DuplicateTris)
	m.Watertight, m.InsideOut = s.Watertight, s.InsideOut
}

// size takes over the outer size of the part as it would be printed.
func (m *Measures) size(mm [3]float64) {
	m.WidthMM, m.DepthMM, m.HeightMM = mm[0], mm[1], mm[2]
	m.LongestMM, m.ShortestMM = max(mm[0], mm[1], mm[2]), min(mm[0], mm[1], mm[2])
}

// estimate takes over what the printer would spend.
func (m *Measures) estimate(e *job.Estimate) {
	if e == nil {
		return
	}
	m.PrintTimeH, m.PlateTimeH = e.PrintTimeS/3600, e.PlateTimeS/3600
	m.MassG, m.FilamentM = e.MassG, e.FilamentM
	m.SupportMM3, m.SupportG = e.SupportMM3, e.SupportMassG
	m.Layers, m.Plates = float64(e.Layers), float64(e.Plates)
	m.LayerMM, m.ShellsLaid, m.Infill = e.LayerMM, float64(e.Shells), e.Infill
	m.Printer, m.Material = e.Printer, e.Material
}
