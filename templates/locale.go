package templates

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/bojanz/currency"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	xnumber "golang.org/x/text/number"

	"meshclerk/intake/job"
)

// Figures, durations, dates and amounts, as a person says them. The words and the
// order of them stand in the book (numbers.toml, calendar.toml, colours.toml); the
// decimal mark and the percent sign come from golang.org/x/text/number, and amounts
// of money from github.com/bojanz/currency, both after the Unicode CLDR.

// tagOf is the language as the house's country writes it: the decimal mark of es is
// a comma, and that of es-US a point.
func tagOf(lang language.Tag, house string) language.Tag {
	region, confidence := language.Make(house).Region()
	if _, _, own := lang.Raw(); own.String() != "ZZ" || confidence != language.Exact {
		return lang
	}
	tag, err := language.Compose(lang, region)
	if err != nil {
		return lang
	}
	return tag
}

func moneyOf(tag language.Tag, house, code string) *currency.Formatter {
	f := currency.NewFormatter(currency.NewLocale(tag.String()))
	// The house's own sign in every language: "$" and not "CA$" for a Canadian house.
	if symbol, ok := currency.GetSymbol(code, currency.NewLocale(house)); ok {
		f.SymbolMap = map[string]string{code: symbol}
	}
	return f
}

// word is a sentence of the book as a part of a line.
func (l *Localizer) word(key string, args job.Args) Text { return Text(l.Say(job.Say(key, args))) }

// Money writes a decimal amount, e.g. "$3.40"; "" when it is none.
func (l *Localizer) Money(amount, code string) Text {
	a, err := currency.NewAmount(amount, code)
	if err != nil || amount == "" {
		return ""
	}
	return Text(l.money.Format(a))
}

// Number writes v with at most so many decimals, and none that are zero.
func (l *Localizer) Number(v float64, decimals int) Text {
	v, ok := rounded(v, decimals)
	if !ok {
		return "?"
	}
	return Text(l.printer.Sprint(xnumber.Decimal(v, xnumber.MaxFractionDigits(decimals), xnumber.NoSeparator())))
}

// Fixed writes v with just so many decimals, for a column.
func (l *Localizer) Fixed(v float64, decimals int) Text {
	v, ok := rounded(v, decimals)
	if !ok {
		return "?"
	}
	return Text(l.printer.Sprint(xnumber.Decimal(v, xnumber.MinFractionDigits(decimals), xnumber.MaxFractionDigits(decimals), xnumber.NoSeparator())))
}

// rounded rounds as strconv does, whose zero has no sign.
func rounded(v float64, decimals int) (float64, bool) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', decimals, 64), 64)
	return r + 0, err == nil
}

// About says a duration in seconds as a person would: "about 3 hours".
func (l *Localizer) About(seconds float64) Text {
	n, unit := rough(seconds)
	switch {
	case unit == minutes:
		return l.word("numbers.about-minutes", job.Args{"n": n})
	case n == 1:
		return l.word("numbers.about-hour", nil)
	case n == 1.5:
		return l.word("numbers.about-hour-and-half", nil)
	case n != math.Trunc(n):
		return l.word("numbers.about-half-hours", job.Args{"n": math.Trunc(n)})
	}
	return l.word("numbers.about-hours", job.Args{"n": n})
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
func (l *Localizer) Exact(seconds float64) Text {
	const long = 12 * 3600 // who would count the minutes
	if seconds >= long {
		seconds = math.Round(seconds/3600) * 3600
	}
	m := int(math.Round(max(seconds, 0) / 60))
	h, m := m/60, m%60
	switch {
	case h == 0:
		return l.word("numbers.minutes", job.Args{"n": max(m, 1)})
	case m == 0:
		return l.word("numbers.hours", job.Args{"n": h})
	}
	return l.word("numbers.hours-minutes", job.Args{
		"hours": job.Say("numbers.hours", job.Args{"n": h}), "minutes": job.Say("numbers.minutes", job.Args{"n": m})})
}

// Between says a range of durations: "2½ to 3 hours".
func (l *Localizer) Between(low, high float64) Text {
	a, ua := rough(low)
	b, ub := rough(high)
	switch {
	case a == b && ua == ub:
		return l.About((low + high) / 2)
	case ub == minutes:
		return l.word("numbers.between-minutes", job.Args{"low": a, "n": b})
	case ua == minutes:
		return l.word("numbers.between-minutes-hours", job.Args{"low": job.Say("numbers.minutes", job.Args{"n": a}), "high": endHours(b)})
	}
	return l.word("numbers.between-hours", job.Args{"low": startHours(a), "high": endHours(b)})
}

// startHours and endHours are the two ends of a range of hours rounded by rough.
func startHours(h float64) job.Message {
	if h != math.Trunc(h) {
		return job.Say("numbers.from-half-hours", job.Args{"n": math.Trunc(h)})
	}
	return job.Say("numbers.from-hours", job.Args{"n": h})
}

func endHours(h float64) job.Message {
	if h != math.Trunc(h) {
		return job.Say("numbers.to-half-hours", job.Args{"n": math.Trunc(h)})
	}
	return job.Say("numbers.to-hours", job.Args{"n": h})
}

// Mass writes grams: "24 g", "3.8 g", "1.2 kg".
func (l *Localizer) Mass(g float64) Text {
	switch {
	case g >= 1000:
		return l.measure(l.Number(g/1000, 1), "kg")
	case g >= 10:
		return l.measure(l.Number(g, 0), "g")
	}
	return l.measure(l.Number(max(g, 0.1), 1), "g")
}

// measure writes a number, which may be several, with its unit.
func (l *Localizer) measure(n Text, unit string) Text {
	return l.word("numbers.unit."+unit, job.Args{"n": string(n)})
}

// Celsius writes a temperature: "57 °C".
func (l *Localizer) Celsius(degrees float64) Text { return l.measure(l.Number(degrees, 0), "celsius") }

// Length writes millimetres: "4.2 mm", "12.5 cm", "1.35 m", "15 m".
func (l *Localizer) Length(mm float64) Text {
	unit := lengthUnit(mm)
	return l.measure(l.inUnit(mm, unit), unit)
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

var millimetres = map[string]float64{"mm": 1, "cm": 10, "m": 1000}

func (l *Localizer) inUnit(mm float64, unit string) Text {
	places := 1
	if unit == "m" {
		switch {
		case mm >= 9_950:
			places = 0
		case mm < 1_995:
			places = 2
		}
	}
	return l.Number(mm/millimetres[unit], places)
}

// Size writes width, depth and height in one unit: "6 × 3.1 × 4.8 cm".
func (l *Localizer) Size(mm [3]float64) Text {
	unit := lengthUnit(max(mm[0], mm[1], mm[2]))
	var sides []string
	for _, v := range mm {
		n := l.inUnit(v, unit)
		if zero, _ := rounded(v/millimetres[unit], 1); zero == 0 && v > 0 { // a thin plate is not of no height
			n = l.Number(v/millimetres[unit], 3)
		}
		sides = append(sides, string(n))
	}
	return l.measure(Text(strings.Join(sides, " × ")), unit)
}

// Percent writes a fraction: 0.15 is "15%", in French and Spanish "15 %".
func (l *Localizer) Percent(f float64) Text { return l.percent(100*f, 0) }

// PercentOf writes a number of percents with all its decimals: "12.5%".
func (l *Localizer) PercentOf(percent float64) Text { return l.percent(percent, 6) }

func (l *Localizer) percent(v float64, decimals int) Text {
	v, ok := rounded(v, decimals)
	if !ok {
		return "?"
	}
	return Text(l.printer.Sprint(xnumber.Percent(v/100, xnumber.MaxFractionDigits(decimals), xnumber.NoSeparator())))
}

// Quantity writes an amount with the unit of a finding. A count without a unit
// is a whole number.
func (l *Localizer) Quantity(v float64, unit string) Text {
	switch unit {
	case "mm":
		return l.measure(l.Number(v, fine(v)), "mm")
	case "%":
		return l.percent(v, 2)
	case "decimal": // with all its decimals
		return l.Number(v, 6)
	case "mm2", "mm²":
		if v >= 100 {
			return l.measure(l.Number(v/100, 1), "cm2")
		}
		return l.measure(l.Number(v, 1), "mm2")
	case "mm3", "mm³":
		if v >= 1000 {
			return l.measure(l.Number(v/1000, 1), "cm3")
		}
		return l.measure(l.Number(v, 1), "mm3")
	case "bytes":
		if v < 1e6 {
			return l.measure(l.Number(math.Ceil(v/1000), 0), "kilobytes")
		}
		return l.measure(l.Number(math.Floor(v/1e6), 0), "megabytes")
	case "s":
		return l.Exact(v)
	case "h", "hours":
		return l.Exact(v * 3600)
	case "deg":
		return l.measure(l.Number(v, 0), "deg")
	}
	return l.Number(v, 0)
}

// fine is the number of decimals that shows a length, also one of a few microns.
func fine(mm float64) int {
	if mm = math.Abs(mm); mm == 0 || mm >= 0.01 {
		return 2
	}
	return min(1-int(math.Floor(math.Log10(mm))), 9)
}

// Date writes a day: "Friday, November 27, 2026", "vendredi 27 novembre 2026",
// "viernes 27 de noviembre de 2026"; "" for the zero time.
func (l *Localizer) Date(t time.Time) Text {
	if t.IsZero() {
		return ""
	}
	return l.word("calendar.date", job.Args{"n": t.Day(), "year": strconv.Itoa(t.Year()),
		"weekday": job.Say("calendar."+strings.ToLower(t.Weekday().String()), nil), "month": job.Say("calendar."+strings.ToLower(t.Month().String()), nil)})
}

// ISODate writes a day given as YYYY-MM-DD; what is no date comes back as it is.
func (l *Localizer) ISODate(s string) Text {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Text(s)
	}
	return l.Date(t)
}

// IsPlural reports whether a count takes another form than one thing does.
func (l *Localizer) IsPlural(n int) bool { return l.form(float64(n)) != plural.One }

// Or joins choices: "red, green or blue".
func (l *Localizer) Or(words []Text) Text { return l.list(words, "numbers.or") }

// And joins things: "red, green and blue".
func (l *Localizer) And(words []Text) Text { return l.list(words, "numbers.and") }

// list joins words as the list patterns of the CLDR do: by commas, and the last one
// by its own word.
func (l *Localizer) list(words []Text, last string) Text {
	if len(words) == 0 {
		return ""
	}
	all := string(words[0])
	for i, w := range words[1:] {
		key := "numbers.comma"
		if i == len(words)-2 {
			key = last
		}
		m := job.Say(key, job.Args{"first": all, "next": string(w)})
		if l.Missing(m) != nil { // longer than a sentence may be
			return Text(strings.Join(plainWords(words), ", "))
		}
		all = l.Say(m)
	}
	return Text(all)
}

func plainWords(words []Text) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = string(w)
	}
	return out
}

// Colour writes a stock word in the language; a word the house added stays as it is.
func (l *Localizer) Colour(word string) Text { return l.colour(word) }

// Coloured says what colour copies are printed in; or how many in which, "2 in red and
// 1 in blue"; or the two of one print, "black with red", "black,
// then red from 3 mm up".
func (l *Localizer) Coloured(colour string, s job.Settings) Text {
	each := s.Colours
	switch {
	case s.Second != nil && colour != "" && s.Second.FromMM > 0:
		return Text(l.Say(job.Say("numbers.two-at-height", job.Args{"first": string(l.colour(colour)), "second": string(l.colour(s.Second.Colour)), "height": string(l.Quantity(s.Second.FromMM, "mm"))})))
	case s.Second != nil && colour != "":
		return Text(l.Say(job.Say("numbers.two-colours", job.Args{"first": string(l.colour(colour)), "second": string(l.colour(s.Second.Colour))})))
	case len(each) < 2:
		return l.colour(colour)
	}
	var words []Text
	for _, c := range each {
		words = append(words, Text(l.Say(job.Say("numbers.copies-in", job.Args{"n": c.Copies, "colour": string(l.colour(c.Colour))}))))
	}
	return l.And(words)
}

func (l *Localizer) colour(word string) Text {
	m := job.Say("colours."+word, nil)
	if l.Missing(m) != nil {
		return Text(word)
	}
	return Text(l.Say(m))
}
