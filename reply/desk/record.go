package desk

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"meshclerk/intake/ledger"
)

// recordView is who did what to which reply, the latest first.
type recordView struct {
	Entries    []ledger.AuditEntry
	What, Who  string
	Whats      []string
	Actors     []string
	Since      string // YYYY-MM-DD, at the library's clock
	Until      string // the last day
	Older      string // the address of the next page, or ""
	Restricted bool   // something is left out
}

// recordPage lists approvals, sends and all else that was done to replies.
func (d *Desk) recordPage(w http.ResponseWriter, r *http.Request, who personal) error {
	q := r.URL.Query()
	zone := d.localizer(r).zone
	v := recordView{Whats: ledger.AuditedActs(), What: q.Get("what"), Who: oneLine(q.Get("who"), 80)}
	f := ledger.AuditFilter{Who: v.Who, Limit: perPage + 1}
	if slices.Contains(v.Whats, v.What) {
		f.What = []string{v.What}
	} else {
		v.What = ""
	}
	if day, err := time.ParseInLocation(time.DateOnly, q.Get("since"), zone); err == nil {
		v.Since, f.Since = q.Get("since"), day
	}
	if day, err := time.ParseInLocation(time.DateOnly, q.Get("until"), zone); err == nil {
		v.Until, f.Until = q.Get("until"), day.AddDate(0, 0, 1)
	}
	f.Before, _ = strconv.ParseInt(q.Get("before"), 10, 64) // no number is the beginning
	v.Restricted = v.What != "" || v.Who != "" || v.Since != "" || v.Until != ""
	var err error
	if v.Entries, err = d.office.Ledger.Audit(r.Context(), f); err != nil {
		return err
	}
	if v.Actors, err = d.actors(r.Context(), v.Who); err != nil {
		return err
	}
	if len(v.Entries) > perPage {
		v.Entries = v.Entries[:perPage]
		next := url.Values{"before": {strconv.FormatInt(v.Entries[perPage-1].Seq, 10)}}
		for key, value := range map[string]string{"what": v.What, "who": v.Who, "since": v.Since, "until": v.Until} {
			if value != "" {
				next.Set(key, value)
			}
		}
		v.Older = "/record?" + next.Encode()
	}
	d.show(w, r, http.StatusOK, "record", "page.title.record", who, v)
	return nil
}

// actors are those whose entries in the audit log may be asked for: the house's staff, who signs in
// here, who ever approved a reply, the robot, and who was asked for.
func (d *Desk) actors(ctx context.Context, asked string) ([]string, error) {
	out, err := d.office.Ledger.Approvers(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range d.office.Rules.Library.Staff {
		out = append(out, p.Name)
	}
	for _, a := range d.cfg.Auth.Accounts {
		out = append(out, a.Name)
	}
	out = append(out, ledger.Robot)
	if asked != "" {
		out = append(out, asked)
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}
