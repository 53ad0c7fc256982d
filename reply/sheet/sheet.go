package sheet

import (
	"bytes"
	"cmp"
	"context"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
	"meshclerk/reply/picture"
	"meshclerk/rules"
)

//go:embed sheet.html
var sheetText string

// Sheet is what the person at the printer needs to know, on one page.
type Sheet struct {
	words
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

// Show puts a part onto the sheet, which lies in a file of that name.
func (s *Sheet) Show(p Part, file string) error {
	s.Part, s.Done = file, p.Done
	var png bytes.Buffer
	if err := picture.WritePNG(&png, picture.Draw(p.Mesh, picture.Corner, picture.Options{Sizes: true})); err != nil {
		return err
	}
	s.Picture = template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png.Bytes())) // our own bytes
	return nil
}

// PartOf gives the part of a job as it goes onto the printer.
func PartOf(ctx context.Context, o *casework.Office, j job.Job) (Part, error) {
	turn := mesh.Upright
	if way := j.Report.Orientation; way != nil && !way.AsSent {
		turn = way.Rotation
	}
	return Lay(ctx, o.Ledger.BlobPath(j.Blob), o.Rules, turn, "", j.Settings.Scale)
}

// Printable gives a job with a part that could be printed.
func Printable(ctx context.Context, o *casework.Office, id job.ID) (job.Job, error) {
	j, err := o.Ledger.Job(ctx, id)
	if err == nil && (j.Blob == "" || j.Report == nil || !j.Report.Readable) {
		err = fmt.Errorf("job %s has no part that could be printed, so there is no sheet for it", j.ID)
	}
	return j, err
}

// Page gives the sheet as the staff page shows it, beside the part it hands out.
func Page(ctx context.Context, o *casework.Office, id job.ID, language string) ([]byte, error) {
	j, err := Printable(ctx, o, id)
	if err != nil {
		return nil, err
	}
	s, err := New(o, j, language)
	if err != nil {
		return nil, err
	}
	p, err := PartOf(ctx, o, j)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		s.NoPart = err.Error()
	default:
		if err := s.Show(p, string(j.ID)+".stl"); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	err = s.Write(&b)
	return b.Bytes(), err
}

// WritePart writes the part of a job as STL. Nothing is written before an error.
func WritePart(ctx context.Context, o *casework.Office, id job.ID, w io.Writer) error {
	j, err := Printable(ctx, o, id)
	if err != nil {
		return err
	}
	p, err := PartOf(ctx, o, j)
	if err != nil {
		return err
	}
	return mesh.WriteSTL(w, p.Mesh)
}

// mostNotes keeps the sheet to one page.
const mostNotes = 9

// New makes the sheet of a job in a language, or the library's first one for "".
func New(o *casework.Office, j job.Job, language string) (*Sheet, error) {
	r := o.Rules
	w, err := inLanguage(language, r)
	if err != nil {
		return nil, err
	}
	s := &Sheet{words: w, Library: r.Library.Name, Day: string(w.locale.Date(o.Now())), ID: j.ID, Code: template.HTML(code39SVG(string(j.ID))), // bars and an id of ours
		File: plain.OneLine(j.File), For: plain.OneLine(j.Patron.Name), Pickup: j.Wishes.Pickup, Needed: string(w.locale.ISODate(j.Wishes.NeededBy))}
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
	return s, nil
}

// turned tells whether another way up than the file's is advised.
func turned(j job.Job) bool {
	o := j.Report.Orientation
	return o != nil && !o.AsSent
}

// settings lists what the part is printed with.
func (s *Sheet) settings(j job.Job, r *rules.Rules) {
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
func (s *Sheet) estimated(j job.Job, est *job.Estimate, r *rules.Rules) {
	s.row("Layers", "%s, %d layers", s.locale.Length(est.LayerMM), est.Layers)
	s.row("Shells", "%d lines", est.Shells)
	s.row("Infill", "%s", s.locale.Percent(est.Infill))
	s.row("Supports", "%s", s.supports(j, est))
	s.row("On the bed", "%s", s.Say(cmp.Or(est.Adhesion, r.Printing.Adhesion)))
	plastic := fmt.Sprintf("%s, %s", s.locale.Mass(est.MassG), s.locale.Length(1000*est.FilamentM))
	if turned(j) && !j.Settings.Reoriented {
		s.row("Time", "%s the advised way up, %s as sent", plain.Spoken(j.Report.Orientation.PrintTimeS), plain.Spoken(est.PrintTimeS))
		s.row("Plastic", "%s as sent", plastic)
		return
	}
	s.row("Time", "%s (%s to %s)", plain.Spoken(est.PrintTimeS), plain.Spoken(est.LowS), plain.Spoken(est.HighS))
	s.row("Plastic", "%s", plastic)
}

func (s *Sheet) row(name, format string, args ...any) {
	s.Rows = append(s.Rows, [2]string{s.Say(name), s.Say(format, args...)})
}

func (s *Sheet) supports(j job.Job, est *job.Estimate) string {
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
func (s *Sheet) caution(j job.Job, r *rules.Rules) {
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

// Write writes the page.
func (s *Sheet) Write(w io.Writer) error {
	t, err := template.New("sheet").Parse(sheetText)
	if err != nil {
		return err
	}
	return t.Execute(w, s)
}
