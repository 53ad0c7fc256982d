package draft

import (
	"fmt"
	"html"
	"strings"
	"unicode/utf8"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/text"

	"meshclerk/intake/plain"
)

// width of the plain part, in characters: quoted once more, it still fits 80.
const width = 74

// plainText writes a Markdown document as people write plain mail.
func plainText(doc ast.Node, source []byte) string {
	p := plainWriter{source: source}
	return strings.Join(p.blocks(doc, width), "\n") + "\n"
}

// plainInline gives the words of one line of Markdown.
func plainInline(markdown string) string {
	source := []byte(markdown)
	doc := goldmark.DefaultParser().Parse(text.NewReader(source))
	p := plainWriter{source: source}
	var out []string
	for n := doc.FirstChild(); n != nil; n = n.NextSibling() {
		out = append(out, p.inline(n))
	}
	return plain.OneLine(strings.Join(out, " "))
}

type plainWriter struct{ source []byte }

// blocks gives the lines of the blocks in a node, with a blank line between.
func (p plainWriter) blocks(parent ast.Node, width int) []string {
	var out []string
	for n := parent.FirstChild(); n != nil; n = n.NextSibling() {
		lines := p.block(n, width)
		if len(lines) == 0 {
			continue
		}
		if len(out) > 0 {
			out = append(out, "")
		}
		out = append(out, lines...)
	}
	return out
}

func (p plainWriter) block(n ast.Node, width int) []string {
	switch n := n.(type) {
	case *ast.Heading:
		title := p.inline(n)
		return []string{title, strings.Repeat("-", utf8.RuneCountInString(title))}
	case *ast.Paragraph, *ast.TextBlock:
		return wrap(p.inline(n), width)
	case *ast.List:
		return p.list(n, width)
	case *ast.Blockquote:
		return prefix(p.blocks(n, width-2), "> ", "> ")
	case *extast.Table:
		return p.table(n, width)
	case *ast.ThematicBreak:
		return []string{strings.Repeat("-", 20)}
	case *ast.CodeBlock, *ast.FencedCodeBlock:
		return prefix(strings.Split(strings.TrimRight(string(n.Lines().Value(p.source)), "\n"), "\n"), "    ", "    ")
	case *ast.HTMLBlock:
		return nil
	}
	return p.blocks(n, width)
}

func (p plainWriter) list(l *ast.List, width int) []string {
	var out []string
	number := l.Start
	for item := l.FirstChild(); item != nil; item = item.NextSibling() {
		mark := "- "
		if l.IsOrdered() {
			mark = fmt.Sprintf("%d. ", number)
			number++
		}
		lines := p.blocks(item, width-len(mark))
		if !l.IsTight && len(out) > 0 {
			out = append(out, "")
		}
		out = append(out, prefix(lines, mark, strings.Repeat(" ", len(mark)))...)
	}
	return out
}

// prefix puts the first mark before the first line and the other before the rest.
func prefix(lines []string, first, other string) []string {
	out := make([]string, len(lines))
	for i, line := range lines {
		mark := other
		if i == 0 {
			mark = first
		}
		out[i] = strings.TrimRight(mark+line, " ")
	}
	return out
}

// inline gives the words of a block; a line break in it is one that was meant.
func (p plainWriter) inline(parent ast.Node) string {
	var b strings.Builder
	for n := parent.FirstChild(); n != nil; n = n.NextSibling() {
		switch n := n.(type) {
		case *ast.Text:
			b.WriteString(literal(string(n.Segment.Value(p.source))))
			switch {
			case n.HardLineBreak():
				b.WriteByte('\n')
			case n.SoftLineBreak():
				b.WriteByte(' ')
			}
		case *ast.String:
			b.Write(n.Value)
		case *ast.AutoLink:
			b.Write(n.Label(p.source))
		case *ast.Link:
			b.WriteString(p.inline(n) + " <" + string(n.Destination) + ">")
		case *ast.Image:
			b.WriteString("[" + p.inline(n) + "]")
		case *ast.Emphasis:
			b.WriteString(p.strong(n))
		case *ast.RawHTML:
		default:
			b.WriteString(p.inline(n))
		}
	}
	return b.String()
}

// strong marks strong words with stars, as people do in plain mail; in a table
// the stars would only spoil the columns.
func (p plainWriter) strong(n *ast.Emphasis) string {
	if _, cell := n.Parent().(*extast.TableCell); cell || n.Level < 2 {
		return p.inline(n)
	}
	return "*" + p.inline(n) + "*"
}

// literal undoes backslash escapes and character references (CommonMark 2.4, 2.5).
func literal(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '\\' && i+1 < len(s) && isPunct(s[i+1]):
			i++
			b.WriteByte(s[i])
		case s[i] == '&':
			ref := reference(s[i:])
			b.WriteString(html.UnescapeString(ref))
			i += len(ref) - 1
		default:
			b.WriteByte(s[i])
		}
	}
	return b.String()
}

// reference gives the character reference that s begins with, or its first
// byte. HTML also knows some without a semicolon; Markdown does not.
func reference(s string) string {
	end := strings.IndexByte(s, ';')
	if end < 0 || end > 32 {
		return s[:1]
	}
	ref := s[:end+1]
	if is := html.UnescapeString(ref); is != ";" && strings.HasSuffix(is, ";") {
		return s[:1]
	}
	return ref
}

func isPunct(c byte) bool {
	return c >= '!' && c <= '/' || c >= ':' && c <= '@' || c >= '[' && c <= '`' || c >= '{' && c <= '~'
}

// wrap breaks lines at spaces; a longer word stays whole. Non-breaking spaces hold.
func wrap(s string, width int) []string {
	var out []string
	for para := range strings.SplitSeq(s, "\n") {
		line, n := "", 0
		for word := range strings.SplitSeq(para, " ") {
			w := utf8.RuneCountInString(word)
			switch {
			case word == "":
				continue
			case n == 0:
				line, n = word, w
			case n+1+w <= width:
				line, n = line+" "+word, n+1+w
			default:
				out = append(out, line)
				line, n = word, w
			}
		}
		if n > 0 {
			out = append(out, line)
		}
	}
	return out
}
