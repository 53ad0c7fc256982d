package ledger

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"time"

	"meshclerk/intake/job"
)

// AuditEntry is one thing that was done to a reply, as the history and the approvals
// hold it: neither is ever changed. Kind, To and Subject are the reply's own as
// it stands now, blank once the patron is forgotten.
type AuditEntry struct {
	Seq     int64       `json:"seq"`
	At      time.Time   `json:"at"`
	Who     string      `json:"who"`
	What    string      `json:"what"` // "approved", "sent", "set-aside" …
	Why     job.Message `json:"why,omitzero"`
	Draft   string      `json:"draft"`
	Kind    string      `json:"kind"`
	To      job.Address `json:"to"`
	Subject string      `json:"subject"`
	SHA256  string      `json:"sha256,omitempty"` // of the bytes that were approved, for an approval
}

// AuditedActs lists what may be done to a reply, of which AuditFilter.What chooses.
func AuditedActs() []string {
	return []string{"approved", "sent", "set-aside", "waiting", "edited", "failed", "uncertain"}
}

// AuditFilter chooses entries. A zero field chooses all.
type AuditFilter struct {
	What   []string // of AuditedActs
	Who    string
	Since  time.Time
	Until  time.Time // done at or after Since and before Until
	Before int64     // older than this Seq, for the next page
	Limit  int       // 0 is all
}

// Audit gives what was done to replies, the latest first.
func (r Reader) Audit(ctx context.Context, f AuditFilter) ([]AuditEntry, error) {
	what := f.What
	if len(what) == 0 {
		what = AuditedActs()
	}
	// One kind at a time: the index holds each in order, so that of a long
	// history only the newest few are read.
	var out []AuditEntry
	for _, kind := range what {
		some, err := r.audit(ctx, kind, f)
		if err != nil {
			return nil, err
		}
		out = append(out, some...)
	}
	slices.SortFunc(out, func(a, b AuditEntry) int { return cmp.Compare(b.Seq, a.Seq) })
	if f.Limit > 0 && len(out) > f.Limit {
		out = out[:f.Limit]
	}
	return out, nil
}

func (r Reader) audit(ctx context.Context, kind string, f AuditFilter) ([]AuditEntry, error) {
	c := &clause{}
	c.is("e.what", kind)
	c.is("e.who", f.Who)
	if !f.Since.IsZero() {
		c.add("e.at >= ?", stamp(f.Since))
	}
	if !f.Until.IsZero() {
		c.add("e.at < ?", stamp(f.Until))
	}
	if f.Before > 0 {
		c.add("e.seq < ?", f.Before)
	}
	query := `SELECT e.seq, e.at, e.who, e.what, e.why, d.id, d.kind, d.to_address, d.to_name, d.subject, COALESCE(a.sha256, '')
		FROM events e JOIN drafts d ON d.id = e.subject
		LEFT JOIN approvals a ON e.what = 'approved' AND a.draft = e.subject AND a.at = e.at AND a.approved_by = e.who` + c.String() + ` ORDER BY e.at DESC, e.seq DESC`
	if f.Limit > 0 {
		query += ` LIMIT ?`
		c.args = append(c.args, f.Limit)
	}
	var out []AuditEntry
	err := r.each(ctx, query, c.args, func(rows *sql.Rows) error {
		var d AuditEntry
		err := rows.Scan(&d.Seq, stamped{&d.At}, &d.Who, &d.What, kept{&d.Why}, &d.Draft, &d.Kind, &d.To.Address, &d.To.Name, &d.Subject, &d.SHA256)
		out = append(out, d)
		return err
	})
	return out, err
}

// Approvers lists who ever approved a reply, sorted by name.
func (r Reader) Approvers(ctx context.Context) ([]string, error) {
	return r.words(ctx, `SELECT DISTINCT approved_by FROM approvals ORDER BY approved_by`)
}
