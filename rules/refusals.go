package rules

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"meshclerk/intake/job"
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
			j.bad("code", job.Say("rules.no-code", job.Args{"given": f.Code}), job.Say("rules.hint.code", nil))
		case f.Code == RefusedOther:
			j.bad("code", job.Say("rules.code-other", nil), job.Say("rules.hint.other-word", nil))
		case seen[f.Code]:
			j.bad("code", job.Say("rules.code-twice", job.Args{"given": f.Code}), none)
		}
		seen[f.Code] = true
		for _, lang := range l.spoken() {
			text := strings.TrimSpace(f.Say[lang])
			switch {
			case text == "":
				j.bad("say", job.Say("rules.no-sentence", job.Args{"language": lang}), job.Say("rules.hint.add-sentence", job.Args{"language": lang}))
			case strings.HasSuffix(text, "."):
				j.bad("say", job.Say("rules.full-stop", job.Args{"language": lang}), job.Say("rules.hint.no-stop", nil))
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
