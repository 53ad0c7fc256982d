package draft

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/reply/quote"
	"meshclerk/templates"
)

// Longest that a stranger's names are shown, in characters.
const (
	longestFile = 60
	longestName = 40
	longestWish = 60
)

// filler turns jobs and letter into what a reply text may show.
type filler struct {
	in     *Input
	locale *templates.Localizer
}

func (f *filler) data() *templates.Data {
	in, r := f.in, f.in.Rules
	lib := r.Library.In(f.locale.Language)
	d := &templates.Data{
		Language: f.locale.Language,
		Library: templates.Library{Name: templates.Text(lib.Name), Desk: templates.Text(lib.Desk), Address: templates.Text(lib.Address),
			Phone: templates.Text(lib.Phone), Hours: templates.Text(lib.Hours), Website: templates.Text(lib.Website)},
		Patron:   f.patron(),
		Wait:     in.Wait,
		SaidYes:  in.SaidYes,
		Arrived:  in.Arrived,
		Rest:     in.Rest,
		Reason:   templates.Text(in.Reason),
		Note:     templates.Note(in.Note),
		QuotedOn: f.locale.Date(f.local(in.QuotedOn)),
		ClosesOn: f.locale.Date(f.local(in.ClosesOn)),
		Limits: templates.Limits{Hours: f.locale.Exact(r.Limits.JobHours * 3600), Copies: r.Limits.MaxCopies, Files: r.Limits.FilesPerLetter,
			PickupDays: r.Limits.PickupDays, KeepDays: r.Limits.KeepDays, Endings: templates.Text(strings.Join(r.Limits.Accepted, ", "))},
	}
	f.parts(d)
	f.money(d)
	f.subject(d)
	f.letter(d)
	f.questions(d)
	f.agreement(d)
	f.pickup(d)
	f.needed(d)
	f.told(d)
	f.learn(d)
	d.Understood = f.understoodOfAll(d)
	d.Changes = f.changes()
	var gone []templates.Text
	for _, file := range in.GivenUp {
		gone = append(gone, templates.Name(file, longestFile))
	}
	d.GivenUp = f.locale.And(gone)
	if in.Picture != nil {
		d.Picture = templates.Text(fmt.Sprintf("![%s](cid:%s)", templates.Text(in.Picture.Alt), in.pictureID()))
	}
	return d
}

// local puts a moment into the library's time zone, so that its day is the patron's.
func (f *filler) local(t time.Time) time.Time { return f.in.local(t) }

func (in *Input) local(t time.Time) time.Time {
	zone, err := time.LoadLocation(in.Rules.Library.Timezone)
	if err != nil || t.IsZero() {
		return t
	}
	return t.In(zone)
}

// patron is what to call the writer: the first of two names, else the whole
// name, which is stiffer but never wrong; nothing when it does not look like one.
func (f *filler) patron() templates.Text {
	name := f.in.writer().Name
	if strings.ContainsAny(name, "@/\\<>[]{}0123456789") {
		return ""
	}
	if last, first, ok := strings.Cut(name, ","); ok { // "Marlowe, Ada"
		name = first + " " + last
	}
	words := strings.Fields(name)
	if len(words) > 5 {
		return ""
	}
	if len(words) == 2 && !strings.HasSuffix(words[0], ".") && len([]rune(words[0])) > 1 { // not "Dr. Marlowe", "A Marlowe"
		words = words[:1]
	}
	return templates.Name(strings.Join(words, " "), longestName)
}

// writer is the patron: the letter's sender, or the job's when we write first.
func (in *Input) writer() job.Address {
	if in.Letter != nil && in.Letter.From.Address != "" {
		return in.Letter.From
	}
	if len(in.Jobs) > 0 {
		return in.Jobs[0].Patron
	}
	return job.Address{}
}

func (f *filler) parts(d *templates.Data) {
	for i, j := range f.in.Jobs {
		p := f.part(j)
		p.Number = i + 1
		d.Parts = append(d.Parts, p)
		d.Printable = d.Printable || p.Outcome == canPrint
		d.SizeOpen = d.SizeOpen || p.SizeOpen
		if p.Outcome == canPrint && !p.SizeOpen {
			d.Offered++
		}
		f.caution(&d.Cautions, j)
	}
	if len(d.Parts) > 0 {
		d.Part = d.Parts[0]
	}
	d.Several = len(d.Parts) > 1
}

// money adds up what can be printed and is of a known size. One part without a price,
// and there is no total.
func (f *filler) money(d *templates.Data) {
	var totals, deposits []string
	code, until := "", ""
	for _, j := range f.in.Jobs {
		if outcome(j) != canPrint || len(f.in.Jobs) > 1 && f.sizeOpen(j) {
			continue
		}
		if j.Report == nil || j.Report.Quote == nil {
			return
		}
		q := j.Report.Quote
		if code != "" && code != q.Currency {
			return
		}
		code = q.Currency
		totals = append(totals, q.Total)
		if q.Deposit != "" {
			deposits = append(deposits, q.Deposit)
		}
		if until == "" || q.ValidUntil != "" && q.ValidUntil < until {
			until = q.ValidUntil
		}
	}
	d.Total = f.locale.Money(quote.Sum(totals, code), code)
	if paid := quote.Sum(deposits, code); strings.Trim(paid, "0.") != "" {
		d.Deposit = f.locale.Money(paid, code)
	}
	d.ValidTo = f.locale.ISODate(until)
}

func (f *filler) caution(c *templates.Cautions, j *job.Job) {
	if m := materialOf(j, f.in.Rules); m != nil && m.SoftensC > 0 {
		c.Softens = f.locale.Celsius(m.SoftensC)
	}
	if j.Report == nil {
		return
	}
	c.Small = c.Small || slices.ContainsFunc(j.Report.Findings, func(x job.Finding) bool { return x.Code == job.CodeSmallPartHazard })
	if e := j.Report.Estimate; e != nil && e.SupportMM3 > 0 && e.SupportMaterial == "" { // what dissolves leaves no stubs
		c.Supports = true
	}
}

// told chooses the cautions that are told: all that apply or, where the house has a page
// with all of them, the two most pressing and the page.
func (f *filler) told(d *templates.Data) {
	c := &d.Cautions
	if c.Small {
		c.Told = append(c.Told, "small")
	}
	if c.Supports {
		c.Told = append(c.Told, "supports")
	}
	c.Told = append(c.Told, "heat", "food")
	if !c.Small {
		c.Told = append(c.Told, "toy")
	}
	if c.Rest = templates.Text(f.in.Rules.Library.In(f.locale.Language).Safety); c.Rest != "" {
		c.Told = c.Told[:2]
	}
}

// learn takes over the house's lines for those who are new.
func (f *filler) learn(d *templates.Data) {
	d.New = f.in.New
	for _, n := range f.in.Rules.Library.Newcomers {
		if say := n.Say[f.locale.Language]; say != "" {
			d.Learn = append(d.Learn, templates.Learn{Text: templates.Text(say), Link: templates.Text(n.Link)})
		}
	}
}

// subject says what the letter is about, for subject lines.
func (f *filler) subject(d *templates.Data) {
	l := f.locale
	asked := ""
	if f.in.Letter != nil {
		asked = bareSubject(f.in.Letter.Subject, f.in.token())
	}
	d.Subject = templates.Name(asked, 90)
	if d.Subject == "" {
		d.Subject = templates.Text(l.Word("replies.your-request"))
	}
	switch n := len(d.Parts); n {
	case 0:
		d.Subjects = d.Subject
	case 1:
		d.Subjects = d.Part.File
	default:
		d.Subjects = templates.Text(l.Say(job.Say("replies.files", job.Args{"n": n})))
	}
}

// letter takes over what came beside the meshes.
func (f *filler) letter(d *templates.Data) {
	d.Sent = len(f.in.Jobs)
	if f.in.Letter == nil {
		return
	}
	d.Links = len(f.in.Letter.Links)
	meshes := 0
	for _, a := range f.in.Letter.Attachments {
		file := templates.File{Name: templates.Name(a.Name, longestFile), Kind: string(a.Kind),
			Ending: templates.Name(strings.ToLower(path.Ext(a.Name)), 12), Why: whyClosed(a)}
		switch {
		case a.Kind == job.KindMesh && (a.SHA256 != "" || file.Why == ""): // what the check says of it stands in the letter
			meshes++
		case file.Why != "":
			d.Unopened = append(d.Unopened, file)
		case a.Kind == job.KindPicture || a.Kind == job.KindArchive:
			// a logo in a signature; an archive whose files are listed themselves
		default:
			d.Files = append(d.Files, file)
		}
	}
	if max := f.in.Rules.Limits.FilesPerLetter; meshes > max && len(f.in.Jobs) == max {
		d.TooMany, d.Sent = meshes-max, meshes
	}
}

// closedBy says which notes of a file mean that its contents could not be had, and
// what a patron is told: "encrypted", "too-large" or "damaged".
var closedBy = map[string]string{
	"reading.file.locked": "encrypted", "reading.file.winmail": "winmail",
	"reading.file.mesh-large": "too-large", "reading.file.bomb": "too-large", "reading.file.archive-lists-more": "too-large",
	"reading.file.archive-files": "too-large", "reading.file.archive-large": "too-large",
}

// whyClosed says why the files in an attachment could not be had: "winmail",
// "encrypted", "too-large", "damaged", or "" when they could.
func whyClosed(a job.Attachment) string {
	switch why := cmp.Or(closedBy[a.Note.Key], closedBefore(a.Note.Text)); {
	case strings.EqualFold(a.Name, "winmail.dat") || strings.EqualFold(a.MediaType, "application/ms-tnef"):
		return "winmail"
	case why != "" || a.Note.IsZero():
		return why
	case a.Kind == job.KindArchive || a.Kind == job.KindMesh:
		return "damaged"
	}
	return ""
}

// closedBefore is closedBy for notes that an earlier version kept as English words.
func closedBefore(note string) string {
	for _, before := range [][2]string{{"winmail", "winmail"}, {"locked with a password", "encrypted"}, {"larger than", "too-large"}, {"more than", "too-large"}, {"lists more files", "too-large"}} {
		if strings.Contains(note, before[0]) {
			return before[1]
		}
	}
	return ""
}

func (f *filler) questions(d *templates.Data) {
	phone := ""
	for _, j := range f.in.Jobs {
		phone += j.Wishes.Phone
	}
	d.AskPhone = phone == ""
	for _, q := range Questions(f.in.Jobs, f.in.Rules) {
		out := templates.Question{Number: q.Number, Key: q.Key, Text: templates.Text(f.locale.Say(q.own)), About: f.about(q), Said: templates.Name(q.Said, longestWish), OneBody: q.OneBody, Instead: q.Instead, Of: templates.Name(q.Of, longestWish)}
		if q.File != "" {
			out.File = templates.Name(q.File, longestFile)
		}
		var words []templates.Text
		for _, c := range q.Choices {
			words = append(words, f.locale.Colour(c))
		}
		switch q.Key {
		case "together", "apart":
			out.Choices = f.files(q.Choices)
		case "colour":
			out.Choices, out.Said = f.locale.And(words), f.locale.Colour(string(out.Said))
		default:
			out.Choices = f.locale.Or(words)
		}
		switch {
		case q.Max > 0:
			out.Amount = f.locale.Number(float64(q.Max), 0)
		case q.dissolving.Amount != "":
			out.Amount = f.locale.Money(q.dissolving.Amount, q.dissolving.Currency)
		case q.height > 0:
			out.Amount = f.locale.Quantity(q.height, "mm")
		case q.size != [3]float64{}:
			out.Amount = f.locale.Size(q.size)
		}
		d.Questions = append(d.Questions, out)
	}
}

// files lists names of files.
func (f *filler) files(names []string) templates.Text {
	var out []templates.Text
	for _, n := range names {
		out = append(out, templates.Name(n, longestFile))
	}
	return f.locale.And(out)
}

// about is what a finding says before its question; a question that says it itself has none.
func (f *filler) about(q Question) templates.Text {
	if q.found.IsZero() || q.Key == "size" {
		return ""
	}
	return templates.Text(plain.Capital(f.locale.Say(q.found)))
}

func (f *filler) agreement(d *templates.Data) {
	a := f.in.Rules.Agreement
	needed, state := agreementState(f.in.Jobs, f.in.Rules)
	if form := f.in.Rules.Library.Translations[f.locale.Language].Form; form != "" {
		a.Form = form
	}
	d.Agreement = templates.Agreement{Needed: needed, State: string(state), Form: templates.Text(a.Form), Months: a.ValidMonths, Age: a.GuardianBelow}
	for _, j := range f.in.Jobs {
		// An unproven sender is told nothing of what the register holds.
		if state == job.AgreementExpired && j.Agreement != nil {
			d.Agreement.Expired = f.locale.ISODate(j.Agreement.Expires)
		}
	}
}

func (f *filler) pickup(d *templates.Data) {
	branches := f.in.Rules.Library.In(f.locale.Language).Branches
	name := ""
	for _, j := range f.in.Jobs {
		if j.Wishes.Pickup != "" {
			name = j.Wishes.Pickup
		}
	}
	for _, b := range branches {
		if b.Name == name || len(branches) == 1 {
			d.Pickup.Branch, d.Pickup.Hours = templates.Text(b.Name), templates.Text(b.Hours)
		}
	}
	d.Pickup.Days = f.in.Rules.Limits.PickupDays
	d.Pickup.Until = f.locale.Date(f.local(f.in.PickupUntil))
	d.Pickup.Due = d.Total
	d.Pickup.Paid = f.locale.Money(f.in.Paid, f.in.Rules.Prices.Currency)
}

// needed takes over the day the patron named, and whether it can be kept.
func (f *filler) needed(d *templates.Data) {
	day := ""
	for _, j := range f.in.Jobs {
		if n := j.Wishes.NeededBy; n != "" && (day == "" || n < day) {
			day = n
		}
	}
	if day == "" {
		return
	}
	d.NeededBy = f.locale.ISODate(day)
	ready := f.local(f.in.Now).AddDate(0, 0, f.in.Wait.High).Format(time.DateOnly)
	d.Late = f.in.Wait.High > 0 && ready > day
}
