package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
)

// Row is one job as a list shows it.
type Row struct {
	ID         job.ID             `json:"id"`
	Stage      job.Stage          `json:"stage"`
	Since      time.Time          `json:"since"` // in this stage
	Made       time.Time          `json:"made"`
	Changed    time.Time          `json:"changed"`
	Thread     string             `json:"thread"`
	Patron     job.Address        `json:"patron"`
	File       string             `json:"file"`
	Blob       string             `json:"blob"`
	Printer    string             `json:"printer"`
	Material   string             `json:"material"`
	Colour     string             `json:"colour"`
	Copies     int                `json:"copies"`
	NeededBy   string             `json:"needed_by"`
	Pickup     string             `json:"pickup"`
	Phone      string             `json:"phone"`
	Agreement  job.AgreementState `json:"agreement"`
	Auth       job.Verdict        `json:"authenticated"`
	PrintTimeS float64            `json:"print_time_s"`
	MassG      float64            `json:"mass_g"`
	Total      string             `json:"total"`
	Currency   string             `json:"currency"`
	Reason     string             `json:"reason,omitempty"`
}

// Filter chooses jobs. A zero field chooses all.
type Filter struct {
	Stages  []job.Stage
	Open    bool // not at their end
	Patron  string
	Thread  string
	Printer string
	Pickup  string
	Text    string // words in any order, each in the id, the file's or the patron's name, the address, branch, printer or colour
	Since   time.Time
	Until   time.Time // made at or after Since and before Until

	Sort   string // "made" (the default), "changed", "since", "needed", "stage", "patron", "printer", "time"
	Down   bool   // the largest first
	Limit  int    // 0 is all
	Offset int
}

// sorts are the orders a list may have.
var sorts = map[string]string{
	"": "made", "made": "made", "changed": "changed", "since": "since",
	"needed": "CASE WHEN needed_by = '' THEN '9999' ELSE needed_by END", // no wish comes last
	"stage":  stageOrder(), "patron": "patron_address", "printer": "printer", "time": "print_time_s",
}

func stageOrder() string {
	var b strings.Builder
	b.WriteString("CASE stage")
	for i, s := range job.Stages() {
		fmt.Fprintf(&b, " WHEN '%s' THEN %d", s, i)
	}
	b.WriteString(" END")
	return b.String()
}

// SortNames lists what Filter.Sort may be.
func SortNames() []string {
	var out []string
	for name := range sorts {
		if name != "" {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// clause is a WHERE that is put together piece by piece.
type clause struct {
	parts []string
	args  []any
}

func (c *clause) add(part string, args ...any) {
	c.parts = append(c.parts, part)
	c.args = append(c.args, args...)
}

func (c *clause) in(column string, words []any) {
	if len(words) > 0 {
		c.add(column+" IN ("+marks(len(words))+")", words...)
	}
}

func (c *clause) is(column, word string) {
	if word != "" {
		c.add(column+" = ?", word)
	}
}

func (c *clause) String() string {
	if len(c.parts) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(c.parts, " AND ")
}

func (f Filter) clause() *clause {
	c := &clause{}
	c.in("stage", anys(f.Stages))
	if f.Open {
		c.in("stage", anys(openStages()))
	}
	c.is("patron_address", strings.ToLower(f.Patron))
	c.is("thread", f.Thread)
	c.is("printer", f.Printer)
	c.is("pickup", f.Pickup)
	if f.Text != "" {
		c.add(hasWords+`(?, id || ' ' || file || ' ' || patron_name || ' ' || patron_address || ' ' || pickup || ' ' || printer || ' ' || colour)`, searched(f.Text))
	}
	if !f.Since.IsZero() {
		c.add("made >= ?", stamp(f.Since))
	}
	if !f.Until.IsZero() {
		c.add("made < ?", stamp(f.Until))
	}
	return c
}

func openStages() []job.Stage {
	return slices.DeleteFunc(job.Stages(), job.Stage.Over)
}

// Jobs lists jobs as rows, without reading their reports.
func (r Reader) Jobs(ctx context.Context, f Filter) ([]Row, error) {
	by, ok := sorts[f.Sort]
	if !ok {
		return nil, fmt.Errorf("cannot sort by %q; there are %s", f.Sort, strings.Join(SortNames(), ", "))
	}
	down := ""
	if f.Down {
		down = " DESC"
	}
	c := f.clause()
	query := `SELECT id, stage, since, made, changed, thread, patron_address, patron_name, file, COALESCE(blob, ''), printer, material, colour, copies,
		needed_by, pickup, phone, agreement_state, auth, print_time_s, mass_g, total, currency, reason FROM jobs` + c.String() +
		` ORDER BY ` + by + down + `, id` + down
	if f.Limit > 0 {
		query += ` LIMIT ? OFFSET ?`
		c.args = append(c.args, f.Limit, f.Offset)
	}
	out := make([]Row, 0, min(max(f.Limit, 0), 1000))
	err := r.each(ctx, query, c.args, func(rows *sql.Rows) error {
		var w Row
		err := rows.Scan(&w.ID, &w.Stage, stamped{&w.Since}, stamped{&w.Made}, stamped{&w.Changed}, &w.Thread, &w.Patron.Address, &w.Patron.Name, &w.File, &w.Blob,
			&w.Printer, &w.Material, &w.Colour, &w.Copies, &w.NeededBy, &w.Pickup, &w.Phone, &w.Agreement, &w.Auth, &w.PrintTimeS, &w.MassG, &w.Total, &w.Currency, &w.Reason)
		out = append(out, w)
		return err
	})
	return out, err
}

// CountByStage tells how many jobs stand in each stage.
func (r Reader) CountByStage(ctx context.Context) (map[job.Stage]int, error) {
	out := map[job.Stage]int{}
	err := r.each(ctx, `SELECT stage, COUNT(*) FROM jobs GROUP BY stage`, nil, func(rows *sql.Rows) error {
		var s job.Stage
		var n int
		err := rows.Scan(&s, &n)
		out[s] = n
		return err
	})
	return out, err
}
