package preflight

import (
	"meshclerk/intake/job"
	"meshclerk/rules"
)

// levelOff is the level of a check that is not made.
const levelOff job.Level = "off"

// Codes lists the findings that the built-in checks can give, worst first.
func Codes() []string {
	return []string{"unreadable", "not-stl", "too-big", "too-long", "units-doubtful", "holes", "thin-wall", "narrow-gap",
		"several-parts", "floating-part", "sealed-void", "tips-over", "small-footprint", "overhang", "long-bridge",
		"fine-detail", "self-crossing", "inside-out", "nonmanifold", "flipped", "coarse-facets", "small-part-hazard", "already-printed"}
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
