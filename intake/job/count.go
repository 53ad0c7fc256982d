package job

import "strconv"

// Count says a number with its noun: "1 letter", "3 letters". The noun's plural
// must be regular.
func Count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}
