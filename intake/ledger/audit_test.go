package ledger

import (
	"fmt"
	"testing"
	"time"

	"meshclerk/intake/job"
)

// Who approved, set aside and reopened which reply, and when, stays on record,
// with the hash of the very bytes that were approved.
func TestAudit(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "first words", j.ID)
	clock.pass(time.Minute)
	do(t, l, func(tx *Tx) error { return tx.SetAside(ctx, d.ID, "Bo Example", job.Plain("not yet")) })
	clock.pass(time.Minute)
	do(t, l, func(tx *Tx) error { return tx.Reopen(ctx, d.ID, "Ada Example", job.Plain("now")) })
	clock.pass(time.Minute)
	edited := time.Time{}
	do(t, l, func(tx *Tx) error {
		_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("second words")}, "Ada Example", job.Plain("softer"))
		edited = tx.now
		return err
	})
	clock.pass(time.Minute)
	now, err := l.Draft(ctx, d.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Approve(ctx, d.ID, now.SHA256, "Bo Example", ViaPage); err != nil {
		t.Fatal(err)
	}
	s, _, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil {
		t.Fatal(err)
	}
	if err := l.EndSend(ctx, s, Delivered, job.Plain("250 ok"), Robot); err != nil {
		t.Fatal(err)
	}
	// A change of a job is no act on a reply.
	do(t, l, func(tx *Tx) error { return tx.Move(ctx, j.ID, job.Checked, Robot, job.Plain("")) })

	all, err := l.Audit(ctx, AuditFilter{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"sent by " + Robot, "approved by Bo Example", "edited by Ada Example", "waiting by Ada Example", "set-aside by Bo Example"}
	var got []string
	for _, e := range all {
		got = append(got, e.What+" by "+e.Who)
		if e.Draft != d.ID || e.To.Address != d.To.Address || (e.SHA256 != "") != (e.What == "approved") {
			t.Errorf("%+v", e)
		}
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%q, want %q", got, want)
	}
	if all[1].SHA256 != now.SHA256 || all[1].SHA256 == d.SHA256 {
		t.Errorf("the approval is of %s, the bytes were %s", all[1].SHA256, now.SHA256)
	}
	for name, c := range map[string]struct {
		f AuditFilter
		n int
	}{
		"by a person":     {AuditFilter{Who: "Bo Example"}, 2},
		"of a kind":       {AuditFilter{What: []string{"set-aside", "waiting"}}, 2},
		"before the edit": {AuditFilter{Until: edited}, 2},
		"since the edit":  {AuditFilter{Since: edited}, 3},
		"the first two":   {AuditFilter{Limit: 2}, 2},
		"the next page":   {AuditFilter{Before: all[1].Seq}, 3},
		"by nobody":       {AuditFilter{Who: "Nobody"}, 0},
	} {
		if got, err := l.Audit(ctx, c.f); err != nil || len(got) != c.n {
			t.Errorf("%s: %d entries, want %d (%v)", name, len(got), c.n, err)
		}
	}
	if who, err := l.Approvers(ctx); err != nil || fmt.Sprint(who) != "[Bo Example]" {
		t.Errorf("approvers %q, %v", who, err)
	}
}
