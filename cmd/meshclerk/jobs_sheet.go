package main

import (
	"bytes"
	"cmp"
	"context"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/plain"
	"meshclerk/reply/picture"
	"meshclerk/rules"
)

type jobsSheetCmd struct {
	house
	ID       string `arg:"" name:"job" help:"The job, e.g. LP-000042."`
	To       string `short:"o" name:"to" default:"." placeholder:"DIR" help:"Folder for the sheet (.html) and the part (.stl)."`
	Language string `placeholder:"en|fr|es" help:"Another language than the library's first one."`
}

//go:embed jobs_sheet.html
var sheetText string

// sheet is what the person at the printer needs to know, on one page.
type sheet struct {
	sheetWords
	Library, Day   string
	ID             job.ID
	Code           template.HTML // the number as Code 39
	Picture        template.URL
	File, For      string
	Pickup, Needed string
	Rows           [][2]string // setting and value
	Turn           string      // which way up, and why
	Done           []string    // to the file, before it was turned
	Notes          []string
	Cautions       []string
	Part           string // the STL file beside the sheet, or ""
	NoPart         string // why there is none
}

func (c *jobsSheetCmd) Run(e *env) error {
	r, err := c.rules()
	if err != nil {
		return err
	}
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	j, err := printable(e.ctx, l, jobID(c.ID))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(c.To, 0o755); err != nil {
		return fmt.Errorf("the folder %s cannot be made: %w", c.To, err)
	}
	words, err := sheetLanguage(c.Language, r)
	if err != nil {
		return err
	}
	s := newSheet(j, r, words, time.Now())
	if err := c.lay(e, l, r, j, s); err != nil {
		return err
	}
	path := filepath.Join(c.To, string(j.ID)+".html")
	if err := writeOver(path, 0o644, s.write); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "written: %s\n", path)
	return err
}

// lay writes the part beside the sheet and puts its picture onto it. A part that
// cannot be mended is told of on the sheet.
func (c *jobsSheetCmd) lay(e *env, l *ledger.Ledger, r *rules.Rules, j job.Job, s *sheet) error {
	p, err := partOf(e.ctx, l, r, j)
	if err != nil {
		if e.ctx.Err() != nil {
			return e.ctx.Err()
		}
		s.NoPart = err.Error()
		fmt.Fprintf(e.out, "no part was written: %v; print from the patron's own file\n", err)
		return nil
	}
	path := filepath.Join(c.To, string(j.ID)+".stl")
	if err := writeOver(path, 0o644, func(w io.Writer) error { return mesh.WriteSTL(w, p.mesh) }); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "written: %s\n", path)
	return s.show(p, filepath.Base(path))
}

// show puts a part onto the sheet, which lies in a file of that name.
func (s *sheet) show(p laid, file string) error {
	s.Part, s.Done = file, p.done
	var png bytes.Buffer
	if err := picture.WritePNG(&png, picture.Draw(p.mesh, picture.Corner, picture.Options{Sizes: true})); err != nil {
		return err
	}
	s.Picture = template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png.Bytes())) // our own bytes
	return nil
}

// partOf is the part of a job as it goes onto the printer.
func partOf(ctx context.Context, l *ledger.Ledger, r *rules.Rules, j job.Job) (laid, error) {
	turn := mesh.Upright
	if o := j.Report.Orientation; o != nil && !o.AsSent {
		turn = o.Rotation
	}
	return layPart(ctx, l.BlobPath(j.Blob), r, turn, "", j.Settings.Scale)
}

// printable is a job with a part that could be printed.
func printable(ctx context.Context, l *ledger.Ledger, id job.ID) (job.Job, error) {
	j, err := l.Job(ctx, id)
	if err == nil && (j.Blob == "" || j.Report == nil || !j.Report.Readable) {
		err = fmt.Errorf("job %s has no part that could be printed, so there is no sheet for it", j.ID)
	}
	return j, err
}

// sheetPage is the sheet as the staff page shows it, beside the part it hands out.
func sheetPage(ctx context.Context, l *ledger.Ledger, r *rules.Rules, id job.ID, language string, now time.Time) ([]byte, error) {
	j, err := printable(ctx, l, id)
	if err != nil {
		return nil, err
	}
	words, err := sheetLanguage(language, r)
	if err != nil {
		return nil, err
	}
	s := newSheet(j, r, words, now)
	p, err := partOf(ctx, l, r, j)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		s.NoPart = err.Error()
	default:
		if err := s.show(p, string(j.ID)+".stl"); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	err = s.write(&b)
	return b.Bytes(), err
}

// mostNotes keeps the sheet to one page.
const mostNotes = 9

func newSheet(j job.Job, r *rules.Rules, words sheetWords, now time.Time) *sheet {
	s := &sheet{sheetWords: words, Library: r.Library.Name, Day: string(words.locale.Date(now)), ID: j.ID, Code: template.HTML(code39SVG(string(j.ID))), // bars and an id of ours
		File: plain.OneLine(j.File), For: plain.OneLine(j.Patron.Name), Pickup: j.Wishes.Pickup, Needed: string(words.locale.ISODate(j.Wishes.NeededBy))}
	s.settings(j, r)
	s.Turn = s.Say("The way it was sent.")
	if turned(j) {
		s.Turn = s.Say("Another way up than it was sent, as in the picture.")
		if s.Language == "en" { // the check gives its reasons in English
			s.Turn += after(" ", plain.Capital(strings.TrimRight(j.Report.Orientation.Why, "."))+".")
		}
	}
	s.Notes = s.found(j.Report.Findings)
	for _, a := range j.Report.Advice {
		if a.About != "adhesion" { // which stands among the settings
			s.Notes = append(s.Notes, plain.OneLine(plain.Capital(a.About)+": "+a.Do+after(", because ", a.Why)))
		}
	}
	if n := len(s.Notes); n > mostNotes {
		s.Notes = append(s.Notes[:mostNotes-1], s.Say("and %d more: meshclerk jobs show %s", n-mostNotes+1, j.ID))
	}
	s.caution(j, r)
	return s
}

// turned tells whether another way up than the file's is advised.
func turned(j job.Job) bool {
	o := j.Report.Orientation
	return o != nil && !o.AsSent
}

// settings lists what the part is printed with.
func (s *sheet) settings(j job.Job, r *rules.Rules) {
	est := j.Report.Estimate
	if est == nil {
		est = &job.Estimate{}
	}
	colour := j.Settings.Colour
	if colour == "" && len(j.Wishes.Colours) > 0 {
		colour = j.Wishes.Colours[0]
	}
	if colour != "" {
		colour = string(s.locale.Colour(colour))
	}
	s.row("Printer", "%s", cmp.Or(j.Settings.Printer, est.Printer, s.Say("any")))
	s.row("Material", "%s", r.Settings(j).Material)
	s.row("Colour", "%s", cmp.Or(colour, s.Say("any")))
	s.row("Copies", "%d", max(j.Asked().Copies, est.Copies))
	if est.Plates > 1 {
		s.row("Plates", "%d, with at most %d copies each", est.Plates, est.PerPlate)
	}
	if j.Settings.Scale > 0 && j.Settings.Scale != 1 {
		s.row("Scale", "%s of the patron's file; the part beside this sheet is scaled already", s.locale.Percent(j.Settings.Scale))
	}
	if m := j.Report.Mesh; m != nil {
		s.row("Size", "%s as sent", s.locale.Size(m.SizeMM))
	}
	if est.Printer != "" {
		s.estimated(j, est, r)
	}
}

// estimated lists what the check worked out.
func (s *sheet) estimated(j job.Job, est *job.Estimate, r *rules.Rules) {
	s.row("Layers", "%s, %d layers", s.locale.Length(est.LayerMM), est.Layers)
	s.row("Walls", "%d lines", est.Shells)
	s.row("Infill", "%s", s.locale.Percent(est.Infill))
	s.row("Supports", "%s", s.supports(j, est))
	s.row("On the bed", "%s", s.Say(cmp.Or(est.Adhesion, r.Printing.Adhesion)))
	plastic := fmt.Sprintf("%s, %s", s.locale.Mass(est.MassG), s.locale.Length(1000*est.FilamentM))
	if turned(j) && !j.Settings.Reoriented {
		s.row("Time", "%s the advised way up, %s as sent", spoken(j.Report.Orientation.PrintTimeS), spoken(est.PrintTimeS))
		s.row("Plastic", "%s as sent", plastic)
		return
	}
	s.row("Time", "%s (%s to %s)", spoken(est.PrintTimeS), spoken(est.LowS), spoken(est.HighS))
	s.row("Plastic", "%s", plastic)
}

func (s *sheet) row(name, format string, args ...any) {
	s.Rows = append(s.Rows, [2]string{s.Say(name), s.Say(format, args...)})
}

func (s *sheet) supports(j job.Job, est *job.Estimate) string {
	switch wish := j.Asked().Supports; {
	case wish == "no":
		return s.Say("none, as the patron wishes")
	case wish == "soluble":
		return s.Say("of %s", cmp.Or(est.SupportMaterial, s.Say("soluble material")))
	case turnedFree(j):
		return s.Say("none needed the advised way up")
	case est.SupportMM3 > 0:
		return s.Say("where needed")
	}
	return s.Say("none needed")
}

// turnedFree tells whether the part needs no support the advised way up.
func turnedFree(j job.Job) bool { return turned(j) && j.Report.Orientation.SupportMM3 <= 0 }

// caution lists what applies to this part. Common practice, but for the small
// parts, which are 16 CFR 1501.4.
func (s *sheet) caution(j job.Job, r *rules.Rules) {
	s.Cautions = []string{s.Say("No toy for children under three without a check; not for food without a coating; not for safety-critical or medical use. Local rules and licensed practice decide.")}
	for _, f := range j.Report.Findings {
		if f.Code == "small-part-hazard" {
			s.Cautions = append(s.Cautions, s.Say("Small enough to choke on (16 CFR 1501.4): hand it over with the warning."))
		}
	}
	if est := j.Report.Estimate; est != nil {
		if est.SupportMM3 > 0 && !turnedFree(j) {
			s.Cautions = append(s.Cautions, s.Say("Support stubs may be sharp: take them off before it goes to the shelf."))
		}
		for _, m := range r.Materials {
			if m.Name == est.Material && m.SoftensC > 0 {
				s.Cautions = append(s.Cautions, s.Say("%s softens near %.0f °C.", m.Name, m.SoftensC))
			}
		}
	}
}

func (s *sheet) write(w io.Writer) error {
	t, err := template.New("sheet").Parse(sheetText)
	if err != nil {
		return err
	}
	return t.Execute(w, s)
}
