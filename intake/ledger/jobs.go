package ledger

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"meshclerk/intake/job"
)

// Roles of a letter in a job.
const (
	RoleOpened = "opened" // the job came with it
	RoleAnswer = "answer"
	// RoleGuardian is an answer of somebody who speaks for the patron, such as a
	// parent: a person made sure of it.
	RoleGuardian = "guardian"
)

const (
	jobPrefix = "LP" // job numbers are LP-000042
)

// NewJob records a job in stage taken, opened by a letter ("" for none), and
// gives it back with its id, its thread (a fresh one unless j names one) and
// the time it was made.
func (tx *Tx) NewJob(ctx context.Context, j job.Job, letter, who string, why job.Message) (job.Job, error) {
	n, err := tx.next(ctx, "job")
	if err != nil {
		return job.Job{}, err
	}
	j.ID, j.Stage, j.Made = job.ID(fmt.Sprintf("%s-%06d", jobPrefix, n)), job.Taken, tx.now
	if j.Thread == "" {
		j.Thread = NewThread()
	}
	ref, err := tx.patronRef(ctx, j)
	if err != nil {
		return job.Job{}, err
	}
	err = tx.exec(ctx, `INSERT INTO jobs (id, stage, since, thread, made, changed, patron_address, patron_name, patron_ref, file, doc) VALUES (?, ?, ?, ?, ?, ?, '', '', ?, '', '{}')`,
		string(j.ID), string(j.Stage), stamp(tx.now), j.Thread, stamp(tx.now), stamp(tx.now), ref)
	if err != nil {
		return job.Job{}, err
	}
	if err := tx.writeJob(ctx, j); err != nil {
		return job.Job{}, err
	}
	if err := tx.event(ctx, Event{Who: who, Subject: string(j.ID), What: whatMade, To: string(j.Stage), Why: why}); err != nil {
		return job.Job{}, err
	}
	if letter != "" {
		err = tx.Link(ctx, j.ID, letter, RoleOpened)
	}
	return j, err
}

// NewThread makes a token that nobody can guess and anybody can type: 12
// characters of 5 bits each, without those that are taken for one another.
func NewThread() string {
	const alphabet = "0123456789abcdefghjkmnpqrstvwxyz"
	b := make([]byte, threadLen)
	rand.Read(b) // never fails: crypto/rand
	for i := range b {
		b[i] = alphabet[b[i]%32]
	}
	return string(b)
}

const threadLen = 12

// patronRef gives a random word that stands for the patron within one month, so
// that the number of patrons can still be counted when their addresses are gone.
func (tx *Tx) patronRef(ctx context.Context, j job.Job) (string, error) {
	known, err := tx.words(ctx, `SELECT patron_ref FROM jobs WHERE patron_address = ? AND patron_address <> '' AND made >= ? LIMIT 1`,
		j.Patron.Address, stamp(j.Made)[:len("2006-01")])
	if err != nil || len(known) > 0 {
		return strings.Join(known, ""), err
	}
	return rand.Text()[:16], nil
}

// Link ties a letter to a job.
func (tx *Tx) Link(ctx context.Context, id job.ID, letter, role string) error {
	return tx.exec(ctx, `INSERT INTO job_letters (job, letter, role, at) VALUES (?, ?, ?, ?) ON CONFLICT (job, letter) DO NOTHING`,
		string(id), letter, role, stamp(tx.now))
}

// SpeaksFor records that who wrote a letter speaks for the patron of a job from now on.
func (tx *Tx) SpeaksFor(ctx context.Context, id job.ID, letter, who string, why job.Message) error {
	if err := tx.exec(ctx, `UPDATE job_letters SET role = ? WHERE job = ? AND letter = ?`, RoleGuardian, string(id), letter); err != nil {
		return err
	}
	return tx.Note(ctx, string(id), RoleGuardian, who, why)
}

// Guardians are the addresses of those who speak for the patrons of a conversation.
func (r Reader) Guardians(ctx context.Context, thread string) ([]string, error) {
	return r.words(ctx, `SELECT DISTINCT l.from_address FROM letters l JOIN job_letters jl ON jl.letter = l.id JOIN jobs j ON j.id = jl.job
		WHERE j.thread = ? AND jl.role = ? AND l.from_address <> ''`, thread, RoleGuardian)
}

// SaveJob records everything of a job but its id, stage, thread and time, which
// it leaves as they are. Read the job in the same transaction, or what another
// changed meanwhile is lost.
func (tx *Tx) SaveJob(ctx context.Context, j job.Job, who string, why job.Message) error {
	old, err := tx.Job(ctx, j.ID)
	if err != nil {
		return err
	}
	what := differences(old, j)
	if len(what) == 0 {
		return nil
	}
	if err := tx.writeJob(ctx, j); err != nil {
		return err
	}
	return tx.event(ctx, Event{Who: who, Subject: string(j.ID), What: "changed", Why: changed(why, what)})
}

func (tx *Tx) writeJob(ctx context.Context, j job.Job) error {
	report := ""
	if j.Report != nil {
		b, err := json.Marshal(j.Report)
		if err != nil {
			return err
		}
		report = string(b)
	}
	lean := j
	lean.Report = nil // has a column of its own, which lists need not read
	doc, err := json.Marshal(lean)
	if err != nil {
		return err
	}
	terms, err := termsOf(j)
	if err != nil {
		return err
	}
	f := factsOf(j)
	var before sql.NullString
	if err := tx.q.QueryRowContext(ctx, `SELECT blob FROM jobs WHERE id = ?`, string(j.ID)).Scan(&before); err != nil {
		return err
	}
	if before.String != j.Blob && before.String != "" {
		tx.freed = append(tx.freed, before.String)
	}
	return tx.exec(ctx, `UPDATE jobs SET changed = ?, patron_address = ?, patron_name = ?, blob = ?, file = ?, printer = ?, material = ?, colour = ?, copies = ?,
			needed_by = ?, pickup = ?, phone = ?, card = ?, agreement_state = ?, auth = ?, print_time_s = ?, mass_g = ?, total = ?, currency = ?, doc = ?, report = ?, terms = ? WHERE id = ?`,
		stamp(tx.now), j.Patron.Address, j.Patron.Name, orNull(j.Blob), j.File, f.printer, f.material, f.colour, f.copies,
		j.Wishes.NeededBy, j.Wishes.Pickup, j.Wishes.Phone, j.Wishes.Card, f.agreement, string(j.Auth), f.timeS, f.massG, f.total, f.currency, string(doc), report, terms, string(j.ID))
}

// facts are what lists and sums read without the whole job.
type facts struct {
	printer, material, colour string
	copies                    int
	agreement                 string
	timeS, massG              float64
	total, currency           string
}

func factsOf(j job.Job) facts {
	f := facts{printer: j.Settings.Printer, material: j.Settings.Material, colour: j.Settings.Colour, copies: j.Asked().Copies}
	if j.Agreement != nil {
		f.agreement = string(j.Agreement.State)
	}
	if j.Report == nil {
		return f
	}
	if e := j.Report.Estimate; e != nil {
		f.timeS, f.massG = e.PrintTimeS, e.MassG
		if f.printer == "" {
			f.printer = e.Printer
		}
		if f.material == "" {
			f.material = e.Material
		}
	}
	if q := j.Report.Quote; q != nil {
		f.total, f.currency = q.Total, q.Currency
	}
	return f
}

// differences names what changed, without a patron's words: it goes into the history.
func changed(why job.Message, what []job.Message) job.Message {
	if why.IsZero() {
		return job.Say("history.changed", job.Args{"what": what})
	}
	return job.Say("history.changed-since", job.Args{"why": why, "what": what})
}

func differences(a, b job.Job) []job.Message {
	var out []job.Message
	add := func(name string, x, y any) {
		p, _ := json.Marshal(x)
		q, _ := json.Marshal(y)
		if string(p) != string(q) {
			out = append(out, job.Say("history.part."+name, nil))
		}
	}
	add("patron", a.Patron, b.Patron)
	add("language", a.Language, b.Language)
	add("sender-check", a.Auth, b.Auth)
	add("file", []any{a.File, a.Blob, a.Pieces, a.JoinedTo}, []any{b.File, b.Blob, b.Pieces, b.JoinedTo})
	add("wishes", a.Wishes, b.Wishes)
	add("settings", a.Settings, b.Settings)
	add("agreement", a.Agreement, b.Agreement)
	before, after := factsOf(a), factsOf(b)
	add("report", a.Report, b.Report)
	if before.total != "" && after.total != "" && before.total != after.total {
		out = append(out, job.Say("history.part.price", job.Args{"before": before.total, "after": after.total}))
	}
	return out
}

// Move brings a job to another stage, where package job allows it.
func (tx *Tx) Move(ctx context.Context, id job.ID, to job.Stage, who string, why job.Message) error {
	return tx.MoveFor(ctx, id, to, "", who, why)
}

// MoveFor is Move with a reason in one word for the monthly report, such as a
// finding's code. Without one, a job that ends is counted under the first
// finding that stops it.
func (tx *Tx) MoveFor(ctx context.Context, id job.ID, to job.Stage, reason, who string, why job.Message) error {
	j, err := tx.Job(ctx, id)
	if err != nil {
		return err
	}
	if !job.MayGo(j.Stage, to) {
		return &StageError{id, j.Stage, to}
	}
	if endsYes(j.Stage, to) {
		if err := tx.VoidYes(ctx, id, why); err != nil {
			return err
		}
	}
	if reason == "" && to == job.Declined {
		reason = stopOf(j)
	}
	err = tx.exec(ctx, `UPDATE jobs SET stage = ?, since = ?, changed = ?, reason = ? WHERE id = ?`, string(to), stamp(tx.now), stamp(tx.now), reason, string(id))
	if err != nil {
		return err
	}
	return tx.event(ctx, Event{Who: who, Subject: string(id), What: whatMoved, From: string(j.Stage), To: string(to), Why: why})
}

// endsYes reports whether a move takes back what was agreed: the job ends without a
// print, or leaves the print list.
func endsYes(from, to job.Stage) bool {
	switch to {
	case job.Declined, job.Withdrawn, job.Lapsed:
		return from != job.Ready
	case job.Taken, job.Checked:
		return from == job.Agreed || from == job.Failed
	}
	return false
}

func stopOf(j job.Job) string {
	if j.Report != nil {
		for _, f := range j.Report.Findings {
			if f.Level == job.Stop {
				return f.Code
			}
		}
	}
	return ""
}

// Job gives one job, whole.
func (r Reader) Job(ctx context.Context, id job.ID) (job.Job, error) {
	list, err := r.jobs(ctx, `WHERE id = ?`, string(id))
	if err == nil && len(list) == 0 {
		err = notFound("job", string(id))
	}
	if err != nil {
		return job.Job{}, err
	}
	return list[0], nil
}

// JobsOf gives the jobs a letter is tied to, whole, in the order they were made.
func (r Reader) JobsOf(ctx context.Context, letter string) ([]job.Job, error) {
	jobs, err := r.jobs(ctx, `WHERE id IN (SELECT job FROM job_letters WHERE letter = ?) ORDER BY made, id`, letter)
	return unjoined(jobs), err
}

// JobsIn gives the jobs of a conversation, whole, in the order they were made, but for
// those that were joined to another.
func (r Reader) JobsIn(ctx context.Context, thread string) ([]job.Job, error) {
	jobs, err := r.jobs(ctx, `WHERE thread = ? ORDER BY made, id`, thread)
	return unjoined(jobs), err
}

func unjoined(jobs []job.Job) []job.Job {
	return slices.DeleteFunc(jobs, func(j job.Job) bool { return j.JoinedTo != "" })
}

func (r Reader) jobs(ctx context.Context, where string, args ...any) ([]job.Job, error) {
	var out []job.Job
	err := r.each(ctx, `SELECT id, stage, thread, made, doc, report FROM jobs `+where, args, func(rows *sql.Rows) error {
		var j job.Job
		var id, stage, thread, doc, report string
		made := j.Made
		if err := rows.Scan(&id, &stage, &thread, stamped{&made}, &doc, &report); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(doc), &j); err != nil {
			return fmt.Errorf("job %s cannot be read back: %w", id, err)
		}
		j.ID, j.Stage, j.Thread, j.Made = job.ID(id), job.Stage(stage), thread, made
		if report != "" {
			j.Report = new(job.Report)
			if err := json.Unmarshal([]byte(report), j.Report); err != nil {
				return fmt.Errorf("the report of job %s cannot be read back: %w", id, err)
			}
		}
		out = append(out, j)
		return nil
	})
	return out, err
}
