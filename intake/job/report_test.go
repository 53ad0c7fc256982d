package job

import "testing"

// A part that is too big and would take too long is offered in a size that satisfies both:
// 55 % fits the printer, and 8 hours allow 45 %.
func TestFitsAt(t *testing.T) {
	for _, c := range []struct {
		name string
		r    Report
		want float64
	}{
		{"nothing known", Report{}, 0},
		{"it fits", Report{Fit: &Fit{ScaleToFit: 1}, Estimate: &Estimate{LargestScale: 1.4}}, 0},
		{"too big", Report{Fit: &Fit{ScaleToFit: 0.559}}, 0.55},
		{"too big and too long", Report{Fit: &Fit{ScaleToFit: 0.55}, Estimate: &Estimate{Scale: 1, LargestScale: 0.4589}}, 0.45},
		{"too long", Report{Fit: &Fit{ScaleToFit: 1}, Estimate: &Estimate{Scale: 1, LargestScale: 0.78}}, 0.78},
		{"too long, and made larger already", Report{Fit: &Fit{ScaleToFit: 1}, Estimate: &Estimate{Scale: 2, LargestScale: 1}}, 0.5},
	} {
		if got := c.r.FitsAt(); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
