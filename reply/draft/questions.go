package draft

import (
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Question is one thing that only the patron can settle.
type Question struct {
	Number  int      `json:"number"` // in the letter, from 1
	Key     string   `json:"key"`    // "colour", "height", "together", "apart", "copies", "material", "supports", "size", "pickup", "card" or a finding's code
	Job     job.ID   `json:"job"`    // "" when it is about all files of the letter
	File    string   `json:"file"`   // the patron's name for the file, or ""
	Text    string   `json:"text"`   // as the letter asks it; from Questions: ""
	Choices []string `json:"choices"`
	Said    string   `json:"said"`               // what was wished that cannot be had
	Max     int      `json:"max"`                // of copies
	OneBody bool     `json:"one_body,omitempty"` // of a colour: two were wished of a file with one body

	Instead bool   `json:"instead,omitempty"` // of a colour: of a print in two, in the place of Said
	Of      string `json:"of,omitempty"`      // what the patron calls what is to have that colour, or ""

	own   job.Message // the finding's own question
	found job.Message // what the finding says
	size  [3]float64  // mm, for "size"

	dissolving job.Money // what the part costs with supports that dissolve, for "supports"

	height float64 // mm, at which the colour is to change, for "height"
}

// Questions lists what is still open for these jobs, numbered as the letter
// asks it. What the patron's words, the settings or the rules settle is never
// asked, and the same question about several files is asked once.
func Questions(jobs []*job.Job, r *rules.Rules) []Question {
	var all []Question
	for _, j := range jobs {
		if j.Stage.Over() {
			continue
		}
		for _, q := range ofPart(j, r) {
			q.Job, q.File = j.ID, j.File
			all = append(all, q)
		}
	}
	all = merge(all, jobs)
	all = append(all, ofLetter(jobs, r)...)
	for i := range all {
		all[i].Number = i + 1
	}
	return all
}

// merge asks once what is the same for every file that can be printed.
func merge(all []Question, jobs []*job.Job) []Question {
	if len(jobs) == 1 {
		for i := range all {
			all[i].File = ""
		}
		return all
	}
	printable := 0
	for _, j := range jobs {
		if outcome(j) == canPrint && !j.Stage.Over() {
			printable++
		}
	}
	var out []Question
	for _, q := range all {
		if q.Key == "together" { // each of the two has it
			q.Job, q.File = "", ""
			if slices.ContainsFunc(out, func(o Question) bool { return o.Key == q.Key && slices.Equal(o.Choices, q.Choices) }) {
				continue
			}
		}
		same := func(o Question) bool {
			return o.Key == q.Key && o.own.String() == q.own.String() && o.found.String() == q.found.String() && o.Said == q.Said && o.size == q.size && slices.Equal(o.Choices, q.Choices)
		}
		if printable > 1 && count(all, same) == printable {
			q.Job, q.File, q.dissolving = "", "", job.Money{} // of all of them, and a price is one part's
			if slices.ContainsFunc(out, same) {
				continue
			}
		}
		out = append(out, q)
	}
	return out
}

func count(all []Question, is func(Question) bool) (n int) {
	for _, q := range all {
		if is(q) {
			n++
		}
	}
	return n
}

// ofPart are the questions about one file.
func ofPart(j *job.Job, r *rules.Rules) []Question {
	var qs []Question
	switch outcome(j) {
	case unreadable, unfinished:
		return nil // nothing can be asked about a file that nobody has seen
	case canPrint:
		qs = append(qs, material(j, r)...)
		qs = append(qs, colour(j, r)...)
		qs = append(qs, height(j)...)
		qs = append(qs, together(j)...)
		qs = append(qs, copies(j, r)...)
	}
	if j.Report == nil {
		return qs
	}
	for _, f := range j.Report.Findings {
		if f.Level == job.Ask && (!saidYes[j.Stage] || f.Code == job.CodeUnitsDoubtful) {
			qs = append(qs, ofFinding(j, f, r)...)
		}
	}
	return qs
}

// saidYes are the stages behind the patron's yes: it was to what was found, too, as the
// letter said that it would be printed.
var saidYes = map[job.Stage]bool{job.Agreed: true, job.Printing: true, job.Failed: true, job.Ready: true}

// material asks when the patron wished for one that is not in stock.
func material(j *job.Job, r *rules.Rules) []Question {
	wish := j.Wishes.Material
	if wish == "" || j.Settings.Material != "" {
		return nil
	}
	if m := stocked(wish, r); m != nil && !m.Soluble {
		return nil
	}
	var names []string
	for _, m := range r.Materials {
		if !m.Soluble {
			names = append(names, m.Name)
		}
	}
	return []Question{{Key: "material", Said: wish, Choices: names}}
}

// stocked finds a material by name.
func stocked(name string, r *rules.Rules) *rules.Material {
	i := slices.IndexFunc(r.Materials, func(m rules.Material) bool { return strings.EqualFold(m.Name, name) })
	if i < 0 {
		return nil
	}
	return &r.Materials[i]
}

// materialOf is what a job is printed of: as set, as wished if in stock, as the rules say.
func materialOf(j *job.Job, r *rules.Rules) *rules.Material {
	for _, name := range []string{j.Settings.Material, j.Wishes.Material, r.Printing.Material} {
		if m := stocked(name, r); m != nil && !m.Soluble {
			return m
		}
	}
	return nil
}

// inOneColour reports whether two colours were wished of a part that is one body, so
// that one must be chosen.
func inOneColour(j *job.Job) bool {
	w := j.Wishes.Items
	return len(w) == 2 && (w[1].Part != "" || j.Wishes.ChangeMM != nil) && j.Settings.Second == nil && j.Settings.Colour == ""
}

// lacking is what is wished of a print in two colours in one that is not in stock: the
// colour, and what the patron calls that part of it.
func lacking(j *job.Job, m *rules.Material) (colour, part string) {
	if !inOneColour(j) {
		return "", ""
	}
	for _, i := range j.Wishes.Items {
		if slices.ContainsFunc(i.Colours, func(c string) bool { return slices.Contains(m.Colours, c) }) {
			continue
		}
		if len(i.Colours) > 0 {
			return i.Colours[0], i.Part
		}
		if i.Other != "" {
			return i.Other, i.Part
		}
	}
	return "", ""
}

// height asks whether the height is right at which we would change the colour of a part,
// where nobody has said one.
func height(j *job.Job) []Question {
	two := j.InTwo()
	if two == nil || two.FromMM <= 0 || j.Settings.Second.ByHeight() || j.Wishes.ChangeMM != nil || j.Wishes.Words["height"] != "" {
		return nil
	}
	return []Question{{Key: "height", height: two.FromMM}}
}

// together asks whether a part that is drawn to stand on another is one print with it.
func together(j *job.Job) []Question {
	if j.Report == nil || j.Report.Onto == nil || j.Wishes.Together != "" || len(j.Pieces) > 0 {
		return nil
	}
	files := []string{j.File, j.Report.Onto.File}
	slices.Sort(files)
	return []Question{{Key: "together", Choices: files}}
}

// apart asks about parts that were wished as one print and do not meet as they are drawn.
func apart(jobs []*job.Job) []Question {
	var files []string
	for _, j := range jobs {
		if outcome(j) == canPrint && !j.Stage.Over() && j.Wishes.Together == "yes" && len(j.Pieces) == 0 && j.Wishes.Words["apart"] == "" {
			files = append(files, j.File)
		}
	}
	if len(files) < 2 {
		return nil
	}
	return []Question{{Key: "apart", Choices: files}}
}

// colourOf is the colour a job is printed in, or "" while that is open.
func colourOf(j *job.Job, r *rules.Rules) string {
	m := materialOf(j, r)
	if j.Settings.Colour != "" || m == nil || inOneColour(j) {
		return j.Settings.Colour
	}
	for _, c := range j.Wishes.Colours {
		if slices.Contains(m.Colours, c) {
			return c
		}
	}
	if len(m.Colours) == 1 && len(j.Wishes.Colours) == 0 {
		return m.Colours[0]
	}
	return ""
}

func colour(j *job.Job, r *rules.Rules) []Question {
	m := materialOf(j, r)
	anyWill := j.Wishes.Words["colours"] != "" && len(j.Wishes.Colours) == 0
	if m == nil || anyWill || colourOf(j, r) != "" {
		return nil
	}
	if c, part := lacking(j, m); c != "" {
		return []Question{{Key: "colour", Choices: m.Colours, Said: c, Instead: true, Of: part}}
	}
	q := Question{Key: "colour", Choices: m.Colours, OneBody: inOneColour(j)}
	if len(j.Wishes.Colours) > 0 && !q.OneBody {
		q.Said = j.Wishes.Colours[0]
	}
	return []Question{q}
}

// copies asks when a number was spoken of but is not clear, or too high. A
// patron who says nothing wants one; the letter says so.
func copies(j *job.Job, r *rules.Rules) []Question {
	n := j.Wishes.Copies
	switch {
	case n != nil && *n > r.Limits.MaxCopies && (j.Settings.Copies == 0 || j.Settings.Copies == r.Limits.MaxCopies):
		return []Question{{Key: "copies", Said: strconv.Itoa(*n), Max: r.Limits.MaxCopies}}
	case n == nil && j.Wishes.Words["copies"] != "" && j.Settings.Copies == 0:
		return []Question{{Key: "copies"}}
	}
	return nil
}

// ofFinding asks what a finding leaves to the patron.
func ofFinding(j *job.Job, f job.Finding, r *rules.Rules) []Question {
	w, s := j.Wishes, j.Settings
	if w.Words[f.Code] != "" {
		return nil // answered in the patron's words
	}
	switch f.Code {
	case job.CodeUnitsDoubtful:
		if w.Size != nil || w.Scale != nil || s.Scale > 0 {
			return nil
		}
		q := Question{Key: "size", own: f.Question, found: f.Text}
		if j.Report.Mesh != nil {
			q.size = j.Report.Mesh.SizeMM
		}
		return []Question{q}
	case job.CodeOverhang, job.CodeLongBridge, job.CodeSealedVoid:
		if w.Supports != "" || s.Supports != "" {
			return nil
		}
		if f.Code == job.CodeOverhang {
			q := Question{Key: "supports", own: f.Question, found: f.Text}
			if c, ok := dissolving(j); ok && j.Report.Quote != nil {
				q.dissolving = job.Money{Amount: c.Total, Currency: j.Report.Quote.Currency}
			}
			return []Question{q}
		}
	case tooBig, tooLong:
		if w.Scale != nil || w.Size != nil {
			return nil
		}
	}
	if f.Question.IsZero() {
		return nil
	}
	return []Question{{Key: f.Code, own: f.Question, found: f.Text}}
}

// ofLetter are the questions that are asked once, whatever the number of files.
func ofLetter(jobs []*job.Job, r *rules.Rules) []Question {
	qs := apart(jobs)
	printable, pickup, card := false, "", ""
	for _, j := range jobs {
		printable = printable || outcome(j) == canPrint && !j.Stage.Over()
		pickup += j.Wishes.Pickup
		card += j.Wishes.Card
	}
	if printable && pickup == "" && len(r.Library.Branches) > 1 {
		q := Question{Key: "pickup"}
		for _, b := range r.Library.Branches {
			q.Choices = append(q.Choices, b.Name)
		}
		qs = append(qs, q)
	}
	needed, state := agreementState(jobs, r)
	if needed && card == "" && r.Agreement.MatchCard && (state == job.AgreementNone || state == job.AgreementUnproven) {
		qs = append(qs, Question{Key: "card"})
	}
	return qs
}
