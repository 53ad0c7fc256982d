package letter

import (
	"strconv"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// renderHTML renders HTML as the text a reader would see, with quoted mail marked
// by "> " as in plain mail, numbered lists numbered, and the target behind each
// link. Hidden text, scripts and elements with a name of signatures are left out. It also returns the
// Content-IDs of the pictures shown. The text is at most limit bytes.
//
// It works on the token stream, so that no nesting, however deep, costs more than
// its length.
func renderHTML(source string, limit int, signatures []string) (text string, shown []string) {
	h := &renderer{limit: limit, signatures: signatures}
	z := html.NewTokenizer(strings.NewReader(source))
	for more := true; more && h.out.Len() < limit; {
		switch z.Next() {
		case html.ErrorToken:
			more = false
		case html.TextToken:
			h.text(string(z.Text()))
		case html.StartTagToken, html.SelfClosingTagToken:
			h.start(z.Token())
		case html.EndTagToken:
			h.end(z.Token().DataAtom)
		}
	}
	h.breakLine()
	return strings.ToValidUTF8(h.out.String()[:min(h.out.Len(), limit)], ""), h.shown
}

type renderer struct {
	out        strings.Builder
	limit      int
	signatures []string
	line       strings.Builder
	shown      []string

	skipped atom.Atom // the element whose content is left out, 0 for none
	nested  int       // elements of the same name open inside it
	pre     int
	quotes  []bool // open blockquotes: true when they hold quoted mail
	depth   int
	lists   []int // open lists: the next number, or -1 for bullets
	links   []link
	blank   bool // the last line written was empty
}

// maxLinks bounds the links that are open at once; HTML does not let them nest at all.
const maxLinks = 8

type link struct {
	href string
	at   int // where its text begins in the line
}

var (
	hiddenTags = map[atom.Atom]bool{atom.Script: true, atom.Style: true, atom.Head: true, atom.Title: true,
		atom.Template: true, atom.Svg: true, atom.Math: true, atom.Object: true, atom.Select: true, atom.Textarea: true}
	blockTags = map[atom.Atom]bool{atom.Div: true, atom.Tr: true, atom.Table: true, atom.Ul: true, atom.Ol: true,
		atom.Dl: true, atom.Dt: true, atom.Dd: true, atom.Section: true, atom.Article: true, atom.Header: true,
		atom.Footer: true, atom.Address: true, atom.Center: true, atom.Form: true, atom.Body: true, atom.Figure: true}
	spacedTags = map[atom.Atom]bool{atom.P: true, atom.H1: true, atom.H2: true, atom.H3: true, atom.H4: true,
		atom.H5: true, atom.H6: true, atom.Hr: true, atom.Pre: true, atom.Blockquote: true}
	// signatureNames are the marks by which mail programs set signatures apart.
	signatureNames = []string{"gmail_signature", "moz-signature", "signature", "ms-outlook-mobile-signature"}
)

func (h *renderer) start(t html.Token) {
	tag := t.DataAtom
	if h.skipped == atom.Head && tag == atom.Body || h.skipped == atom.P && (blockTags[tag] || spacedTags[tag]) {
		h.skipped = 0 // the end tags of these may be left out
	}
	if h.skipped != 0 {
		if tag == h.skipped && t.Type == html.StartTagToken {
			h.nested++
		}
		return
	}
	attr := attributes(t)
	if t.Type == html.StartTagToken && !voidTags[tag] && (hiddenTags[tag] || hidden(attr) || h.signature(attr)) {
		if tag != 0 {
			h.skipped, h.nested = tag, 0
			h.breakLine()
		}
		return
	}
	switch {
	case tag == atom.Br:
		h.newLine()
	case tag == atom.Img:
		if id, ok := strings.CutPrefix(attr["src"], "cid:"); ok && len(h.shown) < 1000 {
			h.shown = append(h.shown, id)
		}
	case tag == atom.A && len(h.links) < maxLinks:
		h.links = append(h.links, link{attr["href"], h.line.Len()})
	case tag == atom.Li:
		h.item(attr)
	case tag == atom.Td || tag == atom.Th:
		h.space()
	case spacedTags[tag]:
		h.breakLine()
		h.blankLine()
		h.open(tag, attr)
	case blockTags[tag]:
		h.breakLine()
		h.open(tag, attr)
	}
}

var voidTags = map[atom.Atom]bool{atom.Br: true, atom.Img: true, atom.Hr: true, atom.Input: true, atom.Meta: true,
	atom.Link: true, atom.Area: true, atom.Base: true, atom.Col: true, atom.Embed: true, atom.Source: true, atom.Wbr: true}

// open notes the elements that change how what is in them is shown.
func (h *renderer) open(tag atom.Atom, attr map[string]string) {
	switch tag {
	case atom.Pre:
		h.pre++
	case atom.Blockquote:
		quote := attr["class"] != "" || attr["type"] == "cite" || attr["cite"] != "" ||
			!strings.Contains(strings.ReplaceAll(attr["style"], " ", ""), "border:none")
		if len(h.quotes) < 100 {
			h.quotes = append(h.quotes, quote)
			h.count(quote, 1)
		}
	case atom.Ol:
		first, err := strconv.Atoi(attr["start"])
		if err != nil {
			first = 1
		}
		h.list(first)
	case atom.Ul:
		h.list(-1)
	}
}

func (h *renderer) list(first int) {
	if len(h.lists) < 100 {
		h.lists = append(h.lists, first)
	}
}

func (h *renderer) count(quote bool, by int) {
	if quote {
		h.depth += by
	}
}

func (h *renderer) end(tag atom.Atom) {
	if h.skipped != 0 {
		if tag == h.skipped {
			if h.nested--; h.nested < 0 {
				h.skipped = 0
			}
		}
		return
	}
	switch {
	case tag == atom.A:
		h.endLink()
	case tag == atom.Li:
		h.breakLine()
	case spacedTags[tag], blockTags[tag]:
		h.breakLine()
		h.close(tag)
		if spacedTags[tag] {
			h.blankLine()
		}
	}
}

func (h *renderer) close(tag atom.Atom) {
	switch n := len(h.quotes); {
	case tag == atom.Pre && h.pre > 0:
		h.pre--
	case tag == atom.Blockquote && n > 0:
		h.count(h.quotes[n-1], -1)
		h.quotes = h.quotes[:n-1]
	case (tag == atom.Ul || tag == atom.Ol) && len(h.lists) > 0:
		h.lists = h.lists[:len(h.lists)-1]
	}
}

func (h *renderer) item(attr map[string]string) {
	h.breakLine()
	mark := "- "
	if n := len(h.lists); n > 0 && h.lists[n-1] >= 0 {
		if v, err := strconv.Atoi(attr["value"]); err == nil {
			h.lists[n-1] = v
		}
		mark = strconv.Itoa(h.lists[n-1]) + ". "
		h.lists[n-1]++
	}
	h.line.WriteString(mark)
}

// endLink writes the target behind the link's text, unless the text is the target.
func (h *renderer) endLink() {
	n := len(h.links)
	if n == 0 {
		return
	}
	l := h.links[n-1]
	h.links = h.links[:n-1]
	text := h.line.String()
	if l.at > len(text) || !isWebLink(l.href) || strings.Contains(text[l.at:], strings.TrimSuffix(l.href, "/")) {
		return
	}
	h.space()
	h.line.WriteString("<" + l.href + ">")
}

func (h *renderer) text(raw string) {
	if h.skipped != 0 {
		return
	}
	if h.pre > 0 {
		for i, piece := range strings.Split(raw, "\n") {
			if i > 0 {
				h.newLine()
			}
			h.line.WriteString(piece)
		}
		return
	}
	for i, word := range strings.FieldsFunc(raw, isHTMLSpace) {
		if i > 0 || isHTMLSpace(rune(raw[0])) {
			h.space()
		}
		h.line.WriteString(word)
	}
	if raw != "" && isHTMLSpace(rune(raw[len(raw)-1])) {
		h.space()
	}
}

func isHTMLSpace(r rune) bool { return r == ' ' || r == '\n' || r == '\t' || r == '\r' || r == '\f' }

func (h *renderer) space() {
	if s := h.line.String(); s != "" && !strings.HasSuffix(s, " ") {
		h.line.WriteByte(' ')
	}
}

// breakLine ends the line if there is something on it.
func (h *renderer) breakLine() {
	if strings.TrimSpace(h.line.String()) != "" {
		h.newLine()
	}
	h.line.Reset()
}

func (h *renderer) blankLine() {
	if !h.blank && h.out.Len() > 0 {
		h.newLine()
	}
}

func (h *renderer) newLine() {
	text := strings.TrimRight(h.line.String(), " \t")
	h.line.Reset()
	for i := range h.links {
		h.links[i].at = 0
	}
	if h.out.Len() >= h.limit {
		return
	}
	if h.depth > 0 {
		h.out.WriteString(strings.Repeat(">", h.depth) + " ")
	}
	h.blank = strings.TrimSpace(text) == ""
	h.out.WriteString(text + "\n")
}

func attributes(t html.Token) map[string]string {
	if len(t.Attr) == 0 {
		return nil
	}
	m := make(map[string]string, len(t.Attr))
	for _, a := range t.Attr {
		m[a.Key] = a.Val
	}
	return m
}

func hidden(attr map[string]string) bool {
	style := strings.ToLower(strings.ReplaceAll(attr["style"], " ", ""))
	return strings.Contains(style, "display:none") || strings.Contains(style, "mso-hide:all")
}

func (h *renderer) signature(attr map[string]string) bool {
	for _, name := range h.signatures {
		if strings.EqualFold(attr["id"], name) || strings.EqualFold(attr["data-smartmail"], name) {
			return true
		}
		for class := range strings.FieldsSeq(attr["class"]) {
			if strings.EqualFold(class, name) {
				return true
			}
		}
	}
	return false
}
