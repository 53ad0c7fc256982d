package preflight

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// figure rounds a number to what a person would say: three places that count.
func figure(v float64) string {
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

// mm says a length.
func mm(v float64) string {
	if v > 0 {
		v = max(v, 0.01)
	}
	return figure(v) + " mm"
}

// sizes says an outer size as patrons write it.
func sizes(v mesh.Vec) string {
	if max(v[0], v[1], v[2]) < 0.01 {
		return "smaller than 0.01 mm"
	}
	return figure(v[0]) + " x " + figure(v[1]) + " x " + figure(v[2]) + " mm"
}

// areas says an area in the unit that fits it.
func areas(v float64) string {
	if v >= 100 {
		return figure(v/100) + " cm²"
	}
	return figure(v) + " mm²"
}

// volumes says a volume in the unit that fits it.
func volumes(v float64) string {
	if v >= 100 {
		return figure(v/1000) + " cm³"
	}
	return figure(v) + " mm³"
}

// hours says a time: to five minutes where it is longer than an hour.
func hours(seconds float64) string {
	minutes := int(math.Round(seconds / 60))
	if minutes > 60 {
		minutes = int(math.Round(seconds/300)) * 5
	}
	switch {
	case minutes < 60:
		return job.Count(minutes, "minute", "minutes")
	case minutes%60 == 0:
		return job.Count(minutes/60, "hour", "hours")
	}
	return fmt.Sprintf("%d h %d min", minutes/60, minutes%60)
}
