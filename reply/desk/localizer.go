package desk

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/language"
	"golang.org/x/text/language/display"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/rules"
	"meshclerk/templates"
)

// fallback is the language of who asks for none that the page has.
const fallback = "en"

// pageFile and codesFile are the files of the book of sentences that hold the words
// of the page: it is offered in each language that has the first of them.
const (
	pageFile  = "page"
	codesFile = "codes"
)

// localizer says what the desk shows in one language, in the library's time zone
// and currency.
type localizer struct {
	*templates.Localizer
	zone  *time.Location
	money string // ISO 4217
}

func newLocalizer(lang string, r *rules.Rules, book *templates.Book) (*localizer, error) {
	zone, err := time.LoadLocation(r.Library.Timezone)
	if err != nil {
		return nil, fmt.Errorf("the time zone %q is not known here: %w", r.Library.Timezone, err)
	}
	return &localizer{book.In(lang, r.Prices.Locale, r.Prices.Currency), zone, r.Prices.Currency}, nil
}

// t says a sentence of the book in a page: {{t "page.reply.to" "address" .To}}.
func (s *localizer) t(key string, pairs ...any) (string, error) {
	var args job.Args
	if len(pairs) > 0 {
		var err error
		if args, err = dict(pairs...); err != nil {
			return "", err
		}
	}
	return s.Say(job.Say(key, args)), nil
}

// via says on what way a reply was approved, or why something else was done.
func (s *localizer) via(m job.Message) string {
	if m.Key == "" {
		return s.code("via", m.Text)
	}
	return s.Say(m)
}

// why says why something was done, or on what way a reply was approved.
func (s *localizer) why(e ledger.Event) string {
	if e.What == "approved" {
		return s.via(e.Why)
	}
	return s.Say(e.Why)
}

// code says a word known by a code, such as a stage: "stage", "quoted". One that
// the book does not have, such as that of a check of the house's own, is shown as
// it is, hyphens as blanks.
func (s *localizer) code(kind string, code any) string {
	word := fmt.Sprint(code)
	m := job.Say(codesFile+"."+kind+"."+word, nil)
	if word == "" {
		m = job.Say(codesFile+"."+kind+".unknown", nil)
	}
	if s.Missing(m) == nil {
		return s.Say(m)
	}
	return strings.ReplaceAll(strings.TrimPrefix(word, "_"), "-", " ")
}

// actor is who did something: a person by name, or the patron or the program by a word.
func (s *localizer) actor(who string) string {
	m := job.Say(codesFile+".actor."+strings.ReplaceAll(who, " ", "-"), nil)
	if s.Missing(m) == nil {
		return s.Say(m)
	}
	return who
}

// language is the name of a language in this one (Unicode CLDR).
func (s *localizer) language(lang string) string {
	tag, err := language.Parse(lang)
	if err != nil {
		return lang
	}
	in, err := language.Parse(s.Language)
	if err != nil {
		in = language.English
	}
	names := display.Tags(in)
	if names == nil {
		names = display.Tags(language.English)
	}
	return cmp.Or(names.Name(tag), lang)
}

// ownName is the name of a language in itself: "Français".
func ownName(lang string) string {
	tag, err := language.Parse(lang)
	if err != nil {
		return lang
	}
	return plain.Capital(cmp.Or(display.Self.Name(tag), lang))
}

// age is how long ago something was, in the largest unit that says enough.
func (s *localizer) age(t, now time.Time) string {
	if t.IsZero() {
		return "–"
	}
	m := int(max(0, now.Sub(t)) / time.Minute)
	switch {
	case m < 1:
		return s.Word("page.age.moment")
	case m < 60:
		return s.Say(job.Say("page.age.minutes", job.Args{"n": m}))
	case m < 48*60:
		return s.Say(job.Say("page.age.hours", job.Args{"n": m / 60}))
	}
	return s.Say(job.Say("page.age.days", job.Args{"n": m / 60 / 24}))
}

// moment is a time at the library's clock.
func (s *localizer) moment(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.In(s.zone).Format("2006-01-02 15:04")
}

func (s *localizer) hours(seconds float64) string { return string(s.Exact(seconds)) }

// short is a duration in a table: "2 h 50".
func (s *localizer) short(seconds float64) string {
	m := int(math.Round(max(0, seconds) / 60))
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d", m/60, m%60)
}

func (s *localizer) cash(amount string) string {
	if t := s.Money(amount, s.money); t != "" {
		return string(t)
	}
	return amount
}

// mostLetters of one notice are shown on the page: a sender may write at will.
const mostLetters = 200

func (s *localizer) funcs(p *pages) template.FuncMap {
	return template.FuncMap{
		"t": s.t, "say": s.Say, "via": s.via, "why": s.why, "code": s.code, "actor": s.actor, "age": s.age, "moment": s.moment, "hours": s.hours, "short": s.short, "cash": s.cash, "language": s.language, "ownName": ownName,
		"mass":     func(g float64) string { return string(s.Mass(g)) },
		"size":     func(mm [3]float64) string { return string(s.Size(mm)) },
		"number":   func(v float64, n int) string { return string(s.Number(v, n)) },
		"percent":  func(v float64) string { return string(s.Percent(v)) },
		"colour":   func(w string) string { return string(s.Colour(w)) },
		"day":      func(iso string) string { return string(s.ISODate(iso)) },
		"name":     func(v string) string { return oneLine(v, 80) },
		"lines":    visible,
		"input":    input,
		"hoursOf":  func(seconds float64) float64 { return seconds / 3600 },
		"escape":   url.PathEscape,
		"cap":      func(v string) string { return plain.Capital(oneLine(v, 2000)) },
		"line":     func(v string) string { return oneLine(v, 2000) },
		"asset":    func(name string) string { return "/static/" + name + "?" + p.static[name].tag },
		"who":      who,
		"add":      func(a, b int) int { return a + b },
		"list":     func(v ...any) []any { return v },
		"dict":     dict,
		"subject":  address,
		"latest":   func(ids []string) []string { return ids[max(0, len(ids)-mostLetters):] },
		"many":     func(ids []string) bool { return len(ids) > mostLetters },
		"overview": func(j job.Job) string { return s.overview(j) },
	}
}

// dict makes one thing of several, for a template within a template.
func dict(pairs ...any) (map[string]any, error) {
	m := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		key, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("%v is no key", pairs[i])
		}
		m[key] = pairs[i+1]
	}
	return m, nil
}

// address is the page about a thing of the ledger, or "".
func address(id string) string {
	switch {
	case ledger.IsDraft(id):
		return "/reply/" + url.PathEscape(id)
	case ledger.IsLetter(id):
		return "/letter/" + url.PathEscape(id)
	case jobID.MatchString(id):
		return "/job/" + id
	}
	return ""
}

var jobID = regexp.MustCompile(`^[A-Z]{2,5}-[0-9]{6,}$`)

// input writes a number as a form field takes it; nothing for zero.
func input(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// who is how a person of the mail is shown: the name they give, and always the
// address, since anybody may give any name.
func who(a job.Address) string {
	name := oneLine(a.Name, 60)
	if name == "" {
		return a.Address
	}
	return name + " <" + oneLine(a.Address, 80) + ">"
}

// oneLine makes a stranger's words one line of at most longest characters, with
// ordinary blanks only.
func oneLine(s string, longest int) string {
	return plain.Shorten(strings.Join(strings.Fields(plain.OneLine(s)), " "), longest)
}

// visible is a stranger's text, its lines kept and hidden characters dropped.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && r != '\t' && plain.Hidden(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(strings.ReplaceAll(s, "\r\n", "\n"), "\ufffd"))
}

// overview says in one line what is asked for: "2 × bracket.stl, PLA, blue".
func (s *localizer) overview(j job.Job) string {
	n := j.Asked().Copies
	parts := []string{fmt.Sprintf("%d × %s", n, oneLine(j.File, 60))}
	if m := material(j); m != "" {
		parts = append(parts, m)
	}
	if c := colourOf(j); c != "" {
		parts = append(parts, string(s.Coloured(c, job.Settings{Colours: j.Settings.Colours, Second: j.InTwo()})))
	}
	return strings.Join(parts, ", ")
}

func material(j job.Job) string {
	if j.Settings.Material != "" {
		return j.Settings.Material
	}
	if j.Report != nil && j.Report.Estimate != nil {
		return j.Report.Estimate.Material
	}
	return ""
}

func colourOf(j job.Job) string {
	if j.Settings.Colour != "" {
		return j.Settings.Colour
	}
	if len(j.Wishes.Colours) > 0 {
		return j.Wishes.Colours[0]
	}
	return ""
}
