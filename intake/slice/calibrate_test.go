package slice

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

func took(estimated, actual float64) Print {
	return Print{Printer: "Bench 1", Material: "PLA", EstimatedHours: estimated, ActualHours: actual}
}

// Worked by hand: ratios 1.1, 1.2, 1.0, 1.15, 1.05 have the median 1.1; the
// deviations of their logarithms from it are 0, 0.0870, 0.0953, 0.0445, 0.0465,
// of which the median is 0.0465. Five prints widen the reach by 1 + 2/5.
func TestFitByHand(t *testing.T) {
	f, err := FitPrints([]Print{took(1, 1.1), took(2, 2.4), took(3, 3), took(4, 4.6), took(2, 2.1)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time", f.Time, 1.1, 1e-9)
	reach := 1.645 * 1.4826 * math.Log(1.1/1.05) * 1.4
	near(t, "low", f.Low, math.Exp(-reach), 1e-9)
	near(t, "high", f.High, math.Exp(reach), 1e-9)
	if f.Prints != 5 || f.Mass != 1 || f.Printer != "Bench 1" {
		t.Errorf("fit is %+v", f)
	}
}

func TestFitNeedsFive(t *testing.T) {
	var prints []Print
	for n := range 8 {
		f, err := FitPrints(prints)
		if err != nil {
			t.Fatal(err)
		}
		if (f != nil) != (n >= FewestPrints) {
			t.Errorf("with %d prints the fit is %v", n, f)
		}
		prints = append(prints, took(2, 2.2))
	}
	useless := append(prints[:4:4], took(0, 3), took(2, 0), took(math.NaN(), 1), took(1, math.Inf(1)), took(-1, 2))
	if f, err := FitPrints(useless); f != nil || err != nil {
		t.Errorf("useless records made the fit %+v, %v", f, err)
	}
}

func TestFitMixedUp(t *testing.T) {
	p := took(1, 1)
	p.Material = "PETG"
	_, err := FitPrints([]Print{took(1, 1), p})
	if err == nil || !strings.Contains(err.Error(), "PETG") {
		t.Errorf("error is %v", err)
	}
}

// Two in five records are nonsense, and the rest have errors of 4 %: the
// correction is still found, and the range holds about nine good prints in ten.
func TestFitIsRobust(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 7))
	var prints []Print
	for range 120 {
		e := 0.5 + 7*rnd.Float64()
		prints = append(prints, Print{"Bench 1", "PLA", e, 1.12 * e * math.Exp(0.04*rnd.NormFloat64()), 10 * e, 10.3 * e})
	}
	held := 0
	f, err := FitPrints(spoiled(prints))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time", f.Time, 1.12, 0.03)
	near(t, "mass", f.Mass, 1.03, 0.01)
	for _, p := range prints {
		r := p.ActualHours / p.EstimatedHours / f.Time
		if r > f.Low && r < f.High {
			held++
		}
	}
	if share := float64(held) / float64(len(prints)); share < 0.85 {
		t.Errorf("the range %.3f to %.3f holds only %.2f of the good prints", f.Low, f.High, share)
	}
	if f.High > 1.25 {
		t.Errorf("the nonsense widened the range to %.3f", f.High)
	}
}

// spoiled makes every fifth record far too long and every fifth far too short.
func spoiled(prints []Print) []Print {
	out := append([]Print(nil), prints...)
	for i := range out {
		switch i % 5 {
		case 0:
			out[i].ActualHours *= 60
		case 1:
			out[i].ActualHours /= 60
		}
	}
	return out
}

// A fit corrects time, range and mass, also the division into plates.
func TestEstimateIsCorrected(t *testing.T) {
	m := box(0, 0, 0, 30, 30, 30)
	in := inputFor(t, m, job.Settings{Copies: 6})
	plain := mustEstimate(t, m, in)
	in.Calibration = &Fit{Printer: in.Printer.Name, Material: "PLA", Prints: 9, Time: 1.5, Low: 0.9, High: 1.2, Mass: 1.1}
	e := mustEstimate(t, m, in)
	near(t, "mass", e.MassG, 1.1*plain.MassG, 0.02*plain.MassG) // another plate has another skirt
	near(t, "low", e.LowS, 0.9*e.PrintTimeS, 1e-6)
	near(t, "high", e.HighS, 1.2*e.PrintTimeS, 1e-6)
	near(t, "time", e.PrintTimeS, 1.5*plain.PrintTimeS, 0.05*plain.PrintTimeS)
	if e.PlateTimeS > in.Limits.JobHours*3600 || e.Plates < plain.Plates {
		t.Errorf("%d plates of %.1f h, before %d of %.1f h", e.Plates, e.PlateTimeS/3600, plain.Plates, plain.PlateTimeS/3600)
	}
}

// Five weighed prints correct the mass, and four do not.
func TestMassNeedsFiveWeighed(t *testing.T) {
	for weighed, want := range map[int]float64{4: 1, 5: 1.2} {
		var prints []Print
		for i := range 5 {
			p := took(1, 1)
			if i < weighed {
				p.EstimatedGrams, p.ActualGrams = 10, 12
			}
			prints = append(prints, p)
		}
		f, err := FitPrints(prints)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mass", f.Mass, want, 1e-9)
	}
}
