package preflight

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/room"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// machines gives the printers that may print the job, in the order of the
// rules: the one asked for, or all that take the material.
func machines(r *rules.Rules, s job.Settings) []rules.Printer {
	var out []rules.Printer
	for _, p := range r.Printers {
		if s.Printer != "" && !strings.EqualFold(s.Printer, p.Name) {
			continue
		}
		alone := s
		alone.Printer = p.Name
		if _, err := slice.Pick(r, alone, [3]float64{}); err == nil {
			out = append(out, p)
		}
	}
	if len(out) == 0 {
		return r.Printers
	}
	return out
}

// fitting finds the first printer whose build volume holds the part as it
// stands, turned about the upright axis at most; else the one that would take
// it at the largest scale, and, when another way up fits, that way.
func fitting(corners []mesh.Vec, up orientation, printers []rules.Printer) (job.Fit, rules.Printer, []mesh.Vec) {
	var best job.Fit
	var chosen rules.Printer
	plan := up.plan(corners)
	for _, p := range printers {
		scale := room.Scale(plan, up.high-up.low, p.BuildMM)
		if scale >= 1 {
			return job.Fit{Printer: p.Name, Fits: true, FitsTurned: true, ScaleToFit: 1}, p, nil
		}
		if scale > best.ScaleToFit {
			best, chosen = job.Fit{Printer: p.Name, ScaleToFit: scale}, p
		}
	}
	for _, p := range printers {
		if other, ok := laidDown(corners, p.BuildMM); ok {
			best.FitsTurned = true
			return best, chosen, []mesh.Vec{other}
		}
	}
	return best, chosen, nil
}

// laidDown looks for any way to put the part into a build volume and gives the
// direction that would be up: flats and axes first, then all round, refined.
func laidDown(corners []mesh.Vec, build [3]float64) (mesh.Vec, bool) {
	few := thinned(corners, 400)
	scale := func(up mesh.Vec) float64 {
		s := standing(up, few)
		return room.Scale(s.plan(few), s.high-s.low, build)
	}
	type try struct {
		up    mesh.Vec
		scale float64
	}
	tries := []try{}
	for _, up := range append(axes(), sphere(160)...) {
		tries = append(tries, try{up, scale(up)})
	}
	slices.SortStableFunc(tries, func(a, b try) int { return cmp.Compare(b.scale, a.scale) })
	for _, t := range tries[:4] {
		for step := 0.12; step > 0.004 && t.scale < 1; {
			better := false
			for _, d := range axes() {
				up := unit(t.up.Add(d.Mul(step)))
				if s := scale(up); s > t.scale {
					t, better = try{up, s}, true
				}
			}
			if !better {
				step /= 2
			}
		}
		if t.scale >= 1 {
			whole := standing(t.up, corners)
			if room.Scale(whole.plan(corners), whole.high-whole.low, build) >= 1-1e-3 {
				return t.up, true
			}
		}
	}
	return mesh.Vec{}, false
}

// thinned keeps the corners that reach farthest in n directions.
func thinned(corners []mesh.Vec, n int) []mesh.Vec {
	if len(corners) <= n {
		return corners
	}
	keep := make([]bool, len(corners))
	for _, d := range append(axes(), sphere(n)...) {
		keep[farthest(corners, d)] = true
	}
	var out []mesh.Vec
	for i, c := range corners {
		if keep[i] {
			out = append(out, c)
		}
	}
	return out
}

// farthest is the number of the corner that reaches farthest in a direction.
func farthest(corners []mesh.Vec, d mesh.Vec) int {
	best, at := math.Inf(-1), 0
	x, y, z := d[0], d[1], d[2]
	for i := range corners {
		c := &corners[i]
		if h := c[0]*x + c[1]*y + c[2]*z; h > best {
			best, at = h, i
		}
	}
	return at
}
