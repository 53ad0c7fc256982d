package letter

import (
	"regexp"
	"strings"

	"meshclerk/intake/job"
)

// OwnText is what the writer of a letter wrote, apart from what was quoted.
type OwnText struct {
	Text      string
	Inline    []job.Inline // own passages that stand below quoted lines, in order
	Quoted    string       // the quoted lines without their marks, its beginning
	Forwarded *Forwarded   // a letter passed on in the text, if there is one
}

// Own cuts quoted mail, signatures and the lines that telephones add from a
// letter's text. Answers between quoted lines stay, also with what they answer.
func Own(text string) OwnText {
	c := &cutter{lines: strings.Split(strings.TrimRight(text, "\n"), "\n")}
	for i := 0; i < len(c.lines); {
		i = c.next(i)
	}
	c.passage()
	c.out.Quoted = strings.TrimSpace(strings.ToValidUTF8(c.all.String(), ""))
	for n := len(c.own); n > 0 && onlyRule(c.own[n-1]); n = len(c.own) {
		c.own = c.own[:n-1]
	}
	c.out.Text = strings.TrimSpace(manyBlank.ReplaceAllString(strings.Join(c.own, "\n"), "\n\n"))
	return c.out
}

// onlyRule reports whether a line is empty or a drawn rule, as stands above a quotation.
func onlyRule(line string) bool {
	line = strings.TrimSpace(line)
	return line == "" || len(line) > 4 && strings.Trim(line, "_-=*—") == ""
}

var manyBlank = regexp.MustCompile(`\n[ \t]*\n([ \t]*\n)+`)

type cutter struct {
	lines  []string
	own    []string        // the writer's lines
	quoted []string        // the quoted lines directly above
	all    strings.Builder // of the quoted lines, up to quotedBytes
	fresh  int             // where in own the passage below the quoted lines begins
	marker byte            // a sign other than ">" that this letter quotes with
	out    OwnText
}

// next takes in the line at i, with those that belong to it, and returns the line to go on with.
func (c *cutter) next(i int) int {
	line := c.lines[i]
	if text, ok := c.isQuoted(line); ok {
		c.quote(text)
		return i + 1
	}
	if c.isLostWrap(i) {
		c.quote(line)
		return i + 1
	}
	if n := c.attribution(i); n > 0 {
		return c.afterAttribution(i + n)
	}
	if body, mark := forwardMark(c.lines, i); mark {
		if c.out.Forwarded = readForwarded(c.lines, body); c.out.Forwarded != nil {
			c.out.Forwarded.Marked = true
		}
		return c.rest(body)
	}
	if isSeparator(line) || headerBlock(c.lines, i) > 0 {
		if c.out.Forwarded == nil {
			c.out.Forwarded = readForwarded(c.lines, i)
		}
		return c.belowHeader(i)
	}
	if end := c.signature(i); end > i {
		return end
	}
	if !deviceLine(line) {
		c.own = append(c.own, strings.TrimRight(line, " \t"))
	}
	return i + 1
}

// belowHeader goes on below the header of a quoted letter. What follows unmarked is
// quoted to the end; between marked lines there may be answers.
func (c *cutter) belowHeader(i int) int {
	if isSeparator(c.lines[i]) {
		i++
	}
	for i < len(c.lines) && strings.TrimSpace(c.lines[i]) == "" {
		i++
	}
	if i < len(c.lines) {
		if n := max(headerBlock(c.lines, i), c.attribution(i)); n > 0 {
			return c.afterAttribution(i + n)
		}
		if _, ok := c.isQuoted(c.lines[i]); ok {
			return i
		}
	}
	return c.rest(i)
}

// quote takes in a quoted line; the first one below own words begins a new quotation.
func (c *cutter) quote(text string) {
	c.passage()
	c.quoted = append(c.quoted, text)
	c.keep(text)
}

const quotedBytes = 8000 // of the quoted mail are kept

func (c *cutter) keep(text string) {
	if room := quotedBytes - c.all.Len(); room > 0 {
		c.all.WriteString(text[:min(len(text), room)] + "\n")
	}
}

// rest leaves everything from line i on out, as quoted.
func (c *cutter) rest(i int) int {
	for ; i < len(c.lines) && c.all.Len() < quotedBytes; i++ {
		c.keep(c.lines[i])
	}
	return len(c.lines)
}

const (
	inlineLines = 12   // quoted lines that an answer is kept with
	inlineBytes = 2000 // and their length
)

// passage closes the own passage that stands below quoted lines.
func (c *cutter) passage() {
	text := strings.TrimSpace(strings.Join(c.own[c.fresh:], "\n"))
	if text != "" && len(c.quoted) > 0 {
		quoted := c.quoted[max(0, len(c.quoted)-inlineLines):]
		above := strings.TrimSpace(strings.Join(quoted, "\n"))
		c.out.Inline = append(c.out.Inline, job.Inline{Quoted: above[max(0, len(above)-inlineBytes):], Text: text})
	}
	if text != "" {
		c.quoted = nil
		c.own = append(c.own, "")
	}
	c.fresh = len(c.own)
}

var (
	quoteMark = regexp.MustCompile(`^\s{0,4}(?:[A-Z]{1,3})?(?:>\s?)+`)
	otherMark = "|:}*#»"
)

// isQuoted reports whether a line is marked as quoted, and returns it without the marks.
func (c *cutter) isQuoted(line string) (string, bool) {
	if m := quoteMark.FindString(line); m != "" {
		return line[len(m):], true
	}
	trimmed := strings.TrimSpace(line)
	if c.marker != 0 && trimmed != "" && trimmed[0] == c.marker {
		return strings.TrimSpace(trimmed[1:]), true
	}
	return "", false
}

// isLostWrap finds the rest of a quoted line that a mail program wrapped without
// marking it: short, small, straight between quoted lines, below a long one.
func (c *cutter) isLostWrap(i int) bool {
	if i == 0 || i+1 >= len(c.lines) {
		return false
	}
	above, ok := c.isQuoted(c.lines[i-1])
	if _, below := c.isQuoted(c.lines[i+1]); !ok || !below || len(above) < 60 {
		return false
	}
	text := strings.TrimSpace(c.lines[i])
	return text != "" && len(text) < 40 && strings.ToLower(text[:1]) == text[:1] && !strings.ContainsAny(text[:1], "0123456789") &&
		!strings.ContainsAny(above[len(above)-1:], ".?!:")
}

// afterAttribution goes on below "On … wrote:". What follows unmarked is quoted to the end.
func (c *cutter) afterAttribution(i int) int {
	for i < len(c.lines) && strings.TrimSpace(c.lines[i]) == "" {
		i++
	}
	if i >= len(c.lines) {
		return i
	}
	if _, ok := c.isQuoted(c.lines[i]); ok {
		return i
	}
	if first := strings.TrimSpace(c.lines[i]); strings.Contains(otherMark, first[:1]) {
		c.marker = first[0]
		return i
	}
	return c.rest(i)
}

// The lines that mail programs put above a quotation. They are sure when they
// hold a date or an address; else only with a quoted line below.
var (
	attributions = []*regexp.Regexp{
		regexp.MustCompile(`(?i)^on\b.{3,300}\b(wrote|writes|said)\s?:$`),
		regexp.MustCompile(`(?i)^at\b.{3,300}\b(wrote|writes)\s?:$`),
		regexp.MustCompile(`(?i)^.{1,200}\b(wrote|writes)( \([^)]*\))?\s?:$`),
		regexp.MustCompile(`(?i)^.{1,200}\b(wrote|writes) (on|at)\b.{3,80}:$`),
		regexp.MustCompile(`(?i)^quoting\b.{3,200}:$`),
		regexp.MustCompile(`(?i)^(le\b.{3,300}|.{1,200})\b(a|avez|as|à) [ée]crit\s?:$`),
		regexp.MustCompile(`(?i)^(el\b.{3,300}|.{1,200})\bescribi[óo]\s?:$`),
		regexp.MustCompile(`^\d{4}[-/.]\d{1,2}[-/.]\d{1,2}.{0,60}<[^<>@\s]+@[^<>\s]+>\s?:$`),
	}
	surely = regexp.MustCompile(`\d{1,2}[:.h]\d{2}|\b(19|20)\d{2}\b|\S+@\S+|<[^>]*>`)
)

// attribution returns how many lines at i name the writer of a quotation, 0 for none.
func (c *cutter) attribution(i int) int {
	joined := ""
	if !c.colonAhead(i) {
		return 0
	}
	for n := 1; n <= attributionLines && i+n <= len(c.lines); n++ {
		line := strings.TrimSpace(c.lines[i+n-1])
		if _, quoted := c.isQuoted(c.lines[i+n-1]); quoted || line == "" || len(line) > 400 {
			return 0
		}
		joined = strings.TrimSpace(joined + " " + line)
		if !strings.HasSuffix(line, ":") {
			if n == 1 && !opensAttribution.MatchString(line) {
				return 0
			}
			continue
		}
		for k, form := range attributions {
			whole := n == 1 || k != 2 // a long sentence that ends in "wrote:" is one line
			if whole && form.MatchString(joined) && (surely.MatchString(joined) || c.quotedBelow(i+n)) {
				return n
			}
		}
		return 0
	}
	return 0
}

const attributionLines = 4

// colonAhead reports whether one of the next lines ends in a colon, as attributions do.
func (c *cutter) colonAhead(i int) bool {
	for _, line := range c.lines[i:min(i+attributionLines, len(c.lines))] {
		if strings.HasSuffix(strings.TrimRight(line, " \t"), ":") {
			return true
		}
	}
	return false
}

var opensAttribution = regexp.MustCompile(`(?i)^(on|at|le|el|quoting|\d{4}-\d\d-\d\d|.{1,80}<\S+@\S+>)\b|<\S+@\S+>`)

// quotedBelow reports whether the next line with something on it is quoted.
func (c *cutter) quotedBelow(i int) bool {
	for ; i < len(c.lines); i++ {
		if strings.TrimSpace(c.lines[i]) != "" {
			_, ok := c.isQuoted(c.lines[i])
			return ok
		}
	}
	return false
}

const plainSignature = 12 // lines that a signature below a bare "--" may have, empty ones too

// signature returns where the signature that begins at i ends: at quoted mail or at the end.
func (c *cutter) signature(i int) int {
	line := c.lines[i]
	bare := strings.TrimRight(line, " \t")
	if bare != "--" && bare != "—" && bare != "– –" {
		return i
	}
	// RFC 3676, 4.3: "-- " with its space is always the signature; without, it may be a dash.
	limit := i + 1 + plainSignature
	if line == "-- " {
		limit = len(c.lines)
	}
	end := i + 1
	for end < len(c.lines) && end <= limit && !c.quotationAt(end) {
		end++
	}
	if end > limit {
		return i
	}
	return end
}

func (c *cutter) quotationAt(i int) bool {
	_, quoted := c.isQuoted(c.lines[i])
	return quoted || isSeparator(c.lines[i]) || headerBlock(c.lines, i) > 0 || c.attribution(i) > 0
}

// deviceLines are what telephones and mail programs add below a letter.
var deviceLines = []*regexp.Regexp{
	regexp.MustCompile(`(?i)^[*_]?(sent|written|typed) (from|with|via|on|using) (my|the|an?|a mobile|\S+ (mail|mobile)|\S+ for \S+|mail for)\b.{0,70}$`),
	regexp.MustCompile(`(?i)^[*_]?sent from \S+( \S+){0,3}( <https?://\S+>)?$`),
	regexp.MustCompile(`(?i)^get \S+ for \S+ ?<https?://\S+>$`),
	regexp.MustCompile(`(?i)^[*_]?(envoy[ée]|[ée]crit)e? (de|depuis|à partir de|a partir de|via|avec|par) (mon|ma|un|une|l[ae'’]|\S+ pour|\S+).{0,70}$`),
	regexp.MustCompile(`(?i)^(obtenez|obtenir|télécharge[zr]) \S+ pour \S+ ?<https?://\S+>$`),
	regexp.MustCompile(`(?i)^[*_]?(enviado|escrito) (desde|con|a través de|por|vía) (mi|un|una|el|la|\S+ para|\S+).{0,70}$`),
	regexp.MustCompile(`(?i)^(obtener|obtén|obtenga|consigue|descarga[r]?) \S+ para \S+ ?<https?://\S+>$`),
}

func deviceLine(line string) bool {
	line = strings.TrimSpace(line)
	if line == "" || len(line) > 200 || !strings.ContainsRune("*_SsWwTtGgEeÉéOoCcDd", []rune(line)[0]) {
		return false
	}
	for _, form := range deviceLines {
		if form.MatchString(line) {
			return true
		}
	}
	return false
}
