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
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
	"meshclerk/reply/picture"
	"meshclerk/rules"
	"meshclerk/templates"
)

//go:embed sheet.html
var sheetText string

// Sheet is what the person at the printer needs to know, on one page.
type Sheet struct {
	*templates.Localizer
	Library, Day   string
	ID             job.ID
	Code           template.HTML // the number as Code 39
	Picture        template.URL
	File, For      string
	Pickup, Needed string
	Rows           [][2]string // setting and value
	Orientation    string      // which way up, and why
	Done           []string    // to the file, before it was turned
	Notes          []string
	Cautions       []string
	Part           string // to print from the STL file beside the sheet, or ""
	NoPart         string // that there is none, and why
}

// Show puts a part onto the sheet, which lies in a file of that name.
func (s *Sheet) Show(p Part, file string) error {
	s.Part = s.Say(job.Say("sheet.print-from", job.Args{"file": file}))
	for _, what := range p.Done {
		s.Done = append(s.Done, plain.Capital(plain.OneLine(s.Say(what))))
	}
	var png bytes.Buffer
	if err := picture.WritePNG(&png, picture.Draw(p.Mesh, picture.Corner, picture.Options{Sizes: true})); err != nil {
		return err
	}
	s.Picture = template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png.Bytes())) // our own bytes
	return nil
}

// Without says on the sheet why there is no mended part beside it.
func (s *Sheet) Without(err error) {
	s.NoPart = s.Say(job.Say("sheet.no-part", job.Args{"why": Why(err)}))
}

// PartOf gives the part of a job as it goes onto the printer.
func PartOf(ctx context.Context, o *casework.Office, j job.Job) (Part, error) {
	rotation := mesh.Upright
	if way := j.Report.Orientation; way != nil && !way.AsSent {
		rotation = way.Rotation
	}
	return Lay(ctx, o.Ledger.BlobPath(j.Blob), o.Rules, rotation, job.Message{}, j.Settings.Scale)
}

// Printable gives a job with a part that could be printed.
func Printable(ctx context.Context, o *casework.Office, id job.ID) (job.Job, error) {
	j, err := o.Ledger.Job(ctx, id)
	if err == nil && (j.Blob == "" || j.Report == nil || !j.Report.Readable) {
		err = job.Refuse(job.Say("faults.no-sheet", job.Args{"job": string(j.ID)}))
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
		s.Without(err)
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

// New makes the sheet of a job in a language of the book, or in the library's first one for "".
func New(o *casework.Office, j job.Job, language string) (*Sheet, error) {
	l, err := inLanguage(o, language)
	if err != nil {
		return nil, err
	}
	s := &Sheet{Localizer: l, Library: o.Rules.Library.Name, Day: string(l.Date(o.Now())), ID: j.ID,
		Code: template.HTML(code39SVG(string(j.ID))), // bars and an id of ours
		File: plain.OneLine(j.File)}
	s.people(j)
	s.settings(j, o.Rules)
	s.orient(j)
	s.notes(j)
	s.caution(j, o.Rules)
	return s, nil
}

// inLanguage returns the localizer of the language asked for, else of the library's first one.
func inLanguage(o *casework.Office, lang string) (*templates.Localizer, error) {
	book := o.Texts().Book()
	if known := book.Languages(); lang != "" && !slices.Contains(known, lang) {
		return nil, fmt.Errorf("the language %q is not known; there are: %s", lang, strings.Join(known, ", "))
	}
	if lang == "" && len(o.Rules.Library.Languages) > 0 {
		lang = o.Rules.Library.Languages[0]
	}
	return book.In(lang, o.Rules.Prices.Locale, o.Rules.Prices.Currency), nil
}

// people says for whom the part is, where it is collected and by when it is needed.
func (s *Sheet) people(j job.Job) {
	if name := plain.OneLine(j.Patron.Name); name != "" {
		s.For = s.Say(job.Say("sheet.for", job.Args{"patron": name}))
	}
	if j.Wishes.Pickup != "" {
		s.Pickup = s.Say(job.Say("sheet.pickup", job.Args{"branch": j.Wishes.Pickup}))
	}
	if j.Wishes.NeededBy != "" {
		s.Needed = s.Say(job.Say("sheet.needed-by", job.Args{"day": job.Day{Date: j.Wishes.NeededBy}}))
	}
}

// otherWay reports whether another way up than the file's is advised.
func otherWay(j job.Job) bool {
	o := j.Report.Orientation
	return o != nil && !o.AsSent
}

// orient says which way up the part stands, and why.
func (s *Sheet) orient(j job.Job) {
	s.Orientation = s.Word("sheet.orientation.as-sent")
	if !otherWay(j) {
		return
	}
	s.Orientation = s.Word("sheet.orientation.other")
	s.Orientation += " " + strings.TrimRight(s.clause(j.Report.Orientation.Why), ".") + "."
}

func after(lead, s string) string {
	if s == "" {
		return ""
	}
	return lead + s
}

// notes lists what the check found and advises.
func (s *Sheet) notes(j job.Job) {
	s.Notes = s.found(j.Report.Findings)
	for _, a := range j.Report.Advice {
		if a.About != "adhesion" { // which stands among the settings
			s.Notes = append(s.Notes, plain.OneLine(s.clause(a.Do)+after(": ", s.Say(a.Why))))
		}
	}
	if n := len(s.Notes); n > mostNotes {
		s.Notes = append(s.Notes[:mostNotes-1], s.Say(job.Say("sheet.more-notes", job.Args{"n": n - mostNotes + 1, "job": string(j.ID)})))
	}
}

// found tells what the check found.
func (s *Sheet) found(findings []job.Finding) []string {
	var out []string
	for _, f := range findings {
		out = append(out, s.clause(f.Text))
	}
	return out
}

// clause is a message of the check on one line.
func (s *Sheet) clause(m job.Message) string { return plain.Capital(plain.OneLine(s.Say(m))) }

// nozzles says which nozzle lays what, where a part is of two colours, and where one
// takes the place of the other.
func (s *Sheet) nozzles(j job.Job, est *job.Estimate) {
	two := j.InTwo()
	if two == nil {
		return
	}
	first := string(s.Colour(j.Settings.Colour))
	if two.FromMM <= 0 {
		s.row("sheet.row.first-nozzle", first)
		s.row("sheet.row.second-nozzle", s.second(*two, j.Pieces))
		s.row("sheet.row.changes", string(s.Number(float64(est.ColourChanges), 0)))
		return
	}
	second, height := string(s.Colour(two.Colour)), job.Quantity{Amount: two.FromMM, Unit: "mm"}
	if est.ByHand {
		s.say("sheet.row.change", job.Say("sheet.change.by-hand", job.Args{"first": first, "second": second, "height": height, "layer": est.ChangeLayer}))
		if est.ChangeWaitS > 0 {
			s.say("sheet.row.wait", job.Say("sheet.change.waits", job.Args{"time": seconds(est.ChangeWaitS)}))
		}
		return
	}
	s.row("sheet.row.first-nozzle", first)
	s.say("sheet.row.second-nozzle", job.Say("sheet.change.nozzle", job.Args{"second": second, "height": height, "layer": est.ChangeLayer}))
}

// second says what the second nozzle lays: whole files, where the part was joined from
// several, else bodies.
func (s *Sheet) second(two job.SecondColour, pieces []job.Piece) string {
	colour := string(s.Colour(two.Colour))
	var files []string
	for _, p := range pieces {
		if len(p.Bodies) > 0 && slices.Contains(two.Bodies, p.Bodies[0]) {
			files = append(files, plain.OneLine(p.File))
		}
	}
	if len(files) > 0 {
		return s.Say(job.Say("sheet.second.files", job.Args{"colour": colour, "files": files}))
	}
	if len(two.Bodies) == 0 {
		return s.Say(job.Say("sheet.second.rest", job.Args{"colour": colour}))
	}
	var numbers []string
	for _, n := range two.Bodies {
		numbers = append(numbers, strconv.Itoa(n))
	}
	return s.Say(job.Say("sheet.second.bodies", job.Args{"colour": colour, "bodies": numbers}))
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
		colour = string(s.Coloured(colour, job.Settings{Colours: j.Settings.Colours, Second: j.InTwo()}))
	}
	anyone := s.Word("sheet.any")
	s.row("sheet.row.printer", cmp.Or(j.Settings.Printer, est.Printer, anyone))
	s.row("sheet.row.material", r.Settings(j).Material)
	s.row("sheet.row.colour", cmp.Or(colour, anyone))
	s.nozzles(j, est)
	if len(j.Pieces) > 0 {
		var files []string
		for _, p := range j.Pieces {
			files = append(files, plain.OneLine(p.File))
		}
		s.say("sheet.row.pieces", job.Say("sheet.pieces", job.Args{"files": files}))
	}
	s.row("sheet.row.copies", string(s.Number(float64(max(j.Asked().Copies, est.Copies)), 0)))
	if est.Plates > 1 {
		s.say("sheet.row.plates", job.Say("sheet.plates", job.Args{"plates": est.Plates, "n": est.PerPlate}))
	}
	if j.Settings.Scale > 0 && j.Settings.Scale != 1 {
		s.say("sheet.row.scale", job.Say("sheet.scale", job.Args{"percent": job.Quantity{Amount: 100 * j.Settings.Scale, Unit: "%"}}))
	}
	if m := j.Report.Mesh; m != nil {
		s.say("sheet.row.size", job.Say("sheet.as-sent", job.Args{"what": string(s.Size(m.SizeMM))}))
	}
	if est.Printer != "" {
		s.estimated(j, est, r)
	}
}

// estimated lists what the check worked out.
func (s *Sheet) estimated(j job.Job, est *job.Estimate, r *rules.Rules) {
	s.say("sheet.row.layers", job.Say("sheet.layers", job.Args{"height": job.Quantity{Amount: est.LayerMM, Unit: "mm"}, "n": est.Layers}))
	s.say("sheet.row.shells", job.Say("sheet.shells", job.Args{"n": est.Shells}))
	s.row("sheet.row.infill", string(s.Percent(est.Infill)))
	s.say("sheet.row.supports", supports(j, est))
	s.row("sheet.row.adhesion", s.adhesion(cmp.Or(est.Adhesion, r.Printing.Adhesion)))
	plastic := job.Say("sheet.plastic", job.Args{"mass": string(s.Mass(est.MassG)), "length": string(s.Length(1000 * est.FilamentM))})
	if otherWay(j) && !j.Settings.Reoriented {
		s.say("sheet.row.time", job.Say("sheet.time-both", job.Args{"turned": seconds(j.Report.Orientation.PrintTimeS), "sent": seconds(est.PrintTimeS)}))
		s.say("sheet.row.plastic", job.Say("sheet.as-sent", job.Args{"what": plastic}))
		return
	}
	s.say("sheet.row.time", job.Say("sheet.time", job.Args{"time": seconds(est.PrintTimeS), "low": seconds(est.LowS), "high": seconds(est.HighS)}))
	s.say("sheet.row.plastic", plastic)
}

func seconds(s float64) job.Quantity { return job.Quantity{Amount: s, Unit: "s"} }

// row puts a setting and its value on the sheet, both as words.
func (s *Sheet) row(name, value string) {
	s.Rows = append(s.Rows, [2]string{s.Word(name), value})
}

// say is row for a value that is a sentence.
func (s *Sheet) say(name string, value job.Message) { s.row(name, s.Say(value)) }

// adhesion is what holds the part to the bed; a word that the book does not have stays as it is.
func (s *Sheet) adhesion(kind string) string {
	m := job.Say("sheet.adhesion."+kind, nil)
	if s.Missing(m) != nil {
		return kind
	}
	return s.Say(m)
}

func supports(j job.Job, est *job.Estimate) job.Message {
	switch wish := j.Asked().Supports; {
	case wish == "no":
		return job.Say("sheet.supports.not-wished", nil)
	case wish == "soluble" && est.SupportMaterial != "":
		return job.Say("sheet.supports.of", job.Args{"material": est.SupportMaterial})
	case wish == "soluble":
		return job.Say("sheet.supports.soluble", nil)
	case turnedFree(j):
		return job.Say("sheet.supports.none-turned", nil)
	case est.SupportMM3 > 0:
		return job.Say("sheet.supports.where-needed", nil)
	}
	return job.Say("sheet.supports.none", nil)
}

// turnedFree reports whether the part needs no support the advised way up.
func turnedFree(j job.Job) bool { return otherWay(j) && j.Report.Orientation.SupportMM3 <= 0 }

// caution lists what applies to this part. Common practice, but for the small
// parts, which are 16 CFR 1501.4.
func (s *Sheet) caution(j job.Job, r *rules.Rules) {
	s.Cautions = []string{s.Word("sheet.caution.always")}
	for _, f := range j.Report.Findings {
		if f.Code == job.CodeSmallPartHazard {
			s.Cautions = append(s.Cautions, s.Word("sheet.caution.small"))
		}
	}
	if est := j.Report.Estimate; est != nil {
		if est.SupportMM3 > 0 && est.SupportMaterial == "" && !turnedFree(j) {
			s.Cautions = append(s.Cautions, s.Word("sheet.caution.supports"))
		}
		for _, m := range r.Materials {
			if m.Name == est.Material && m.SoftensC > 0 {
				s.Cautions = append(s.Cautions, s.Say(job.Say("sheet.caution.softens", job.Args{"material": m.Name, "temperature": string(s.Celsius(m.SoftensC))})))
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
