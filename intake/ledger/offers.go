package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"meshclerk/intake/job"
)

// Offer is what one letter that left said of one job.
type Offer struct {
	ID        int64
	Draft     string
	Job       job.ID
	SHA256    string     // of the bytes that left
	Terms     *job.Terms // nil where an earlier version sent it
	Asked     []string   // what it left to the patron: keys of its questions
	RulesHash string
	At        time.Time
}

// Meets reports whether a job is as the offer said, but for what it asked and the patron
// chose.
func (o Offer) Meets(j job.Job) bool { return o.Terms == nil || j.MeetsOffer(*o.Terms, o.Asked) }

// AddOffer records what a draft that was sent offers for a job. Doing it again
// changes nothing.
func (tx *Tx) AddOffer(ctx context.Context, o Offer) error {
	terms, err := json.Marshal(o.Terms)
	if err != nil {
		return err
	}
	return tx.exec(ctx, `INSERT INTO offers (draft, job, sha256, terms, asked, rules_hash, at) VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (draft, job) DO NOTHING`,
		o.Draft, string(o.Job), o.SHA256, string(terms), strings.Join(o.Asked, " "), o.RulesHash, stamp(tx.now))
}

// LastOffer gives the newest offer of a job, or false. An offer ends with its job: what was
// declined, withdrawn or lapsed since is offered anew where it is taken up again.
func (r Reader) LastOffer(ctx context.Context, id job.ID) (Offer, bool, error) {
	list, err := r.offers(ctx, `WHERE job = ? AND NOT EXISTS (
		SELECT 1 FROM events e WHERE e.subject = offers.job AND e.what = ? AND e.to_state IN (?, ?, ?)
		AND e.seq > (SELECT COALESCE(MAX(s.seq), 0) FROM events s WHERE s.subject = offers.draft AND s.to_state = ?))
		ORDER BY id DESC LIMIT 1`, string(id), whatMoved, string(job.Declined), string(job.Withdrawn), string(job.Lapsed), string(DraftSent))
	if err != nil || len(list) == 0 {
		return Offer{}, false, err
	}
	return list[0], true, nil
}

// Offers gives every offer of a job, oldest first.
func (r Reader) Offers(ctx context.Context, id job.ID) ([]Offer, error) {
	return r.offers(ctx, `WHERE job = ? ORDER BY id`, string(id))
}

func (r Reader) offers(ctx context.Context, where string, args ...any) ([]Offer, error) {
	var out []Offer
	err := r.each(ctx, `SELECT id, draft, job, sha256, terms, asked, rules_hash, at FROM offers `+where, args, func(rows *sql.Rows) error {
		var o Offer
		var id, terms, asked string
		if err := rows.Scan(&o.ID, &o.Draft, &id, &o.SHA256, &terms, &asked, &o.RulesHash, stamped{&o.At}); err != nil {
			return err
		}
		o.Job, o.Asked = job.ID(id), strings.Fields(asked)
		var err error
		o.Terms, err = termsFrom(terms)
		out = append(out, o)
		return err
	})
	return out, err
}

func termsFrom(s string) (*job.Terms, error) {
	if s == "" {
		return nil, nil
	}
	t := new(job.Terms)
	if err := json.Unmarshal([]byte(s), t); err != nil {
		return nil, fmt.Errorf("the terms of an offer cannot be read back: %w", err)
	}
	return t, nil
}

// YesState says whether a yes counts.
type YesState string

// The states of a yes.
const (
	YesKept   YesState = "kept"   // something stands in its way: an agreement, an answer, a person
	YesCounts YesState = "counts" // the job is on the print list by it
	YesVoid   YesState = "void"   // the offer does not stand any more
)

// Yes is a patron's word on one offer.
type Yes struct {
	ID     int64
	Offer  int64
	Job    job.ID
	Letter string // "" where staff took it otherwise
	Who    string // "patron", or the person who took it as a yes
	State  YesState
	Terms  *job.Terms // agreed to, once it counts
	At     time.Time
}

// KeepYes records a yes to an offer. An earlier one that is open gives way to it.
func (tx *Tx) KeepYes(ctx context.Context, o Offer, letter, who string) error {
	if err := tx.VoidYes(ctx, o.Job, job.Say("history.yes-anew", nil)); err != nil {
		return err
	}
	return tx.exec(ctx, `INSERT INTO yeses (offer, job, letter, who, state, at) VALUES (?, ?, ?, ?, 'kept', ?)`,
		o.ID, string(o.Job), orNull(letter), who, stamp(tx.now))
}

// OpenYes gives the yes of a job that is kept or counts, or false.
func (r Reader) OpenYes(ctx context.Context, id job.ID) (Yes, bool, error) {
	var y Yes
	found := false
	err := r.each(ctx, `SELECT id, offer, COALESCE(letter, ''), who, state, terms, at FROM yeses WHERE job = ? AND state <> 'void'`, []any{string(id)}, func(rows *sql.Rows) error {
		var terms string
		if err := rows.Scan(&y.ID, &y.Offer, &y.Letter, &y.Who, &y.State, &terms, stamped{&y.At}); err != nil {
			return err
		}
		found, y.Job = true, id
		var err error
		y.Terms, err = termsFrom(terms)
		return err
	})
	return y, found, err
}

// CountYes lets a kept yes count for the job as it is now. It is refused where the
// terms are not those of the job's last offer, but for what that offer asked.
func (tx *Tx) CountYes(ctx context.Context, id job.ID) error {
	y, ok, err := tx.OpenYes(ctx, id)
	if err != nil {
		return err
	}
	if !ok || y.State != YesKept {
		return fmt.Errorf("job %s has no yes that waits", id)
	}
	o, ok, err := tx.LastOffer(ctx, id)
	if err != nil {
		return err
	}
	j, err := tx.Job(ctx, id)
	if err != nil {
		return err
	}
	if _, can := j.Terms(); !ok || o.ID != y.Offer || !can || !o.Meets(j) {
		return ErrOtherTerms
	}
	return tx.exec(ctx, `UPDATE yeses SET state = 'counts', terms = (SELECT terms FROM jobs WHERE id = ?), ended = ? WHERE id = ?`, string(id), stamp(tx.now), y.ID)
}

// ErrOtherTerms refuses a yes to something else than what would be printed.
var ErrOtherTerms = job.Refuse(job.Say("faults.other-terms", nil))

// VoidYes ends the open yes of a job, where there is one.
func (tx *Tx) VoidYes(ctx context.Context, id job.ID, why job.Message) error {
	return tx.exec(ctx, `UPDATE yeses SET state = 'void', why = ?, ended = ? WHERE job = ? AND state <> 'void'`, keep(why), stamp(tx.now), string(id))
}

// termsOf writes a job's terms for its column, "" for a job without any.
func termsOf(j job.Job) (string, error) {
	t, ok := j.Terms()
	if !ok {
		return "", nil
	}
	b, err := json.Marshal(t)
	return string(b), err
}

// LetterOpen reports whether a notice of one of some kinds is open about a letter of
// a conversation.
func (r Reader) LetterOpen(ctx context.Context, thread string, kinds []NoticeKind) (bool, error) {
	found, err := r.words(ctx, `SELECT n.id FROM notices n JOIN notice_letters nl ON nl.notice = n.id JOIN job_letters jl ON jl.letter = nl.letter JOIN jobs j ON j.id = jl.job
		WHERE n.state = 'open' AND j.thread = ? AND n.kind IN (`+marks(len(kinds))+`) LIMIT 1`, append([]any{thread}, anys(kinds)...)...)
	return len(found) > 0, err
}
