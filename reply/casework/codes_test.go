package casework

import (
	"slices"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/preflight"
	"meshclerk/templates"
)

// Every finding that the preflight can make is one that the reply texts know,
// and the other way round.
func TestFindingsAndTextsHaveTheSameCodes(t *testing.T) {
	all := append(preflight.Codes(), job.CodeUnfinished) // which no rule has a check for
	found, told := slices.Sorted(slices.Values(all)), slices.Sorted(slices.Values(templates.Codes()))
	if !slices.Equal(found, told) {
		t.Errorf("the preflight makes %v\nthe texts know %v", found, told)
	}
}
