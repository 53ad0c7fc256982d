package wishes

import (
	"errors"
	"maps"
	"slices"
	"strconv"
	"time"

	"meshclerk/rules"
)

// Check tells what is wrong with the house's words: a number that is none, a
// list that nothing reads, a list that is missing although letters cannot be
// understood without it. Errors have the form of rules.Load's.
func Check(r *rules.Rules) error {
	c := checker{r: r}
	w, known := &r.Words, rules.Default().Words
	c.keys("numbers", w.Numbers, isPositive, `a number in quotes, e.g. 12 = ["a dozen"]`)
	c.keys("scales", w.Scales, isPositive, `a factor in quotes, e.g. "0.5" = ["half size"]`)
	c.keys("times", w.Times, isPositive, "a number")
	c.keys("months", w.Months, isMonth, "the number of a month, 1 to 12")
	c.keys("feasts", w.Feasts, isFeast, "month-day, e.g. 12-25")
	c.keys("units", w.Units, in(mmPerUnit), "one of mm, cm, m, in, ft")
	c.keys("days", w.Days, in(weekdays), "one of mon, tue, wed, thu, fri, sat, sun")
	c.keys("axes", w.Axes, oneOf("height", "width", "depth", "longest"), "one of height, width, depth, longest")
	c.keys("supports", w.Supports, oneOf("yes", "no", "soluble"), "one of yes, no, soluble")
	c.names("topics", w.Topics, known.Topics)
	c.names("replies", w.Replies, known.Replies)
	c.names("cues", w.Cues, known.Cues)
	c.names("guards", w.Guards, known.Guards)
	c.keys("signs", w.Signs, in(signOf), "one of exclamation, question, stop, semicolon, line, paragraph, stopline, comma, period, colon")
	return errors.Join(c.errs...)
}

type checker struct {
	r    *rules.Rules
	errs []error
}

func (c *checker) fault(key, text, hint string) {
	c.errs = append(c.errs, c.r.Fault("words.toml", key, text, hint))
}

// keys checks what stands before the sign = in a table of each language.
func (c *checker) keys(table string, l rules.Lexicon, good func(string) bool, hint string) {
	for _, lang := range slices.Sorted(maps.Keys(l)) {
		for _, key := range slices.Sorted(maps.Keys(l[lang])) {
			if !good(key) {
				c.fault(table+"."+lang+"."+key, table+" knows no "+strconv.Quote(key), hint)
			}
		}
	}
}

// names checks that a table has just the lists that letters are understood by.
func (c *checker) names(table string, l, known rules.Lexicon) {
	for _, lang := range languages {
		for _, name := range slices.Sorted(maps.Keys(l[lang])) {
			if _, ok := known[lang][name]; !ok {
				hint := ""
				if near := rules.Nearest(name, slices.Sorted(maps.Keys(known[lang]))); near != "" {
					hint = "did you mean " + near + "?"
				}
				c.fault(table+"."+lang+"."+name, "nothing reads a list "+name, hint)
			}
		}
		for _, name := range slices.Sorted(maps.Keys(known[lang])) {
			if len(l[lang][name]) == 0 && len(known[lang][name]) > 0 {
				c.fault(table+"."+lang, "the list "+name+" is missing in "+table+"."+lang, "copy it from the built-in words.toml")
			}
		}
	}
}

func isPositive(key string) bool {
	v, err := strconv.ParseFloat(key, 64)
	return err == nil && v > 0 && v <= 1000
}

func isMonth(key string) bool {
	n, err := strconv.Atoi(key)
	return err == nil && n >= 1 && n <= 12
}

func isFeast(key string) bool {
	_, err := time.Parse("01-02", key)
	return err == nil
}

func in[V any](m map[string]V) func(string) bool {
	return func(key string) bool { _, ok := m[key]; return ok }
}

func oneOf(known ...string) func(string) bool {
	return func(key string) bool { return slices.Contains(known, key) }
}
