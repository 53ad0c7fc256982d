package templates

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/bojanz/currency"
)

// Locale writes numbers, times and money as a person would say them.
type Locale struct {
	Language string // "en", "fr" or "es"
	money    *currency.Formatter
}

// NewLocale takes the language of the letter, the house's own locale (its
// country decides how amounts look, e.g. "en-CA") and its currency.
func NewLocale(language, house, code string) Locale {
	home := currency.NewLocale(house)
	l := Locale{Language: language}
	l.money = currency.NewFormatter(currency.Locale{Language: language, Territory: home.Territory})
	// The house's own sign in every language: "$" and not "CA$" for a Canadian house.
	if symbol, ok := currency.GetSymbol(code, home); ok {
		l.money.SymbolMap = map[string]string{code: symbol}
	}
	return l
}

// pick chooses by language; English is the fallback.
func (l Locale) pick(en, fr, es string) string {
	switch l.Language {
	case "fr":
		return fr
	case "es":
		return es
	}
	return en
}

// Money writes a decimal amount, e.g. "$3.40"; "" when it is none.
func (l Locale) Money(amount, code string) Text {
	a, err := currency.NewAmount(amount, code)
	if err != nil || amount == "" {
		return ""
	}
	return Text(l.money.Format(a))
}

// Number writes v with at most so many decimals, and none that are zero.
func (l Locale) Number(v float64, decimals int) Text {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	return Text(strings.Replace(s, ".", l.pick(".", ",", ","), 1))
}

// About says a duration in seconds as a person would: "about 3 hours".
func (l Locale) About(seconds float64) Text {
	n, unit := rough(seconds)
	switch {
	case unit == minutes:
		s := string(l.Number(n, 0))
		return Text(l.pick("about "+s+" minutes", "environ "+s+" minutes", "unos "+s+" minutos"))
	case n == 1:
		return Text(l.pick("about an hour", "environ une heure", "alrededor de una hora"))
	case n == 1.5:
		return Text(l.pick("about an hour and a half", "environ une heure et demie", "alrededor de una hora y media"))
	case n != math.Trunc(n):
		s := string(l.Number(math.Trunc(n), 0))
		return Text(l.pick("about "+s+"½ hours", "environ "+s+" heures et demie", "unas "+s+" horas y media"))
	}
	s := string(l.Number(n, 0))
	return Text(l.pick("about "+s+" hours", "environ "+s+" heures", "unas "+s+" horas"))
}

type roughUnit int

const (
	minutes roughUnit = iota
	hours
)

// rough rounds to what a person would say: 5 minutes below an hour, half an
// hour below six hours, else an hour.
func rough(seconds float64) (n float64, unit roughUnit) {
	m := seconds / 60
	if m < 52.5 {
		return max(5, 5*math.Round(m/5)), minutes
	}
	if h := m / 60; h < 5.75 {
		return max(1, math.Round(2*h)/2), hours
	}
	return math.Round(m / 60), hours
}

// Exact says a duration to the minute, "2 hours 50 minutes", and beyond half a day to the hour.
func (l Locale) Exact(seconds float64) Text {
	const long = 12 * 3600 // who would count the minutes
	if seconds >= long {
		seconds = math.Round(seconds/3600) * 3600
	}
	m := int(math.Round(max(seconds, 0) / 60))
	h, m := m/60, m%60
	var parts []string
	if h > 0 {
		parts = append(parts, l.Plural(h, l.pick("hour", "heure", "hora")))
	}
	if m > 0 || h == 0 {
		parts = append(parts, l.Plural(max(m, 1-min(h, 1)), "minut"+l.pick("e", "e", "o")))
	}
	return Text(strings.Join(parts, " "))
}

// Between says a range of durations: "2½ to 3 hours".
func (l Locale) Between(low, high float64) Text {
	a, ua := rough(low)
	b, ub := rough(high)
	if a == b && ua == ub {
		return l.About((low + high) / 2)
	}
	if ua == ub && ua == minutes {
		s, t := string(l.Number(a, 0)), string(l.Number(b, 0))
		return Text(l.pick(s+" to "+t+" minutes", s+" à "+t+" minutes", "de "+s+" a "+t+" minutos"))
	}
	if ua == minutes {
		return l.Exact(a*60) + Text(l.pick(" to ", " à ", " a ")) + l.halfHours(b)
	}
	if l.Language == "en" {
		return Text(half(a)) + " to " + l.halfHours(b)
	}
	return Text(l.pick("", "", "de ")) + l.halfHours(a) + Text(l.pick("", " à ", " a ")) + l.halfHours(b)
}

// halfHours writes hours rounded by rough: "2½ hours", "2 h 30".
func (l Locale) halfHours(h float64) Text {
	if l.Language == "en" {
		return Text(half(h) + " " + many(h > 1, "hour", "hours"))
	}
	s := strconv.Itoa(int(h)) + "\u00a0h"
	if h != math.Trunc(h) {
		s += "\u00a030" + l.pick("", "", "\u00a0min")
	}
	return Text(s)
}

func half(h float64) string {
	s := strconv.Itoa(int(h))
	if h != math.Trunc(h) {
		s += "½"
	}
	return s
}

func many(plural bool, one, more string) string {
	if plural {
		return more
	}
	return one
}

// Plural writes a count with its noun; the plural takes an s in all three languages.
func (l Locale) Plural(n int, noun string) string {
	return strconv.Itoa(n) + " " + many(l.IsPlural(n), noun, noun+"s")
}

// IsPlural tells whether a count takes the plural; in French one and a half does not, nor none.
func (l Locale) IsPlural(n int) bool {
	if l.Language == "fr" {
		return n > 1
	}
	return n != 1
}

// Mass writes grams: "24 g", "3.8 g", "1.2 kg".
func (l Locale) Mass(g float64) Text {
	switch {
	case g >= 1000:
		return l.Number(g/1000, 1) + "\u00a0kg"
	case g >= 10:
		return l.Number(g, 0) + "\u00a0g"
	}
	return l.Number(max(g, 0.1), 1) + "\u00a0g"
}

// Length writes millimetres: "4.2 mm", "12.5 cm", "1.35 m", "15 m".
func (l Locale) Length(mm float64) Text {
	n, unit := l.inUnit(mm, lengthUnit(mm))
	return n + "\u00a0" + Text(unit)
}

func lengthUnit(mm float64) string {
	switch {
	case mm >= 995:
		return "m"
	case mm >= 10:
		return "cm"
	}
	return "mm"
}

func (l Locale) inUnit(mm float64, unit string) (Text, string) {
	switch unit {
	case "m":
		places := 2
		switch {
		case mm >= 9_950:
			places = 0
		case mm >= 1_995:
			places = 1
		}
		return l.Number(mm/1000, places), unit
	case "cm":
		return l.Number(mm/10, 1), unit
	}
	return l.Number(mm, 1), unit
}

// Size writes width, depth and height in one unit: "6 × 3.1 × 4.8 cm".
func (l Locale) Size(mm [3]float64) Text {
	unit := lengthUnit(max(mm[0], mm[1], mm[2]))
	var parts []string
	for _, v := range mm {
		n, _ := l.inUnit(v, unit)
		if n == "0" && v > 0 { // a thin plate is not of no height
			n = l.Number(v/map[string]float64{"mm": 1, "cm": 10, "m": 1000}[unit], 3)
		}
		parts = append(parts, string(n))
	}
	return Text(strings.Join(parts, " × ") + "\u00a0" + unit)
}

// Percent writes a fraction: 0.15 is "15%", in French and Spanish "15 %".
func (l Locale) Percent(f float64) Text {
	return l.Number(100*f, 0) + Text(l.pick("%", "\u00a0%", "\u00a0%"))
}

// Quantity writes an amount with the unit of a finding. A count without a unit
// is a whole number.
func (l Locale) Quantity(v float64, unit string) Text {
	switch unit {
	case "mm":
		return l.Number(v, 2) + "\u00a0mm"
	case "mm2", "mm²":
		if v >= 100 {
			return l.Number(v/100, 1) + "\u00a0cm²"
		}
		return l.Number(v, 1) + "\u00a0mm²"
	case "mm3", "mm³":
		if v >= 1000 {
			return l.Number(v/1000, 1) + "\u00a0cm³"
		}
		return l.Number(v, 1) + "\u00a0mm³"
	case "s":
		return l.Exact(v)
	case "h", "hours":
		return l.Exact(v * 3600)
	case "deg":
		return l.Number(v, 0) + "°"
	}
	return l.Number(v, 0)
}

var (
	weekdays = map[string][]string{
		"en": {"Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"},
		"fr": {"dimanche", "lundi", "mardi", "mercredi", "jeudi", "vendredi", "samedi"},
		"es": {"domingo", "lunes", "martes", "miércoles", "jueves", "viernes", "sábado"},
	}
	months = map[string][]string{
		"en": {"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"},
		"fr": {"janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre", "octobre", "novembre", "décembre"},
		"es": {"enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre", "noviembre", "diciembre"},
	}
)

// Date writes a day: "Friday, November 27, 2026", "vendredi 27 novembre 2026",
// "viernes 27 de noviembre de 2026"; "" for the zero time.
func (l Locale) Date(t time.Time) Text {
	if t.IsZero() {
		return ""
	}
	lang := l.pick("en", "fr", "es")
	day, month := weekdays[lang][t.Weekday()], months[lang][t.Month()-1]
	d, y := strconv.Itoa(t.Day()), strconv.Itoa(t.Year())
	if lang == "fr" && t.Day() == 1 {
		d = "1er"
	}
	return Text(l.pick(day+", "+month+" "+d+", "+y, day+" "+d+" "+month+" "+y, day+" "+d+" de "+month+" de "+y))
}

// ISODate writes a day given as YYYY-MM-DD; what is no date comes back as it is.
func (l Locale) ISODate(s string) Text {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Text(s)
	}
	return l.Date(t)
}

// List joins words: "red, green or blue".
func (l Locale) List(words []Text, last string) Text {
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	}
	var head []string
	for _, w := range words[:len(words)-1] {
		head = append(head, string(w))
	}
	return Text(strings.Join(head, ", ")) + " " + Text(last) + " " + words[len(words)-1]
}

// Or joins choices.
func (l Locale) Or(words []Text) Text { return l.List(words, l.pick("or", "ou", "o")) }

// And joins things.
func (l Locale) And(words []Text) Text { return l.List(words, l.pick("and", "et", "y")) }

var colours = map[string][2]string{ // stock word -> French, Spanish
	"white": {"blanc", "blanco"}, "black": {"noir", "negro"}, "grey": {"gris", "gris"},
	"red": {"rouge", "rojo"}, "orange": {"orange", "naranja"}, "yellow": {"jaune", "amarillo"},
	"green": {"vert", "verde"}, "blue": {"bleu", "azul"}, "purple": {"violet", "morado"},
	"natural": {"naturel", "natural"},
}

// Colour writes a stock word in the letter's language; a word the house added
// stays as it is.
func (l Locale) Colour(word string) Text {
	if c, ok := colours[word]; ok {
		return Text(l.pick(word, c[0], c[1]))
	}
	return Text(word)
}
