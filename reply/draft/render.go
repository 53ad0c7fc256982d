package draft

import (
	"bytes"
	"fmt"
	"html"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/text"
)

// Render makes both parts of a letter from its Markdown: plain text for any
// mail program, and a whole HTML document. Raw HTML in the source is left out
// of both.
func Render(markdown, language, title string) (plain, document string) {
	source := []byte(markdown)
	md := goldmark.New(goldmark.WithExtensions(extension.Table))
	doc := md.Parser().Parse(text.NewReader(source))
	plain = plainText(doc, source)
	dress(doc)
	var body bytes.Buffer
	if err := md.Renderer().Render(&body, source, doc); err != nil {
		body.Reset() // bytes.Buffer never fails; should it ever, the plain words still serve
		fmt.Fprintf(&body, "<pre>%s</pre>", html.EscapeString(plain))
	}
	return plain, fmt.Sprintf(page, language, html.EscapeString(title), style, body.String())
}

const page = `<!DOCTYPE html>
<html lang="%s">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="supported-color-schemes" content="light dark">
<title>%s</title>
<style>%s</style>
</head>
<body>
<div class="letter" style="max-width:38em;margin:0 auto;padding:1.2em 1em 2em;overflow-wrap:anywhere;font:16px/1.55 Georgia,'Times New Roman',serif">
%s</div>
</body>
</html>
`

// style is for mail programs that keep it; what matters stands in dress too.
// No colour is set but the accents, so that the reader's own light or dark
// scheme holds.
const style = `
:root{color-scheme:light dark}
body{margin:0}
.letter{border-top:6px solid #2f6f5e}
h2{color:#2f6f5e}
a{color:#1f5f8b}
@media (prefers-color-scheme:dark){.letter{border-top-color:#7fc3ad}h2{color:#8fd0bb}a{color:#9cc9ea}}
`

// dress puts a style on the elements themselves, since many mail programs drop
// style sheets. Borders are half transparent: they show on light and dark.
func dress(doc ast.Node) {
	_ = ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n := n.(type) {
		case *ast.Heading:
			n.SetAttributeString("style", []byte("font:bold 1.05em/1.3 Helvetica,Arial,sans-serif;margin:1.8em 0 .5em"))
		case *ast.List:
			n.SetAttributeString("style", []byte("margin:.6em 0;padding-left:1.5em"))
		case *ast.ListItem:
			n.SetAttributeString("style", []byte("margin:.35em 0"))
		case *extast.Table:
			n.SetAttributeString("style", []byte("border-collapse:collapse;width:100%;margin:.8em 0;font:.92em/1.45 Helvetica,Arial,sans-serif"))
		case *extast.TableCell:
			n.SetAttributeString("style", []byte(cellStyle(n)))
			if n.Parent().Kind() == extast.KindTableHeader {
				n.SetAttributeString("scope", []byte("col"))
				if n.Alignment == extast.AlignNone { // else the middle, where styles are dropped
					n.SetAttributeString("align", []byte("left"))
				}
			}
		case *ast.Image:
			n.SetAttributeString("width", []byte("320")) // for programs that drop styles: a picture that a telephone shows whole
			n.SetAttributeString("style", []byte("width:100%;max-width:32em;height:auto;border-radius:4px"))
		}
		return ast.WalkContinue, nil
	})
}

func cellStyle(n *extast.TableCell) string {
	const s = "vertical-align:top;border-bottom:1px solid rgba(128,128,128,.35)"
	switch {
	case n.Alignment == extast.AlignRight && n.NextSibling() == nil:
		return s + ";padding:.4em 0 .4em .8em"
	case n.Alignment == extast.AlignRight:
		return s + ";padding:.4em .8em"
	}
	return s + ";padding:.4em .8em .4em 0;text-align:left"
}
