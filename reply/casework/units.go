package casework

import (
	"regexp"
	"slices"

	"meshclerk/intake/job"
)

// drawnIn takes the answer to our question in which unit a part was drawn, where the
// letter names one unit and no length: what was read as millimetres is so many times
// as large. Of several parts it means those whose unit was asked.
func drawnIn(l *job.Letter, jobs []job.Job) (own map[job.ID]job.Wishes) {
	w := &l.Wishes
	if w.Size != nil || w.Scale != nil || !unitsOpen(jobs) {
		return nil
	}
	scale, said := 0.0, 0
	for _, u := range units {
		if u.words.MatchString(l.Text) {
			scale, said = u.mm, said+1
		}
	}
	if said != 1 {
		return nil
	}
	other := *w
	w.Scale = &scale
	if !slices.ContainsFunc(jobs, func(j job.Job) bool { return !sizeOpen(j) }) {
		return nil
	}
	own = map[job.ID]job.Wishes{}
	for _, j := range jobs {
		if own[j.ID] = other; sizeOpen(j) {
			own[j.ID] = *w
		}
	}
	return own
}

// unitsOpen reports whether the unit of a part is still asked.
func unitsOpen(jobs []job.Job) bool {
	for _, j := range jobs {
		if sizeOpen(j) {
			return true
		}
	}
	return false
}

func sizeOpen(j job.Job) bool {
	if j.Report == nil || j.Wishes.Size != nil || j.Wishes.Scale != nil || j.Settings.Scale > 0 {
		return false
	}
	for _, f := range j.Report.Findings {
		if f.Code == job.CodeUnitsDoubtful && f.Level == job.Ask {
			return true
		}
	}
	return false
}

// units are how patrons call the units that parts are drawn in, in the languages that
// letters are read in, with their length in millimetres (NIST SP 811, appendix B).
var units = []struct {
	words *regexp.Regexp
	mm    float64
}{
	{regexp.MustCompile(`(?i)(^|\W)(inch|inches|pouces?|pulgadas?)(\W|$)`), 25.4},
	{regexp.MustCompile(`(?i)(^|\W)(cm|centimet(er|re)s?|centimètres?|centímetros?|centimetros?)(\W|$)`), 10},
	{regexp.MustCompile(`(?i)(^|\W)(mm|millimet(er|re)s?|millimètres?|milímetros?|milimetros?)(\W|$)`), 1},
}
