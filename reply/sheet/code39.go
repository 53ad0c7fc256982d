package sheet

import (
	"fmt"
	"strings"
)

// code39Bars and code39Gaps make the patterns of Code 39 (ISO/IEC 16388; from
// memory): each character has five bars, of which its place in a row of ten
// widens two, and four gaps, of which the row widens one.
var (
	code39Rows = [...]string{"1234567890", "ABCDEFGHIJ", "KLMNOPQRST", "UVWXYZ-. *"}
	code39Bars = [...]string{"10001", "01001", "11000", "00101", "10100", "01100", "00011", "10010", "01010", "00110"}
	code39Gaps = [...]string{"0100", "0010", "0001", "1000"}
)

// code39 gives the widths of bars and gaps by turns, 1 narrow and 3 wide, with
// start and stop; nil for text that the code cannot write.
func code39(text string) []int {
	var out []int
	for _, c := range "*" + text + "*" {
		one := code39Char(c)
		if one == nil {
			return nil
		}
		if out != nil {
			out = append(out, 1)
		}
		out = append(out, one...)
	}
	return out
}

func code39Char(c rune) []int {
	for row, chars := range code39Rows {
		place := strings.IndexRune(chars, c)
		if place < 0 {
			continue
		}
		var out []int
		for k := range 5 {
			out = append(out, 1+2*int(code39Bars[place][k]-'0'))
			if k < 4 {
				out = append(out, 1+2*int(code39Gaps[row][k]-'0'))
			}
		}
		return out
	}
	return nil
}

// code39SVG draws the code with its quiet zones.
func code39SVG(text string) string {
	widths := code39(text)
	if widths == nil {
		return ""
	}
	const quiet = 10
	var bars strings.Builder
	x := quiet
	for i, w := range widths {
		if i%2 == 0 {
			fmt.Fprintf(&bars, "M%d 0h%dv40h-%dz", x, w, w)
		}
		x += w
	}
	return fmt.Sprintf(`<svg class="code" viewBox="0 0 %d 40" preserveAspectRatio="none" role="img" aria-label="%s"><path d="%s"/></svg>`, x+quiet, text, bars.String())
}
