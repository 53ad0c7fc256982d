package desk

import "strings"

// diffLine is one line of a comparison.
type diffLine struct {
	Sign string // "" the same, "-" gone, "+" new
	Text string
}

const maxDiffLines = 600

// diff compares two texts line by line by their longest common subsequence, and
// gives the lines that differ with two of their neighbours.
func diff(before, after string) []diffLine {
	a, b := strings.Split(before, "\n"), strings.Split(after, "\n")
	a, b = a[:min(len(a), maxDiffLines)], b[:min(len(b), maxDiffLines)]
	common := make([][]uint16, len(a)+1)
	for i := range common {
		common[i] = make([]uint16, len(b)+1)
	}
	for i := len(a) - 1; i >= 0; i-- {
		for j := len(b) - 1; j >= 0; j-- {
			if a[i] == b[j] {
				common[i][j] = common[i+1][j+1] + 1
			} else {
				common[i][j] = max(common[i+1][j], common[i][j+1])
			}
		}
	}
	var all []diffLine
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		switch {
		case i < len(a) && j < len(b) && a[i] == b[j]:
			all = append(all, diffLine{"", a[i]})
			i, j = i+1, j+1
		case j == len(b) || i < len(a) && common[i+1][j] >= common[i][j+1]:
			all = append(all, diffLine{"-", a[i]})
			i++
		default:
			all = append(all, diffLine{"+", b[j]})
			j++
		}
	}
	return nearChanges(all, 2)
}

func nearChanges(all []diffLine, around int) []diffLine {
	keep := make([]bool, len(all))
	for i, l := range all {
		if l.Sign == "" {
			continue
		}
		for k := max(0, i-around); k <= min(len(all)-1, i+around); k++ {
			keep[k] = true
		}
	}
	var out []diffLine
	for i, l := range all {
		switch {
		case keep[i]:
			out = append(out, l)
		case len(out) > 0 && out[len(out)-1].Text != "…":
			out = append(out, diffLine{"", "…"})
		}
	}
	if n := len(out); n > 0 && out[n-1].Text == "…" {
		out = out[:n-1]
	}
	return out
}
