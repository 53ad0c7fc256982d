package ledger

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

func TestReport(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	start := clock.Now()
	make := func(uid uint32, patron string, findings ...job.Finding) (job.Job, string) {
		letter := taken(t, l, uid, patron+string(rune('a'+uid)))
		var j job.Job
		do(t, l, func(tx *Tx) (err error) {
			if err := tx.SaveParsed(ctx, letter, job.Letter{From: job.Address{Address: patron}, Disposition: job.Request}, Robot); err != nil {
				return err
			}
			j, err = tx.NewJob(ctx, job.Job{Patron: job.Address{Address: patron}, Report: &job.Report{Findings: findings, Estimate: &job.Estimate{PrintTimeS: 3600, MassG: 10, Printer: "Alder", Material: "PLA"}}}, letter, Robot, job.Plain(""))
			return err
		})
		return j, letter
	}
	reply := func(j job.Job) {
		d := newDraft(t, l, "reply", j.ID)
		if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage); err != nil {
			t.Fatal(err)
		}
		s, _, err := l.BeginSend(ctx, d.ID, "robot")
		if err != nil {
			t.Fatal(err)
		}
		if err := l.EndSend(ctx, s, Delivered, job.Plain(""), Robot); err != nil {
			t.Fatal(err)
		}
	}
	walk := func(j job.Job, stages ...job.Stage) {
		for _, s := range stages {
			if s == job.Agreed {
				do(t, l, func(tx *Tx) error { return agrees(t, tx, j.ID) })
			}
			if err := l.Move(ctx, j.ID, s, "Bo Example", job.Plain("")); err != nil {
				t.Fatal(err)
			}
		}
	}
	a, _ := make(1, "ada@example.org")
	b, _ := make(2, "ada@example.org")
	c, _ := make(3, "cleo@example.org", job.Finding{Code: "coarse-facets", Level: job.Note}, job.Finding{Code: "too-long", Level: job.Stop})
	d, _ := make(4, "dan@example.org")
	clock.pass(2 * time.Hour)
	reply(a)
	clock.pass(2 * time.Hour)
	reply(b)
	walk(a, job.Checked, job.Drafted, job.Quoted, job.Agreed, job.Printing, job.Failed, job.Printing)
	walk(c, job.Declined)
	do(t, l, func(tx *Tx) error {
		return tx.MoveFor(ctx, d.ID, job.Declined, "house-rule", "Bo Example", job.Plain("a weapon"))
	})
	clock.pass(20 * time.Hour)
	walk(a, job.Ready)
	do(t, l, func(tx *Tx) error {
		for _, p := range []struct {
			hours, grams float64
			good         bool
		}{{0.5, 4, false}, {1.25, 11, true}} {
			if err := tx.RecordPrint(ctx, a.ID, "", p.hours, p.grams, p.good, "Bo Example"); err != nil {
				return err
			}
		}
		for _, amount := range []string{"0.10", "0.20", "3.00", "-0.30"} {
			if err := tx.RecordPayment(ctx, a.ID, amount, "CAD", "Bo Example"); err != nil {
				return err
			}
		}
		return nil
	})
	clock.pass(time.Hour)
	make(5, "later@example.org") // outside the span
	got, err := l.Report(ctx, start, clock.Now())
	if err != nil {
		t.Fatal(err)
	}
	want := Report{From: start, To: clock.Now(),
		Letters: map[job.Disposition]int{job.Request: 4}, Jobs: 4, Patrons: 3,
		Stages:   map[job.Stage]int{job.Ready: 1, job.Taken: 1, job.Declined: 2},
		Refusals: map[string]int{"too-long": 1, "house-rule": 1},
		Prints:   1, Failures: 1, Hours: 1.75, Grams: 15,
		Income:      map[string]string{"CAD": "3.00"}, // 0.1 + 0.2 is exact
		ByPrinter:   []Share{{"Alder", 1, 1.75, 15}},
		FirstAnswer: Spread{N: 2, Median: 3, Slowest: 4},
		TurnAround:  Spread{N: 1, Median: 24, Slowest: 24},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("report is\n%+v\nwant\n%+v", got, want)
	}
	empty, err := l.Report(ctx, start.AddDate(-1, 0, 0), start.AddDate(-1, 1, 0))
	if err != nil || empty.Jobs != 0 || empty.Patrons != 0 || len(empty.Income) != 0 {
		t.Errorf("%+v, %v", empty, err)
	}
	prints, err := l.Prints(ctx, "Alder", "PLA")
	if err != nil || len(prints) != 2 || !prints[1].Good || prints[1].EstHours != 1 || prints[1].EstGrams != 10 {
		t.Errorf("%+v, %v", prints, err)
	}
}

func TestFiguresThatCannotBeRight(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	for _, p := range [][2]float64{{-1, 5}, {1, -5}, {math.NaN(), 1}, {1, math.Inf(1)}, {1e9, 1}, {10000, 1}, {1, 100000}} {
		if err := l.Tx(ctx, func(tx *Tx) error { return tx.RecordPrint(ctx, j.ID, "", p[0], p[1], true, "Bo Example") }); err == nil {
			t.Errorf("%v was recorded", p)
		}
	}
	for _, p := range [][2]float64{{0, 0}, {9999.9, 99999.9}} {
		if err := l.Tx(ctx, func(tx *Tx) error { return tx.RecordPrint(ctx, j.ID, "", p[0], p[1], true, "Bo Example") }); err != nil {
			t.Errorf("%v: %v", p, err)
		}
	}
	for _, p := range [][2]string{{"three", "CAD"}, {"", "CAD"}, {"3,50", "CAD"}, {"3.50", "dollars"}} {
		if err := l.Tx(ctx, func(tx *Tx) error { return tx.RecordPayment(ctx, j.ID, p[0], p[1], "Bo Example") }); err == nil || !strings.Contains(err.Error(), "faults.no-payment") {
			t.Errorf("%v: %v", p, err)
		}
	}
}

// Every change says who made it.
func TestChangesSayWho(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	if err := l.Move(ctx, j.ID, job.Checked, "", job.Plain("")); err == nil || !strings.Contains(err.Error(), "who makes it") {
		t.Error(err)
	}
	if got, _ := l.Job(ctx, j.ID); got.Stage != job.Taken {
		t.Error("moved by nobody")
	}
}

func TestAgreements(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	ada := agreement.Entry{Address: "ada@example.org", Others: []string{"ada@example.net", "a.example@example.com"}, Name: "Ada Example", Card: "2 1234-5", Signed: "2026-01-02", Version: "2026-1", Expires: "2028-01-02"}
	child := agreement.Entry{Address: "ada@example.org", Name: "Kim Example", Card: "2 9999", Signed: "2026-01-03", Version: "2026-1", Guardian: "Ada Example", Born: "2015-05-05", Minor: true}
	old := ada
	old.Version, old.Signed, old.Expires = "2024-1", "2024-01-02", ""
	register := []agreement.Entry{ada, child, old}
	done, err := l.UpsertAgreements(ctx, register, "Bo Example", "register.csv")
	if err != nil || done.Added != 3 || done.Changed+done.Same != 0 {
		t.Fatalf("%+v, %v", done, err)
	}
	if done, err = l.UpsertAgreements(ctx, register, "Bo Example", "register.csv"); err != nil || done.Same != 3 || done.Added+done.Changed != 0 {
		t.Fatalf("again: %+v, %v", done, err)
	}
	events, _ := l.Events(ctx, "A-000001")
	if len(events) != 1 || events[0].Who != "Bo Example" {
		t.Errorf("%+v", events)
	}
	for _, c := range []struct {
		address, card string
		want          []agreement.Entry
	}{
		{"ADA@example.org", "", []agreement.Entry{child, ada, old}},
		{"a.example@example.com", "", []agreement.Entry{ada, old}},
		{"", "21234 5", []agreement.Entry{ada, old}},
		{"", "2-9999", []agreement.Entry{child}},
		{"", "", nil},
		{"ada@example.or", "2", nil},
	} {
		got, err := l.FindAgreements(ctx, c.address, c.card)
		if err != nil || len(got) != len(c.want) || len(got) > 0 && !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q %q: %+v, %v\nwant %+v", c.address, c.card, got, err, c.want)
		}
	}
	if all, err := l.Agreements(ctx); err != nil || !reflect.DeepEqual(all, []agreement.Entry{old, ada, child}) {
		t.Errorf("%+v, %v", all, err)
	}
	// A corrected row changes its entry, and takes addresses away too.
	ada.Others, ada.Signed = []string{"new@example.net"}, "2026-02-02"
	if done, err = l.UpsertAgreements(ctx, []agreement.Entry{ada}, "Bo Example", ""); err != nil || done.Changed != 1 {
		t.Fatalf("%+v, %v", done, err)
	}
	if got, _ := l.FindAgreements(ctx, "ada@example.net", ""); len(got) != 1 || got[0].Version != "2024-1" {
		t.Errorf("%+v", got)
	}
	if got, _ := l.FindAgreements(ctx, "new@example.net", ""); len(got) != 1 || got[0].Signed != "2026-02-02" {
		t.Errorf("%+v", got)
	}
}

func TestAgreementFindsWaitingJobs(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	states := map[job.ID]string{}
	for _, c := range []struct {
		address string
		state   job.AgreementState
		stage   job.Stage
		want    bool
	}{
		{"ada@example.org", job.AgreementNone, job.NeedsAgreement, true},
		{"ada@example.net", job.AgreementExpired, job.NeedsAgreement, true},
		{"ada@example.org", job.AgreementGood, job.Checked, false},
		{"ada@example.org", job.AgreementNone, job.Withdrawn, false},
		{"cleo@example.org", job.AgreementNone, job.NeedsAgreement, false},
	} {
		do(t, l, func(tx *Tx) error {
			j, err := tx.NewJob(ctx, job.Job{Patron: job.Address{Address: c.address}, Agreement: &job.Agreement{State: c.state}}, letter, Robot, job.Plain(""))
			if err != nil {
				return err
			}
			if c.want {
				states[j.ID] = c.address
			}
			return tx.Move(ctx, j.ID, c.stage, Robot, job.Plain(""))
		})
	}
	e := agreement.Entry{Address: "ada@example.org", Others: []string{"ada@example.net"}, Name: "Ada Example", Signed: "2026-01-02", Version: "2026-1"}
	done, err := l.UpsertAgreements(ctx, []agreement.Entry{e}, "Bo Example", "")
	if err != nil || len(done.Waiting) != 2 {
		t.Fatalf("%+v, %v", done, err)
	}
	for _, id := range done.Waiting {
		if states[job.ID(id)] == "" {
			t.Errorf("%s waits for nothing", id)
		}
	}
	if done, _ = l.UpsertAgreements(ctx, []agreement.Entry{e}, "Bo Example", ""); len(done.Waiting) != 0 {
		t.Errorf("nothing changed, yet %v", done.Waiting)
	}
}

// A print teaches by the estimate for its printer. One that ran on another has none.
func TestPrintOnAnotherPrinterTeachesNothing(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	j.Report = &job.Report{Estimate: &job.Estimate{Printer: "Alder", Material: "PLA", PrintTimeS: 7200, MassG: 20, TimeFactor: 2, MassFactor: 4}}
	do(t, l, func(tx *Tx) error { return tx.SaveJob(ctx, j, "Bo Example", job.Plain("")) })
	for printer, want := range map[string][2]float64{"": {1, 5}, "Alder": {1, 5}, "Birch": {0, 0}} {
		do(t, l, func(tx *Tx) error { return tx.RecordPrint(ctx, j.ID, printer, 3, 7, true, "Bo Example") })
		prints, err := l.PrintsOf(ctx, j.ID)
		if err != nil {
			t.Fatal(err)
		}
		if p := prints[len(prints)-1]; p.EstHours != want[0] || p.EstGrams != want[1] {
			t.Errorf("on %q: estimated %g h and %g g, want %v", printer, p.EstHours, p.EstGrams, want)
		}
	}
}
