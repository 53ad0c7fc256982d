package job

import "strconv"

// Count says a number with its noun: "1 body", "3 bodies".
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
