package slice

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Print is one finished print: what was estimated, and what it really took.
type Print struct {
	Printer        string
	Material       string
	EstimatedHours float64 // before any calibration
	ActualHours    float64
	EstimatedGrams float64 // before any calibration
	ActualGrams    float64 // 0 if it was not weighed
}

// Fit is what the finished prints of one printer and material taught.
type Fit struct {
	Printer  string
	Material string
	Prints   int // that it rests on

	Time float64 // real time is the estimate times this
	Low  float64 // nearly all prints took more than the corrected estimate times this
	High float64 // and less than this
	Mass float64 // real mass is the estimate times this; 1 if too few were weighed
}

// FewestPrints is how many finished prints a fit needs.
const FewestPrints = 5

// FitPrints fits the prints of one printer and material. With fewer than
// FewestPrints usable ones there is no fit, and that is no error.
//
// The correction is the median of what each print took, divided by what was
// estimated for it, so that up to half of the records may be wrong (a print
// that stood still over a weekend, hours written down as minutes). The spread
// is 1.4826 times the median deviation of the logarithms, which for errors of
// the normal kind is their standard deviation; 1.645 of those to either side
// hold nine prints in ten. (Rousseeuw & Croux 1993, Alternatives to the median
// absolute deviation, section 1.)
func FitPrints(prints []Print) (*Fit, error) {
	if len(prints) == 0 {
		return nil, nil
	}
	f := &Fit{Printer: prints[0].Printer, Material: prints[0].Material, Mass: 1}
	var times, masses []float64 // logarithms of the ratios
	for _, p := range prints {
		if !strings.EqualFold(p.Printer, f.Printer) || !strings.EqualFold(p.Material, f.Material) {
			return nil, fmt.Errorf("prints of %s in %s and of %s in %s cannot be fitted together", f.Printer, f.Material, p.Printer, p.Material)
		}
		times = appendRatio(times, p.ActualHours, p.EstimatedHours)
		masses = appendRatio(masses, p.ActualGrams, p.EstimatedGrams)
	}
	if len(times) < FewestPrints {
		return nil, nil
	}
	f.Prints = len(times)
	mid := median(times)
	f.Time = math.Exp(mid)
	// Few prints may agree by chance; a small part of the time is never foreseen.
	const leastSpread, most = 0.02, 1.645
	reach := most * max(1.4826*deviation(times, mid), leastSpread) * (1 + 2/float64(f.Prints))
	f.Low, f.High = math.Exp(-reach), math.Exp(reach)
	if len(masses) >= FewestPrints {
		f.Mass = math.Exp(median(masses))
	}
	return f, nil
}

// appendRatio appends the logarithm of a ratio, if there is one.
func appendRatio(out []float64, actual, estimated float64) []float64 {
	r := math.Log(actual / estimated)
	if actual > 0 && estimated > 0 && !math.IsInf(r, 0) && !math.IsNaN(r) {
		out = append(out, r)
	}
	return out
}

func median(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// deviation is the median of the distances from the middle.
func deviation(v []float64, mid float64) float64 {
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = math.Abs(x - mid)
	}
	return median(d)
}
