package ledger

import (
	"context"
	"strings"
	"time"

	"meshclerk/intake/job"
)

// Approval is a person's word that exactly these bytes may leave. It is never
// changed or removed.
type Approval struct {
	ID     int64     `json:"id"`
	SHA256 string    `json:"sha256"`
	By     string    `json:"by"`
	Via    string    `json:"via"` // "command", "folder", "page"
	At     time.Time `json:"at"`
}

// Ways of approving.
const (
	ViaCommand = "command"
	ViaFolder  = "folder"
	ViaPage    = "page"
)

// Approve records that a named person approves the bytes with that SHA-256. It
// is refused with *StaleError where they are no longer the draft's,
// *ApprovedError where somebody was first, *DraftStateError in any other state.
func (tx *Tx) Approve(ctx context.Context, id, sha, by, via string) error {
	by = strings.TrimSpace(by)
	if by == "" || strings.EqualFold(by, Robot) {
		return job.Refuse(job.Say("faults.approval-without-name", nil))
	}
	d, err := tx.Draft(ctx, id)
	switch {
	case err != nil:
		return err
	case d.Approval != nil:
		return &ApprovedError{Draft: id, By: d.Approval.By, At: d.Approval.At, SHA256: d.Approval.SHA256}
	case d.State != DraftWaiting && d.State != DraftFailed:
		return &DraftStateError{Draft: id, State: d.State, Wanted: job.Say("faults.draft.approved", nil), Hint: d.hint()}
	case d.SHA256 != sha:
		return &StaleError{id, sha, d.SHA256}
	case via == ViaFolder && d.AddressedBefore != "":
		return job.Refuse(d.readdressed())
	}
	approval, err := tx.insert(ctx, `INSERT INTO approvals (draft, sha256, approved_by, via, at) VALUES (?, ?, ?, ?, ?) RETURNING id`,
		id, sha, by, via, stamp(tx.now))
	if err != nil {
		return err
	}
	n, err := tx.changed(ctx, `UPDATE drafts SET approval = ?, state = 'approved', why = '', changed = ? WHERE id = ? AND state = ? AND sha256 = ?`,
		approval, stamp(tx.now), id, string(d.State), sha)
	if err == nil && n != 1 {
		err = job.Refuse(job.Say("faults.draft-changed", job.Args{"draft": id}))
	}
	if err != nil {
		return err
	}
	for _, kind := range []NoticeKind{NoticeSendRefused, NoticeReaddressed} {
		if err := tx.SettleNotices(ctx, kind, id, by); err != nil {
			return err
		}
	}
	return tx.event(ctx, Event{Who: by, Subject: id, What: "approved", From: string(d.State), To: string(DraftApproved), Why: job.Plain(via)})
}

// Moved is a message that a person moved into a folder that approves or sets aside.
type Moved struct {
	Draft string
	Place Place
	By    string
	Edit  Edit // what lies there; Raw is needed, the rest where it was changed
}

// MoveOutcome is what came of a moved message.
type MoveOutcome string

// What may come of a moved message.
const (
	MoveApproved    MoveOutcome = "approved"
	MoveSetAside    MoveOutcome = "set-aside"
	MoveReaddressed MoveOutcome = "readdressed" // it goes to others now: waits, to be confirmed elsewhere
	MoveKnown       MoveOutcome = "known"       // the same was seen before, or had been done already
	MoveRefused     MoveOutcome = "refused"     // it cannot be done; a notice tells staff
)

// ApproveMoved approves what a person moved into an approved folder, edited or
// not. Two moves of one message may both succeed on a mail server, so whatever
// was seen before is recognised: by its place, or because the same bytes are
// approved already. Other bytes than the approved ones are refused with a notice.
// Where the edit says that its recipients were others before, it takes the
// draft's place and waits: no folder approves it.
func (tx *Tx) ApproveMoved(ctx context.Context, m Moved) (MoveOutcome, error) {
	return tx.moved(ctx, m, func(d Draft, sha string) (MoveOutcome, string, error) {
		switch {
		case d.Approval != nil && d.Approval.SHA256 == sha:
			return MoveKnown, "approved already by " + d.Approval.By, nil
		case d.State == DraftFailed && sha != d.SHA256: // mended: worth another try
		case d.State != DraftWaiting && d.State != DraftSetAside:
			return tx.refuseMove(ctx, d, m)
		}
		if d.State == DraftSetAside {
			if err := tx.moveDraft(ctx, d, DraftWaiting, m.By, job.Say("history.moved-into", job.Args{"folder": m.Place.Folder})); err != nil {
				return "", "", err
			}
		}
		switch {
		case m.Edit.AddressedBefore != "":
			return tx.readdress(ctx, d, m)
		case sha == d.SHA256 && d.AddressedBefore != "":
			return MoveRefused, d.readdressed().String(), tx.AddNotice(ctx, NoticeReaddressed, d.ID, d.readdressed())
		}
		if sha != d.SHA256 {
			if _, err := tx.Replace(ctx, d.ID, d.SHA256, m.Edit, m.By, job.Say("history.edited-in-mail", nil)); err != nil {
				return "", "", err
			}
		}
		return MoveApproved, "", tx.Approve(ctx, d.ID, sha, m.By, ViaFolder)
	})
}

// readdress puts the edited version in the draft's place and tells staff that it
// waits for their word.
func (tx *Tx) readdress(ctx context.Context, d Draft, m Moved) (MoveOutcome, string, error) {
	d, err := tx.Replace(ctx, d.ID, d.SHA256, m.Edit, m.By, job.Say("history.edited-recipients", nil))
	if err != nil {
		return "", "", err
	}
	return MoveReaddressed, "", tx.AddNotice(ctx, NoticeReaddressed, d.ID, d.readdressed())
}

// readdressed says what a draft with other recipients than it was made for waits
// for. It names no address: notices outlive what is forgotten of a patron.
func (d Draft) readdressed() job.Message {
	return job.Say("notices.readdressed", job.Args{"draft": d.ID})
}

// SetAsideMoved sets aside what a person moved into the set-aside folder. A copy that was
// filed there when its draft was set aside elsewhere is no person's act: a draft that
// waits again has no copy that anybody could have moved until it is posted anew.
func (tx *Tx) SetAsideMoved(ctx context.Context, m Moved) (MoveOutcome, error) {
	return tx.moved(ctx, m, func(d Draft, sha string) (MoveOutcome, string, error) {
		switch d.State {
		case DraftSetAside, DraftSuperseded:
			return MoveKnown, "it was " + string(d.State) + " already", nil
		case DraftWaiting, DraftApproved, DraftFailed:
			if d.State == DraftWaiting && d.Place == (Place{}) {
				return MoveKnown, "it waits again, and its copy lies here from before", nil
			}
			return MoveSetAside, "", tx.moveDraft(ctx, d, DraftSetAside, m.By, job.Say("history.moved-into", job.Args{"folder": m.Place.Folder}))
		}
		return tx.refuseMove(ctx, d, m)
	})
}

// moved deals with one message at one place once.
func (tx *Tx) moved(ctx context.Context, m Moved, act func(d Draft, sha string) (MoveOutcome, string, error)) (MoveOutcome, error) {
	seen, err := tx.words(ctx, `SELECT draft FROM folder_moves WHERE folder = ? AND uidvalidity = ? AND uid = ?`, m.Place.Folder, m.Place.UIDValidity, m.Place.UID)
	if err != nil {
		return "", err
	}
	if len(seen) > 0 {
		return MoveKnown, nil
	}
	d, err := tx.Draft(ctx, m.Draft)
	if err != nil {
		return "", err
	}
	sha := hashOf(m.Edit.Raw)
	outcome, why, err := act(d, sha)
	if err != nil {
		return "", err
	}
	err = tx.exec(ctx, `INSERT INTO folder_moves (folder, uidvalidity, uid, draft, sha256, moved_by, outcome, why, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		m.Place.Folder, m.Place.UIDValidity, m.Place.UID, m.Draft, sha, m.By, string(outcome), why, stamp(tx.now))
	return outcome, err
}

func (tx *Tx) refuseMove(ctx context.Context, d Draft, m Moved) (MoveOutcome, string, error) {
	why := job.Say("notices.move-late", job.Args{"draft": d.ID, "folder": m.Place.Folder, "state": job.Say("notices.state."+string(d.State), nil)})
	switch {
	case d.State == DraftFailed:
		why = job.Say("notices.move-refused-before", job.Args{"draft": d.ID, "folder": m.Place.Folder, "why": d.Why})
	case d.Approval != nil:
		why.Key, why.Args["by"] = "notices.move-late-approved", d.Approval.By
	}
	if err := tx.Note(ctx, d.ID, "move-refused", or(m.By, Robot), why); err != nil {
		return "", "", err
	}
	return MoveRefused, why.String(), tx.AddNotice(ctx, NoticeMoveRefused, d.ID, why)
}
