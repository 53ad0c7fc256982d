package casework

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/preflight"
	"meshclerk/reply/draft"
	"meshclerk/reply/picture"
	"meshclerk/templates"
)

// Written is what a draft keeps beside its bytes, for whoever edits it or
// compares a later one with it.
type Written struct {
	Markdown  string           `json:"markdown"`
	Questions []draft.Question `json:"questions"`
	Notes     []job.Message    `json:"notes"`              // what staff should know before they approve
	Edited    bool             `json:"edited,omitempty"`   // the text is a person's own
	Promises  bool             `json:"promises,omitempty"` // it says that a person will write
	Proposes  bool             `json:"proposes,omitempty"` // it speaks of something beside the last offer
	Begins    bool             `json:"begins,omitempty"`   // it tells somebody new how to begin
	Jobs      []job.Job        `json:"jobs"`               // as they were then
}

// draft writes the reply for the jobs of a conversation that need one. Where
// others need one of another kind, the step is done again for them.
func (o *Office) Draft(ctx context.Context, s *ledger.Step) error {
	all, err := o.Ledger.JobsIn(ctx, s.Subject)
	if err != nil {
		return err
	}
	jobs, more, err := o.toWriteAbout(ctx, all)
	if err != nil {
		return err
	}
	if len(jobs) == 0 {
		return o.Ledger.Done(ctx, s)
	}
	if jobs, err = o.withStanding(ctx, all, jobs); err != nil {
		return err
	}
	in, answers, err := o.input(ctx, jobs)
	if err != nil {
		return err
	}
	if err := o.situate(ctx, in, jobs); err != nil {
		return err
	}
	return o.write(ctx, s, in, answers, jobs, more)
}

// write composes a reply and records it with the end of its step.
func (o *Office) write(ctx context.Context, s *ledger.Step, in *draft.Input, answers string, jobs []job.Job, more bool) error {
	m, err := draft.Compose(*in)
	if err != nil {
		return err
	}
	if err := Canonical(&m); err != nil {
		return err
	}
	o.at("composed")
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := o.recordDraft(ctx, tx, in, m, answers, jobs); err != nil {
			return err
		}
		if more {
			if err := tx.Enqueue(ctx, ledger.StepDraft, jobs[0].Thread, time.Time{}); err != nil {
				return err
			}
		}
		return tx.Done(ctx, s)
	})
}

// WrittenOf reads what lies beside a draft.
func WrittenOf(d ledger.Draft) Written {
	var w Written
	if len(d.Doc) > 0 {
		_ = json.Unmarshal(d.Doc, &w) // of an older program: then it tells nothing
	}
	return w
}

// input sets a number aside for a reply and gathers what it is made of.
func (o *Office) input(ctx context.Context, jobs []job.Job) (*draft.Input, string, error) {
	id, err := o.Ledger.NextDraftID(ctx)
	if err != nil {
		return nil, "", err
	}
	// The random part keeps outsiders from naming our messages in a References
	// header of their own, and so from slipping into a conversation.
	return o.gather(ctx, id+"."+strings.ToLower(rand.Text()[:12]), jobs)
}

// gather collects what a reply is made of: the jobs, the letter it answers, a
// picture. It gives the letter's number too.
func (o *Office) gather(ctx context.Context, id string, jobs []job.Job) (*draft.Input, string, error) {
	in := &draft.Input{Rules: o.Rules, Templates: o.Texts(), ID: id, Domain: o.Domain, Now: o.Now(), Token: jobs[0].Thread}
	about, gone := apart(jobs)
	for i := range about {
		if about[i].Blob != "" {
			in.Jobs = append(in.Jobs, &about[i])
		}
	}
	for _, j := range gone {
		in.GivenUp = append(in.GivenUp, j.File)
	}
	letter, err := o.lastLetter(ctx, jobs)
	if err != nil {
		return nil, "", err
	}
	in.Letter = letter.Parsed
	in.Picture = o.picture(ctx, in.Jobs, in.Language())
	in.New, err = o.isNew(ctx, jobs[0], in.Letter.Authenticated == job.Pass)
	return in, letter.ID, err
}

// isNew reports whether the patron of a job is somebody new who was not told yet how to
// begin: nothing was sent to them but in this conversation, and nothing that told it. Who
// is not proven is as new as a stranger, so that a letter in a patron's name learns nothing.
func (o *Office) isNew(ctx context.Context, j job.Job, proven bool) (bool, error) {
	if len(o.Rules.Library.Newcomers) == 0 {
		return false, nil
	}
	sent, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{To: j.Patron.Address, States: []ledger.DraftState{ledger.DraftApproved, ledger.DraftSending, ledger.DraftUncertain, ledger.DraftSent}})
	if err != nil {
		return false, err
	}
	here, err := o.Ledger.JobsIn(ctx, j.Thread)
	if err != nil {
		return false, err
	}
	for _, d := range sent {
		elsewhere := !slices.ContainsFunc(here, func(h job.Job) bool { return slices.Contains(d.Jobs, h.ID) })
		if elsewhere && proven || !elsewhere && WrittenOf(d).Begins {
			return false, nil
		}
	}
	return true, nil
}

// recordDraft keeps the reply, moves its jobs, and sees to the mailbox.
func (o *Office) recordDraft(ctx context.Context, tx *ledger.Tx, in *draft.Input, m draft.Message, letter string, jobs []job.Job) error {
	doc, err := json.Marshal(Written{Markdown: m.Markdown, Questions: m.Questions, Notes: m.Notes, Begins: m.Begins, Jobs: afterDraft(jobs),
		Proposes: in.Proposes, Promises: m.Template == templates.TextQuestion && (in.Note == "" || in.Rest)})
	if err != nil {
		return err
	}
	id, _, _ := strings.Cut(in.ID, ".")
	d := ledger.Draft{ID: id, Letter: letter, Kind: m.Template, TemplateHash: m.TemplateHash, RulesHash: o.Rules.Hash, Language: m.Language,
		To: m.To, Subject: m.Subject, MessageID: m.MessageID, Doc: doc}
	for _, j := range jobs {
		d.Jobs = append(d.Jobs, j.ID)
	}
	made, superseded, err := tx.NewDraft(ctx, d, m.Raw, ledger.Robot, job.Plain(m.Template))
	if err != nil {
		return err
	}
	for _, j := range jobs {
		if j.Stage == job.Checked {
			if err := tx.Move(ctx, j.ID, job.Drafted, ledger.Robot, job.Say("history.drafted", job.Args{"draft": made.ID})); err != nil {
				return err
			}
		}
	}
	for _, old := range superseded {
		if err := tx.Enqueue(ctx, ledger.StepFile, old.ID, time.Time{}); err != nil {
			return err
		}
	}
	o.Log.Info("draft made", "draft", made.ID, "job", names(jobs), "as", m.Template)
	return tx.Enqueue(ctx, ledger.StepPost, made.ID, time.Time{})
}

// afterDraft is how the jobs stand once their draft is recorded.
func afterDraft(jobs []job.Job) []job.Job {
	out := slices.Clone(jobs)
	for i := range out {
		if out[i].Stage == job.Checked {
			out[i].Stage = job.Drafted
		}
	}
	return out
}

// picture draws the first part of a reply, with what stops it marked.
func (o *Office) picture(ctx context.Context, jobs []*job.Job, language string) *draft.Picture {
	if len(jobs) == 0 || jobs[0].Report == nil || !jobs[0].Report.Readable {
		return nil
	}
	j := jobs[0]
	f, err := preflight.Open(ctx, o.Ledger.BlobPath(j.Blob), o.Rules.Caps)
	if err != nil {
		return nil // a letter without a picture is still a good letter
	}
	m := f.Mesh
	if j.Settings.Scale > 0 {
		m = m.Transformed(mesh.Upright, j.Settings.Scale)
	}
	png, err := picture.Within(picture.Draw(m, picture.Corner, picture.Options{Sizes: true, Comma: o.comma(language)}), mostPicture)
	if err != nil {
		return nil
	}
	return &draft.Picture{PNG: png, Alt: o.alt(j, m, language)}
}

// mostPicture bounds the picture in a letter, in bytes.
const mostPicture = 150_000

// comma reports whether a language parts decimals by a comma, in this house.
func (o *Office) comma(language string) bool {
	l := o.Texts().Book().In(language, o.Rules.Prices.Locale, o.Rules.Prices.Currency)
	return strings.Contains(string(l.Number(0.5, 1)), ",")
}

// alt says what the picture shows, for those who cannot see it.
func (o *Office) alt(j *job.Job, m *mesh.Mesh, language string) string {
	s := m.Bounds().Size()
	l := o.Texts().Book().In(language, o.Rules.Prices.Locale, o.Rules.Prices.Currency)
	return l.Say(job.Say("replies.picture", job.Args{"file": j.File, "width": mm(s[0]), "depth": mm(s[1]), "height": mm(s[2])}))
}

// mm is a side as it is said: a tenth of a millimetre matters on small parts only.
func mm(v float64) job.Quantity {
	if v < 10 {
		return job.Quantity{Amount: math.Round(10*v) / 10, Unit: "mm"}
	}
	return job.Quantity{Amount: math.Round(v), Unit: "mm"}
}
