package draft

import (
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

func keys(qs []Question) []string {
	var out []string
	for _, q := range qs {
		k := q.Key
		if q.File != "" {
			k += " " + q.File
		}
		out = append(out, k)
	}
	return out
}

func wants(t *testing.T, what string, jobs []*job.Job, want ...string) []Question {
	t.Helper()
	qs := Questions(jobs, house())
	if got := keys(qs); !slices.Equal(got, want) {
		t.Errorf("%s: asks %v, want %v", what, got, want)
	}
	for i, q := range qs {
		if q.Number != i+1 {
			t.Errorf("%s: question %d has number %d", what, i+1, q.Number)
		}
	}
	return qs
}

func ask(code, question string) job.Finding {
	return job.Finding{Code: code, Level: job.Ask, Text: job.Plain("something"), Question: job.Plain(question)}
}

// TestAsksOnlyWhatIsOpen: promise 7, a patron is never asked what the letter
// already said, nor what the rules settle.
func TestAsksOnlyWhatIsOpen(t *testing.T) {
	one := func(change func(*job.Job)) []*job.Job {
		j := part("en")
		change(j)
		return []*job.Job{j}
	}
	wants(t, "nothing said", one(func(*job.Job) {}), "colour", "pickup")
	wants(t, "all said", one(func(j *job.Job) { settled(j) }))
	wants(t, "colour set by staff", one(func(j *job.Job) { j.Settings.Colour = "red" }), "pickup")
	wants(t, "pickup said", one(func(j *job.Job) { j.Wishes.Pickup = "Central" }), "colour")
	wants(t, "second choice in stock", one(func(j *job.Job) { settled(j).Wishes.Colours = []string{"teal", "blue"} }))
	qs := wants(t, "colour not in stock", one(func(j *job.Job) { settled(j).Wishes.Colours = []string{"red"}; j.Wishes.Material = "PETG" }), "colour")
	if qs[0].Said != "red" || slices.Contains(qs[0].Choices, "red") {
		t.Errorf("colour question %+v", qs[0])
	}
	wants(t, "material not in stock", one(func(j *job.Job) { settled(j).Wishes.Material = "ABS" }), "material")
	wants(t, "a part that would dissolve", one(func(j *job.Job) { settled(j).Wishes.Material = "PVA" }), "material")
	wants(t, "material in stock, other case", one(func(j *job.Job) { settled(j).Wishes.Material = "petg"; j.Wishes.Colours = []string{"blue"} }))
	wants(t, "copies unclear", one(func(j *job.Job) {
		settled(j).Wishes.Copies = nil
		j.Wishes.Words = map[string]string{"copies": "a few"}
	}), "copies")
	wants(t, "copies unsaid", one(func(j *job.Job) { settled(j).Wishes.Copies = nil }))
	wants(t, "too many copies", one(func(j *job.Job) { settled(j).Wishes.Copies = ptr(500) }), "copies")
	wants(t, "supports unsaid", one(func(j *job.Job) { finding(settled(j), ask("overhang", "")) }), "supports")
	wants(t, "supports said", one(func(j *job.Job) { finding(settled(j), ask("overhang", "")).Wishes.Supports = "no" }))
	wants(t, "what was found, behind the yes", one(func(j *job.Job) { finding(settled(j), ask("holes", "Shall we close them?")).Stage = job.Agreed }))
	wants(t, "the same, before it", one(func(j *job.Job) { finding(settled(j), ask("holes", "Shall we close them?")) }), "holes")
	wants(t, "fits another", one(func(j *job.Job) { settled(j).Report.Onto = &job.Onto{Job: "LP-000002", File: "letters.stl"} }), "together")
	wants(t, "is one print with it", one(func(j *job.Job) {
		settled(j).Report.Onto, j.Wishes.Together = &job.Onto{Job: "LP-000002", File: "letters.stl"}, "no"
	}))
	qs = wants(t, "second colour not in stock", one(func(j *job.Job) {
		settled(j).Wishes.Items = []job.Item{{Part: "base", Colours: []string{"black"}}, {Part: "letters", Other: "pink"}}
		j.Settings.Colour, j.Settings.Second = "", nil
	}), "colour")
	if qs[0].Said != "pink" || qs[0].Of != "letters" || !qs[0].Instead || qs[0].OneBody {
		t.Errorf("colour question %+v", qs[0])
	}
	wants(t, "units unsure", one(func(j *job.Job) { finding(settled(j), ask("units-doubtful", "Inches?")) }), "size")
	wants(t, "size said", one(func(j *job.Job) {
		finding(settled(j), ask("units-doubtful", "Inches?")).Wishes.Size = &job.Size{Axis: "longest", MM: 80}
	}))
	wants(t, "scale said", one(func(j *job.Job) { finding(settled(j), ask("units-doubtful", "Inches?")).Wishes.Scale = ptr(1.0) }))
	wants(t, "a check of the house", one(func(j *job.Job) { finding(settled(j), ask("keyring", "With a ring?")) }), "keyring")
	wants(t, "and its answer", one(func(j *job.Job) {
		finding(settled(j), ask("keyring", "With a ring?")).Wishes.Words = map[string]string{"keyring": "yes, a ring"}
	}))
	wants(t, "a finding without a question", one(func(j *job.Job) { finding(settled(j), ask("coarse-facets", "")) }))
	wants(t, "a note is no question", one(func(j *job.Job) {
		finding(settled(j), job.Finding{Code: "thin-wall", Level: job.Note, Question: job.Plain("Thicker?")})
	}))
	wants(t, "not printable: nothing about colour or pickup", one(func(j *job.Job) { finding(j, job.Finding{Code: "holes", Level: job.Stop}) }))
	wants(t, "not printable, but perhaps inches", one(func(j *job.Job) {
		finding(j, job.Finding{Code: "too-big", Level: job.Stop}, ask("units-doubtful", "Inches?"))
	}), "size")
	wants(t, "unreadable", one(func(j *job.Job) { j.Report = &job.Report{} }))
	wants(t, "over", one(func(j *job.Job) { j.Stage = job.Collected }))
	wants(t, "no agreement", one(func(j *job.Job) { settled(j).Agreement.State = job.AgreementNone }), "card")
	wants(t, "no agreement, card said", one(func(j *job.Job) { settled(j).Agreement.State = job.AgreementNone; j.Wishes.Card = "123" }))
	wants(t, "expired: the register knows the patron", one(func(j *job.Job) { settled(j).Agreement.State = job.AgreementExpired }))
}

// TestAsksSeveralFilesOnce: one question for all files where it is the same.
func TestAsksSeveralFilesOnce(t *testing.T) {
	a, b, holes := part("en"), part("en"), finding(part("en"), job.Finding{Code: "holes", Level: job.Stop})
	a.File, b.File, holes.File = "a.stl", "b.stl", "c.stl"
	wants(t, "same for both", []*job.Job{a, b, holes}, "colour", "pickup")
	a.Wishes.Colours = []string{"green"}
	wants(t, "only one is open", []*job.Job{a, b, holes}, "colour b.stl", "pickup")
	finding(a, ask("overhang", ""))
	wants(t, "different ones", []*job.Job{a, b}, "supports a.stl", "colour b.stl", "pickup")
}

// TestOneBranchOneColour: what the rules leave no choice in is not asked.
func TestOneBranchOneColour(t *testing.T) {
	r := rules.Default()
	r.Library.Branches = r.Library.Branches[:1]
	r.Materials[0].Colours = []string{"natural"}
	r.Agreement.Required = false
	j := part("en")
	j.Agreement = nil
	if qs := Questions([]*job.Job{j}, r); len(qs) != 0 {
		t.Errorf("asks %v", keys(qs))
	}
	if got := Choose(nil, []*job.Job{j}, r); got != "quote" {
		t.Errorf("chose %s", got)
	}
}

// TestQuestionsStandInTheLetter: each open question is in the text, numbered
// as the list says, and a text that asks nothing lists none.
func TestQuestionsStandInTheLetter(t *testing.T) {
	for _, lang := range templates.Languages() {
		for name, in := range cases(t, lang) {
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			flat := strings.Join(strings.Fields(m.Plain), " ")
			for _, q := range m.Questions {
				line := q.Text
				if q.File != "" {
					line = q.File + map[string]string{"en": ": ", "es": ": ", "fr": "\u00a0: "}[lang] + q.Text
				}
				want := string(rune('0'+q.Number)) + ". " + line
				if !strings.Contains(flat, strings.Join(strings.Fields(want), " ")) {
					t.Errorf("%s/%s: no %q", lang, name, want)
				}
			}
		}
		if m, _ := Compose(cases(t, lang)["quote"]); len(m.Questions) != 3 {
			t.Errorf("%s: the quote lists %d questions, want 3", lang, len(m.Questions))
		}
		in := cases(t, lang)["ready"]
		in.Jobs[0].Wishes = job.Wishes{}
		if m, err := Compose(in); err != nil || len(m.Questions) != 0 {
			t.Errorf("%s: the pickup letter lists questions it does not ask: %v %v", lang, m.Questions, err)
		}
	}
}
