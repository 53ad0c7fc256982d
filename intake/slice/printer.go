package slice

import (
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/room"
	"meshclerk/rules"
)

// For makes the input of an estimate from the house rules: it picks printer and
// materials for a part of that size (mm, after scaling).
func For(r *rules.Rules, s job.Settings, size [3]float64) (Input, error) {
	in := Input{Printing: r.Printing, Limits: r.Limits, Settings: s}
	name := s.Material
	if name == "" {
		name = r.Printing.Material
	}
	m, ok := material(r, name)
	if !ok {
		return in, job.Refuse(job.Say("findings.slice.no-material", job.Args{"material": name}))
	}
	if m.Soluble {
		return in, job.Refuse(job.Say("findings.slice.soluble-only", job.Args{"material": m.Name}))
	}
	in.Material = m
	printer, err := Pick(r, s, size)
	if err != nil {
		return in, err
	}
	in.Printer = printer
	if s.Supports == "soluble" {
		in.Support = solubleOf(r, printer)
	}
	return in, nil
}

// Pick returns the printer for a part of that size (mm): the one the settings
// name, else the first in the rules that has the material, a nozzle for each colour
// and for supports that shall dissolve, and room for the part. When all are too small it
// is the largest of those that could otherwise print it.
func Pick(r *rules.Rules, s job.Settings, size [3]float64) (rules.Printer, error) {
	name := s.Material
	if name == "" {
		name = r.Printing.Material
	}
	var best *rules.Printer
	for i := range r.Printers {
		p := &r.Printers[i]
		if s.Printer != "" && !strings.EqualFold(p.Name, s.Printer) || !takes(*p, name) {
			continue
		}
		if s.Supports == "soluble" && solubleOf(r, *p) == nil || len(p.NozzleMM) < nozzles(s) {
			continue
		}
		if Holds(*p, size) {
			return *p, nil
		}
		if best == nil || volume(p.BuildMM) > volume(best.BuildMM) {
			best = p
		}
	}
	if best != nil {
		return *best, nil
	}
	return rules.Printer{}, noPrinter(s, name)
}

// nozzles is how many the settings take: one for each colour, and one for supports
// that dissolve.
func nozzles(s job.Settings) int {
	n := 1
	if s.Second != nil && !s.Second.ByHeight() {
		n++ // at a height a person can change the filament
	}
	if s.Supports == "soluble" {
		n++
	}
	return n
}

func noPrinter(s job.Settings, material string) error {
	switch soluble := s.Supports == "soluble"; {
	case s.Second != nil && soluble:
		return job.Refuse(job.Say("findings.slice.no-third-nozzle", nil))
	case s.Second != nil && s.Printer != "":
		return job.Refuse(job.Say("findings.slice.not-this-printer-two-colours", job.Args{"printer": s.Printer, "material": material}))
	case s.Second != nil:
		return job.Refuse(job.Say("findings.slice.no-printer-two-colours", job.Args{"material": material}))
	case soluble && s.Printer != "":
		return job.Refuse(job.Say("findings.slice.not-this-printer-soluble", job.Args{"printer": s.Printer, "material": material}))
	case soluble:
		return job.Refuse(job.Say("findings.slice.no-printer-soluble", job.Args{"material": material}))
	case s.Printer != "":
		return job.Refuse(job.Say("findings.slice.not-this-printer", job.Args{"printer": s.Printer, "material": material}))
	}
	return job.Refuse(job.Say("findings.slice.no-printer", job.Args{"material": material}))
}

// Holds reports whether a printer's build volume holds a box of that size (mm),
// turned about the upright axis by any angle.
func Holds(p rules.Printer, size [3]float64) bool {
	plan := [][2]float64{{0, 0}, {size[0], 0}, {size[0], size[1]}, {0, size[1]}}
	return room.Scale(plan, size[2], p.BuildMM) >= 1
}

func volume(mm [3]float64) float64 { return mm[0] * mm[1] * mm[2] }

func takes(p rules.Printer, material string) bool {
	for _, m := range p.Materials {
		if strings.EqualFold(m, material) {
			return true
		}
	}
	return false
}

func material(r *rules.Rules, name string) (rules.Material, bool) {
	for _, m := range r.Materials {
		if strings.EqualFold(m.Name, name) {
			return m, true
		}
	}
	return rules.Material{}, false
}

// solubleOf is the soluble material a printer with a second nozzle can lay, or nil.
func solubleOf(r *rules.Rules, p rules.Printer) *rules.Material {
	if len(p.NozzleMM) < 2 {
		return nil
	}
	for _, m := range r.Materials {
		if m.Soluble && takes(p, m.Name) {
			return &m
		}
	}
	return nil
}
