package draft

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"sync"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// The patrons and parts of these cases are invented.

var clock = time.Date(2026, 11, 20, 15, 4, 5, 0, time.UTC)

var (
	house = sync.OnceValue(rules.Default)
	texts = sync.OnceValue(templates.Default)
)

func ptr[T any](v T) *T { return &v }

func letter(lang, subject string) *job.Letter {
	return &job.Letter{
		From: job.Address{Name: "Ada Marlowe", Address: "ada.marlowe@example.org"}, Subject: subject, Language: lang,
		MessageID: "<first.1@example.org>", Authenticated: job.Pass, Disposition: job.Request, Date: clock,
		Attachments: []job.Attachment{{Name: "bracket.stl", Kind: job.KindMesh, Bytes: 68484}},
	}
}

// part is a job that was checked and can be printed.
func part(lang string) *job.Job {
	return &job.Job{
		ID: "LP-000042", Stage: job.Checked, Thread: "7QK2-M9TX", Made: clock, Language: lang, File: "bracket.stl", Blob: "aa",
		Patron:    job.Address{Name: "Ada Marlowe", Address: "ada.marlowe@example.org"},
		Auth:      job.Pass,
		Agreement: &job.Agreement{State: job.AgreementGood},
		Report: &job.Report{
			File: "bracket.stl", Readable: true, Format: "binary",
			Mesh:     &job.Shape{Triangles: 1368, SizeMM: [3]float64{60, 31, 48}, Watertight: true},
			Findings: []job.Finding{{Code: "thin-wall", Level: job.Note, Text: job.Say("findings.thin-wall", job.Args{"area": job.Figure{Amount: 310, Unit: "mm2"}, "bound": job.Figure{Amount: 1, Unit: "mm"}, "thinnest": job.Figure{Amount: 0.9, Unit: "mm"}}), Amount: 0.9, Unit: "mm"}},
			Fit:      &job.Fit{Printer: "Bench 1", Fits: true, ScaleToFit: 1},
			Estimate: &job.Estimate{PrintTimeS: 10200, LowS: 9400, HighS: 11700, PlateTimeS: 10200, MassG: 24.3, FilamentM: 8.1, Plates: 1,
				Copies: 1, Scale: 1, LayerMM: 0.2, Shells: 2, Infill: 0.1, Material: "PLA", Printer: "Bench 1", LargestScale: 1.4,
				WhatIf: []job.Choice{
					{Label: layers(0.3), Settings: job.Settings{LayerMM: 0.3}, PrintTimeS: 7100, MassG: 24, Plates: 1, Within: true, Total: "3.40"},
					{Label: job.Say("choices.size", job.Args{"percent": job.Quantity{Amount: 70, Unit: "%"}}), Settings: job.Settings{Scale: 0.7}, PrintTimeS: 4400, MassG: 9.8, Plates: 1, Within: true, Total: "2.00"},
				}},
			Quote: &job.Quote{Currency: "CAD", Total: "3.45", ValidUntil: "2026-12-04",
				Lines: []job.Line{{Label: job.Say("price.job", nil), Amount: "1.00", Kind: "job"}, {Label: grams(24.3), Amount: "2.43", Kind: "mass"}, {Label: job.Say("price.rounding", job.Args{"step": job.Money{Amount: "0.05", Currency: "CAD"}}), Amount: "0.02", Kind: "rounding"}}},
		},
	}
}

func settled(j *job.Job) *job.Job {
	j.Wishes = job.Wishes{Copies: ptr(1), Colours: []string{"green"}, Pickup: "Millbrook", Phone: "555-0177"}
	return j
}

func finding(j *job.Job, fs ...job.Finding) *job.Job {
	j.Report.Findings = append(j.Report.Findings, fs...)
	return j
}

func input(t testing.TB, lang string) Input {
	t.Helper()
	return Input{Rules: house(), Templates: texts(), ID: "D-000007", Domain: "larkfield.example", Now: clock,
		Letter: letter(lang, map[string]string{"en": "A bracket for my lamp", "fr": "Un support pour ma lampe", "es": "Un soporte para mi lámpara"}[lang])}
}

// testPicture is a small real PNG.
func testPicture(t testing.TB) *Picture {
	t.Helper()
	m := image.NewPaletted(image.Rect(0, 0, 4, 3), color.Palette{color.White, color.Black})
	m.SetColorIndex(1, 1, 1)
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return &Picture{PNG: b.Bytes(), Alt: "bracket.stl seen from the front"}
}

// cases gives, for each situation, an input that calls for it.
func cases(t testing.TB, lang string) map[string]Input {
	out := map[string]Input{}
	add := func(name string, make func(*Input)) {
		in := input(t, lang)
		make(&in)
		out[name] = in
	}
	checkedCases(add, lang)
	letterCases(add)
	laterCases(add, lang)
	quote := out["quote"]
	quote.Picture = testPicture(t)
	out["quote"] = quote
	return out
}

// checkedCases are about a file that was checked.
func checkedCases(add func(string, func(*Input)), lang string) {
	overhang := job.Finding{Code: "overhang", Level: job.Ask, Text: job.Say("findings.overhang", job.Args{"area": job.Figure{Amount: 812.5, Unit: "mm2"}}), Amount: 812.5, Unit: "mm2"}
	size := func(x, y, z float64) job.Message {
		return job.Say("findings.measure.size", job.Args{"x": job.Figure{Amount: x}, "y": job.Figure{Amount: y}, "z": job.Figure{Amount: z}})
	}
	asked := job.Args{"size": size(2, 1, 1), "would": []job.Message{job.Say("findings.would-be", job.Args{"size": size(50.8, 25.4, 25.4), "unit": job.Say("findings.unit-inches", nil)})}}
	units := job.Finding{Code: "units-doubtful", Level: job.Ask, Text: job.Say("findings.units-doubtful", asked), Amount: 2, Unit: "mm", Question: job.Say("findings.ask.units-would", asked)}
	holed := job.Finding{Code: "holes", Level: job.Stop, Text: job.Say("findings.holes", job.Args{"n": 3, "width": job.Figure{Amount: 4, Unit: "mm"}}), Amount: 3}
	unread := func(why job.Message) []job.Finding {
		return []job.Finding{{Code: "unreadable", Level: job.Stop, Text: job.Say("findings.unreadable", job.Args{"why": why})}}
	}
	add("quote", func(in *Input) {
		j := finding(part(lang), overhang)
		j.Report.Estimate.SupportMM3 = 900
		in.Jobs, in.Wait = []*job.Job{j}, templates.Wait{Low: 2, High: 4}
	})
	add("agreement-arrived", func(in *Input) {
		in.Jobs, in.Template = []*job.Job{settled(part(lang))}, "agreement-arrived"
	})
	add("changed-quote", func(in *Input) {
		now := settled(part(lang))
		now.Wishes.Copies, now.Wishes.NeededBy = ptr(2), "2026-11-21"
		e := now.Report.Estimate
		e.Copies, e.PrintTimeS, e.LowS, e.HighS, e.MassG, e.FilamentM = 2, 20100, 18800, 23400, 48.6, 16.2
		now.Report.Quote = &job.Quote{Currency: "CAD", Total: "5.85", ValidUntil: "2026-12-04", Lines: []job.Line{{Label: job.Say("price.job", nil), Amount: "1.00", Kind: "job"}, {Label: grams(48.6), Amount: "4.86", Kind: "mass"}, {Label: job.Say("price.rounding", job.Args{"step": job.Money{Amount: "0.05", Currency: "CAD"}}), Amount: "-0.01", Kind: "rounding"}}}
		in.Before, in.Jobs, in.Template = []*job.Job{settled(part(lang))}, []*job.Job{now}, "changed-quote"
		in.QuotedOn, in.Wait = clock.AddDate(0, 0, -3), templates.Wait{Low: 3, High: 3}
	})
	add("several", func(in *Input) {
		small, holes, odd := part(lang), finding(part(lang), holed), part(lang)
		small.File, holes.File, odd.File = "lid.stl", "vase.stl", "notes.stl"
		small.ID, holes.ID, odd.ID = "LP-000043", "LP-000044", "LP-000045"
		why := job.Say("findings.unread.other-kind", job.Args{"kind": job.Say("findings.kind.web-page", nil)})
		odd.Report = &job.Report{File: "notes.stl", Error: why, Findings: unread(why)}
		small.Report.Mesh.SizeMM = [3]float64{2, 1, 1}
		finding(small, units)
		in.Jobs, in.Wait = []*job.Job{part(lang), small, holes, odd}, templates.Wait{Low: 2, High: 4}
	})
	add("needs-agreement", func(in *Input) {
		j := settled(part(lang))
		j.Agreement = &job.Agreement{State: job.AgreementNone}
		in.Jobs, in.Wait = []*job.Job{j}, templates.Wait{Low: 2, High: 4}
	})
	add("agreement-expired", func(in *Input) {
		j := settled(part(lang))
		j.Agreement = &job.Agreement{State: job.AgreementExpired, Expires: "2026-10-01"}
		in.Jobs = []*job.Job{j}
	})
	add("too-long", func(in *Input) {
		j := finding(settled(part(lang)), job.Finding{Code: "too-long", Level: job.Stop, Text: job.Say("findings.too-long", job.Args{"time": job.Figure{Amount: 50400, Unit: "s"}, "most": job.Figure{Amount: 28800, Unit: "s"}, "smaller": job.Message{}, "turned": job.Message{}}), Amount: 50400, Unit: "s"})
		e := j.Report.Estimate
		e.PrintTimeS, e.LowS, e.HighS, e.PlateTimeS, e.LargestScale = 50400, 46000, 58000, 50400, 0.78
		in.Jobs = []*job.Job{j}
	})
	add("too-big", func(in *Input) {
		j := finding(settled(part(lang)), job.Finding{Code: "too-big", Level: job.Stop, Text: job.Say("findings.too-big", job.Args{"size": size(310, 120, 90)}), Amount: 310, Unit: "mm"})
		j.Report.Mesh.SizeMM = [3]float64{310, 120, 90}
		j.Report.Fit = &job.Fit{Printer: "Bench 1", ScaleToFit: 0.7096}
		in.Jobs = []*job.Job{j}
	})
	add("cannot-print", func(in *Input) {
		in.Jobs = []*job.Job{finding(settled(part(lang)), holed)}
	})
	add("unfinished", func(in *Input) {
		j := settled(part(in.Letter.Language))
		j.Report = &job.Report{File: "bracket.stl", Readable: true, Format: "binary", Unfinished: true, Error: job.Say("findings.cut.unfinished", job.Args{"why": job.Say("findings.cut.work", job.Args{"work": 6000})}),
			Mesh: &job.Shape{Triangles: 2_000_000, SizeMM: [3]float64{60, 31, 48}}, Findings: []job.Finding{{Code: job.CodeUnfinished, Level: job.Stop, Text: job.Say("findings.unfinished", nil)}}}
		in.Jobs = []*job.Job{j}
	})
	add("unreadable", func(in *Input) {
		j := settled(part(lang))
		why := job.Say("findings.unread.other-kind", job.Args{"kind": job.Say("findings.kind.zip", nil)})
		j.Report = &job.Report{File: "bracket.stl", Error: why, Findings: unread(why)}
		in.Jobs = []*job.Job{j}
	})
}

// letterCases are about letters without a file that we can print.
func letterCases(add func(string, func(*Input))) {
	add("wrong-file-type", func(in *Input) {
		in.Letter.Attachments = []job.Attachment{{Name: "lamp holder.step", Kind: job.KindModel}}
	})
	add("forgotten-attachment", func(in *Input) { in.Letter.Attachments = nil })
	add("link", func(in *Input) {
		in.Letter.Attachments, in.Letter.Links = nil, []string{"https://files.example.com/bracket"}
	})
	add("cannot-open", func(in *Input) {
		in.Letter.Attachments = []job.Attachment{{Name: "winmail.dat", Kind: job.KindOther, MediaType: "application/ms-tnef"},
			{Name: "bracket.stl", Inside: "parts.zip", Kind: job.KindMesh, Note: job.Say("reading.file.locked", nil)}}
	})
}

// laterCases are about the talk after the first answer.
func laterCases(add func(string, func(*Input)), lang string) {
	later := func(name string, stage job.Stage, more func(*Input)) {
		add(name, func(in *Input) {
			j := settled(part(lang))
			j.Stage = stage
			in.Jobs = []*job.Job{j}
			more(in)
		})
	}
	none := func(*Input) {}
	weFirst := func(in *Input) {
		in.Letter, in.Thread = nil, []string{"<first.1@example.org>", "<D-000006@larkfield.example>"}
	}
	later("accepted", job.Agreed, func(in *Input) { in.Wait = templates.Wait{Low: 2, High: 2} })
	later("question", job.Quoted, func(in *Input) {
		in.Letter.Disposition, in.Letter.Wishes.Answer = job.Answer, job.Question
	})
	later("still-needed", job.Quoted, func(in *Input) {
		in.Template, in.SaidYes = "still-needed", true
		in.Jobs[0].Wishes.Colours, in.Jobs[0].Wishes.Pickup = nil, ""
	})
	later("reminder", job.Quoted, func(in *Input) {
		weFirst(in)
		in.Template, in.QuotedOn, in.ClosesOn = "reminder", clock.AddDate(0, 0, -7), clock.AddDate(0, 0, 14)
		in.Jobs[0].Wishes.Colours = nil
	})
	later("lapsed", job.Lapsed, weFirst)
	later("withdrawn", job.Withdrawn, none)
	later("declined", job.Declined, func(in *Input) { in.Reason = "it is made to look like a weapon" })
	later("failed", job.Failed, func(in *Input) {
		weFirst(in)
		in.Reason, in.Wait = "it came loose from the plate after two hours", templates.Wait{Low: 1, High: 2}
	})
	later("ready", job.Ready, func(in *Input) {
		weFirst(in)
		in.PickupUntil = clock.AddDate(0, 0, 14)
	})
	later("pickup-reminder", job.Ready, func(in *Input) {
		weFirst(in)
		in.Template, in.PickupUntil = "pickup-reminder", clock.AddDate(0, 0, 7)
	})
	later("not-collected", job.Lapsed, func(in *Input) {
		weFirst(in)
		in.Template, in.PickupUntil = "not-collected", clock
	})
	later("collected", job.Collected, func(in *Input) {
		weFirst(in)
		in.Paid = "3.45"
	})
}

// layers and grams are labels as the estimate and the price make them.
func layers(mm float64) job.Message {
	return job.Say("choices.layers", job.Args{"now": mm, "before": 0.2})
}

func grams(g float64) job.Message {
	return job.Say("price.mass", job.Args{"grams": g, "material": "PLA", "each": job.Money{Amount: "0.10", Currency: "CAD"}})
}
