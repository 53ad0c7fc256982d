package rules

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// Refusal is a reason for which the house declines a request.
type Refusal struct {
	Code string            `toml:"code"` // counted by the monthly report
	Say  map[string]string `toml:"say"`  // by language: what the patron is told
}

// In returns the reason in a language, else in the house's first, else in English.
func (f Refusal) In(language string, l Library) string {
	return cmp.Or(f.Say[language], f.Say[l.Languages[0]], f.Say["en"])
}

// Refusal finds a reason by its code.
func (r *Rules) Refusal(code string) (Refusal, bool) {
	i := slices.IndexFunc(r.Refusals, func(f Refusal) bool { return f.Code == code })
	if i < 0 {
		return Refusal{}, false
	}
	return r.Refusals[i], true
}

// RefusedOther is the code of a refusal in a person's own words.
const RefusedOther = "other"

type refusalFile struct {
	Refusals *[]Refusal `toml:"refusal" rule:"optional"`
}

var refusalCode = regexp.MustCompile(`^[a-z][a-z0-9-]{0,29}$`)

func (l *loader) checkRefusals() {
	seen := map[string]bool{RefusedOther: true}
	for i, f := range l.rules.Refusals {
		j := l.in("refusals.toml").at("refusal", i)
		switch {
		case !refusalCode.MatchString(f.Code):
			j.bad("code", `use small letters, digits and hyphens, e.g. "too-many"`, "code is %q, which is no word that the report could count by", f.Code)
		case f.Code == RefusedOther:
			j.bad("code", "choose another word", `code is "other", which counts reasons in a person's own words`)
		case seen[f.Code]:
			j.bad("code", "", "the code %q is there twice", f.Code)
		}
		seen[f.Code] = true
		for _, lang := range l.spoken() {
			text := strings.TrimSpace(f.Say[lang])
			switch {
			case text == "":
				j.bad("say", fmt.Sprintf(`add %s = "…" to it`, lang), "the reason has no sentence in %q, which library.toml names", lang)
			case strings.HasSuffix(text, "."):
				j.bad("say", "leave the full stop out", "the sentence in %q ends with a full stop, but a letter goes on after it", lang)
			default:
				j.line("say", text)
			}
		}
	}
}

// spoken are the languages that each reason must have: those of the house, where it has
// a list of its own. A house that begins a language still starts with the built-in list;
// staff see the letter before it goes, and may write the reason in its language.
func (l *loader) spoken() []string {
	if s := l.files["refusals.toml"]; s == nil || strings.HasPrefix(s.path, "built-in") {
		return nil
	}
	return l.rules.Library.Languages
}
