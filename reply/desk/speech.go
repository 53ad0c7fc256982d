package desk

import (
	"fmt"
	"html/template"
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/rules"
	"meshclerk/templates"
)

// languages are those of the staff page; the first is the fallback.
var languages = []string{"en", "fr"}

// speech is one language of the desk. English sentences stand in the pages
// themselves and are the keys of the other languages' words.
type speech struct {
	lang   string
	words  map[string]string
	turns  []turn // of sentences that other rooms tell
	locale *templates.Localizer
	zone   *time.Location
	money  string // ISO 4217
}

func newSpeech(lang string, r *rules.Rules, book *templates.Book) (*speech, error) {
	s := &speech{lang: lang, words: map[string]string{}, locale: book.In(lang, r.Prices.Locale, r.Prices.Currency), money: r.Prices.Currency}
	zone, err := time.LoadLocation(r.Library.Timezone)
	if err != nil {
		return nil, fmt.Errorf("the time zone %q is not known here: %w", r.Library.Timezone, err)
	}
	s.zone = zone
	for _, name := range []string{"codes." + lang, lang} {
		b, err := files.ReadFile("words/" + name + ".toml")
		if err != nil {
			if name == languages[0] {
				continue // English says what the pages say
			}
			return nil, err
		}
		if err := toml.Unmarshal(b, &s.words); err != nil {
			return nil, fmt.Errorf("words/%s.toml: %w", name, err)
		}
	}
	if lang != languages[0] {
		if s.turns, err = loadTurns("words/told." + lang + ".toml"); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// t says a sentence in this language; what it has no words for stays as it is.
func (s *speech) t(sentence string, args ...any) string {
	if w, ok := s.words[sentence]; ok {
		sentence = w
	}
	if len(args) > 0 {
		return fmt.Sprintf(sentence, args...)
	}
	return sentence
}

// say gives the words of a message. What an earlier version kept are words already.
func (s *speech) say(m job.Message) string {
	if m.Key == "" {
		return s.told(m.Text)
	}
	return s.locale.Say(m)
}

// via says on what way a reply was approved, or why something else was done.
func (s *speech) via(m job.Message) string {
	if m.Key == "" {
		return s.code("via", m.Text)
	}
	return s.say(m)
}

// code says a word known by a code, such as a stage: "stage.quoted".
func (s *speech) code(kind string, code any) string {
	word := fmt.Sprint(code)
	if w, ok := s.words[kind+"."+word]; ok {
		return w
	}
	return strings.ReplaceAll(strings.TrimPrefix(word, "_"), "-", " ")
}

// age is how long ago something was, in the largest unit that says enough.
func (s *speech) age(t, now time.Time) string {
	if t.IsZero() {
		return "–"
	}
	m := int(max(0, now.Sub(t)) / time.Minute)
	switch {
	case m < 1:
		return s.t("less than a minute")
	case m < 60:
		return s.t("%d min", m)
	case m < 48*60:
		return s.t("%d h", m/60)
	}
	return s.t("%d days", m/60/24)
}

// moment is a time at the library's clock.
func (s *speech) moment(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.In(s.zone).Format("2006-01-02 15:04")
}

func (s *speech) hours(seconds float64) string { return string(s.locale.Exact(seconds)) }

// short is a duration in a table: "2 h 50".
func (s *speech) short(seconds float64) string {
	m := int(math.Round(max(0, seconds) / 60))
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d", m/60, m%60)
}

func (s *speech) cash(amount string) string {
	if t := s.locale.Money(amount, s.money); t != "" {
		return string(t)
	}
	return amount
}

// plural chooses a sentence by a count, which it is given.
func (s *speech) plural(n int, one, more string) string {
	sentence := s.t(one)
	if s.locale.IsPlural(n) {
		sentence = s.t(more)
	}
	if !strings.Contains(sentence, "%d") {
		return sentence
	}
	return fmt.Sprintf(sentence, n)
}

// mostLetters of one notice are shown on the page: a sender may write at will.
const mostLetters = 200

func (s *speech) funcs(p *pages) template.FuncMap {
	return template.FuncMap{
		"t": s.t, "told": s.told, "say": s.say, "via": s.via, "code": s.code, "age": s.age, "moment": s.moment, "hours": s.hours, "short": s.short, "cash": s.cash, "plural": s.plural,
		"mass":     func(g float64) string { return string(s.locale.Mass(g)) },
		"size":     func(mm [3]float64) string { return string(s.locale.Size(mm)) },
		"number":   func(v float64, n int) string { return string(s.locale.Number(v, n)) },
		"percent":  func(v float64) string { return string(s.locale.Percent(v)) },
		"colour":   func(w string) string { return string(s.locale.Colour(w)) },
		"day":      func(iso string) string { return string(s.locale.ISODate(iso)) },
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
	case strings.HasPrefix(id, "D-"):
		return "/reply/" + url.PathEscape(id)
	case strings.HasPrefix(id, "L-"):
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
func (s *speech) overview(j job.Job) string {
	n := j.Asked().Copies
	parts := []string{fmt.Sprintf("%d × %s", n, oneLine(j.File, 60))}
	if m := material(j); m != "" {
		parts = append(parts, m)
	}
	if c := colourOf(j); c != "" {
		parts = append(parts, string(s.locale.Colour(c)))
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
