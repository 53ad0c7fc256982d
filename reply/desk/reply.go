package desk

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
	"meshclerk/reply/quote"
)

// replyView is everything about one reply: the letter it answers, its words,
// the parts it is about, and what happened.
type replyView struct {
	Draft    *ledger.Draft // nil when a job has no reply yet
	Doc      casework.Written
	Mail     mailView
	Sends    []ledger.Send
	Letters  []letterView
	Parts    []partView
	Remarks  []reason
	Notes    []ledger.Notice
	History  []ledger.Event
	Earlier  []ledger.Row
	Others   []string
	Next     string // the next waiting reply
	Total    string
	PrintS   float64
	MassG    float64
	CanEdit  bool
	Refusal  *refusal
	Editing  *editing
	Language string // of the reply
	Mark     string // of the job, where there is no reply
}

// refusal tells why an approval or an edit was not taken, and what changed.
type refusal struct {
	Text    string
	Changes []diffLine
	Known   bool // what the person had read is still known
}

// editing is a person's version that was not saved.
type editing struct{ Subject, Markdown, Wrong string }

type letterView struct {
	ledger.Letter
	Answered bool // the reply answers this one
}

func (d *Desk) replyPage(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.replyOf(r, who, r.PathValue("draft"))
	if err != nil {
		return err
	}
	return d.showReply(w, r, http.StatusOK, who, v)
}

func (d *Desk) showReply(w http.ResponseWriter, r *http.Request, status int, who personal, v replyView) error {
	title := "page.title.reply"
	if v.Draft == nil {
		title = "page.title.job"
	}
	d.show(w, r, status, "reply", title, who, v)
	return nil
}

func (d *Desk) replyOf(r *http.Request, who personal, id string) (replyView, error) {
	ctx := r.Context()
	dr, err := d.office.Ledger.Draft(ctx, id)
	if err != nil {
		return replyView{}, err
	}
	return d.caseOf(ctx, d.localizer(r), who, &dr, dr.Jobs)
}

// jobPage shows a job with the reply about it that matters most now.
func (d *Desk) jobPage(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.caseOfJob(r, who, job.ID(r.PathValue("job")))
	if err != nil {
		return err
	}
	return d.showReply(w, r, http.StatusOK, who, v)
}

// caseOfJob is a job with the reply about it that matters most now.
func (d *Desk) caseOfJob(r *http.Request, who personal, id job.ID) (replyView, error) {
	ctx := r.Context()
	if _, err := d.office.Ledger.Job(ctx, id); err != nil {
		return replyView{}, err
	}
	drafts, err := d.office.Ledger.Drafts(ctx, ledger.DraftFilter{Job: id})
	if err != nil {
		return replyView{}, err
	}
	var dr *ledger.Draft
	for i := range drafts {
		if dr == nil || pressing(drafts[i].State) >= pressing(dr.State) {
			dr = &drafts[i]
		}
	}
	return d.caseOf(ctx, d.localizer(r), who, dr, []job.ID{id})
}

// pressing ranks drafts by how much they want a person.
func pressing(s ledger.DraftState) int {
	switch s {
	case ledger.DraftUncertain, ledger.DraftFailed:
		return 3
	case ledger.DraftWaiting:
		return 2
	case ledger.DraftSuperseded, ledger.DraftSetAside:
		return 0
	}
	return 1
}

func (d *Desk) caseOf(ctx context.Context, s *localizer, who personal, dr *ledger.Draft, jobs []job.ID) (replyView, error) {
	v := replyView{Draft: dr}
	for _, id := range jobs {
		j, err := d.office.Ledger.Job(ctx, id)
		if err != nil {
			return v, err
		}
		p := d.partView(j, s)
		if p.Stands, err = d.standsOf(ctx, s, j); err != nil {
			return v, err
		}
		if p.JoinWith, err = d.office.Joinable(ctx, j); err != nil {
			return v, err
		}
		p.Partable = casework.Partable(j)
		v.addPart(p)
	}
	v.Total = v.total(d.office.Rules.Prices.Currency)
	if dr != nil {
		if err := d.addDraft(ctx, s, who, &v); err != nil {
			return v, err
		}
	}
	if err := d.addLetters(ctx, &v); err != nil {
		return v, err
	}
	if err := d.addHistory(ctx, &v); err != nil {
		return v, err
	}
	v.Remarks = v.remarks(s)
	if dr == nil && len(jobs) > 0 {
		var err error
		if v.Mark, err = d.jobMark(ctx, jobs[0]); err != nil {
			return v, err
		}
	}
	return v, nil
}

func (v *replyView) addPart(p partView) {
	v.Parts = append(v.Parts, p)
	if p.Report != nil && p.Report.Estimate != nil {
		v.PrintS += p.Report.Estimate.PrintTimeS
		v.MassG += p.Report.Estimate.MassG
	}
}

// stopped tells whether the part cannot be printed as it is: then its price is
// not told.
func (p partView) stopped() bool {
	return slices.ContainsFunc(p.Numbers, func(f finding) bool { return f.Level == job.Stop })
}

// Address and PatronName fill in the form of the register.
func (v replyView) Address() string {
	if len(v.Parts) > 0 {
		return v.Parts[0].Patron.Address
	}
	return ""
}

// PatronName is what the patron calls themselves.
func (v replyView) PatronName() string {
	if len(v.Parts) > 0 {
		return oneLine(v.Parts[0].Patron.Name, 80)
	}
	return ""
}

// Card is the library card that the patron's words name.
func (v replyView) Card() string {
	if len(v.Parts) > 0 {
		return oneLine(v.Parts[0].Wishes.Card, 60)
	}
	return ""
}

func (v *replyView) total(code string) string {
	var all []string
	for _, p := range v.Parts {
		if p.Report != nil && p.Report.Quote != nil && !p.stopped() {
			all = append(all, p.Report.Quote.Total)
		}
	}
	return quote.Sum(all, code)
}

func (d *Desk) addDraft(ctx context.Context, s *localizer, who personal, v *replyView) error {
	l := d.office.Ledger
	raw, err := l.DraftBytes(ctx, v.Draft.ID)
	if err != nil && !errors.Is(err, ledger.ErrNotFound) { // the words of ended jobs are forgotten after a while
		return err
	}
	if err == nil {
		v.Mail = readMail(raw)
		d.shown.keep(v.Draft.SHA256, v.Mail.asText())
	} else {
		v.Mail.Fault = job.Say("page.reply.words-gone", nil)
	}
	v.Doc, v.Language = casework.WrittenOf(*v.Draft), v.Draft.Language
	v.Others = d.here.see(v.Draft.ID, who.Name, d.office.Now())
	v.CanEdit = v.Draft.State == ledger.DraftWaiting && v.Doc.Markdown != ""
	if v.Sends, err = l.Sends(ctx, v.Draft.ID); err != nil {
		return err
	}
	notices, err := l.Notices(ctx, false)
	if err != nil {
		return err
	}
	for _, n := range notices {
		if n.About(v.Draft.ID) || slices.Contains(v.Draft.Jobs, job.ID(n.Subject)) || n.About(v.Draft.Letter) {
			v.Notes = append(v.Notes, n)
		}
	}
	v.Next, err = d.nextWaiting(ctx, v.Draft.ID)
	return err
}

// nextWaiting is the waiting reply after this one, round to the first.
func (d *Desk) nextWaiting(ctx context.Context, id string) (string, error) {
	all, err := d.office.Ledger.Drafts(ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting}})
	if err != nil {
		return "", err
	}
	for i, dr := range all {
		if dr.ID == id && len(all) > 1 {
			return all[(i+1)%len(all)].ID, nil
		}
	}
	if len(all) > 0 && all[0].ID != id {
		return all[0].ID, nil
	}
	return "", nil
}

// asText is the message as a person reads it, to be compared line by line.
func (v mailView) asText() string {
	var b strings.Builder
	for _, h := range v.Headers {
		if h.Name != "Date" {
			b.WriteString(h.Name + ": " + h.Value + "\n")
		}
	}
	return b.String() + "\n" + v.Plain
}

func (d *Desk) addLetters(ctx context.Context, v *replyView) error {
	var ids []string
	add := func(l ledger.Letter) {
		if !slices.Contains(ids, l.ID) {
			ids = append(ids, l.ID)
			v.Letters = append(v.Letters, letterView{l, v.Draft != nil && v.Draft.Letter == l.ID})
		}
	}
	for _, p := range v.Parts {
		list, err := d.office.Ledger.LettersOf(ctx, p.ID)
		if err != nil {
			return err
		}
		for _, l := range list {
			add(l)
		}
	}
	if v.Draft != nil && v.Draft.Letter != "" {
		l, err := d.office.Ledger.Letter(ctx, v.Draft.Letter)
		if err != nil {
			return err
		}
		add(l)
	}
	// The letter that is answered first, then the newest.
	slices.SortStableFunc(v.Letters, func(a, b letterView) int {
		if a.Answered != b.Answered {
			if a.Answered {
				return -1
			}
			return 1
		}
		return b.TakenAt.Compare(a.TakenAt)
	})
	return nil
}

func (d *Desk) addHistory(ctx context.Context, v *replyView) error {
	seen := map[int64]bool{}
	add := func(events []ledger.Event, err error) error {
		for _, e := range events {
			if !seen[e.Seq] {
				seen[e.Seq] = true
				v.History = append(v.History, e)
			}
		}
		return err
	}
	patron := ""
	for _, p := range v.Parts {
		if err := add(d.office.Ledger.History(ctx, p.ID)); err != nil {
			return err
		}
		patron = p.Patron.Address
	}
	if v.Draft != nil {
		if err := add(d.office.Ledger.Events(ctx, v.Draft.ID)); err != nil {
			return err
		}
		if err := add(d.office.Ledger.Events(ctx, v.Draft.Letter)); err != nil {
			return err
		}
		patron = v.Draft.To.Address
	}
	slices.SortFunc(v.History, func(a, b ledger.Event) int { return int(b.Seq - a.Seq) })
	if patron == "" {
		return nil
	}
	rows, err := d.office.Ledger.Jobs(ctx, ledger.Filter{Patron: patron, Down: true, Limit: 20})
	for _, row := range rows {
		if !slices.ContainsFunc(v.Parts, func(p partView) bool { return p.ID == row.ID }) {
			v.Earlier = append(v.Earlier, row)
		}
	}
	return err
}

// remarks is what a careful person looks at before approving.
func (v *replyView) remarks(s *localizer) []reason {
	var out []reason
	add := func(kind, text string) {
		if text != "" && !slices.ContainsFunc(out, func(r reason) bool { return r.Text == text }) {
			out = append(out, reason{kind, text})
		}
	}
	if d := v.Draft; d != nil && d.AddressedBefore != "" {
		add("stop", s.Say(job.Say("page.reply.readdressed", job.Args{"before": oneLine(d.AddressedBefore, 500), "now": v.Mail.recipients()})))
	}
	for _, p := range v.Parts {
		if p.Auth != job.Pass {
			add("ask", s.Word("page.reply.unproven"))
		}
		if a := p.Agreement; a != nil && a.State != job.AgreementGood {
			add("ask", plain.Capital(s.Say(a.Why)))
		}
		for _, f := range p.Numbers {
			if f.Level == job.Stop {
				add("stop", plain.Capital(s.Say(f.Text)))
			}
		}
	}
	for _, l := range v.Letters {
		if l.Parsed == nil || !l.Answered {
			continue
		}
		if f := l.Parsed.Forwarder; f != nil {
			add("note", s.Say(job.Say("page.reply.forwarded", job.Args{"by": who(*f)})))
		}
		for _, n := range append(slices.Clone(l.Parsed.Notes), l.Parsed.Repairs...) {
			add("note", plain.Capital(s.Say(n)))
		}
	}
	for _, n := range v.Doc.Notes {
		add("note", plain.Capital(s.Say(n)))
	}
	return out
}
