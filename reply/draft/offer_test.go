package draft

import (
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/reply/quote"
	"meshclerk/rules"
	"meshclerk/templates"
)

// written composes a letter about jobs and gives its plain words on one line.
func written(t *testing.T, lang string, change func(*Input), jobs ...*job.Job) string {
	t.Helper()
	in := input(t, lang)
	in.Jobs = jobs
	if change != nil {
		change(&in)
	}
	m, err := Compose(in)
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(m.Plain), " ")
}

// inOrder reports what does not stand in a text after what comes before it in the list.
func inOrder(text string, parts ...string) string {
	for _, p := range parts {
		_, rest, ok := strings.Cut(text, p)
		if !ok {
			return p
		}
		text = rest
	}
	return ""
}

// A patron reads first whether we can, what it costs, when, and what to do.
func TestOffersBeginWithWhatMatters(t *testing.T) {
	for lang, order := range map[string][]string{
		"en": {"Hello Ada, *Yes, we can print bracket.stl.* It costs *$3.45* and can be ready 2 to 4 working days after you say yes.", "Reply to this email with *yes* and answer these 3 questions.", "1. ", "2. ", "3. ", "[bracket.stl", "What our check found", "Or choose another way", "Details", "Price, rounded to $0.05 $3.45", "Take care", "Questions?"},
		"fr": {"Bonjour Ada, *Oui, nous pouvons imprimer bracket.stl.* Le prix est de *3,45 $*, et la pièce peut être prête 2 à 4 jours ouvrables après votre oui.", "Répondez *oui* à ce courriel, avec vos 3 réponses.", "1. ", "2. ", "3. ", "[bracket.stl", "Notre vérification", "Détails", "Prix, arrondi à 0,05 $ 3,45 $", "À garder en tête"},
		"es": {"Hola, Ada: *Sí, podemos imprimir bracket.stl.* Cuesta *3,45 $* y puede estar lista de 2 a 4 días hábiles después de su sí.", "Responda *sí* a este mensaje y conteste estas 3 preguntas.", "1. ", "2. ", "3. ", "[bracket.stl", "Nuestra revisión", "Detalles", "Precio, redondeo a 0,05 $ 3,45 $", "Tenga cuidado"},
	} {
		m, err := Compose(cases(t, lang)["quote"])
		if err != nil {
			t.Fatal(err)
		}
		if missing := inOrder(strings.Join(strings.Fields(m.Plain), " "), order...); missing != "" {
			t.Errorf("%s: %q is not where it belongs:\n%s", lang, missing, m.Plain)
		}
	}
}

// What was understood is what the patron said, in one line; what they did not say, and
// what is still asked, is not in it.
func TestUnderstood(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*job.Job)
		want   string
	}{
		{"nothing said", func(*job.Job) {}, ""},
		{"copies, colour, branch", func(j *job.Job) {
			j.Wishes = job.Wishes{Copies: ptr(2), Colours: []string{"red"}, Pickup: "Millbrook"}
			j.Report.Estimate.Copies = 2
		}, "2 copies, in red, collect at Millbrook"},
		{"two colours", func(j *job.Job) {
			j.Wishes = job.Wishes{Copies: ptr(3), Colours: []string{"red", "blue"}}
			j.Settings = job.Settings{Copies: 3, Colour: "red", Colours: []job.ColourCopies{{Colour: "red", Copies: 2}, {Colour: "blue", Copies: 1}}}
		}, "2 in red and 1 in blue"},
		{"more copies than we print", func(j *job.Job) { j.Wishes.Copies = ptr(500) }, ""},
		{"a colour that is not in stock", func(j *job.Job) { j.Wishes.Colours = []string{"teal"} }, ""},
		{"any colour but one", func(j *job.Job) { j.Wishes.NotColours = []string{"red"} }, "not in red"},
		{"tall", func(j *job.Job) {
			j.Wishes.Size, j.Report.Mesh.SizeMM = &job.Size{Axis: "height", MM: 100}, [3]float64{125, 64.6, 100}
		}, "10 cm tall"},
		{"tall, but not yet that tall", func(j *job.Job) { j.Wishes.Size = &job.Size{Axis: "height", MM: 100} }, ""},
		{"a share of the size", func(j *job.Job) { j.Settings.Scale, j.Report.Estimate.Scale = 0.5, 0.5 }, "at 50% of the size in the file"},
		{"inches", func(j *job.Job) { j.Settings.Scale, j.Report.Estimate.Scale = 25.4, 25.4 }, "drawn in inches"},
		{"as drawn", func(j *job.Job) { j.Settings.Scale = 1 }, "in the size of the file"},
		{"material and filling", func(j *job.Job) {
			j.Wishes.Material, j.Wishes.Infill, j.Report.Estimate.Infill = "petg", ptr(0.3), 0.3
		}, "of PETG, 30% filled inside"},
		{"a material we do not have", func(j *job.Job) { j.Wishes.Material = "ABS" }, ""},
		{"no supports", func(j *job.Job) { j.Wishes.Supports = "no" }, "without supports"},
		{"a day", func(j *job.Job) { j.Wishes.NeededBy = "2026-12-18" }, "needed by Friday, December 18, 2026"},
	} {
		j := part("en")
		c.change(j)
		got := written(t, "en", nil, j)
		_, said, found := strings.Cut(got, "We understood: ")
		if c.want == "" && found || c.want != "" && !strings.HasPrefix(said, c.want+". ") {
			t.Errorf("%s: understood %.80q, want %q", c.name, said, c.want)
		}
	}
}

// doubtful is a part that is surely drawn in inches.
func doubtful(lang string) *job.Job {
	j := settled(part(lang))
	j.Report.Mesh.SizeMM = [3]float64{2, 1, 0.5}
	size := func(x, y, z float64) job.Message {
		return job.Say("findings.measure.size", job.Args{"x": job.Figure{Amount: x}, "y": job.Figure{Amount: y}, "z": job.Figure{Amount: z}})
	}
	asked := job.Args{"size": size(2, 1, 0.5), "would": []job.Message{job.Say("findings.would-be", job.Args{"size": size(50.8, 25.4, 12.7), "unit": job.Say("findings.unit-inches", nil)})}}
	return finding(j, job.Finding{Code: "units-doubtful", Level: job.Ask, Text: job.Say("findings.units-doubtful", asked), Question: job.Say("findings.ask.units-would", asked)},
		job.Finding{Code: "small-part-hazard", Level: job.Note, Text: job.Say("findings.small-part-hazard", nil)})
}

// A part whose units are in doubt is not introduced as one that we can print: its size is
// asked first, and nothing that was found at the wrong size is told. The price of the size
// as it is stands in the details, since a yes to that size is a yes to it.
func TestSizeIsAskedFirst(t *testing.T) {
	for lang, c := range map[string]struct{ first, never, details string }{
		"en": {"we do not know whether it was drawn in millimetres or in inches", "we can print", "If it was drawn in millimetres"},
		"fr": {"nous ne savons pas si les cotes sont en millimètres ou en pouces", "nous pouvons imprimer", "Si les cotes sont en millimètres"},
		"es": {"no sabemos si las medidas son en milímetros o en pulgadas", "podemos imprimir", "Si las medidas son en milímetros"},
	} {
		got := written(t, lang, nil, doubtful(lang))
		if missing := inOrder(got, c.first, "1. ", c.details, "3"); missing != "" || strings.Contains(got, c.never) || strings.Contains(got, "0,9 mm") || strings.Contains(got, "70%") {
			t.Errorf("%s: missing %q in\n%s", lang, missing, got)
		}
	}
	j := doubtful("en")
	j.Settings.Scale = 25.4
	if got := written(t, "en", nil, j); !strings.Contains(got, "Yes, we can print") {
		t.Errorf("a size that is settled is asked again: %s", got)
	}
	if got := written(t, "en", nil, doubtful("en"), settled(part("en"))); !strings.Contains(got, "we can print 1 of your 2 files.* It costs *$3.45*") {
		t.Errorf("beside another part: %s", got)
	}
}

// What is missing and how long it takes stand in the first lines, and a yes can be said
// before the agreement is here.
func TestNeedsAgreementSaysWhatToDo(t *testing.T) {
	m, err := Compose(cases(t, "en")["needs-agreement"])
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Join(strings.Fields(m.Plain), " ")
	if missing := inOrder(got, "can be ready 2 to 4 working days after we have your signed agreement and your yes.", "The form: https://", "Reply to this email with *yes*", "You can say yes now; we keep it."); missing != "" {
		t.Errorf("no %q in %s", missing, got)
	}
}

// A day that cannot be kept is told with the price, once.
func TestLateIsToldAtOnce(t *testing.T) {
	j := settled(part("en"))
	j.Wishes.NeededBy = "2026-11-21"
	got := written(t, "en", func(in *Input) { in.Wait = templates.Wait{Low: 3, High: 3} }, j)
	if !strings.Contains(got, "after you say yes. We cannot promise it by Saturday, November 21, 2026.") || strings.Count(got, "November 21") != 1 {
		t.Error(got)
	}
}

// Over many made-up parts: each other way that is named is within the limit and cheaper,
// sooner or bigger than the offer; none costs the same; none is dearer and coarser; there
// are at most three, and no two alike.
func TestOnlyWorthwhileWays(t *testing.T) {
	random := rand.New(rand.NewPCG(15, 0))
	cents := func(n int) string { return big.NewRat(int64(n), 100).FloatString(2) }
	named := 0
	for range 3000 {
		j := part("en")
		e := j.Report.Estimate
		offer := 150 + random.IntN(400)
		j.Report.Quote.Total, e.WhatIf = cents(offer), nil
		price := map[string]int{}
		for range random.IntN(8) {
			total := offer + 5*(random.IntN(41)-20)
			c := job.Choice{PrintTimeS: e.PrintTimeS * (0.3 + 1.4*random.Float64()), Total: cents(total), Within: random.IntN(5) > 0,
				Settings: [...]job.Settings{{LayerMM: 0.3}, {LayerMM: 0.1}, {Scale: 0.75}, {Scale: 1.5}, {Infill: 0.05, InfillSet: true}, {Shells: 1}, {Supports: "soluble"}}[random.IntN(7)]}
			price[c.Total] = total
			e.WhatIf = append(e.WhatIf, c)
		}
		got := worthwhile(j, canPrint)
		if len(got) > 3 {
			t.Fatalf("%d ways are named", len(got))
		}
		for _, c := range got {
			named++
			total, s := price[c.Total], c.Settings
			cheaper, sooner, bigger := 20*total <= 19*offer, c.PrintTimeS < 0.9*e.PrintTimeS, s.Scale > 1
			coarser := s.LayerMM > 0.2 || s.InfillSet || s.Shells == 1 || s.Scale > 0 && s.Scale < 1
			if !c.Within || total == offer || !cheaper && !sooner && !bigger || total > offer && coarser {
				t.Fatalf("beside %s and %.0f s: %+v", j.Report.Quote.Total, e.PrintTimeS, c)
			}
		}
	}
	if named < 1000 {
		t.Errorf("only %d ways are named: the rule leaves too many out", named)
	}
}

// A few cents are no reason for another way (a real letter had it: 5 % infill instead of
// 10 % for $4.30 beside $4.35, and no sooner); a twentieth of the price is.
func TestClearlyCheaper(t *testing.T) {
	for total, named := range map[string]bool{"9.45": true, "9.50": true, "9.51": false, "9.95": false, "9.99": false} {
		j := part("en")
		e := j.Report.Estimate
		j.Report.Quote.Total = "10.00"
		e.WhatIf = []job.Choice{{Settings: job.Settings{Infill: 0.05, InfillSet: true}, PrintTimeS: 0.95 * e.PrintTimeS, Within: true, Total: total}}
		if got := worthwhile(j, canPrint); (len(got) > 0) != named {
			t.Errorf("%s beside 10.00: %d ways are named", total, len(got))
		}
		e.WhatIf[0].PrintTimeS = 0.89 * e.PrintTimeS
		if got := worthwhile(j, canPrint); len(got) != 1 {
			t.Errorf("%s beside 10.00, and sooner: %d ways are named", total, len(got))
		}
	}
}

// How to correct a file follows what stops it: thin walls need more thickness, an open
// surface has to be closed; the advice for one is not given for the other.
func TestHowToCorrect(t *testing.T) {
	thin := job.Finding{Code: job.CodeThinWall, Level: job.Stop, Text: job.Say("findings.thin-wall-sheet-lost", job.Args{"area": job.Figure{Amount: 400, Unit: "mm2"}, "thick": job.Figure{Amount: 0.1, Unit: "mm"}})}
	sheet := job.Finding{Code: job.CodeHoles, Level: job.Stop, Text: job.Say("findings.holes-sheet", nil)}
	open := job.Finding{Code: job.CodeHoles, Level: job.Stop, Text: job.Say("findings.holes", job.Args{"n": 3, "width": job.Figure{Amount: 4, Unit: "mm"}})}
	for name, c := range map[string]struct {
		stops       []job.Finding
		thick, mend bool
	}{
		"thin walls": {[]job.Finding{thin}, true, false}, "a sheet": {[]job.Finding{sheet}, true, false},
		"open": {[]job.Finding{open}, false, true}, "both": {[]job.Finding{open, thin}, true, true},
	} {
		for lang, words := range map[string][2]string{"en": {"at least 0.8 mm", "close holes"}, "fr": {"au moins 0,8 mm", "boucher les trous"}, "es": {"al menos 0,8 mm", "cerrar agujeros"}} {
			j := part(lang)
			j.Report.Findings = c.stops
			got := strings.Join(strings.Fields(written(t, lang, nil, j)), " ")
			got = strings.NewReplacer("\u00a0", " ", "\u202f", " ").Replace(got)
			if thick, mend := strings.Contains(got, words[0]), strings.Contains(got, words[1]); thick != c.thick || mend != c.mend {
				t.Errorf("%s in %s: thicker %v, close %v:\n%s", name, lang, thick, mend, got)
			}
		}
	}
}

// Dearer, coarser and no sooner is no other way (a real letter had it): layers of 0.3 mm
// for $2.85 beside $2.40.
func TestDearerAndCoarserIsNoOtherWay(t *testing.T) {
	j := settled(part("en"))
	j.Report.Estimate.WhatIf = []job.Choice{{Label: layers(0.3), Settings: job.Settings{LayerMM: 0.3}, PrintTimeS: 3000, MassG: 30, Within: true, Total: "4.05"}}
	if got := written(t, "en", nil, j); strings.Contains(got, "Or choose") {
		t.Error(got)
	}
}

// The lines of a price that a patron sees make the total, to the cent, with what was
// rounded: over many estimates and rules of a house.
func TestPriceLinesStillAddUp(t *testing.T) {
	random := rand.New(rand.NewPCG(15, 1))
	least := 0
	for range 2000 {
		p := house().Prices
		p.PerHour, p.TaxPercent, p.FreeAmount = []string{"0", "0.50"}[random.IntN(2)], []string{"0", "13"}[random.IntN(2)], []string{"0", "1.00"}[random.IntN(2)]
		e := job.Estimate{MassG: 40 * random.Float64() * random.Float64(), PrintTimeS: 20000 * random.Float64(), Material: "PLA"}
		q, err := quote.Price(e, p, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		lines, rounding := folded(&q)
		sum := new(big.Rat)
		for _, l := range lines {
			amount, ok := new(big.Rat).SetString(l.Amount)
			if !ok || l.Kind == "rounding" {
				t.Fatalf("%+v", l)
			}
			sum.Add(sum, amount)
			if l.Kind == "minimum" {
				least++
				if l.Amount != p.Minimum {
					t.Fatalf("the least price is %s: %+v", l.Amount, q.Lines)
				}
			}
		}
		total, _ := new(big.Rat).SetString(q.Total)
		off := new(big.Rat).Sub(total, sum)
		if off.Abs(off).Cmp(big.NewRat(25, 1000)) > 0 || (off.Sign() != 0) != (rounding != nil) {
			t.Fatalf("%v make %s, the total is %s, rounded: %v", lines, sum.FloatString(2), q.Total, rounding)
		}
	}
	if least < 100 {
		t.Errorf("the least price came up %d times", least)
	}
}

// Two cautions and where the others are, where the house has a page; else all that apply.
// Neither says what a finding says.
func TestCautionsOnce(t *testing.T) {
	small := finding(settled(part("en")), job.Finding{Code: "small-part-hazard", Level: job.Note, Text: job.Say("findings.small-part-hazard", nil)},
		job.Finding{Code: "overhang", Level: job.Note, Text: job.Say("findings.overhang", job.Args{"area": job.Figure{Amount: 812, Unit: "mm2"}})})
	small.Report.Estimate.SupportMM3, small.Wishes.Supports = 900, "yes"
	got := written(t, "en", nil, small)
	for said, times := range map[string]int{"under three": 1, "sharp stubs": 1, "hangs over": 0, "16 CFR": 0, "dishwasher": 0, "food": 0, "follow local rules and ask a licensed professional": 1, "The rest: https://www.larkfield.example/3d-print/safety": 1} {
		if n := strings.Count(got, said); n != times {
			t.Errorf("%q stands there %d times, want %d:\n%s", said, n, times, got)
		}
	}
	without := rules.Default()
	without.Library.Safety = ""
	got = written(t, "en", func(in *Input) { in.Rules = without }, small)
	if missing := inOrder(got, "under three", "sharp stubs", "softens", "food or drink", "licensed professional"); missing != "" || strings.Contains(got, "The rest") {
		t.Errorf("without a page: no %q in %s", missing, got)
	}
}

// A finding that leads to a question is told with it, and nowhere else.
func TestFindingWithItsQuestion(t *testing.T) {
	j := finding(settled(part("en")), job.Finding{Code: "sealed-void", Level: job.Ask, Text: job.Say("findings.sealed-void", job.Args{"n": 1, "volume": job.Figure{Amount: 900, Unit: "mm3"}}), Question: job.Say("findings.ask.sealed-void", nil)},
		job.Finding{Code: "nonmanifold", Level: job.Note, Text: job.Say("findings.nonmanifold", job.Args{"n": 3})})
	got := written(t, "en", nil, j)
	if missing := inOrder(got, "1. It has a closed hollow inside", "May the supports stay inside the hollow", "What our check found", "Details", "more than two faces meet", "Take care"); missing != "" || strings.Count(got, "closed hollow") != 1 {
		t.Errorf("no %q in %s", missing, got)
	}
}

// Somebody new is told how to begin, with the house's own lines in their language; nobody
// else is, and a line without a sentence in a language is left out there.
func TestLinesForTheNew(t *testing.T) {
	r := rules.Default()
	r.Library.Newcomers = []rules.Newcomer{{Say: map[string]string{"en": "Classes", "fr": "Ateliers"}, Link: "https://www.larkfield.example/3d-print/classes"}, {Say: map[string]string{"en": "Only in English"}}}
	for lang, want := range map[string]string{"en": "New to 3D printing? ------------------- - Classes: https://www.larkfield.example/3d-print/classes - Only in English", "fr": "- Ateliers : https://www.larkfield.example/3d-print/classes Des questions?", "es": ""} {
		fresh := written(t, lang, func(in *Input) { in.Rules, in.New = r, true }, settled(part(lang)))
		known := written(t, lang, func(in *Input) { in.Rules = r }, settled(part(lang)))
		if !strings.Contains(fresh, want) || want == "" && fresh != known || strings.Contains(known, "classes") {
			t.Errorf("%s:\n%s\n%s", lang, fresh, known)
		}
	}
	for _, name := range []string{"quote", "several", "needs-agreement", "wrong-file-type", "forgotten-attachment", "cannot-print", "collected"} {
		in := cases(t, "en")[name]
		in.Rules, in.New = r, true
		if m, err := Compose(in); err != nil || !strings.Contains(m.Plain, "New to 3D printing?") {
			t.Errorf("%s does not say how to begin (%v)", name, err)
		}
	}
	if got := written(t, "en", func(in *Input) { in.New = true }, settled(part("en"))); !slices.ContainsFunc(rules.Default().Library.Newcomers, func(n rules.Newcomer) bool { return strings.Contains(got, n.Say["en"]) }) {
		t.Errorf("the demo's lines are missing: %s", got)
	}
}

// Staff are told when a reason stands in a letter as it was typed, and not when it is the
// house's own sentence in the patron's language.
func TestReasonInThePatronsLanguage(t *testing.T) {
	for reason, told := range map[string]bool{"it is too fragile": true, rules.Default().Refusals[0].Say["fr"]: false} {
		in := cases(t, "fr")["declined"]
		in.Reason = reason
		m, err := Compose(in)
		if err != nil {
			t.Fatal(err)
		}
		if got := slices.ContainsFunc(m.Notes, func(n job.Message) bool { return n.Key == "remarks.reason-as-typed" }); got != told {
			t.Errorf("%q: told %v, want %v", reason, got, told)
		}
	}
}

// A part that is too big and would take too long is offered in a size that keeps both
// limits, in the letter as in the yes to it (a real letter said 55 % where 8 hours allowed 45 %).
func TestSmallerSizeKeepsEveryLimit(t *testing.T) {
	j := finding(settled(part("en")), job.Finding{Code: "too-big", Level: job.Stop, Text: job.Plain("too big")}, job.Finding{Code: "too-long", Level: job.Stop, Text: job.Plain("too long")})
	j.Report.Fit, j.Report.Estimate.LargestScale = &job.Fit{Printer: "Bench 1", ScaleToFit: 0.55}, 0.4589
	got := written(t, "en", nil, j)
	if missing := inOrder(got, "At 45% of this size", "Reply *yes*, and we work out time and price at 45% of the size"); missing != "" || strings.Contains(got, "55%") {
		t.Errorf("no %q in %s", missing, got)
	}
}
