package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
)

// DraftState says where a reply stands between being written and being delivered.
type DraftState string

// The states of a draft.
const (
	DraftWaiting    DraftState = "waiting"   // for a person
	DraftApproved   DraftState = "approved"  // may be sent as it is, byte for byte
	DraftSending    DraftState = "sending"   // a try is under way
	DraftSent       DraftState = "sent"      // the mail server took it
	DraftUncertain  DraftState = "uncertain" // nobody knows whether the server took it; a person settles it
	DraftFailed     DraftState = "failed"    // the server refused it for good
	DraftSetAside   DraftState = "set-aside" // a person declined to send it
	DraftSuperseded DraftState = "superseded"
)

// Draft is one reply on record. Its bytes are read with DraftBytes.
type Draft struct {
	ID           string          `json:"id"`
	Jobs         []job.ID        `json:"jobs"`   // what it is about
	Letter       string          `json:"letter"` // what it answers, or ""
	Kind         string          `json:"kind"`   // the template's name
	TemplateHash string          `json:"template_hash"`
	RulesHash    string          `json:"rules_hash"`
	Language     string          `json:"language"`
	To           job.Address     `json:"to"`
	Subject      string          `json:"subject"`
	MessageID    string          `json:"message_id"`
	SHA256       string          `json:"sha256"` // of the bytes as they stand
	Bytes        int64           `json:"bytes"`
	Revision     int             `json:"revision"`      // 1, and one more for each edit
	Doc          json.RawMessage `json:"doc,omitempty"` // what its writer wants back: questions, notes, Markdown
	State        DraftState      `json:"state"`
	Why          job.Message     `json:"why,omitzero"`
	Made         time.Time       `json:"made"`
	Changed      time.Time       `json:"changed"`
	Place        Place           `json:"place,omitzero"` // its copy in the mailbox
	Approval     *Approval       `json:"approval,omitempty"`
	// AddressedBefore are the recipients, ", " between them, that it had until
	// somebody's edit changed them. No folder approves it then.
	AddressedBefore string `json:"addressed_before,omitempty"`
}

// Place is where a message lies in a mailbox.
type Place struct {
	Folder      string `json:"folder"`
	UIDValidity uint32 `json:"uidvalidity"`
	UID         uint32 `json:"uid"`
}

// NextDraftID sets an id aside for a draft that is about to be written, since
// its Message-ID is part of its bytes. An id that is never used leaves a gap.
func (l *Ledger) NextDraftID(ctx context.Context) (string, error) {
	return in(ctx, l, func(tx *Tx) (string, error) { return tx.newID(ctx, prefixDraft) })
}

// NewDraft records a reply that waits for a person. Waiting drafts that share a
// job with it are superseded and given back, so that their copies can be taken
// out of the mailbox. d.ID may come from NextDraftID or be empty; SHA256, Bytes,
// State and the times are filled in here.
func (tx *Tx) NewDraft(ctx context.Context, d Draft, raw []byte, who string, why job.Message) (made Draft, superseded []Draft, err error) {
	if len(raw) == 0 || d.To.Address == "" {
		return Draft{}, nil, errors.New("a draft needs its bytes and somebody to write to")
	}
	if d.ID == "" {
		if d.ID, err = tx.newID(ctx, prefixDraft); err != nil {
			return Draft{}, nil, err
		}
	}
	if superseded, err = tx.supersede(ctx, d, who); err != nil {
		return Draft{}, nil, err
	}
	if d.SHA256, err = tx.putBytes(ctx, KindDraft, raw); err != nil {
		return Draft{}, nil, err
	}
	d.Bytes, d.Revision, d.State, d.Why, d.Made, d.Changed, d.Approval = int64(len(raw)), 1, DraftWaiting, why, tx.now, tx.now, nil
	if err := tx.insertDraft(ctx, d); err != nil {
		return Draft{}, nil, err
	}
	return d, superseded, tx.event(ctx, Event{Who: who, Subject: d.ID, What: "drafted", To: string(DraftWaiting), Why: why})
}

func (tx *Tx) insertDraft(ctx context.Context, d Draft) error {
	err := tx.exec(ctx, `INSERT INTO drafts (id, letter, kind, template_hash, rules_hash, language, to_address, to_name, subject, message_id, sha256, blob, bytes, doc, state, why, made, changed)
		VALUES (`+marks(18)+`)`,
		d.ID, orNull(d.Letter), d.Kind, d.TemplateHash, d.RulesHash, d.Language, d.To.Address, d.To.Name, d.Subject, d.MessageID,
		d.SHA256, d.SHA256, d.Bytes, string(d.Doc), string(d.State), keep(d.Why), stamp(d.Made), stamp(d.Changed))
	if err != nil {
		return err
	}
	for _, id := range d.Jobs {
		if err := tx.exec(ctx, `INSERT INTO draft_jobs (draft, job) VALUES (?, ?)`, d.ID, string(id)); err != nil {
			return err
		}
	}
	return tx.ownMessageID(ctx, d.ID, d.MessageID)
}

// ownMessageID remembers a Message-ID as the draft's, for threads.
func (tx *Tx) ownMessageID(ctx context.Context, id, messageID string) error {
	if messageID == "" {
		return nil
	}
	err := tx.exec(ctx, `INSERT INTO draft_message_ids (message_id, draft) VALUES (?, ?) ON CONFLICT (message_id) DO NOTHING`, messageID, id)
	if err != nil {
		return err
	}
	owner, err := tx.words(ctx, `SELECT draft FROM draft_message_ids WHERE message_id = ?`, messageID)
	if err == nil && (len(owner) != 1 || owner[0] != id) {
		err = fmt.Errorf("draft %s has the Message-ID of draft %s; each needs its own", id, strings.Join(owner, ""))
	}
	return err
}

func (tx *Tx) supersede(ctx context.Context, d Draft, who string) ([]Draft, error) {
	if len(d.Jobs) == 0 {
		return nil, nil
	}
	old, err := tx.drafts(ctx, `WHERE state IN ('waiting', 'failed') AND id IN (SELECT draft FROM draft_jobs WHERE job IN (`+marks(len(d.Jobs))+`)) ORDER BY id`, anys(d.Jobs)...)
	if err != nil {
		return nil, err
	}
	for i := range old {
		if err := tx.moveDraft(ctx, old[i], DraftSuperseded, who, job.Say("history.superseded", job.Args{"draft": d.ID})); err != nil {
			return nil, err
		}
		old[i].State = DraftSuperseded
	}
	return old, nil
}

// draftMoves is the one table of lawful moves of drafts.
var draftMoves = map[DraftState][]DraftState{
	DraftWaiting:   {DraftApproved, DraftSetAside, DraftSuperseded},
	DraftApproved:  {DraftSending, DraftWaiting, DraftSetAside},
	DraftSending:   {DraftSent, DraftUncertain, DraftFailed, DraftApproved},
	DraftUncertain: {DraftSent, DraftWaiting},
	DraftFailed:    {DraftWaiting, DraftApproved, DraftSetAside, DraftSuperseded},
	DraftSetAside:  {DraftWaiting},
}

// moveDraft changes a draft's state where that is lawful. A draft that is no
// longer on its way has no approval any more; what was approved stays on record.
func (tx *Tx) moveDraft(ctx context.Context, d Draft, to DraftState, who string, why job.Message) error {
	if !slices.Contains(draftMoves[d.State], to) {
		return &DraftStateError{Draft: d.ID, State: d.State, Wanted: job.Say("faults.draft.become", job.Args{"state": job.Say("notices.state."+string(to), nil)}), Hint: d.hint()}
	}
	approval := `approval`
	if to == DraftWaiting || to == DraftSetAside || to == DraftFailed {
		approval = `NULL`
	}
	n, err := tx.changed(ctx, `UPDATE drafts SET state = ?, why = ?, changed = ?, approval = `+approval+` WHERE id = ? AND state = ?`,
		string(to), keep(why), stamp(tx.now), d.ID, string(d.State))
	if err != nil {
		return err
	}
	if n != 1 {
		return job.Refuse(job.Say("faults.draft-changed", job.Args{"draft": d.ID}))
	}
	if to != DraftWaiting {
		if err := tx.SettleNotices(ctx, NoticeReaddressed, d.ID, who); err != nil {
			return err
		}
	}
	return tx.event(ctx, Event{Who: who, Subject: d.ID, What: string(to), From: string(d.State), To: string(to), Why: why})
}

// Edit is a new version of a draft. Empty words leave what is there.
type Edit struct {
	Raw       []byte
	Subject   string
	MessageID string
	To        job.Address
	Doc       json.RawMessage
	// AddressedBefore marks recipients that somebody is still to confirm.
	AddressedBefore string
}

// Replace puts a person's version in the place of a draft that waits or failed;
// it then waits. base is the SHA-256 of the bytes the person had before them:
// where these are no longer the draft's, a *StaleError refuses the edit.
func (tx *Tx) Replace(ctx context.Context, id, base string, e Edit, who string, why job.Message) (Draft, error) {
	d, err := tx.Draft(ctx, id)
	switch {
	case err != nil:
		return Draft{}, err
	case d.State != DraftWaiting && d.State != DraftFailed:
		return Draft{}, &DraftStateError{Draft: id, State: d.State, Wanted: job.Say("faults.draft.edited", nil), Hint: d.hint()}
	case d.SHA256 != base:
		return Draft{}, &StaleError{id, base, d.SHA256}
	case len(e.Raw) == 0:
		return Draft{}, job.Refuse(job.Say("faults.draft-empty", job.Args{"draft": id}))
	}
	if d.State == DraftFailed {
		if err := tx.moveDraft(ctx, d, DraftWaiting, who, why); err != nil {
			return Draft{}, err
		}
		d.State = DraftWaiting
	}
	tx.freed = append(tx.freed, d.SHA256)
	if d.SHA256, err = tx.putBytes(ctx, KindDraft, e.Raw); err != nil {
		return Draft{}, err
	}
	d.Bytes, d.Revision = int64(len(e.Raw)), d.Revision+1
	d.Subject, d.MessageID = or(e.Subject, d.Subject), or(e.MessageID, d.MessageID)
	if e.To.Address != "" {
		d.To = e.To
	}
	if e.Doc != nil {
		d.Doc = e.Doc
	}
	if d.AddressedBefore = e.AddressedBefore; d.AddressedBefore == "" {
		if err := tx.SettleNotices(ctx, NoticeReaddressed, id, who); err != nil {
			return Draft{}, err
		}
	}
	err = tx.exec(ctx, `UPDATE drafts SET sha256 = ?, blob = ?, bytes = ?, revision = ?, subject = ?, message_id = ?, to_address = ?, to_name = ?, doc = ?, addressed_before = ?, changed = ? WHERE id = ?`,
		d.SHA256, d.SHA256, d.Bytes, d.Revision, d.Subject, d.MessageID, d.To.Address, d.To.Name, string(d.Doc), d.AddressedBefore, stamp(tx.now), id)
	if err != nil {
		return Draft{}, err
	}
	if err := tx.ownMessageID(ctx, id, d.MessageID); err != nil {
		return Draft{}, err
	}
	return d, tx.event(ctx, Event{Who: who, Subject: id, What: "edited", From: string(d.State), To: string(d.State), Why: why})
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// hint says who approved a draft, or why it is where it is.
func (d Draft) hint() job.Message {
	if d.Approval != nil {
		return job.Say("faults.draft.approved-by", job.Args{"by": d.Approval.By})
	}
	if other, ok := d.Why.Args["draft"].(string); ok && d.State == DraftSuperseded {
		return job.Say("faults.draft.replaced-by", job.Args{"draft": other})
	}
	return d.Why
}

// SetAside declines to send a draft that waits, failed, or is approved but not yet on its way.
func (tx *Tx) SetAside(ctx context.Context, id, who string, why job.Message) error {
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	return tx.moveDraft(ctx, d, DraftSetAside, who, why)
}

// Reopen lets a draft wait again that was set aside, failed, or is approved but
// not yet on its way. It needs a new approval.
func (tx *Tx) Reopen(ctx context.Context, id, who string, why job.Message) error {
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	if d.State == DraftUncertain {
		return &DraftStateError{Draft: id, State: d.State, Wanted: job.Say("faults.draft.reopened", nil), Hint: job.Say("faults.draft.settle-first", nil)}
	}
	return tx.moveDraft(ctx, d, DraftWaiting, who, why)
}

// PlaceDraft records where the draft's copy lies in the mailbox; the zero Place for nowhere.
func (tx *Tx) PlaceDraft(ctx context.Context, id string, p Place) error {
	n, err := tx.changed(ctx, `UPDATE drafts SET place_folder = ?, place_uidvalidity = ?, place_uid = ? WHERE id = ?`, p.Folder, p.UIDValidity, p.UID, id)
	if err == nil && n == 0 {
		err = notFound("draft", id)
	}
	return err
}

const selectDrafts = `SELECT d.id, COALESCE(d.letter, ''), d.kind, d.template_hash, d.rules_hash, d.language, d.to_address, d.to_name, d.subject, d.message_id,
	d.sha256, d.bytes, d.revision, d.doc, d.state, d.why, d.made, d.changed, d.place_folder, d.place_uidvalidity, d.place_uid, d.addressed_before,
	COALESCE(a.id, 0), COALESCE(a.sha256, ''), COALESCE(a.approved_by, ''), COALESCE(a.via, ''), COALESCE(a.at, '')
	FROM (SELECT * FROM drafts `

const joinApproval = `) AS d LEFT JOIN approvals a ON a.id = d.approval ORDER BY d.made, d.id`

// Draft gives one draft.
func (r Reader) Draft(ctx context.Context, id string) (Draft, error) {
	return r.oneDraft(ctx, id, `WHERE id = ?`, id)
}

// DraftByMessageID gives the draft that has or once had a Message-ID.
func (r Reader) DraftByMessageID(ctx context.Context, messageID string) (Draft, error) {
	return r.oneDraft(ctx, "with Message-ID "+messageID, `WHERE id = (SELECT draft FROM draft_message_ids WHERE message_id = ?)`, messageID)
}

func (r Reader) oneDraft(ctx context.Context, what, where string, args ...any) (Draft, error) {
	list, err := r.drafts(ctx, where, args...)
	if err == nil && len(list) == 0 {
		err = notFound("draft", what)
	}
	if err != nil {
		return Draft{}, err
	}
	return list[0], nil
}

// DraftFilter chooses drafts. A zero field chooses all.
type DraftFilter struct {
	States []DraftState
	Job    job.ID
	Thread string
	Letter string
	To     string // the address of their recipient
	Placed bool   // those with a copy in the mailbox
	Limit  int    // 0 is all
}

// Drafts lists drafts, oldest first.
func (r Reader) Drafts(ctx context.Context, f DraftFilter) ([]Draft, error) {
	c := &clause{}
	c.in("state", anys(f.States))
	c.is("letter", f.Letter)
	c.is("to_address", f.To)
	if f.Job != "" {
		c.add("id IN (SELECT draft FROM draft_jobs WHERE job = ?)", string(f.Job))
	}
	if f.Thread != "" {
		c.add("id IN (SELECT dj.draft FROM draft_jobs dj JOIN jobs j ON j.id = dj.job WHERE j.thread = ?)", f.Thread)
	}
	if f.Placed {
		c.add("place_folder <> ''")
	}
	where := c.String() + " ORDER BY made, id"
	if f.Limit > 0 {
		where += " LIMIT ?"
		c.args = append(c.args, f.Limit)
	}
	return r.drafts(ctx, where, c.args...)
}

func (r Reader) drafts(ctx context.Context, where string, args ...any) ([]Draft, error) {
	var out []Draft
	at := map[string]int{}
	err := r.each(ctx, selectDrafts+where+joinApproval, args, func(rows *sql.Rows) error {
		d, err := scanDraft(rows)
		at[d.ID] = len(out)
		out = append(out, d)
		return err
	})
	if err != nil || len(out) == 0 {
		return nil, err
	}
	err = r.each(ctx, `SELECT draft, job FROM draft_jobs WHERE draft IN (SELECT id FROM drafts `+where+`) ORDER BY job`, args, func(rows *sql.Rows) error {
		var draft, id string
		if err := rows.Scan(&draft, &id); err != nil {
			return err
		}
		if i, ok := at[draft]; ok {
			out[i].Jobs = append(out[i].Jobs, job.ID(id))
		}
		return nil
	})
	return out, err
}

func scanDraft(rows *sql.Rows) (Draft, error) {
	var d Draft
	var a Approval
	var doc string
	err := rows.Scan(&d.ID, &d.Letter, &d.Kind, &d.TemplateHash, &d.RulesHash, &d.Language, &d.To.Address, &d.To.Name, &d.Subject, &d.MessageID,
		&d.SHA256, &d.Bytes, &d.Revision, &doc, &d.State, kept{&d.Why}, stamped{&d.Made}, stamped{&d.Changed},
		&d.Place.Folder, &d.Place.UIDValidity, &d.Place.UID, &d.AddressedBefore, &a.ID, &a.SHA256, &a.By, &a.Via, stamped{&a.At})
	if doc != "" {
		d.Doc = json.RawMessage(doc)
	}
	if a.ID != 0 {
		d.Approval = &a
	}
	return d, err
}

// DraftBytes gives the exact bytes of a draft, their hash proven.
func (r Reader) DraftBytes(ctx context.Context, id string) ([]byte, error) {
	d, err := r.Draft(ctx, id)
	if err != nil {
		return nil, err
	}
	return r.l.readBlob(d.SHA256)
}
