package agreement

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	xunicode "golang.org/x/text/encoding/unicode"

	"meshclerk/rules"
)

// Bounds of an import. A register of a large city's library is far below them.
const (
	maxCSVBytes = 64 << 20
	maxProblems = 20  // shown in one error; the rest is counted
	maxCell     = 500 // characters
)

// Problem is one thing in a CSV file that has to be mended.
type Problem struct {
	Line int // counted from 1, the header being a line too
	What string
}

// CSVError gathers everything that is wrong with a CSV file.
type CSVError struct{ Problems []Problem }

func (e *CSVError) Error() string {
	var b strings.Builder
	for i, p := range e.Problems {
		if i == maxProblems {
			fmt.Fprintf(&b, "\nand %d more", len(e.Problems)-i)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		fmt.Fprintf(&b, "line %d: %s", p.Line, p.What)
	}
	return b.String()
}

// column is one column of the register and the ways its header is written.
// Headers are compared by their letters alone.
type column struct {
	name   string
	must   bool
	titles []string
	set    func(*Entry, string) error
}

var columns = []column{
	{"address", true, []string{"address", "email", "emailaddress", "mail", "mailaddress"}, setAddress},
	{"other addresses", false, []string{"otheraddresses", "otheraddress", "alternativeaddresses", "alternativeaddress", "alternateaddresses", "otheremails", "otheremail"}, setOthers},
	{"name", true, []string{"name", "fullname", "patron", "patronname"}, func(e *Entry, v string) error { e.Name = v; return nil }},
	{"card number", false, []string{"cardnumber", "card", "cardno", "cardnr", "librarycard", "librarycardnumber", "barcode"}, func(e *Entry, v string) error { e.Card = v; return nil }},
	{"signed on", true, []string{"signedon", "signed", "datesigned", "signeddate", "signaturedate", "dateofsignature"}, func(e *Entry, v string) (err error) { e.Signed, err = ParseDay(v); return err }},
	{"version", false, []string{"version", "agreementversion", "formversion", "form"}, func(e *Entry, v string) error { e.Version = v; return nil }},
	{"expires", false, []string{"expires", "expireson", "expiry", "expirydate", "expirationdate", "validuntil", "ends"}, func(e *Entry, v string) (err error) { e.Expires, err = ParseDay(v); return err }},
	{"guardian", false, []string{"guardian", "guardianname", "parent", "parentorguardian", "parentguardian"}, func(e *Entry, v string) error { e.Guardian = v; return nil }},
	{"birth date", false, []string{"birthdate", "dateofbirth", "born", "birthday", "dob"}, func(e *Entry, v string) (err error) { e.Born, err = ParseDay(v); return err }},
	{"minor", false, []string{"minor", "underage", "child"}, setMinor},
}

// ParseCSV reads a register from a CSV file with the columns address, name and
// signed on, and perhaps card number, version, expires, guardian, birth date,
// minor and other addresses, in any order. It takes what spreadsheets write:
// commas, semicolons or tabs, a byte order mark, UTF-16, windows-1252. Columns
// it does not know are left alone, unless they look like a misspelt one of
// these. Without a column for it, Version is empty. Everything that is wrong is
// told at once, in a *CSVError, and then no entry is given.
func ParseCSV(r io.Reader) ([]Entry, error) {
	text, err := readText(r)
	if err != nil {
		return nil, err
	}
	rows, err := newTable(text)
	if err != nil {
		return nil, err
	}
	var entries []Entry
	for {
		e, more := rows.next()
		if !more {
			break
		}
		if e != nil {
			entries = append(entries, *e)
		}
	}
	if len(rows.problems) > 0 {
		return nil, &CSVError{rows.problems}
	}
	return entries, nil
}

// readText returns the file as UTF-8, whatever a spreadsheet saved it as.
func readText(r io.Reader) (string, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxCSVBytes+1))
	switch {
	case err != nil:
		return "", fmt.Errorf("the file cannot be read: %w", err)
	case len(raw) > maxCSVBytes:
		return "", fmt.Errorf("the file is larger than %d MB, which no register is; look whether it is the right one", maxCSVBytes>>20)
	case bytes.HasPrefix(raw, []byte("PK\x03\x04")):
		return "", errors.New("this is a spreadsheet file, not CSV; open it and save it as CSV (UTF-8)")
	}
	if bytes.HasPrefix(raw, []byte{0xFF, 0xFE}) || bytes.HasPrefix(raw, []byte{0xFE, 0xFF}) {
		raw, err = xunicode.UTF16(xunicode.LittleEndian, xunicode.UseBOM).NewDecoder().Bytes(raw)
	} else if !utf8.Valid(raw) {
		raw, err = charmap.Windows1252.NewDecoder().Bytes(raw)
	}
	if err != nil {
		return "", fmt.Errorf("the file's characters cannot be read; save it as CSV (UTF-8): %w", err)
	}
	if bytes.IndexByte(raw, 0) >= 0 {
		return "", errors.New("the file is not text; save it as CSV (UTF-8)")
	}
	return strings.TrimPrefix(string(raw), "\ufeff"), nil
}

// table reads rows by the header's columns.
type table struct {
	csv      *csv.Reader
	at       []int // for each of columns, the place in a row, or -1
	skipped  int   // lines before the header
	width    int
	seen     map[string]int // key of an entry -> its line
	problems []Problem
}

func newTable(text string) (*table, error) {
	t := &table{seen: map[string]int{}}
	comma, rest, skipped := separator(text)
	t.skipped = skipped
	t.csv = csv.NewReader(bufio.NewReader(strings.NewReader(rest)))
	t.csv.Comma, t.csv.FieldsPerRecord, t.csv.TrimLeadingSpace = comma, -1, true
	header, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, &CSVError{[]Problem{{1, "the file is empty; its first line must name the columns: " + columnNames(true) + "; and it may have: " + columnNames(false)}}}
	}
	if err != nil {
		return nil, &CSVError{[]Problem{t.csvProblem(err)}}
	}
	t.width = len(header)
	t.find(header)
	if len(t.problems) > 0 {
		return nil, &CSVError{t.problems}
	}
	return t, nil
}

// separator finds what stands between the columns of the first line, and drops
// the line "sep=;" that some spreadsheets put before it.
func separator(text string) (comma rune, rest string, skipped int) {
	line, after, _ := strings.Cut(text, "\n")
	if sep, ok := strings.CutPrefix(strings.ToLower(strings.TrimRight(line, "\r")), "sep="); ok && len(sep) == 1 && strings.Contains(",;\t|", sep) {
		return rune(sep[0]), after, 1
	}
	comma = ','
	for _, c := range []rune{';', '\t'} {
		if strings.Count(line, string(c)) > strings.Count(line, string(comma)) {
			comma = c
		}
	}
	return comma, text, 0
}

// find tells which column stands where.
func (t *table) find(header []string) {
	t.at = make([]int, len(columns))
	var missing []string
	for i, c := range columns {
		t.at[i] = -1
		for k, h := range header {
			switch {
			case !slices.Contains(c.titles, letters(h)):
			case t.at[i] >= 0:
				t.bad(1, "the columns %q and %q both mean %q; take one away", header[t.at[i]], h, c.name)
			default:
				t.at[i] = k
			}
		}
		if t.at[i] < 0 && c.must {
			missing = append(missing, c.name)
		}
	}
	t.misspelt(header)
	if len(missing) > 0 {
		t.bad(1, "the first line must name the columns, and these are missing: %s; there are: %s", strings.Join(missing, ", "), shorten(strings.Join(header, ", ")))
	}
}

// misspelt finds columns that look like one of ours which is not there: an end
// of an agreement must not be passed over for a slip of the pen.
func (t *table) misspelt(header []string) {
	byTitle := map[string]int{}
	var titles []string
	for i, c := range columns {
		for _, title := range c.titles {
			byTitle[title] = i
			titles = append(titles, title)
		}
	}
	for _, h := range header {
		word := letters(h)
		near := rules.Nearest(word, titles)
		i, ok := byTitle[near]
		if ok && near != word && t.at[i] < 0 && len(word) > 4 && rules.Distance(word, near) <= 2 {
			t.bad(1, "the column %q looks like %q misspelt; write it so, or give it quite another name", h, columns[i].name)
		}
	}
}

// bad notes a problem on a line of the file.
func (t *table) bad(line int, format string, args ...any) {
	t.problems = append(t.problems, Problem{line + t.skipped, fmt.Sprintf(format, args...)})
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 200 {
		return string(r[:200]) + "…"
	}
	return s
}

func columnNames(must bool) string {
	var names []string
	for _, c := range columns {
		if c.must == must {
			names = append(names, c.name)
		}
	}
	return strings.Join(names, ", ")
}

func letters(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// next returns the next entry; nil for an empty or a bad row; false at the end.
func (t *table) next() (*Entry, bool) {
	row, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, false
	}
	if err != nil {
		t.problems = append(t.problems, t.csvProblem(err))
		return nil, false // after a broken quote, nothing that follows can be trusted
	}
	if !slices.ContainsFunc(row, func(s string) bool { return strings.TrimSpace(s) != "" }) {
		return nil, true
	}
	line, _ := t.csv.FieldPos(0)
	before := len(t.problems)
	e := t.entry(line, row)
	if len(t.problems) > before {
		return nil, true
	}
	return &e, true
}

func (t *table) entry(line int, row []string) Entry {
	var e Entry
	if len(row) > t.width {
		t.bad(line, "there are %d cells, but the first line names %d columns; put a cell that holds a comma in double quotes", len(row), t.width)
		return e
	}
	said := map[string]bool{} // columns with something in them, right or wrong
	for i, c := range columns {
		value := ""
		if t.at[i] >= 0 && t.at[i] < len(row) {
			value = strings.TrimSpace(row[t.at[i]])
		}
		if value == "" {
			continue
		}
		said[c.name] = true
		if utf8.RuneCountInString(value) > maxCell {
			t.bad(line, "%s is longer than %d characters; a quote mark may be missing", c.name, maxCell)
		} else if err := c.set(&e, value); err != nil {
			t.bad(line, "%s: %v", c.name, err)
		}
	}
	t.check(e, line, said)
	return e
}

// check looks at what only shows once a whole row is read.
func (t *table) check(e Entry, line int, said map[string]bool) {
	if !said["address"] && !said["card number"] {
		t.bad(line, "address is empty; without an address or a card number nobody can be matched")
	}
	if !said["version"] && t.has("version") {
		t.bad(line, "version is empty; write which version of the agreement was signed")
	}
	if !said["signed on"] {
		t.bad(line, "signed on is empty; write the day as 2026-03-02")
	}
	if e.Expires != "" && e.Signed != "" && e.Expires < e.Signed {
		t.bad(line, "it expires on %s, before it was signed on %s; look at both dates", e.Expires, e.Signed)
	}
	key := strings.Join([]string{e.Address, CardDigits(e.Card), foldName(e.Name), strings.ToLower(e.Version)}, "\x00")
	if first, ok := t.seen[key]; ok {
		t.bad(line, "the same person and version stand on line %d already; keep one of the two", first)
		return
	}
	t.seen[key] = line + t.skipped
}

// has reports whether the file has a column.
func (t *table) has(name string) bool {
	return t.at[slices.IndexFunc(columns, func(c column) bool { return c.name == name })] >= 0
}

func (t *table) csvProblem(err error) Problem {
	if pe, ok := errors.AsType[*csv.ParseError](err); ok {
		return Problem{pe.StartLine + t.skipped, "a quote mark stands where it should not, or its partner is missing; put cells with commas, quotes or line breaks in double quotes, and double each quote inside"}
	}
	return Problem{1 + t.skipped, err.Error()}
}

// setAddress takes one address, or several with ; or | between them.
func setAddress(e *Entry, v string) error {
	list, err := parseAddresses(v)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		return fmt.Errorf("%q names no mail address; write it as name@example.org, or leave it empty", v)
	}
	e.Address = list[0]
	e.addOthers(list[1:])
	return nil
}

func setOthers(e *Entry, v string) error {
	list, err := parseAddresses(v)
	e.addOthers(list)
	return err
}

func (e *Entry) addOthers(list []string) {
	for _, a := range list {
		if a != e.Address && !slices.Contains(e.Others, a) {
			e.Others = append(e.Others, a)
		}
	}
}

func parseAddresses(v string) ([]string, error) {
	var out []string
	for _, part := range strings.FieldsFunc(v, func(r rune) bool { return r == ';' || r == '|' || r == '\n' }) {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		a, err := mail.ParseAddress(part)
		if err != nil {
			return nil, fmt.Errorf("%q is not a mail address; write it as name@example.org, and several with ; between them", part)
		}
		if strings.ContainsAny(a.Address, "\"\\()<>,;: \t") || !strings.Contains(part, a.Address) {
			return nil, fmt.Errorf("%q is no plain mail address, so no letter would match it; write it as name@example.org", part)
		}
		out = append(out, Normal(a.Address))
	}
	return out, nil
}

func setMinor(e *Entry, v string) error {
	switch strings.ToLower(v) {
	case "yes", "y", "true", "1", "x", "minor", "oui", "si", "sí":
		e.Minor = true
	case "no", "n", "false", "0", "-", "non", "adult":
	default:
		return fmt.Errorf("%q is neither yes nor no", v)
	}
	return nil
}
