package slice

import (
	"math"

	"meshclerk/intake/job"
)

// run is one way of printing all copies: how many on each plate, how long.
type run struct {
	plates   []int // copies on each
	seconds  float64
	longest  float64
	switches int     // of the nozzle, on all plates
	changes  int     // of the colour at a height, on all plates
	purged   float64 // mm3, on all plates
	bedside  float64 // mm3, on all plates
}

// run divides the copies among the fewest plates that hold them and keep
// within the time limit, as evenly as they go. Copies of another colour are on
// plates of their own.
func (pr *printed) run(g *supportGrid) run {
	room := pr.pack(g, pr.part.size, pr.copies)
	most := max(1, len(room.places))
	memo := map[int]plateCost{}
	cost := func(n int) plateCost {
		if c, ok := memo[n]; ok {
			return c
		}
		memo[n] = pr.plateCost(g, room, n)
		return memo[n]
	}
	if limit := pr.in.Limits.JobHours * 3600; limit > 0 {
		lo, hi := 1, most // the most copies that keep within the limit; one in any case
		for lo < hi {
			mid := (lo + hi + 1) / 2
			if pr.corrected(cost(mid).seconds) <= limit {
				lo = mid
			} else {
				hi = mid - 1
			}
		}
		most = lo
	}
	var out run
	for _, together := range pr.colours {
		n := (together + most - 1) / most
		for k := range n {
			copies := (k+1)*together/n - k*together/n
			c := cost(copies)
			out.plates = append(out.plates, copies)
			out.seconds += pr.corrected(c.seconds)
			out.longest = max(out.longest, pr.corrected(c.seconds))
			out.switches += c.switches
			out.changes += c.changes
			out.purged += c.purged
			out.bedside += c.bedside
		}
	}
	return out
}

// corrected is the time as finished prints teach it.
func (p *recipe) corrected(seconds float64) float64 {
	if p.in.Calibration == nil {
		return seconds
	}
	return seconds * p.in.Calibration.Time
}

type plateCost struct {
	seconds  float64
	switches int
	changes  int
	purged   float64
	bedside  float64
}

// plateCost is what a plate with n copies takes. Layers that must cool are
// given their least time once for all copies.
func (pr *printed) plateCost(g *supportGrid, room plate, n int) plateCost {
	t := newTimer(pr.recipe)
	c := plateCost{seconds: pr.printer.WarmUpS}
	next := t.hop(pr.part.size[0] + pr.printing.SpacingMM) // on to the next copy
	copies := float64(n)
	for i, p := range pr.paces {
		natural, floor := copies*p.natural+(copies-1)*next, copies*p.floor+(copies-1)*next
		c.seconds += float64(pr.layers[i].count) * (max(natural, min(pr.printer.MinLayerS, floor)) + pr.between[i])
	}
	for k, moves := range pr.bedside.tracks {
		c.seconds += copies * t.time(moves, pr.bedside.layers[k], math.Inf(1))
		p := laid(moves, pr.bedside.layers[k])
		c.bedside += copies * p.all()
	}
	if n <= len(room.places) || n == 1 {
		pl := plate{[]place{{}}}
		if len(room.places) > 0 {
			pl.places = room.places[:n]
		}
		ground := pr.layerAt(0)
		moves := pr.skirtAround(g.outlinePoints(pl))
		c.seconds += t.time(moves, ground, math.Inf(1))
		p := laid(moves, ground)
		c.bedside += p.all()
	}
	pr.addSwitches(&c)
	return c
}

// addSwitches adds the changes of nozzle, and the plastic laid aside at each.
// All copies of a plate share them.
func (pr *printed) addSwitches(c *plateCost) {
	c.switches = pr.switches
	c.purged = float64(c.switches) * pr.printer.PurgeMM3
	c.seconds += float64(c.switches) * pr.printer.SwitchS
	if pr.changeLayer() > 0 {
		c.changes = 1 // all copies of a plate have it at once
		seconds, pushed := pr.changeCost()
		c.seconds, c.purged = c.seconds+seconds, c.purged+pushed
	}
	if pr.printer.MaxFlow > 0 {
		c.seconds += c.purged / pr.printer.MaxFlow
	}
}

// changeCost is the time (s) of the change of colour at a height, and the plastic (mm3)
// pushed out: the printer changes to its other nozzle, or a person, for whom it waits, the
// filament.
func (p *recipe) changeCost() (seconds, mm3 float64) {
	if p.changesByHand() {
		return p.printer.ChangeWaitS + p.printer.ChangeS, p.printer.ChangeMM3
	}
	return p.printer.SwitchS, p.printer.PurgeMM3
}

func (p *recipe) changesByHand() bool { return len(p.printer.NozzleMM) < 2 || p.in.Support != nil }

// changeLayer is the first layer above the height at which the colour changes, counted
// from 0, or 0 where the part has no such layer.
func (s *sliced) changeLayer() int {
	if s.in.ChangeMM <= 0 {
		return 0
	}
	if n := s.layerCount(s.in.ChangeMM); n < s.total {
		return n
	}
	return 0
}

// tellChange tells of the changes of colour in an estimate.
func (pr *printed) tellChange(e *job.Estimate, r run) {
	if pr.in.Second != nil {
		e.ColourChanges = r.switches
	}
	if at := pr.changeLayer(); at > 0 {
		bottom, _ := pr.lies(at)
		e.ChangeMM, e.ChangeLayer, e.ColourChanges, e.ByHand = math.Round(1000*bottom)/1000, at+1, r.changes, pr.changesByHand()
		if e.ByHand {
			e.ChangeWaitS = pr.printer.ChangeWaitS
		}
	}
}

// report returns the run as an estimate of the job.
func (pr *printed) report(r run) job.Estimate {
	n := float64(pr.copies)
	support := pr.plastic.support()
	e := job.Estimate{
		PrintTimeS: r.seconds, PlateTimeS: r.longest, Plates: len(r.plates), PerPlate: perPlate(r.plates),
		Layers: pr.layerCount(pr.part.size[2]), SolidMM3: pr.solid(), ModelMM3: pr.plastic.model(), SupportMM3: support, PurgeMM3: r.purged, SecondMM3: pr.other,
		Printer: pr.printer.Name, Material: pr.in.Material.Name, LayerMM: pr.layerHeight, Shells: pr.shellCount, Infill: pr.infill,
		Copies: pr.copies, Scale: pr.scale, Adhesion: pr.printing.Adhesion,
	}
	e.LowS, e.HighS = pr.spread(r.seconds)
	pr.tellChange(&e, r)
	main, prop := n*e.ModelMM3+r.bedside, n*support // mm3 by nozzle
	density := pr.in.Material.Density
	propDensity := density
	if pr.in.Support != nil {
		e.SupportMaterial = pr.in.Support.Name
		propDensity = pr.in.Support.Density
		half := float64(r.switches) * pr.printer.PurgeMM3 / 2 // the changes go to and fro
		main, prop = main+r.purged-half, prop+half
	} else {
		main += r.purged
	}
	weigh := 1.0
	if pr.in.Calibration != nil {
		weigh = pr.in.Calibration.Mass
		e.TimeFactor, e.MassFactor = pr.in.Calibration.Time, weigh
	}
	e.SupportMassG = weigh * prop * propDensity / 1000
	e.MassG = weigh*main*density/1000 + e.SupportMassG
	e.FilamentM = filament(weigh*(main+prop), pr.printer.FilamentMM)
	e.Filament175M, e.Filament285M = filament(weigh*(main+prop), 1.75), filament(weigh*(main+prop), 2.85)
	return e
}

func perPlate(plates []int) int {
	most := 0
	for _, n := range plates {
		most = max(most, n)
	}
	return most
}

// spread is the time that the print will most likely take at least and at most.
func (p *recipe) spread(seconds float64) (low, high float64) {
	if f := p.in.Calibration; f != nil {
		return seconds * f.Low, seconds * f.High
	}
	return seconds * p.printing.SpreadLow, seconds * p.printing.SpreadHigh
}
