package slice

import (
	"math"
	"strconv"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// recipe is what a part is printed with: the rules with the settings over them.
type recipe struct {
	in       Input
	printer  rules.Printer
	printing rules.Printing

	scale       float64
	copies      int
	colours     []int   // copies of each colour; one for all of them
	layerHeight float64 // mm
	firstHeight float64 // mm, thickness of the first layer
	width       float64 // mm, of a line
	shellCount  int
	infill      float64 // 0..1
}

// newRecipe fills in what the settings leave unsaid and refuses what no printer could follow.
func newRecipe(in Input) (*recipe, error) {
	s := in.Printing.Fill(in.Settings)
	p := &recipe{in: in, printer: in.Printer, printing: in.Printing, scale: 1, copies: 1,
		layerHeight: s.LayerMM, firstHeight: in.Printing.FirstLayerMM, shellCount: s.Shells, infill: s.Infill}
	nozzle := 0.4
	if len(in.Printer.NozzleMM) > 0 {
		nozzle = in.Printer.NozzleMM[0]
	}
	p.width = in.Printing.LineWidthMM * nozzle / 0.4 // the rules give it for a 0.4 mm nozzle
	if s.Scale != 0 {
		p.scale = s.Scale
	}
	if s.Copies != 0 {
		p.copies = s.Copies
	}
	p.colours = byColour(s.Colours, p.copies)
	return p, p.check()
}

// byColour gives how many copies are of each colour, where they add up.
func byColour(each []job.ColourCopies, copies int) []int {
	var out []int
	sum := 0
	for _, c := range each {
		if c.Copies < 1 {
			return []int{copies}
		}
		out, sum = append(out, c.Copies), sum+c.Copies
	}
	if sum != copies {
		return []int{copies}
	}
	return out
}

func (p *recipe) check() error {
	in := func(v, lo, hi float64) bool { return v >= lo && v <= hi } // false for NaN
	switch {
	case !in(p.scale, 1e-6, 1e6):
		return job.Refuse(job.Say("findings.slice.scale", job.Args{"is": exactly(p.scale)}))
	case p.copies < 1:
		return job.Refuse(job.Say("findings.slice.copies", job.Args{"is": p.copies}))
	case !in(p.layerHeight, 0.02, 2):
		return job.Refuse(job.Say("findings.slice.layer", job.Args{"is": exactly(p.layerHeight)}))
	case !in(p.firstHeight, 0.02, 2):
		return job.Refuse(job.Say("findings.slice.first-layer", job.Args{"is": exactly(p.firstHeight)}))
	case !in(p.width, 0.05, 5):
		return job.Refuse(job.Say("findings.slice.line-width", job.Args{"is": exactly(p.width)}))
	case !in(p.infill, 0, 1):
		return job.Refuse(job.Say("findings.slice.infill", job.Args{"is": exactly(p.infill)}))
	case (p.in.Support != nil || p.in.Second != nil) && len(p.printer.NozzleMM) < 2:
		return job.Refuse(job.Say("findings.slice.one-nozzle", job.Args{"printer": p.printer.Name}))
	case !in(float64(p.shellCount), 0, 1000):
		return job.Refuse(job.Say("findings.slice.shells", job.Args{"is": p.shellCount}))
	}
	return nil
}

// filament is how many metres of that diameter hold a volume.
func filament(mm3, diameter float64) float64 {
	if diameter <= 0 {
		return 0
	}
	return mm3 / (math.Pi / 4 * diameter * diameter) / 1000
}

// exactly writes a figure that is out of bounds with all its places.
func exactly(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
