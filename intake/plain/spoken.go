package plain

import (
	"fmt"
	"math"
)

// Spoken writes a time in seconds as a person would say it: "50 min", "3 h 20 min".
func Spoken(seconds float64) string {
	m := int(math.Round(seconds / 60))
	switch {
	case seconds <= 0:
		return "-"
	case m < 60:
		return fmt.Sprintf("%d min", max(m, 1))
	}
	m = int(math.Round(float64(m)/5)) * 5
	if m%60 == 0 {
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}
