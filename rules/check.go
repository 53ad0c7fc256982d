package rules

import (
	"fmt"
	"math"
	"net/mail"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/bojanz/currency"
	"golang.org/x/text/language"

	"meshclerk/intake/job"
)

// check judges values and how files fit together. A file that could not be
// understood in full is left out, and so is what depends on it: the admin
// should not be told of faults that are only echoes of another.
func (l *loader) check() {
	for _, c := range []struct {
		run   func()
		needs []string
	}{
		{l.checkLibrary, []string{"library.toml"}},
		{l.checkMaterials, []string{"materials.toml"}},
		{l.checkPrinters, []string{"printers.toml", "materials.toml"}},
		{l.checkPrinting, []string{"printing.toml", "printers.toml", "materials.toml"}},
		{l.checkPrices, []string{"prices.toml", "materials.toml"}},
		{l.checkLimits, []string{"limits.toml"}},
		{l.checkAgreement, []string{"agreement.toml"}},
		{l.checkMailbox, []string{"mailbox.toml", "library.toml"}},
		{l.checkCaps, []string{"caps.toml"}},
		{l.checkChecks, []string{"checks.toml"}},
		{l.checkRefusals, []string{"refusals.toml", "library.toml"}},
	} {
		if !slices.ContainsFunc(c.needs, func(file string) bool { return l.broken[file] }) {
			c.run()
		}
	}
}

// judge checks keys of one table of one file and notes what is wrong.
type judge struct {
	l      *loader
	s      *source
	prefix string
}

func (l *loader) in(file string) judge {
	s := l.files[file]
	if s == nil {
		s = &source{name: file, path: file}
	}
	return judge{l: l, s: s}
}

// at is the judge of an element of an array of tables, or of a table within.
func (j judge) at(path string, index ...int) judge {
	j.prefix = join(j.prefix, path)
	for _, i := range index {
		j.prefix += fmt.Sprintf("[%d]", i)
	}
	return j
}

// bad notes a problem at a key; an empty key means the table itself.
func (j judge) bad(key string, text, hint job.Message) {
	path := j.prefix
	if strings.HasPrefix(key, "[") {
		path += key
	} else if key != "" {
		path = join(path, key)
	}
	at, _ := j.s.find(path)
	j.l.problems = append(j.l.problems, j.s.problem(at, text, hint))
}

// none is no hint.
var none job.Message

// example is the hint that shows how a line is written.
func example(line string) job.Message { return job.Say("rules.hint.example", job.Args{"line": line}) }

// between checks a number; unit is said in the message, by its sign or by a key.
func (j judge) between(key string, v, low, high float64, unit string) {
	if v >= low && v <= high { // false for NaN too
		return
	}
	said := job.Plain(unit)
	if strings.HasPrefix(unit, "rules.") {
		said = job.Say(unit, nil)
	}
	j.bad(key, job.Say("rules.between", job.Args{"key": lastKey(key), "given": number(v), "low": number(low), "high": number(high), "unit": said}), none)
}

func (j judge) count(key string, v, low, high int) {
	if v < low || v > high {
		j.bad(key, job.Say("rules.count", job.Args{"key": lastKey(key), "given": v, "low": low, "high": high}), none)
	}
}

func (j judge) filled(key, v string) {
	if strings.TrimSpace(v) == "" {
		j.bad(key, job.Say("rules.empty", job.Args{"key": lastKey(key)}), none)
	} else {
		j.line(key, v)
	}
}

// line checks that a text is one line: it may end up in a header or a sentence.
func (j judge) line(key, v string) {
	if strings.ContainsFunc(v, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		j.bad(key, job.Say("rules.control", job.Args{"key": lastKey(key)}), job.Say("rules.hint.one-line", nil))
	}
}

func (j judge) oneOf(key, v string, known ...string) {
	if !slices.Contains(known, v) {
		j.bad(key, job.Say("rules.one-of", job.Args{"key": lastKey(key), "given": v, "known": known}), didYouMean(v, known))
	}
}

// money checks a decimal amount that is not negative and is exact in the currency.
func (j judge) money(key, v, code string) {
	_, err := currency.NewAmount(v, code)
	if !plainDecimal(v) || err != nil && currency.IsValid(code) {
		j.bad(key, job.Say("rules.no-amount", job.Args{"key": lastKey(key), "given": v}), job.Say("rules.hint.amount", nil))
	}
}

// percent checks a decimal between 0 and 100.
func (j judge) percent(key, v string) {
	f, err := strconv.ParseFloat(v, 64)
	if !plainDecimal(v) || err != nil || f > 100 {
		j.bad(key, job.Say("rules.percent", job.Args{"key": lastKey(key), "given": v}), job.Say("rules.hint.percent", nil))
	}
}

// plainDecimal reports whether v is digits with at most one point and up to six decimals.
func plainDecimal(v string) bool {
	whole, decimals, point := strings.Cut(v, ".")
	digits := func(s string) bool {
		return s != "" && strings.Trim(s, "0123456789") == ""
	}
	return len(whole) <= 9 && digits(whole) && (!point || digits(decimals) && len(decimals) <= 6)
}

func (j judge) address(key, v string) {
	if a, err := mail.ParseAddress(v); err != nil || a.Name != "" || a.Address != v {
		j.bad(key, job.Say("rules.no-address", job.Args{"key": lastKey(key), "given": v}), job.Say("rules.hint.address", nil))
	}
}

// unique checks that no name is used twice, whatever its case.
func (j judge) unique(table, key string, names []string) {
	seen := map[string]int{}
	for i, n := range names {
		fold := strings.ToLower(strings.TrimSpace(n))
		if first, twice := seen[fold]; twice && fold != "" {
			j.at(table, i).bad(key, job.Say("rules.twice", job.Args{"name": n, "first": first + 1}), job.Say("rules.hint.own-name", nil))
		} else {
			seen[fold] = i
		}
	}
}

func lastKey(key string) string { return key[strings.LastIndexByte(key, '.')+1:] }

// number writes a figure as it would be typed.
func number(v float64) string {
	if math.Abs(v) >= 1e15 {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func (l *loader) checkLibrary() {
	j, lib := l.in("library.toml"), &l.rules.Library
	j.filled("name", lib.Name)
	j.filled("desk", lib.Desk)
	j.address("address", lib.Address)
	j.filled("authserv_id", lib.AuthservID)
	for key, v := range map[string]string{"phone": lib.Phone, "hours": lib.Hours, "website": lib.Website, "safety": lib.Safety} {
		j.line(key, v)
	}
	if _, err := time.LoadLocation(lib.Timezone); err != nil || lib.Timezone == "" {
		j.bad("timezone", job.Say("rules.no-time-zone", job.Args{"given": lib.Timezone}), job.Say("rules.hint.time-zone", nil))
	}
	if len(lib.Languages) == 0 {
		j.bad("languages", job.Say("rules.no-languages", nil), example(`languages = ["en"]`))
	}
	for i, v := range lib.Languages {
		j.language(fmt.Sprintf("languages[%d]", i), v)
	}
	l.checkPeople(j)
	l.checkTranslations(j)
	l.checkNewcomers(j)
}

// mostNewcomers bounds the lines for those who are new: more than a few are not read.
const mostNewcomers = 4

func (l *loader) checkNewcomers(j judge) {
	for i, n := range l.rules.Library.Newcomers {
		at := j.at("newcomer", i)
		if i == mostNewcomers {
			at.bad("say", job.Say("rules.newcomers", job.Args{"most": mostNewcomers}), job.Say("rules.hint.leave-out", nil))
		}
		at.line("link", n.Link)
		if len(n.Say) == 0 {
			at.bad("say", job.Say("rules.empty", job.Args{"key": "say"}), job.Say("rules.hint.example", job.Args{"line": `say = {en = "Free classes for beginners"}`}))
		}
		for lang, text := range n.Say {
			at.language("say."+lang, lang)
			at.line("say."+lang, text)
			if strings.HasSuffix(strings.TrimSpace(text), ".") {
				at.bad("say."+lang, job.Say("rules.full-stop", job.Args{"language": lang}), job.Say("rules.hint.no-stop", nil))
			}
		}
	}
}

func (l *loader) checkTranslations(j judge) {
	lib := &l.rules.Library
	var branches []string
	for _, b := range lib.Branches {
		branches = append(branches, b.Name)
	}
	for lang, t := range lib.Translations {
		at := j.at("translation." + lang)
		at.language("", lang)
		for key, v := range map[string]string{"desk": t.Desk, "hours": t.Hours, "website": t.Website, "safety": t.Safety, "form": t.Form} {
			at.line(key, v)
		}
		for name, v := range t.BranchHours {
			at.line("branch_hours."+name, v)
			if !slices.Contains(branches, name) {
				at.bad("branch_hours."+name, job.Say("rules.no-such-branch", job.Args{"given": name}), didYouMean(name, branches))
			}
		}
	}
}

// language checks that a language has the name that a folder of its reply texts has.
// Which folders there are, the reply texts know (templates.LoadHouse).
func (j judge) language(key, v string) {
	switch tag, err := language.Parse(v); {
	case err != nil || tag == language.Und:
		j.bad(key, job.Say("rules.no-language", job.Args{"given": v}), job.Say("rules.hint.language", nil))
	case tag.String() != v:
		j.bad(key, job.Say("rules.not-named-so", job.Args{"given": v}), job.Say("rules.hint.near", job.Args{"word": tag.String()}))
	}
}

func (l *loader) checkPeople(j judge) {
	lib := &l.rules.Library
	if len(lib.Branches) == 0 {
		j.bad("branch", job.Say("rules.no-branch", nil), none)
	}
	var names, staff []string
	for i, b := range lib.Branches {
		j.at("branch", i).filled("name", b.Name)
		names = append(names, b.Name)
	}
	if len(lib.Staff) == 0 {
		j.bad("staff", job.Say("rules.no-staff", nil), none)
	}
	for i, p := range lib.Staff {
		j.at("staff", i).filled("name", p.Name)
		j.at("staff", i).address("address", p.Address)
		staff = append(staff, p.Name)
	}
	j.unique("branch", "name", names)
	j.unique("staff", "name", staff)
}

func (l *loader) checkMaterials() {
	j := l.in("materials.toml")
	var names []string
	for i, m := range l.rules.Materials {
		at := j.at("material", i)
		at.filled("name", m.Name)
		at.between("density_g_cm3", m.Density, 0.3, 10, "g/cm3")
		at.between("softens_c", m.SoftensC, 30, 400, "rules.unit.celsius")
		if len(m.Colours) == 0 {
			at.bad("colours", job.Say("rules.no-colours", job.Args{"material": m.Name}), example(`colours = ["black", "white"]`))
		}
		for k, c := range m.Colours {
			at.filled(fmt.Sprintf("colours[%d]", k), c)
		}
		names = append(names, m.Name)
	}
	if len(names) == 0 {
		j.bad("material", job.Say("rules.no-material", nil), none)
	}
	j.unique("material", "name", names)
}

func (r *Rules) materialNames() []string {
	var names []string
	for _, m := range r.Materials {
		names = append(names, m.Name)
	}
	return names
}

func (l *loader) checkAgreement() {
	j, a := l.in("agreement.toml"), &l.rules.Agreement
	if a.Required {
		j.filled("current_version", a.Current)
	}
	j.count("valid_months", a.ValidMonths, 0, 1200)
	j.count("guardian_below_age", a.GuardianBelow, 0, 30)
	j.line("form", a.Form)
}

func (l *loader) checkChecks() {
	j := l.in("checks.toml")
	for code, c := range l.rules.Checks.Check {
		at := j.at("check." + code)
		at.oneOf("level", c.Level, "stop", "ask", "note", "off")
		at.between("limit", c.Limit, 0, 1e9, c.Unit)
		at.between("note_at", c.NoteAt, 0, 1e9, c.Unit)
		at.between("stop_at", c.StopAt, 0, 1e9, c.Unit)
	}
	var codes []string
	for i, c := range l.rules.Checks.Own {
		at := j.at("own", i)
		at.filled("code", c.Code)
		at.filled("when", c.When)
		at.filled("text", c.Text)
		at.line("question", c.Question)
		at.oneOf("level", c.Level, "stop", "ask", "note", "off")
		if _, taken := l.rules.Checks.Check[c.Code]; taken {
			at.bad("code", job.Say("rules.own-code-taken", job.Args{"code": c.Code}), job.Say("rules.hint.other-code", nil))
		}
		codes = append(codes, c.Code)
	}
	j.unique("own", "code", codes)
}
