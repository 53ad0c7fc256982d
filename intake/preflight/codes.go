package preflight

import (
	"meshclerk/intake/job"
	"meshclerk/rules"
)

// levelOff is the level of a check that is not made.
const levelOff job.Level = "off"

// Codes lists the findings that the rules have a check for, worst first.
func Codes() []string {
	var codes []string
	for _, e := range catalogue() {
		if e.code != job.CodeUnfinished {
			codes = append(codes, e.code)
		}
	}
	return codes
}

// thresholds gives every check its bounds: those of the rules, else the built-in ones.
func thresholds(r *rules.Rules) map[string]rules.Check {
	all := map[string]rules.Check{}
	for _, code := range Codes() {
		c, ok := r.Checks.Check[code]
		if !ok {
			return withBuiltin(r)
		}
		all[code] = c
	}
	return all
}

func withBuiltin(r *rules.Rules) map[string]rules.Check {
	all := map[string]rules.Check{}
	for code, c := range rules.Default().Checks.Check {
		all[code] = c
	}
	for code, c := range r.Checks.Check {
		all[code] = c
	}
	return all
}
