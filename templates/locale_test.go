package templates

import (
	"math"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

func locales() [3]*Localizer {
	return [3]*Localizer{DefaultBook().In("en", "en-CA", "CAD"), DefaultBook().In("fr", "en-CA", "CAD"), DefaultBook().In("es", "en-CA", "CAD")}
}

// TestLocale: figures as a person would say them, in each language. Number and
// money forms follow CLDR 48.1 (through the currency library); the rest is
// common practice, no source. A tilde stands for a non-breaking space.
func TestLocale(t *testing.T) {
	type row struct {
		what string
		say  func(*Localizer) Text
		want [3]string
	}
	const h = 3600
	rows := []row{
		{"1 min", func(l *Localizer) Text { return l.About(60) }, [3]string{"about 5 minutes", "environ 5 minutes", "unos 5 minutos"}},
		{"38 min", func(l *Localizer) Text { return l.About(38 * 60) }, [3]string{"about 40 minutes", "environ 40 minutes", "unos 40 minutos"}},
		{"53 min", func(l *Localizer) Text { return l.About(53 * 60) }, [3]string{"about an hour", "environ une heure", "alrededor de una hora"}},
		{"1.5 h", func(l *Localizer) Text { return l.About(1.5 * h) }, [3]string{"about an hour and a half", "environ une heure et demie", "alrededor de una hora y media"}},
		{"2.4 h", func(l *Localizer) Text { return l.About(2.4 * h) }, [3]string{"about 2½ hours", "environ 2 heures et demie", "unas 2 horas y media"}},
		{"3 h", func(l *Localizer) Text { return l.About(2.9 * h) }, [3]string{"about 3 hours", "environ 3 heures", "unas 3 horas"}},
		{"7.6 h", func(l *Localizer) Text { return l.About(7.6 * h) }, [3]string{"about 8 hours", "environ 8 heures", "unas 8 horas"}},
		{"exact", func(l *Localizer) Text { return l.Exact(2*h + 50*60) }, [3]string{"2 hours 50 minutes", "2 heures 50 minutes", "2 horas 50 minutos"}},
		{"exact one", func(l *Localizer) Text { return l.Exact(h + 60) }, [3]string{"1 hour 1 minute", "1 heure 1 minute", "1 hora 1 minuto"}},
		{"exact none", func(l *Localizer) Text { return l.Exact(0) }, [3]string{"1 minute", "1 minute", "1 minuto"}},
		{"between", func(l *Localizer) Text { return l.Between(2.4*h, 3.1*h) }, [3]string{"2½ to 3 hours", "2~h~30 à 3~h", "de 2~h~30~min a 3~h"}},
		{"between minutes", func(l *Localizer) Text { return l.Between(1200, 1800) }, [3]string{"20 to 30 minutes", "20 à 30 minutes", "de 20 a 30 minutos"}},
		{"across the hour", func(l *Localizer) Text { return l.Between(2700, 3900) }, [3]string{"45 minutes to 1 hour", "45 minutes à 1~h", "45 minutos a 1~h"}},
		{"between same", func(l *Localizer) Text { return l.Between(2.95*h, 3.05*h) }, [3]string{"about 3 hours", "environ 3 heures", "unas 3 horas"}},
		{"24.3 g", func(l *Localizer) Text { return l.Mass(24.3) }, [3]string{"24~g", "24~g", "24~g"}},
		{"3.84 g", func(l *Localizer) Text { return l.Mass(3.84) }, [3]string{"3.8~g", "3,8~g", "3,8~g"}},
		{"0.01 g", func(l *Localizer) Text { return l.Mass(0.01) }, [3]string{"0.1~g", "0,1~g", "0,1~g"}},
		{"1250 g", func(l *Localizer) Text { return l.Mass(1250) }, [3]string{"1.2~kg", "1,2~kg", "1,2~kg"}},
		{"125 mm", func(l *Localizer) Text { return l.Length(125) }, [3]string{"12.5~cm", "12,5~cm", "12,5~cm"}},
		{"4.2 mm", func(l *Localizer) Text { return l.Length(4.2) }, [3]string{"4.2~mm", "4,2~mm", "4,2~mm"}},
		{"8100 mm", func(l *Localizer) Text { return l.Length(8100) }, [3]string{"8.1~m", "8,1~m", "8,1~m"}},
		{"size", func(l *Localizer) Text { return l.Size([3]float64{60, 31, 48}) }, [3]string{"6 × 3.1 × 4.8~cm", "6 × 3,1 × 4,8~cm", "6 × 3,1 × 4,8~cm"}},
		{"thin", func(l *Localizer) Text { return l.Size([3]float64{60, 31, 0.2}) }, [3]string{"6 × 3.1 × 0.02~cm", "6 × 3,1 × 0,02~cm", "6 × 3,1 × 0,02~cm"}},
		{"percent", func(l *Localizer) Text { return l.Percent(0.15) }, [3]string{"15%", "15~%", "15~%"}},
		{"fine", func(l *Localizer) Text { return l.Quantity(0.000123, "mm") }, [3]string{"0.00012~mm", "0,00012~mm", "0,00012~mm"}},
		{"three microns", func(l *Localizer) Text { return l.Quantity(0.003, "mm") }, [3]string{"0.003~mm", "0,003~mm", "0,003~mm"}},
		{"percents", func(l *Localizer) Text { return l.Quantity(81.25, "%") }, [3]string{"81.25%", "81,25~%", "81,25~%"}},
		{"area", func(l *Localizer) Text { return l.Quantity(812.5, "mm2") }, [3]string{"8.1~cm²", "8,1~cm²", "8,1~cm²"}},
		{"small area", func(l *Localizer) Text { return l.Quantity(12.5, "mm2") }, [3]string{"12.5~mm²", "12,5~mm²", "12,5~mm²"}},
		{"volume", func(l *Localizer) Text { return l.Quantity(15550.5, "mm3") }, [3]string{"15.6~cm³", "15,6~cm³", "15,6~cm³"}},
		{"seconds", func(l *Localizer) Text { return l.Quantity(5400, "s") }, [3]string{"1 hour 30 minutes", "1 heure 30 minutes", "1 hora 30 minutos"}},
		{"count", func(l *Localizer) Text { return l.Quantity(3, "") }, [3]string{"3", "3", "3"}},
		{"not a number", func(l *Localizer) Text { return l.Number(math.NaN(), 1) }, [3]string{"?", "?", "?"}},
		{"money", func(l *Localizer) Text { return l.Money("1203.40", "CAD") }, [3]string{"$1,203.40", "1~203,40~$", "1203,40~$"}},
		{"allowance", func(l *Localizer) Text { return l.Money("-0.40", "CAD") }, [3]string{"-$0.40", "-0,40~$", "-0,40~$"}},
		{"no money", func(l *Localizer) Text { return l.Money("", "CAD") }, [3]string{"", "", ""}},
		{"date", func(l *Localizer) Text { return l.ISODate("2026-11-27") }, [3]string{"Friday, November 27, 2026", "vendredi 27 novembre 2026", "viernes 27 de noviembre de 2026"}},
		{"first", func(l *Localizer) Text { return l.ISODate("2026-08-01") }, [3]string{"Saturday, August 1, 2026", "samedi 1er août 2026", "sábado 1 de agosto de 2026"}},
		{"no date", func(l *Localizer) Text { return l.Date(time.Time{}) }, [3]string{"", "", ""}},
		{"colours", func(l *Localizer) Text { return l.Or([]Text{l.Colour("red"), l.Colour("green"), l.Colour("teal")}) }, [3]string{"red, green or teal", "rouge, vert ou teal", "rojo, verde o teal"}},
		{"one", func(l *Localizer) Text { return l.And([]Text{"a"}) }, [3]string{"a", "a", "a"}},
		{"two", func(l *Localizer) Text { return l.And([]Text{"a", "b"}) }, [3]string{"a and b", "a et b", "a y b"}},
	}
	for _, r := range rows {
		for i, l := range locales() {
			got := []rune(string(r.say(l)))
			for k := range got {
				if got[k] == '\u00a0' || got[k] == '\u202f' {
					got[k] = '~'
				}
			}
			if string(got) != r.want[i] {
				t.Errorf("%s, %s: %q, want %q", r.what, l.Language, string(got), r.want[i])
			}
		}
	}
}

// The plural of a reply text goes by the forms that the language has for whole
// numbers (Unicode CLDR 48, cardinal rules of integers): in French none and one take
// the singular; Polish has one, few and many; Japanese one form only.
func TestPluralOfAReplyText(t *testing.T) {
	two, three := []string{"copy", "copies"}, []string{"kopia", "kopie", "kopii"}
	for _, c := range []struct {
		lang  string
		n     int
		words []string
		want  string
	}{
		{"en", 0, two, "copies"}, {"en", 1, two, "copy"}, {"en", 2, two, "copies"},
		{"fr", 0, two, "copy"}, {"fr", 1, two, "copy"}, {"fr", 2, two, "copies"},
		{"es", 0, two, "copies"}, {"es", 1, two, "copy"}, {"es", 2, two, "copies"},
		{"pl", 1, three, "kopia"}, {"pl", 3, three, "kopie"}, {"pl", 5, three, "kopii"}, {"pl", 12, three, "kopii"}, {"pl", 22, three, "kopie"},
		{"ja", 1, two[:1], "copy"}, {"ja", 7, two[:1], "copy"},
	} {
		if got, err := formsOf(c.lang).choose(c.n, c.words...); err != nil || got != c.want {
			t.Errorf("%d in %s: %q, %v; want %q", c.n, c.lang, got, err, c.want)
		}
	}
	if _, err := formsOf("pl").choose(1, two...); err == nil || !strings.Contains(err.Error(), "plural needs 3 words in the language pl and has 2") {
		t.Errorf("two words in Polish: %v", err)
	}
}

// The house's country decides the decimal mark, as CLDR has it: a comma in Spanish,
// a point in the Spanish of Mexico.
func TestMarksOfTheCountry(t *testing.T) {
	for _, c := range [][3]string{{"es", "en-CA", "1,5"}, {"es", "es-MX", "1.5"}, {"de", "de-CH", "1.5"}, {"de", "de-DE", "1,5"}, {"pt-BR", "en-CA", "1,5"}, {"en", "nonsense", "1.5"}} {
		if got := DefaultBook().In(c[0], c[1], "CAD").Number(1.5, 1); string(got) != c[2] {
			t.Errorf("%s in %s: %s, want %s", c[0], c[1], got, c[2])
		}
	}
}

// A list that is longer than a sentence may be is still whole.
func TestLongList(t *testing.T) {
	words := make([]Text, 3000)
	for i := range words {
		words[i] = "a \"word\""
	}
	if got := locales()[0].And(words); strings.Count(string(got), "word") != 3000 || len(got) > 40_000 {
		t.Errorf("%d bytes", len(got))
	}
}

// Amounts as people write them, by the Unicode Common Locale Data Repository.
func TestMoney(t *testing.T) {
	for _, c := range []struct{ amount, code, lang, house, want string }{
		{"1.5", "CAD", "en", "en-CA", "$1.50"},
		{"1.5", "CAD", "fr", "fr-CA", "1,50\u00a0$"},
		{"1234.5", "USD", "en", "en-US", "$1,234.50"},
		{"1234.5", "EUR", "es", "es-ES", "1234,50\u00a0€"},
		{"1250", "JPY", "en", "en", "¥1,250"},
		{"-2", "CAD", "en", "en-CA", "-$2.00"},
	} {
		l := DefaultBook().In(c.lang, c.house, c.code)
		if got := string(l.Money(c.amount, c.code)); got != c.want {
			t.Errorf("%s %s in %s of %s: %q, want %q", c.amount, c.code, c.lang, c.house, got, c.want)
		}
	}
	m := job.Say("price.free", job.Args{"amount": job.Money{Amount: "a lot", Currency: "CAD"}})
	if got := DefaultBook().In("en", "en-CA", "CAD").Say(m); got != "a lot CAD free for each job" {
		t.Errorf("what is no amount: %q", got)
	}
}
