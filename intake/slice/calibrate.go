package slice

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
func FitPrints(prints []Print) (*Fit, error) { return nil, nil }
