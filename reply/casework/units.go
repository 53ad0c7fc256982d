package casework

import (
	"regexp"
	"slices"
	"strings"

	"meshclerk/intake/job"
)

// drawnIn takes the answer to our question in which unit a part was drawn, where the
// letter names one unit and no length: what was read as millimetres is so many times
// as large. Of several parts it means those whose unit was asked.
func (o *Office) drawnIn(l *job.Letter, to known, jobs []job.Job) (own map[job.ID]job.Wishes) {
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
	if rest, plain := o.besideUnit(l, to); plain && w.Answer == "" {
		*w = rest
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

// besideUnit reads a letter without the clauses that name a unit, and reports whether
// that leaves nothing but a yes or courtesy: "yes, it was drawn in inches, sorry".
func (o *Office) besideUnit(l *job.Letter, to known) (rest job.Wishes, plain bool) {
	cues := o.Rules.Words.Cues[l.Language]
	denies := slices.Concat(cues["not"], cues["no"], cues["if"], cues["doubt"], o.Rules.Words.Replies[l.Language]["doubt"])
	var kept []string
	for _, clause := range clauseEnd.Split(l.Text, 50) {
		names := slices.ContainsFunc(units, func(u unit) bool { return u.words.MatchString(clause) })
		if names && (saidIn(clause).has(denies) || strings.ContainsAny(l.Text, "?¿")) {
			return rest, false
		}
		if !names && !o.onlyCourtesy(clause, l) {
			kept = append(kept, strings.TrimSpace(clause))
		}
	}
	one := *l
	one.Text = strings.Join(kept, ". ")
	rest = o.understand(&one, to)
	plain = strings.TrimSpace(one.Text) == "" || len(rest.Unread) == 0 && (rest.Answer == job.Accept || rest.Answer == job.Change)
	if plain {
		rest.Answer, rest.Unread = job.Change, nil // another size than was offered
	}
	return rest, plain
}

var clauseEnd = regexp.MustCompile(`[,;.!\n]+`)

// onlyCourtesy reports whether a clause is thanks, an excuse or the writer's name.
func (o *Office) onlyCourtesy(clause string, l *job.Letter) bool {
	words, own := saidIn(clause), saidIn(l.From.Name)
	var light []string
	for _, c := range []string{"harmless", "closing", "mend", "about", "this"} { // "sorry about that"
		light = append(light, o.Rules.Words.Cues[l.Language][c]...)
	}
	return words.onlyOf(light, own)
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

type unit struct {
	words *regexp.Regexp
	mm    float64
}

// units are how patrons call the units that parts are drawn in, in the languages that
// letters are read in, with their length in millimetres (NIST SP 811, appendix B).
var units = []unit{
	{regexp.MustCompile(`(?i)(^|\W)(inch|inches|pouces?|pulgadas?)(\W|$)`), 25.4},
	{regexp.MustCompile(`(?i)(^|\W)(cm|centimet(er|re)s?|centimètres?|centímetros?|centimetros?)(\W|$)`), 10},
	{regexp.MustCompile(`(?i)(^|\W)(mm|millimet(er|re)s?|millimètres?|milímetros?|milimetros?)(\W|$)`), 1},
}
