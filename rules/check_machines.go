package rules

import (
	"fmt"
	"slices"

	"meshclerk/intake/job"
)

func (l *loader) checkPrinters() {
	j := l.in("printers.toml")
	var names []string
	for i, p := range l.rules.Printers {
		at := j.at("printer", i)
		at.filled("name", p.Name)
		at.count("count", p.Count, 1, 1000)
		for k, mm := range p.BuildMM {
			at.between(fmt.Sprintf("build_mm[%d]", k), mm, 10, 5000, "mm")
		}
		l.checkNozzles(at, p)
		l.checkMotion(at, p)
		names = append(names, p.Name)
	}
	if len(names) == 0 {
		j.bad("printer", job.Say("rules.no-printer", nil), none)
	}
	j.unique("printer", "name", names)
}

func (l *loader) checkNozzles(at judge, p Printer) {
	if len(p.NozzleMM) == 0 || len(p.NozzleMM) > 16 {
		at.bad("nozzle_mm", job.Say("rules.nozzles", job.Args{"entries": len(p.NozzleMM)}), job.Say("rules.hint.nozzles", nil))
	}
	for k, mm := range p.NozzleMM {
		at.between(fmt.Sprintf("nozzle_mm[%d]", k), mm, 0.1, 2, "mm")
	}
	at.between("filament_mm", p.FilamentMM, 1, 5, "mm")
	known := l.rules.materialNames()
	solid := false
	for k, m := range p.Materials {
		i := slices.IndexFunc(l.rules.Materials, func(x Material) bool { return x.Name == m })
		if i < 0 {
			at.bad(fmt.Sprintf("materials[%d]", k), job.Say("rules.not-in-materials", job.Args{"material": m}), didYouMean(m, known))
			continue
		}
		solid = solid || !l.rules.Materials[i].Soluble
		if l.rules.Materials[i].Soluble && len(p.NozzleMM) < 2 {
			at.bad(fmt.Sprintf("materials[%d]", k), job.Say("rules.one-nozzle", job.Args{"material": m, "printer": p.Name}), job.Say("rules.hint.second-nozzle", nil))
		}
	}
	if !solid {
		at.bad("materials", job.Say("rules.nothing-solid", job.Args{"printer": p.Name}), none)
	}
}

func (l *loader) checkMotion(at judge, p Printer) {
	s := p.Speed
	for key, v := range map[string]float64{
		"first_layer": s.FirstLayer, "bridge": s.Bridge, "outside": s.Outside, "solid": s.Solid,
		"shells": s.Shells, "support": s.Support, "infill": s.Infill, "travel": s.Travel,
	} {
		at.between("speed."+key, v, 1, 2000, "mm/s")
	}
	at.between("acceleration_mm_s2", p.Acceleration, 10, 100000, "mm/s2")
	at.between("travel_acceleration_mm_s2", p.TravelAcceleration, 10, 100000, "mm/s2")
	at.between("corner_speed_mm_s", p.CornerSpeed, 0.1, 100, "mm/s")
	at.between("max_flow_mm3_s", p.MaxFlow, 0.1, 1000, "mm3/s")
	at.between("retract_mm", p.RetractMM, 0, 50, "mm")
	at.between("retract_speed_mm_s", p.RetractSpeed, 1, 500, "mm/s")
	at.between("retract_after_travel_mm", p.MinTravelForRetractMM, 0, 1000, "mm")
	at.between("z_speed_mm_s", p.ZSpeed, 0.1, 500, "mm/s")
	at.between("warm_up_s", p.WarmUpS, 0, 7200, "rules.unit.seconds")
	at.between("min_layer_s", p.MinLayerS, 0, 600, "rules.unit.seconds")
	at.between("slowest_speed_mm_s", p.SlowestSpeed, 0.5, 500, "mm/s")
	at.between("nozzle_switch_s", p.SwitchS, 0, 600, "rules.unit.seconds")
	at.between("purge_mm3", p.PurgeMM3, 0, 5000, "mm3")
	at.between("filament_wait_s", p.ChangeWaitS, 0, 86400, "rules.unit.seconds")
	at.between("filament_change_s", p.ChangeS, 0, 3600, "rules.unit.seconds")
	at.between("filament_change_mm3", p.ChangeMM3, 0, 5000, "mm3")
}

func (l *loader) checkPrinting() {
	j, p := l.in("printing.toml"), &l.rules.Printing
	l.checkDefaultMaterial(j)
	low, high := l.layerRange()
	for key, v := range map[string]float64{"layer_mm": p.LayerMM, "first_layer_mm": p.FirstLayerMM} {
		j.between(key, v, low, high, "rules.unit.of-nozzle")
	}
	for i, v := range p.LayerChoices {
		j.between(fmt.Sprintf("layer_choices_mm[%d]", i), v, low, high, "rules.unit.of-nozzle")
	}
	j.between("line_width_mm", p.LineWidthMM, 0.1, 2, "mm")
	j.count("shells", p.Shells, 1, 50)
	j.count("strong_shells", p.StrongShells, 1, 50)
	j.between("infill", p.Infill, 0, 1, "rules.unit.share")
	j.between("strong_infill", p.StrongInfill, 0, 1, "rules.unit.share")
	j.count("solid_layers", p.SolidLayers, 0, 100)
	l.checkSupports(j)
	j.between("spread_low", p.SpreadLow, 0.2, 1, "")
	j.between("spread_high", p.SpreadHigh, 1, 5, "")
}

// layerRange is what every printer's first nozzle can lay: a layer is 25 to
// 75 % of the nozzle (University of Maryland Libraries, 3D printing guide 912).
func (l *loader) layerRange() (low, high float64) {
	low, high = 0.05, 1.5
	for _, p := range l.rules.Printers {
		if len(p.NozzleMM) > 0 {
			low, high = max(low, 0.25*p.NozzleMM[0]), min(high, 0.75*p.NozzleMM[0])
		}
	}
	return round(low), round(high)
}

// round drops what binary fractions leave behind, e.g. 0.30000000000000004.
func round(v float64) float64 { return float64(int(v*1e6+0.5)) / 1e6 }

func (l *loader) checkDefaultMaterial(j judge) {
	name, known := l.rules.Printing.Material, l.rules.materialNames()
	i := slices.Index(known, name)
	switch {
	case i < 0:
		j.bad("material", job.Say("rules.not-in-materials", job.Args{"material": name}), didYouMean(name, known))
	case l.rules.Materials[i].Soluble:
		j.bad("material", job.Say("rules.soluble", job.Args{"material": name}), none)
	case !slices.ContainsFunc(l.rules.Printers, func(p Printer) bool { return slices.Contains(p.Materials, name) }):
		j.bad("material", job.Say("rules.not-printed", job.Args{"material": name}), job.Say("rules.hint.to-printer", nil))
	}
}

func (l *loader) checkSupports(j judge) {
	p := &l.rules.Printing
	j.between("support_angle_deg", p.SupportAngleDeg, 1, 89, "rules.unit.from-vertical")
	j.between("support_gap_mm", p.SupportGapMM, 0, 5, "mm")
	j.between("support_density", p.SupportDensity, 0.01, 1, "rules.unit.share")
	j.between("bridge_mm", p.BridgeMM, 0, 500, "mm")
	j.oneOf("adhesion", p.Adhesion, "none", "skirt", "brim", "raft")
	j.count("skirt_loops", p.SkirtLoops, 0, 50)
	j.between("skirt_gap_mm", p.SkirtGapMM, 0, 100, "mm")
	j.between("brim_mm", p.BrimMM, 0, 100, "mm")
	j.count("raft_layers", p.RaftLayers, 0, 20)
	j.between("spacing_mm", p.SpacingMM, 0, 200, "mm")
}
