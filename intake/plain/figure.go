package plain

import (
	"math"
	"strconv"
	"strings"
)

// Figure rounds a number to what a person would say, three places that count, and
// writes it with a point: "0.05", "12.3", "460".
func Figure(v float64) string {
	places := 0
	switch a := math.Abs(v); {
	case a < 0.995:
		places = 2
	case a < 99.95:
		places = 1
	}
	s := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
