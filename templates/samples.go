package templates

import (
	"strings"
	"time"

	"meshclerk/intake/job"
)

// Sample is a letter's worth of data to try a reply text on.
type Sample struct {
	Name string
	Data Data
}

// Samples gives data that between them reach every branch of the built-in
// texts: everything filled in, nothing known, and awkward words from a stranger.
func (s *Set) Samples(lang string) []Sample {
	l := s.book.In(lang, "en-CA", "CAD")
	samples := []Sample{{"full", full(l)}, {"empty", Data{Language: lang}}, {"awkward", awkward(l)}, {"several", severalParts(l)}}
	for _, outcome := range []string{"too-long", "too-big", "cannot-print", "unreadable", "unfinished"} {
		d := full(l)
		d.Part.Outcome, d.Printable, d.Total = outcome, false, ""
		d.Parts = []Part{d.Part}
		samples = append(samples, Sample{outcome, d})
	}
	open := full(l)
	open.SizeOpen, open.Part.SizeOpen, open.Agreement.Needed = true, true, true
	open.Parts = []Part{open.Part, open.Part}
	samples = append(samples, Sample{"size-open", open})
	for _, state := range []string{"none", "expired", "old-version", "guardian-missing", "unproven"} {
		d := full(l)
		d.Agreement.Needed, d.Agreement.State = true, state
		samples = append(samples, Sample{"agreement " + state, d})
	}
	return append(samples, Sample{SampleUsual, usual(l)})
}

// SampleUsual is the sample that is looked at first.
const SampleUsual = "usual"

var sampleDay = time.Date(2026, 11, 27, 10, 0, 0, 0, time.UTC)

// sampleDays are the days around the sample letter, each another.
const (
	quotedBefore  = -7
	expiredBefore = -12
	neededAfter   = 3
	closesAfter   = 7
	keptAfter     = 14
	validAfter    = 30
)

func day(l *Localizer, after int) Text { return l.Date(sampleDay.AddDate(0, 0, after)) }

// said is a sentence of the samples in the letter's language.
func said(l *Localizer, key string) Text { return Text(l.Word("fields.sample." + key)) }

func full(l *Localizer) Data {
	price := l.Money("3.40", "CAD")
	d := Data{
		Language: l.Language,
		Library: Library{Name: "Larkfield Public Library", Desk: said(l, "desk"), Address: "print@larkfield.example", Phone: "555-0142",
			Hours: said(l, "hours"), Website: "https://www.larkfield.example/3d-print"},
		Patron: "Ada", Subject: said(l, "subject"), Subjects: "bracket.stl",
		Part: fullPart(l), Printable: true, Offered: 1, Total: price, Deposit: l.Money("1.00", "CAD"), ValidTo: day(l, validAfter),
		AskPhone:  true,
		Agreement: Agreement{State: "good", Form: "https://www.larkfield.example/3d-print/agreement", Expired: day(l, expiredBefore), Months: 24, Age: 18},
		Files:     sampleFiles(), Unopened: sampleFiles(), Links: 2, TooMany: 2, Sent: 3,
		Wait: Wait{2, 4}, NeededBy: day(l, neededAfter), Late: true,
		Pickup:   Pickup{Branch: "Millbrook", Hours: said(l, "branch-hours"), Until: day(l, keptAfter), Paid: price, Due: price, Days: keptAfter},
		Cautions: Cautions{Small: true, Softens: l.Celsius(57), Supports: true, Told: []string{"small", "supports", "heat", "food"}, Rest: "https://www.larkfield.example/3d-print/safety"},
		Limits:   Limits{Hours: l.Exact(8 * 3600), Copies: 20, Files: 5, PickupDays: keptAfter, KeepDays: 30, Endings: ".stl"},
		Reason:   said(l, "reason"), Note: Note(said(l, "note")),
		QuotedOn: day(l, quotedBefore), ClosesOn: day(l, closesAfter), Picture: "![bracket.stl](cid:part@larkfield.example)",
		GivenUp: "knob.stl", Understood: said(l, "understood"), New: true,
		Learn: []Learn{{said(l, "classes"), "https://www.larkfield.example/3d-print/classes"}, {Text: said(l, "come")}},
	}
	d.Parts = []Part{d.Part}
	for _, what := range []string{"file", "copies", "colour", "material", "size", "supports", "layer", "infill", "shells", "time", "mass", "total"} {
		d.Changes = append(d.Changes, Change{File: "bracket.stl", What: what, Before: "1", Now: "2"})
	}
	for i, key := range []string{"colour", "height", "together", "apart", "material", "copies", "supports", "size", "pickup", "card", "units-doubtful", "own-check"} {
		d.Questions = append(d.Questions, Question{Number: i + 1, Key: key, Text: said(l, "asked"),
			About: said(l, "about"), Choices: l.Or([]Text{l.Colour("white"), l.Colour("green")}), Amount: l.Size([3]float64{60, 31, 48}), OneBody: true})
	}
	return d
}

// usual is the letter that most patrons get, which is what a person wants to look at;
// full has all that a letter can have, and together that is no letter that is ever sent.
func usual(l *Localizer) Data {
	d := full(l)
	d.Files, d.Unopened, d.Links, d.TooMany, d.Sent = nil, nil, 0, 0, 1
	d.Deposit, d.GivenUp, d.Late, d.NeededBy, d.New = "", "", false, "", false
	d.Pickup.Paid, d.Part.Pieces, d.Part.Changes, d.Part.LaidAway = "", "", 0, ""
	d.Part.Turned, d.Part.TurnWhy = false, ""
	d.Part.Notes, d.Part.Asides, d.Part.Stops, d.Part.Options = nil, nil, nil, d.Part.Options[:2]
	d.Cautions.Told = d.Cautions.Told[:2]
	d.Parts, d.Changes = []Part{d.Part}, []Change{{File: "bracket.stl", What: "copies", Before: "1", Now: "2"}}
	d.Questions = []Question{{Number: 1, Key: "supports"}}
	return d
}

func fullPart(l *Localizer) Part {
	p := Part{
		Number: 1, File: "bracket.stl", Outcome: "quote", Really: said(l, "really"),
		Size: l.Size([3]float64{60, 31, 48}), Scale: l.Percent(0.8), Material: "PLA", Colour: l.Colour("green"), Copies: 2, Plates: 2,
		Layer: l.Length(0.2), Infill: l.Percent(0.1), Shells: 2, Supports: "yes", Turned: true, TurnWhy: said(l, "turn-why"),
		Pieces: said(l, "joined"), Changes: 24, LaidAway: l.Mass(0.4), Time: l.About(10200), TimeExact: l.Exact(10200), TimeRange: l.Between(9000, 12000), PlateTime: l.Exact(5100),
		Mass: l.Mass(23.9), Filament: l.Length(8000), Total: l.Money("3.40", "CAD"), Rounded: said(l, "rounded"), Understood: said(l, "part"),
		Lines:        []Line{{"job", said(l, "job"), "", l.Money("1.00", "CAD")}, {"mass", said(l, "mass"), said(l, "counted"), l.Money("2.39", "CAD")}},
		LargestScale: l.Percent(0.7), LargestSize: l.Size([3]float64{42, 21.7, 33.6}), FitScale: l.Percent(0.8), FitSize: l.Size([3]float64{48, 25, 38}),
		Printer: "Bench 1", Build: l.Size([3]float64{220, 220, 250}), Limit: l.Exact(8 * 3600),
	}
	for _, code := range Codes() {
		p.Notes = append(p.Notes, Finding{Code: code, Level: "note", Text: Text(l.Say(job.Say("fields.sample.note-about", job.Args{"code": code}))), Amount: l.Quantity(12, "mm2"), Count: 12})
	}
	p.Asides = p.Notes[:1]
	p.Stops = []Finding{{Code: "holes", Level: "stop", Text: said(l, "stop"), Amount: "3", Count: 3}}
	p.Asks = []Finding{{Code: "overhang", Level: "ask", Text: said(l, "ask"), Amount: l.Quantity(812.5, "mm2"), Count: 812}}
	p.Options = []Option{
		{Label: said(l, "coarser"), Layer: l.Length(0.3), Time: l.About(7000), Mass: l.Mass(24), Total: l.Money("3.10", "CAD"), Plates: 1, Within: true},
		{Label: said(l, "smaller"), Scale: l.Percent(0.7), Time: l.About(4000), Mass: l.Mass(9), Plates: 1, Within: true},
		{Label: said(l, "quick"), Infill: l.Percent(0.05), Shells: 1, Copies: 1, Supports: "no", Turned: true, Material: "PETG", Time: l.About(5000), Mass: l.Mass(9), Plates: 1},
	}
	return p
}

func sampleFiles() []File {
	return []File{
		{Name: "lamp.step", Kind: "other-model", Ending: ".step"},
		{Name: "parts.zip", Kind: "archive", Ending: ".zip", Why: "encrypted"},
		{Name: "winmail.dat", Kind: "other", Ending: ".dat", Why: "winmail"},
		{Name: "all.zip", Kind: "archive", Ending: ".zip", Why: "too-large"},
	}
}

func severalParts(l *Localizer) Data {
	d := full(l)
	d.Several, d.Offered, d.Subjects, d.Parts = true, 1, said(l, "files"), nil
	for i, outcome := range []string{"quote", "too-long", "too-big", "cannot-print", "unreadable", "unfinished"} {
		p := fullPart(l)
		p.Number, p.Outcome = i+1, outcome
		d.Parts = append(d.Parts, p)
	}
	d.Part = d.Parts[0]
	return d
}

// awkward puts what a stranger might write into every field that a stranger's
// words can reach.
func awkward(l *Localizer) Data {
	const words = "**bold** <script>alert(1)</script> [x](http://example.com) | `code` _a_ # 1. &lt; ![i](cid:x)\nSecond line\n\n- item\n> quote"
	d := full(l)
	d.Patron, d.Subject, d.Subjects = Name(words, 60), Text(words), Name(words, 80)
	d.Reason, d.Note, d.GivenUp = words, words, Name(words, 80)
	d.Parts = nil
	p := fullPart(l)
	p.File, p.Colour, p.Really, p.TurnWhy = Name(words+strings.Repeat("x", 300)+".stl", 80), words, words, words
	p.Notes = append(p.Notes, Finding{Code: "own", Level: "note", Text: words, Amount: words})
	d.Part, d.Parts = p, []Part{p, p}
	for i := range d.Questions {
		d.Questions[i].File, d.Questions[i].Said, d.Questions[i].Text = p.File, words, words
	}
	for i := range d.Changes {
		d.Changes[i].File, d.Changes[i].Before, d.Changes[i].Now = p.File, words, words
	}
	for i := range d.Files {
		d.Files[i].Name = Name(words, 80)
	}
	for i := range d.Unopened {
		d.Unopened[i].Name = Name(words, 80)
	}
	return d
}
