package draft

import (
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/yuin/goldmark/ast"
	extast "github.com/yuin/goldmark/extension/ast"
)

// table writes a table in columns, or, when that is too wide, row by row as
// "heading: value".
func (p plainWriter) table(t *extast.Table, width int) []string {
	rows, right := p.cells(t)
	if len(rows) == 0 {
		return nil
	}
	widths := make([]int, len(rows[0]))
	total := 0
	for c := range widths {
		for _, row := range rows {
			widths[c] = max(widths[c], utf8.RuneCountInString(row[c]))
		}
		total += widths[c] + 2
	}
	if total-2 > width {
		return narrow(rows, width)
	}
	var out []string
	for i, row := range rows {
		out = append(out, columns(row, widths, right))
		if i == 0 {
			out = append(out, strings.Repeat("-", total-2))
		}
	}
	return out
}

// cells gives the words of each row, the heading first, and which columns are
// set to the right.
func (p plainWriter) cells(t *extast.Table) (rows [][]string, right []bool) {
	for row := t.FirstChild(); row != nil; row = row.NextSibling() {
		var cells []string
		for cell := row.FirstChild(); cell != nil; cell = cell.NextSibling() {
			cells = append(cells, p.cell(cell))
			if len(rows) == 0 {
				tc, ok := cell.(*extast.TableCell)
				right = append(right, ok && tc.Alignment == extast.AlignRight)
			}
		}
		for len(rows) > 0 && len(cells) < len(rows[0]) {
			cells = append(cells, "")
		}
		rows = append(rows, cells)
	}
	return rows, right
}

func (p plainWriter) cell(n ast.Node) string { return oneLineKeepingNBSP(p.inline(n)) }

func oneLineKeepingNBSP(s string) string { return strings.ReplaceAll(strings.TrimSpace(s), "\n", " ") }

func columns(row []string, widths []int, right []bool) string {
	var b strings.Builder
	for c, cell := range row {
		pad := strings.Repeat(" ", widths[c]-utf8.RuneCountInString(cell))
		if right[c] {
			b.WriteString(pad + cell)
		} else {
			b.WriteString(cell + pad)
		}
		b.WriteString("  ")
	}
	return strings.TrimRight(b.String(), " ")
}

// narrow writes each row as a short list under its first cell that is not a number.
func narrow(rows [][]string, width int) []string {
	head := rows[0]
	var out []string
	for i, row := range rows[1:] {
		if i > 0 {
			out = append(out, "")
		}
		title := slices.IndexFunc(row, func(s string) bool { return strings.Trim(s, "0123456789. ") != "" })
		title = max(title, 0)
		out = append(out, wrap(strings.TrimSpace(strings.Join(row[:title+1], " ")), width)...)
		for c := title + 1; c < len(row); c++ {
			line := row[c]
			if head[c] != "" {
				line = head[c] + ": " + line
			}
			out = append(out, prefix(wrap(line, width-2), "  ", "    ")...)
		}
	}
	return out
}
