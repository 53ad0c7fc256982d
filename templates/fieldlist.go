package templates

import (
	"bytes"
	"slices"
	"strconv"
	"text/template"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// Given is one name that a text may have, with what it gives for one letter.
type Given struct {
	Kind    string `json:"kind"` // "field", "piece", "condition" or "list"
	Written string `json:"written"`
	What    string `json:"what"`            // what it gives or means, in general
	Gives   string `json:"gives,omitempty"` // for this letter; "" for nothing
	Of      string `json:"of,omitempty"`    // of what else than the letter it is known
}

// longestGiven is how much of what a field gives is shown, in characters.
const longestGiven = 48

// Fields lists the names that something can come of in a text or piece, with what they
// give for a letter: fields, pieces, conditions and lists of the letter, then those of
// one thing in a list. What only one line of a list knows, gives nothing here.
func (s *Set) Fields(language, name string, d *Data) ([]Given, error) {
	letters := []string{name}
	t, err := s.Get(language, name)
	if err != nil {
		piece, wrong := s.GetPiece(language, name)
		if wrong != nil {
			return nil, err
		}
		if letters = piece.UsedBy; len(letters) == 0 {
			letters = s.Names()
		}
		if t, err = s.Get(language, letters[0]); err != nil {
			return nil, err
		}
	}
	own, err := counted(t.parsed)
	if err != nil {
		return nil, err
	}
	l := &lister{own: own, d: d, letters: letters, say: s.book.In(t.Language, t.Language, ""), at: map[string]string{"letter": "$", "part": "$.Part"}}
	if of := givenTo[name]; of != "" {
		if l.at = map[string]string{of: "$.Part"}; of != "part" {
			l.at = map[string]string{of: ""}
		}
	}
	return l.list(), nil
}

// lister gathers the names of one text.
type lister struct {
	own     *template.Template
	d       *Data
	letters []string // those that have the text
	say     *Localizer
	at      map[string]string // where each kind of thing is that the text knows by itself; "" for nowhere here
	out     []Given
}

func (l *lister) list() []Given {
	for _, of := range l.things() {
		l.fields(of)
		l.conditions(of)
		l.lists(of)
	}
	slices.SortStableFunc(l.out, func(a, b Given) int { return order(a) - order(b) })
	return l.out
}

// things are the kinds of thing whose names can stand in the text: those it knows, then
// those of its lists.
func (l *lister) things() (all []string) {
	for _, of := range []string{"letter", "part"} {
		if _, here := l.at[of]; here {
			all = append(all, of)
		}
	}
	for of := range l.at {
		if !slices.Contains(all, of) {
			all = append(all, of)
		}
	}
	for i := 0; i < len(all); i++ {
		for _, each := range loopList {
			if each.of == all[i] && !slices.Contains(all, each.item) && canHave(l.letters, "each ", each.id, each.of) {
				all = append(all, each.item)
			}
		}
	}
	return all
}

// add takes a name once: of the letter, or else of the thing that has it.
func (l *lister) add(kind, of, written, what, gives string) {
	n := Given{Kind: kind, Written: written, What: what, Gives: gives}
	if _, here := l.at[of]; !here {
		n.Of, n.Gives = l.say.Word("fields.thing."+of), ""
	}
	if !slices.ContainsFunc(l.out, func(was Given) bool {
		return was.Kind == kind && was.Written == written && (was.Of == n.Of || was.Of == "")
	}) {
		l.out = append(l.out, n)
	}
}

func (l *lister) fields(of string) {
	for _, f := range fieldList {
		if f.of != of || !canHave(l.letters, "", f.id, of) || len(f.only) > 0 && !slices.ContainsFunc(l.letters, func(t string) bool { return slices.Contains(f.only, t) }) {
			continue
		}
		kind := "field"
		if _, is := f.piece(); is {
			kind = "piece"
		}
		l.add(kind, of, "{"+l.say.Word("fields.name."+f.id)+"}", l.say.Word("fields.what."+f.id), l.filled("{{if "+has(f)+"}}{{"+f.show+"}}{{end}}", of))
	}
}

func (l *lister) conditions(of string) {
	for _, w := range conditionList {
		if w.of != of || !canHave(l.letters, "when ", w.id, of) {
			continue
		}
		gives := l.say.Word("fields.word.no")
		if l.filled("{{if "+w.test+"}}yes{{end}}", of) != "" {
			gives = l.say.Word("fields.word.yes")
		}
		l.add("condition", of, "["+l.say.Word("fields.when."+w.id)+"]", l.say.Word("fields.about."+w.about()), gives)
	}
}

// about is the key of what a condition means; those that only tell things of one kind
// apart share theirs.
func (w condition) about() string {
	if slices.Contains([]string{"question", "line", "file", "change", "caution"}, w.of) && w.id != "one-body" && w.id != "instead" {
		return "of-" + w.of
	}
	return w.id
}

func (l *lister) lists(of string) {
	for _, each := range loopList {
		if each.of != of || !canHave(l.letters, "each ", each.id, of) {
			continue
		}
		count := 0
		for _, over := range each.over {
			n, _ := strconv.Atoi(l.filled("{{len "+over+"}}", of))
			count += n
		}
		l.add("list", of, "["+l.say.Word("fields.each."+each.id)+"]", l.say.Word("fields.listed."+each.id), strconv.Itoa(count))
	}
}

// order puts what the whole letter knows first, and of that its fields.
func order(n Given) int {
	if n.Of != "" {
		return 4
	}
	return slices.Index([]string{"field", "piece", "condition", "list"}, n.Kind)
}

// has is what is empty when a field gives nothing.
func has(f field) string {
	if f.has == "" {
		return f.show
	}
	return f.has
}

// filled works out an expression for the letter; "" when its thing is not here.
func (l *lister) filled(expr, of string) string {
	at := l.at[of]
	if at == "" {
		return ""
	}
	t, err := l.own.New("_given").Parse(fill(expr, at))
	if err != nil {
		return ""
	}
	var b bytes.Buffer
	if err := t.Execute(&limited{w: &b, left: maxOutput}, l.d); err != nil {
		return ""
	}
	return plain.Shorten(unescape(plain.OneLine(settle(b.String()))), longestGiven)
}

// Sample gives the data of one of the samples.
func (s *Set) Sample(language, name string) (*Data, error) {
	var names []string
	for _, sample := range s.Samples(language) {
		if sample.Name == name {
			return &sample.Data, nil
		}
		names = append(names, sample.Name)
	}
	return nil, job.Refuse(job.Say("mistakes.no-sample", job.Args{"name": name, "names": names}))
}

// SampleFor gives a sample as one text is looked at with it: the usual letter is about a
// file that cannot be printed where the text says so, and about two where it says so.
func (s *Set) SampleFor(language, name, text string) (*Data, error) {
	d, err := s.Sample(language, name)
	if err != nil || name != SampleUsual {
		return d, err
	}
	l := s.book.In(language, "en-CA", "CAD")
	switch text {
	case TextTooLong, TextTooBig, TextCannotPrint, TextUnreadable, TextUnfinished:
		d.Part.Outcome, d.Part.Total, d.Part.Asks, d.Printable, d.Offered, d.Total, d.Questions = text, "", nil, false, 0, "", nil
		d.Part.Open = text == TextCannotPrint
		if d.Part.Open {
			d.Part.Stops = fullPart(l).Stops
		}
		d.Parts = []Part{d.Part}
	case TextSeveral:
		second := d.Part
		second.Number, second.File = 2, "shade.stl"
		d.Several, d.Offered, d.Sent, d.Parts = true, 2, 2, []Part{d.Part, second}
		d.Total = l.Money("6.80", "CAD")
	}
	return d, nil
}
