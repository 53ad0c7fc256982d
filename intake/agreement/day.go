package agreement

import (
	"fmt"
	"strings"
	"time"
)

// unambiguous are the ways of writing a day that mean one day only.
var unambiguous = []string{
	day, "2006-1-2", "2006/1/2", "2006.1.2", "20060102",
	"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", time.RFC3339,
	"2 Jan 2006", "2 January 2006", "2-Jan-2006", "Jan 2, 2006", "January 2, 2006", "Jan 2 2006", "January 2 2006",
}

// ParseDay reads a calendar day and gives it as YYYY-MM-DD. A day such as
// 02/03/2026 is refused: it is 2 March to some and 3 February to others.
func ParseDay(v string) (string, error) {
	v = strings.Join(strings.Fields(v), " ")
	for _, layout := range unambiguous {
		t, err := time.Parse(layout, v)
		if err != nil {
			continue
		}
		if t.Year() < 1900 || t.Year() > 2200 {
			return "", fmt.Errorf("the year of %q cannot be right; write the day as 2026-03-02", v)
		}
		return t.Format(day), nil
	}
	return "", fmt.Errorf("%q is no day that can be read without doubt; write it as 2026-03-02", v)
}
