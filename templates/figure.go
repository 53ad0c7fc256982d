package templates

import (
	"strconv"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// figure writes a measured value within a sentence: three places that count, in the
// unit that fits it. A value without a unit is a number, a time is in seconds.
func (l *Localizer) figure(q job.Figure, deep int) (string, error) {
	v, unit := q.Amount, q.Unit
	switch {
	case unit == "":
		return l.bare(v), nil
	case unit == "s":
		return l.time(int(v/60+0.5), deep)
	case unit == "mm" && v > 0:
		v = max(v, 0.01)
	case unit == "mm2" && v >= 100:
		v, unit = v/100, "cm2"
	case unit == "mm3" && v >= 100:
		v, unit = v/1000, "cm3"
	}
	return l.words("numbers.unit."+unit, job.Args{"n": l.bare(v)}, deep-1)
}

// bare is a number with the sign that the language parts decimals by.
func (l *Localizer) bare(v float64) string {
	rounded, _ := strconv.ParseFloat(plain.Figure(v), 64)
	return string(l.Number(rounded, 2))
}

func (l *Localizer) time(minutes, deep int) (string, error) {
	switch {
	case minutes < 60:
		return l.words("numbers.minutes", job.Args{"n": minutes}, deep-1)
	case minutes%60 == 0:
		return l.words("numbers.hours", job.Args{"n": minutes / 60}, deep-1)
	}
	return l.words("findings.measure.time", job.Args{"h": minutes / 60, "m": minutes % 60}, deep-1)
}
