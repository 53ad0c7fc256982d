package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// Forgotten counts what was blanked. Figures stay: stages, times, hours, grams,
// money, and how many patrons there were.
type Forgotten struct {
	Letters    int `json:"letters"`
	Jobs       int `json:"jobs"`
	Drafts     int `json:"drafts"`
	Agreements int `json:"agreements"`
}

func (f Forgotten) args() job.Args {
	return job.Args{"letters": f.Letters, "jobs": f.Jobs, "drafts": f.Drafts, "agreements": f.Agreements}
}

// OpenJobsError refuses to forget somebody whose jobs are not at their end.
type OpenJobsError struct{ Jobs []string }

func (e *OpenJobsError) Error() string {
	return fmt.Sprintf("%s not finished yet; decline or finish first, then forget", isOrAre(e.Jobs))
}

func isOrAre(ids []string) string {
	if len(ids) == 1 {
		return "job " + ids[0] + " is"
	}
	return "jobs " + strings.Join(ids, ", ") + " are"
}

// ForgetAddress blanks everything personal about an address: its letters, jobs
// and drafts with their files, and its agreements. The hash of a letter stays, so
// that the copy in the mailbox is not taken in again. Backups are not touched;
// when one is restored, the list of what was forgotten sees to it that this is
// forgotten again.
func (l *Ledger) ForgetAddress(ctx context.Context, address, who string) (Forgotten, error) {
	done, err := in(ctx, l, func(tx *Tx) (Forgotten, error) { return tx.forget(ctx, address, who) })
	if err != nil {
		return Forgotten{}, err
	}
	return done, l.emptyLog(ctx)
}

func (tx *Tx) forget(ctx context.Context, address, who string) (Forgotten, error) {
	address = agreement.Normal(address)
	if address == "" {
		return Forgotten{}, fmt.Errorf("name the address to forget")
	}
	open, err := tx.words(ctx, `SELECT id FROM jobs WHERE patron_address = ? AND stage IN (`+marks(len(openStages()))+`) ORDER BY id`,
		append([]any{address}, anys(openStages())...)...)
	if err != nil {
		return Forgotten{}, err
	}
	if len(open) > 0 {
		return Forgotten{}, &OpenJobsError{open}
	}
	g, err := tx.gather(ctx, address)
	if err != nil {
		return Forgotten{}, err
	}
	done, err := tx.blank(ctx, g)
	if err != nil {
		return Forgotten{}, err
	}
	if done.Agreements, err = tx.dropAgreements(ctx, address); err != nil {
		return Forgotten{}, err
	}
	why := job.Say("history.forgotten", done.args())
	if err := tx.event(ctx, Event{Who: who, Subject: "ledger", What: "forgotten", Why: why}); err != nil {
		return Forgotten{}, err
	}
	return done, tx.remember(ctx, "forgotten", address, g)
}

// emptyLog brings the write-ahead log into the database and cuts it off: the old
// words are in it until then. Where somebody reads for long, the log is written
// over later.
func (l *Ledger) emptyLog(ctx context.Context) error {
	var busy, pages, moved int
	err := l.write.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &pages, &moved)
	if err == nil && busy != 0 {
		l.log.WarnContext(ctx, "the ledger is being read; what was forgotten leaves the log file with the next checkpoint")
	}
	return l.plain(err)
}

// gathered are the ids of everything about somebody.
type gathered struct{ letters, jobs, drafts []string }

// gather finds what an address has to do with. Letters of others in its jobs,
// and copies of its letters, belong to it too.
func (r Reader) gather(ctx context.Context, address string) (g gathered, err error) {
	if g.jobs, err = r.words(ctx, `SELECT id FROM jobs WHERE patron_address = ? ORDER BY id`, address); err != nil {
		return g, err
	}
	if g.letters, err = r.words(ctx, `SELECT id FROM letters WHERE from_address = ?
		OR id IN (SELECT letter FROM job_letters WHERE job IN (SELECT id FROM jobs WHERE patron_address = ?))
		OR duplicate_of IN (SELECT id FROM letters WHERE from_address = ?) ORDER BY id`, address, address, address); err != nil {
		return g, err
	}
	unread, err := r.unreadFrom(ctx, func(a string) bool { return a == address })
	if err != nil {
		return g, err
	}
	g.letters = slices.Compact(slices.Sorted(slices.Values(slices.Concat(g.letters, unread))))
	g.drafts, err = r.words(ctx, `SELECT id FROM drafts WHERE to_address = ?
		OR id IN (SELECT draft FROM draft_jobs WHERE job IN (SELECT id FROM jobs WHERE patron_address = ?))
		OR letter IN (SELECT id FROM letters WHERE from_address = ?) ORDER BY id`, address, address, address)
	return g, err
}

// blank takes everything personal out of letters, jobs and drafts.
func (tx *Tx) blank(ctx context.Context, g gathered) (Forgotten, error) {
	for _, id := range g.letters {
		if err := tx.blankLetter(ctx, id); err != nil {
			return Forgotten{}, err
		}
	}
	for _, id := range g.jobs {
		if err := tx.blankJob(ctx, job.ID(id)); err != nil {
			return Forgotten{}, err
		}
	}
	for _, id := range g.drafts {
		if err := tx.blankDraft(ctx, id); err != nil {
			return Forgotten{}, err
		}
	}
	threads, err := tx.emptied(ctx, g.jobs)
	if err != nil {
		return Forgotten{}, err
	}
	for _, id := range slices.Concat(g.letters, g.jobs, g.drafts, threads) {
		if err := tx.blankTraces(ctx, id); err != nil {
			return Forgotten{}, err
		}
	}
	return Forgotten{Letters: len(g.letters), Jobs: len(g.jobs), Drafts: len(g.drafts)}, nil
}

// emptied are the conversations of jobs in which nobody's job is left.
func (tx *Tx) emptied(ctx context.Context, jobs []string) ([]string, error) {
	if len(jobs) == 0 {
		return nil, nil
	}
	return tx.words(ctx, `SELECT DISTINCT thread FROM jobs WHERE id IN (`+marks(len(jobs))+`)
		AND NOT EXISTS (SELECT 1 FROM jobs o WHERE o.thread = jobs.thread AND o.forgotten = '')`, anys(jobs)...)
}

func (tx *Tx) blankLetter(ctx context.Context, id string) error {
	if err := tx.free(ctx, `SELECT raw FROM letters WHERE id = ? AND raw IS NOT NULL UNION SELECT blob FROM letter_files WHERE letter = ?`, id, id); err != nil {
		return err
	}
	if err := tx.exec(ctx, `DELETE FROM letter_files WHERE letter = ?`, id); err != nil {
		return err
	}
	return tx.exec(ctx, `UPDATE letters SET raw = NULL, message_id = '', from_address = '', from_name = '', subject = '', doc = '', why = '', forgotten = ? WHERE id = ?`, stamp(tx.now), id)
}

func (tx *Tx) blankJob(ctx context.Context, id job.ID) error {
	j, err := tx.Job(ctx, id)
	if err != nil {
		return err
	}
	if err := tx.free(ctx, `SELECT blob FROM jobs WHERE id = ? AND blob IS NOT NULL`, string(id)); err != nil {
		return err
	}
	doc, err := json.Marshal(job.Job{ID: j.ID, Language: j.Language, Auth: j.Auth, Settings: j.Settings})
	if err != nil {
		return err
	}
	return tx.exec(ctx, `UPDATE jobs SET patron_address = '', patron_name = '', blob = NULL, file = '', phone = '', card = '', needed_by = '', doc = ?, report = '', forgotten = ? WHERE id = ?`,
		string(doc), stamp(tx.now), string(id))
}

func (tx *Tx) blankDraft(ctx context.Context, id string) error {
	if err := tx.free(ctx, `SELECT blob FROM drafts WHERE id = ? AND blob IS NOT NULL`, id); err != nil {
		return err
	}
	if err := tx.exec(ctx, `DELETE FROM draft_message_ids WHERE draft = ?`, id); err != nil {
		return err
	}
	if err := tx.exec(ctx, `UPDATE sends SET words = '' WHERE draft = ?`, id); err != nil {
		return err
	}
	if err := tx.exec(ctx, `UPDATE folder_moves SET why = '' WHERE draft = ?`, id); err != nil {
		return err
	}
	return tx.exec(ctx, `UPDATE drafts SET blob = NULL, to_address = '', to_name = '', subject = '', message_id = '', doc = '', why = '', addressed_before = '' WHERE id = ?`, id)
}

// blankTraces takes a person's words out of what was said about something, and
// drops the work still planned for it. Who is at that work loses the lease, so
// that no results come after.
func (tx *Tx) blankTraces(ctx context.Context, subject string) error {
	if err := tx.exec(ctx, `UPDATE events SET why = '' WHERE subject = ? AND why <> ''`, subject); err != nil {
		return err
	}
	if err := tx.exec(ctx, `UPDATE steps SET last_error = '', again = 0, lease_owner = '', lease_until = '', state = 'done',
			ended = CASE WHEN ended = '' THEN ? ELSE ended END WHERE subject = ?`, stamp(tx.now), subject); err != nil {
		return err
	}
	if err := tx.unfold(ctx, subject); err != nil {
		return err
	}
	return tx.exec(ctx, `UPDATE notices SET text = '', state = 'done', done = CASE WHEN done = '' THEN ? ELSE done END WHERE subject = ?`, stamp(tx.now), subject)
}

// free notes blobs that may have lost their last user once the transaction commits.
func (tx *Tx) free(ctx context.Context, query string, args ...any) error {
	shas, err := tx.words(ctx, query, args...)
	tx.freed = append(tx.freed, shas...)
	return err
}

// dropAgreements removes the entries whose first address it is, and the address
// from entries of others.
func (tx *Tx) dropAgreements(ctx context.Context, address string) (int, error) {
	return tx.dropAgreementsBefore(ctx, address, stamp(tx.now))
}

// dropAgreementsBefore is dropAgreements for entries as old as a stamp.
func (tx *Tx) dropAgreementsBefore(ctx context.Context, address, at string) (int, error) {
	n, err := tx.changed(ctx, `DELETE FROM agreements WHERE address = ? AND changed <= ?`, address, at)
	if err != nil {
		return 0, err
	}
	return int(n), tx.exec(ctx, `DELETE FROM agreement_addresses WHERE address = ? AND agreement IN (SELECT id FROM agreements WHERE changed <= ?)`, address, at)
}

// expireBatch bounds how much one transaction of Expire blanks.
const expireBatch = 50

// Expire blanks, as ForgetAddress does, the jobs that ended before that moment
// with their drafts and letters, and the letters of that age that never made a
// job, those set aside among them. Agreements stay.
func (l *Ledger) Expire(ctx context.Context, before time.Time, who string) (Forgotten, error) {
	var total Forgotten
	for {
		done, err := in(ctx, l, func(tx *Tx) (Forgotten, error) { return tx.expire(ctx, before, who) })
		if err != nil {
			return total, err
		}
		if done == (Forgotten{}) {
			break
		}
		total.Letters += done.Letters
		total.Jobs += done.Jobs
		total.Drafts += done.Drafts
	}
	if total == (Forgotten{}) {
		return total, nil
	}
	return total, l.emptyLog(ctx)
}

func (tx *Tx) expire(ctx context.Context, before time.Time, who string) (Forgotten, error) {
	var g gathered
	var err error
	at := stamp(before)
	over := slices.DeleteFunc(job.Stages(), func(s job.Stage) bool { return !s.Over() })
	g.jobs, err = tx.words(ctx, `SELECT id FROM jobs WHERE forgotten = '' AND since < ? AND stage IN (`+marks(len(over))+`) ORDER BY id LIMIT ?`,
		append(append([]any{at}, anys(over)...), expireBatch)...)
	if err != nil {
		return Forgotten{}, err
	}
	if len(g.jobs) > 0 {
		if err := tx.gatherOf(ctx, &g); err != nil {
			return Forgotten{}, err
		}
	} else {
		g.letters, err = tx.words(ctx, `SELECT id FROM letters WHERE forgotten = '' AND taken < ? AND state IN ('read', 'done', 'left-alone', 'set-aside', 'duplicate')
			AND NOT EXISTS (SELECT 1 FROM job_letters WHERE letter = letters.id)
			AND NOT EXISTS (SELECT 1 FROM steps WHERE subject = letters.id AND steps.state IN ('waiting', 'leased')) ORDER BY id LIMIT ?`, at, expireBatch)
		if err != nil {
			return Forgotten{}, err
		}
	}
	if len(g.jobs)+len(g.letters) == 0 {
		return Forgotten{}, nil
	}
	done, err := tx.blank(ctx, g)
	if err != nil {
		return Forgotten{}, err
	}
	err = tx.event(ctx, Event{Who: who, Subject: "ledger", What: "expired", Why: job.Say("history.expired", job.Args{"letters": done.Letters, "jobs": done.Jobs, "drafts": done.Drafts})})
	if err != nil {
		return Forgotten{}, err
	}
	return done, tx.remember(ctx, "expired", "", g)
}

// gatherOf adds the drafts of the jobs, and those letters all of whose jobs are
// among them or were blanked before.
func (tx *Tx) gatherOf(ctx context.Context, g *gathered) (err error) {
	m, args := marks(len(g.jobs)), anys(g.jobs)
	g.letters, err = tx.words(ctx, `SELECT DISTINCT letter FROM job_letters WHERE job IN (`+m+`) AND NOT EXISTS
		(SELECT 1 FROM job_letters o JOIN jobs j ON j.id = o.job WHERE o.letter = job_letters.letter AND j.forgotten = '' AND j.id NOT IN (`+m+`))`, append(args, args...)...)
	if err != nil {
		return err
	}
	g.drafts, err = tx.words(ctx, `SELECT DISTINCT draft FROM draft_jobs WHERE job IN (`+m+`) AND NOT EXISTS
		(SELECT 1 FROM draft_jobs o JOIN jobs j ON j.id = o.job WHERE o.draft = draft_jobs.draft AND j.forgotten = '' AND j.id NOT IN (`+m+`))`, append(args, args...)...)
	return err
}
