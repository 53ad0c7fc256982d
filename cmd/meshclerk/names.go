package main

import (
	"slices"
	"strings"
)

// knownName finds a name whatever its case, or tells which ones there are.
// An empty name stays empty.
func knownName(flag, name string, known []string) (string, error) {
	if name == "" {
		return "", nil
	}
	i := slices.IndexFunc(known, func(k string) bool { return strings.EqualFold(k, name) })
	if i < 0 {
		return "", wrongUse("%s %q is not in the rules; there are: %s", flag, name, strings.Join(known, ", "))
	}
	return known[i], nil
}
