package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
)

// Report is what happened between two moments.
type Report struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`

	Letters  map[job.Disposition]int `json:"letters"` // taken, by what they were; duplicates left out
	Jobs     int                     `json:"jobs"`    // made
	Patrons  int                     `json:"patrons"` // who made them; exact within one month
	Stages   map[job.Stage]int       `json:"stages"`  // where those jobs stand now
	Refusals map[string]int          `json:"refusals"`

	Prints      int               `json:"prints"` // good ones
	Failures    int               `json:"failures"`
	Hours       float64           `json:"hours"` // of all prints, failed ones too
	Grams       float64           `json:"grams"`
	Income      map[string]string `json:"income"` // currency -> decimal
	ByPrinter   []Share           `json:"by_printer"`
	FirstAnswer Spread            `json:"first_answer"` // from a letter's arrival to the first reply that left
	TurnAround  Spread            `json:"turn_around"`  // from a letter's arrival to the part being ready
}

// Share is one printer's part of the work.
type Share struct {
	Printer string  `json:"printer"`
	Prints  int     `json:"prints"`
	Hours   float64 `json:"hours"`
	Grams   float64 `json:"grams"`
}

// Spread sums up lengths of time, in hours.
type Spread struct {
	N       int     `json:"n"`
	Median  float64 `json:"median_h"`
	Slowest float64 `json:"slowest_h"`
}

// Report sums up what happened at or after from and before to. For a month, give
// its first moment and that of the next in the library's time zone.
func (r Reader) Report(ctx context.Context, from, to time.Time) (Report, error) {
	rep := Report{From: from, To: to, Letters: map[job.Disposition]int{}, Stages: map[job.Stage]int{}, Refusals: map[string]int{}, Income: map[string]string{}}
	for _, part := range []func(context.Context, *Report) error{r.countLetters, r.countJobs, r.countRefusals, r.sumPrints, r.sumIncome, r.firstAnswers, r.turnArounds} {
		if err := part(ctx, &rep); err != nil {
			return Report{}, err
		}
	}
	return rep, nil
}

func (rep *Report) span() []any { return []any{stamp(rep.From), stamp(rep.To)} }

func (r Reader) countLetters(ctx context.Context, rep *Report) error {
	return r.each(ctx, `SELECT disposition, COUNT(*) FROM letters WHERE taken >= ? AND taken < ? AND state <> 'duplicate' GROUP BY disposition`, rep.span(), func(rows *sql.Rows) error {
		var d job.Disposition
		var n int
		err := rows.Scan(&d, &n)
		rep.Letters[d] = n
		return err
	})
}

func (r Reader) countJobs(ctx context.Context, rep *Report) error {
	err := r.each(ctx, `SELECT stage, COUNT(*) FROM jobs WHERE made >= ? AND made < ? GROUP BY stage`, rep.span(), func(rows *sql.Rows) error {
		var s job.Stage
		var n int
		err := rows.Scan(&s, &n)
		rep.Stages[s] = n
		rep.Jobs += n
		return err
	})
	if err != nil {
		return err
	}
	return r.l.plain(r.q.QueryRowContext(ctx, `SELECT COUNT(DISTINCT patron_ref) FROM jobs WHERE made >= ? AND made < ?`, rep.span()...).Scan(&rep.Patrons))
}

// countRefusals counts the jobs that were declined in the span, by reason.
func (r Reader) countRefusals(ctx context.Context, rep *Report) error {
	return r.each(ctx, `SELECT reason, COUNT(*) FROM jobs WHERE stage = 'declined' AND since >= ? AND since < ? GROUP BY reason`, rep.span(), func(rows *sql.Rows) error {
		var reason string
		var n int
		err := rows.Scan(&reason, &n)
		rep.Refusals[or(reason, "other")] = n
		return err
	})
}

func (r Reader) sumPrints(ctx context.Context, rep *Report) error {
	return r.each(ctx, `SELECT printer, COUNT(*), SUM(good), SUM(hours), SUM(grams) FROM prints WHERE at >= ? AND at < ? AND taken_back = '' GROUP BY printer ORDER BY printer`, rep.span(), func(rows *sql.Rows) error {
		var s Share
		var all int
		err := rows.Scan(&s.Printer, &all, &s.Prints, &s.Hours, &s.Grams)
		rep.Prints += s.Prints
		rep.Failures += all - s.Prints
		rep.Hours += s.Hours
		rep.Grams += s.Grams
		rep.ByPrinter = append(rep.ByPrinter, s)
		return err
	})
}

// sumIncome adds up money exactly, each currency by itself.
func (r Reader) sumIncome(ctx context.Context, rep *Report) error {
	paid, err := r.payments(ctx, `WHERE at >= ? AND at < ? AND taken_back = ''`, rep.span()...)
	if err != nil {
		return err
	}
	sums := map[string]currency.Amount{}
	for _, p := range paid {
		a, err := currency.NewAmount(p.Amount, p.Currency)
		if err != nil {
			return fmt.Errorf("the payment for job %s cannot be read back: %w", p.Job, err)
		}
		if sum, ok := sums[p.Currency]; ok {
			if a, err = sum.Add(a); err != nil {
				return err
			}
		}
		sums[p.Currency] = a
	}
	for code, sum := range sums {
		rep.Income[code] = sum.Number()
	}
	return nil
}

// firstAnswers measures from the arrival of the letter that opened a job to the
// end of the first send for it, for first answers within the span.
func (r Reader) firstAnswers(ctx context.Context, rep *Report) (err error) {
	rep.FirstAnswer, err = r.spread(ctx, `SELECT MIN(CASE WHEN l.received <> '' THEN l.received ELSE l.taken END), MIN(s.ended) FROM jobs j
		JOIN job_letters jl ON jl.job = j.id AND jl.role = 'opened' JOIN letters l ON l.id = jl.letter
		JOIN draft_jobs dj ON dj.job = j.id JOIN sends s ON s.draft = dj.draft AND s.outcome = 'sent'
		GROUP BY l.id HAVING MIN(s.ended) >= ? AND MIN(s.ended) < ?`, rep)
	return err
}

func (r Reader) turnArounds(ctx context.Context, rep *Report) (err error) {
	rep.TurnAround, err = r.spread(ctx, `SELECT MIN(CASE WHEN l.received <> '' THEN l.received ELSE l.taken END), MIN(e.at) FROM jobs j
		JOIN job_letters jl ON jl.job = j.id AND jl.role = 'opened' JOIN letters l ON l.id = jl.letter
		JOIN events e ON e.subject = j.id AND e.what = 'moved' AND e.to_state = 'ready'
		GROUP BY j.id HAVING MIN(e.at) >= ? AND MIN(e.at) < ?`, rep)
	return err
}

func (r Reader) spread(ctx context.Context, query string, rep *Report) (Spread, error) {
	var hours []float64
	err := r.each(ctx, query, rep.span(), func(rows *sql.Rows) error {
		var from, to time.Time
		err := rows.Scan(stamped{&from}, stamped{&to})
		hours = append(hours, max(0, to.Sub(from).Hours()))
		return err
	})
	if err != nil || len(hours) == 0 {
		return Spread{}, err
	}
	slices.Sort(hours)
	n := len(hours)
	return Spread{N: n, Median: (hours[(n-1)/2] + hours[n/2]) / 2, Slowest: hours[n-1]}, nil
}
