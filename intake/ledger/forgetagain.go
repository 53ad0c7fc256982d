package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// replay carries out every line of the list that this ledger does not know of.
func (tx *Tx) replay(ctx context.Context) (Forgotten, error) {
	var total Forgotten
	known, err := tx.words(ctx, `SELECT id FROM forgets`)
	if err != nil {
		return total, err
	}
	have := make(map[string]bool, len(known))
	for _, id := range known {
		have[id] = true
	}
	for _, e := range tx.l.forgets.entries {
		if have[e.ID] {
			continue
		}
		done, err := tx.forgetAgain(ctx, e)
		if err != nil {
			return total, fmt.Errorf("what was forgotten cannot be forgotten again: %w", err)
		}
		total.Letters += done.Letters
		total.Jobs += done.Jobs
		total.Drafts += done.Drafts
		total.Agreements += done.Agreements
	}
	return total, nil
}

// recall finds what one line of the list is about, in the ledger as it stands.
type recall struct {
	tx    *Tx
	at    string
	of    map[string]bool
	found gathered
}

// forgetAgain blanks what a line of the list is about, as it was then: what came
// later stays. Work on it that had ended is still under way here, and is ended.
func (tx *Tx) forgetAgain(ctx context.Context, e forgetEntry) (Forgotten, error) {
	r := &recall{tx: tx, at: stamp(e.At), of: make(map[string]bool, len(e.Of))}
	for _, d := range e.Of {
		r.of[d] = true
	}
	addresses, err := r.addresses(ctx)
	if err != nil {
		return Forgotten{}, err
	}
	for _, find := range []func(context.Context, []string) error{r.byAddress, r.byDigest, r.around} {
		if err := find(ctx, addresses); err != nil {
			return Forgotten{}, err
		}
	}
	if err := tx.endAll(ctx, r.found); err != nil {
		return Forgotten{}, err
	}
	done, err := tx.blank(ctx, r.found)
	if err != nil {
		return Forgotten{}, err
	}
	for _, a := range addresses {
		n, err := tx.dropAgreementsBefore(ctx, a, r.at)
		if err != nil {
			return Forgotten{}, err
		}
		done.Agreements += n
	}
	if err := tx.carriedOut(ctx, e); err != nil || done == (Forgotten{}) {
		return done, err
	}
	why := job.Say("history.forgotten-again", done.args())
	return done, tx.event(ctx, Event{Who: Robot, Subject: "ledger", What: e.What, Why: why})
}

func (r *recall) is(of, value string) bool { return r.of[r.tx.l.forgets.digest(of, value)] }

// addresses are those in the ledger that the line is about.
func (r *recall) addresses(ctx context.Context) ([]string, error) {
	all, err := r.tx.words(ctx, `SELECT from_address FROM letters UNION SELECT patron_address FROM jobs UNION SELECT to_address FROM drafts
		UNION SELECT address FROM agreements UNION SELECT address FROM agreement_addresses`)
	return slices.DeleteFunc(all, func(a string) bool { return a == "" || !r.is(ofAddress, agreement.Normal(a)) }), err
}

// byAddress finds what an address had to do with up to then.
func (r *recall) byAddress(ctx context.Context, addresses []string) error {
	var g gathered
	for _, a := range addresses {
		more, err := r.tx.gather(ctx, a)
		if err != nil {
			return err
		}
		g.letters, g.jobs, g.drafts = append(g.letters, more.letters...), append(g.jobs, more.jobs...), append(g.drafts, more.drafts...)
	}
	unread, err := r.tx.unreadFrom(ctx, func(a string) bool { return r.is(ofAddress, a) })
	if err != nil {
		return err
	}
	g.letters = append(g.letters, unread...)
	for _, part := range []struct {
		ids   []string
		into  *[]string
		query string
	}{
		{g.letters, &r.found.letters, `SELECT id FROM letters WHERE id = ? AND taken <= ?`},
		{g.jobs, &r.found.jobs, `SELECT id FROM jobs WHERE id = ? AND made <= ?`},
		{g.drafts, &r.found.drafts, `SELECT id FROM drafts WHERE id = ? AND made <= ?`},
	} {
		for _, id := range part.ids {
			then, err := r.tx.words(ctx, part.query, id, r.at)
			if err != nil {
				return err
			}
			*part.into = append(*part.into, then...)
		}
	}
	return nil
}

// byDigest finds the very letters and jobs. A letter that was taken in once more
// since brought its jobs with it.
func (r *recall) byDigest(ctx context.Context, addresses []string) error {
	err := r.tx.each(ctx, `SELECT id, sha256 FROM letters WHERE forgotten = ''`, nil, func(rows *sql.Rows) error {
		var id, sha string
		err := rows.Scan(&id, &sha)
		if r.is(ofLetter, sha) {
			r.found.letters = append(r.found.letters, id)
		}
		return err
	})
	if err != nil {
		return err
	}
	err = r.tx.each(ctx, `SELECT id, made FROM jobs WHERE forgotten = ''`, nil, func(rows *sql.Rows) error {
		var id, made string
		err := rows.Scan(&id, &made)
		if r.is(ofJob, id+" "+made) {
			r.found.jobs = append(r.found.jobs, id)
		}
		return err
	})
	if err != nil {
		return err
	}
	for _, letter := range r.found.letters {
		for _, a := range addresses {
			opened, err := r.tx.words(ctx, `SELECT id FROM jobs WHERE patron_address = ? AND id IN (SELECT job FROM job_letters WHERE letter = ?)`, a, letter)
			if err != nil {
				return err
			}
			r.found.jobs = append(r.found.jobs, opened...)
		}
	}
	return nil
}

// around adds the letters and drafts of the jobs found, and leaves each id once.
func (r *recall) around(ctx context.Context, _ []string) error {
	r.found.jobs = once(r.found.jobs)
	of := gathered{jobs: r.found.jobs}
	if len(of.jobs) > 0 {
		if err := r.tx.gatherOf(ctx, &of); err != nil {
			return err
		}
	}
	r.found.letters = once(append(r.found.letters, of.letters...))
	r.found.drafts = once(append(r.found.drafts, of.drafts...))
	return nil
}

func once(ids []string) []string {
	slices.Sort(ids)
	return slices.Compact(ids)
}

// endAll brings jobs to an end and takes back replies that have not left.
func (tx *Tx) endAll(ctx context.Context, g gathered) error {
	why := job.Say("history.forgotten-before", nil)
	for _, id := range g.jobs {
		if err := tx.end(ctx, job.ID(id), why); err != nil {
			return err
		}
	}
	for _, id := range g.drafts {
		d, err := tx.Draft(ctx, id)
		if err != nil {
			return err
		}
		if d.State == DraftApproved {
			if err := tx.moveDraft(ctx, d, DraftWaiting, Robot, why); err != nil {
				return err
			}
			d.State = DraftWaiting
		}
		if d.State != DraftWaiting && d.State != DraftFailed {
			continue
		}
		if err := tx.moveDraft(ctx, d, DraftSetAside, Robot, why); err != nil {
			return err
		}
	}
	return nil
}

// end moves a job to an end by lawful moves.
func (tx *Tx) end(ctx context.Context, id job.ID, why job.Message) error {
	for {
		j, err := tx.Job(ctx, id)
		if err != nil || j.Stage.Over() {
			return err
		}
		to := job.Failed // from the printer, and on from there
		for _, s := range []job.Stage{job.Lapsed, job.Withdrawn} {
			if job.MayGo(j.Stage, s) {
				to = s
				break
			}
		}
		if err := tx.MoveFor(ctx, id, to, "forgotten", Robot, why); err != nil {
			return err
		}
	}
}
