package ledger

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

func TestMoveFollowsTheTable(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	err := l.Move(ctx, j.ID, job.Collected, "Bo Example", job.Plain(""))
	bad, ok := errors.AsType[*StageError](err)
	if !ok || bad.From != job.Taken || bad.To != job.Collected {
		t.Fatal(err)
	}
	want := `faults.stage {"job":"LP-000001","next":[{"key":"codes.stage.checked"},{"key":"codes.stage.needs-agreement"},{"key":"codes.stage.declined"},{"key":"codes.stage.withdrawn"}],"stage":{"key":"codes.stage.taken"},"wanted":{"key":"codes.stage.collected"}}`
	if err.Error() != want {
		t.Errorf("says %q\nwant %q", err, want)
	}
	if got, _ := l.Job(ctx, j.ID); got.Stage != job.Taken {
		t.Errorf("stage is %s", got.Stage)
	}
}

// Every job's history leads to its stage again, over every lawful move there is.
func TestRebuildEveryStage(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	walked := map[string]bool{}
	for _, start := range job.Stages() {
		j := newJob(t, l, letter)
		at := job.Taken
		for _, to := range append(pathTo(start), following(start)...) {
			if !job.MayGo(at, to) {
				continue
			}
			clock.pass(time.Minute)
			if to == job.Agreed && at != job.Printing && at != job.Failed {
				do(t, l, func(tx *Tx) error { return agrees(t, tx, j.ID) })
			}
			if err := l.Move(ctx, j.ID, to, "Bo Example", job.Plain("step by step")); err != nil {
				t.Fatal(err)
			}
			walked[string(at)+">"+string(to)] = true
			at = to
		}
		got, err := rebuilt(ctx, l, j.ID)
		if err != nil || got != at {
			t.Errorf("job %s: rebuilt %s, %v; want %s", j.ID, got, err, at)
		}
		events, err := l.History(ctx, j.ID)
		if err != nil || events[len(events)-1].To != string(at) || events[len(events)-1].Who != "Bo Example" || !events[len(events)-1].At.Equal(clock.Now()) {
			t.Errorf("history %+v, %v", events, err)
		}
	}
	if len(walked) < 15 {
		t.Errorf("only %d different moves were walked", len(walked))
	}
	whole(t, l)
}

// pathTo gives a shortest lawful way from taken.
func pathTo(to job.Stage) []job.Stage {
	ways := [][]job.Stage{{job.Taken}}
	seen := map[job.Stage]bool{job.Taken: true}
	for len(ways) > 0 {
		way := ways[0]
		ways = ways[1:]
		if way[len(way)-1] == to {
			return way[1:]
		}
		for _, s := range following(way[len(way)-1]) {
			if !seen[s] {
				seen[s] = true
				ways = append(ways, append(append([]job.Stage(nil), way...), s))
			}
		}
	}
	return nil
}

func following(s job.Stage) []job.Stage {
	var out []job.Stage
	for _, to := range job.Stages() {
		if job.MayGo(s, to) {
			out = append(out, to)
		}
	}
	return out
}

func TestJobComesBackWhole(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	two, half := 2, 0.5
	j.Wishes = job.Wishes{Copies: &two, Colours: []string{"blue", "green"}, Size: &job.Size{Axis: "height", MM: 80}, Infill: &half, Phone: "555 0100", Card: "2 1234", Answer: job.Change, Words: map[string]string{"copies": "two please"}}
	j.Settings = job.Settings{Colour: "blue", Copies: 2, Infill: 0.5, InfillSet: true}
	j.Agreement = &job.Agreement{State: job.AgreementUnproven, Why: job.Plain("shown to staff")}
	j.Report = &job.Report{File: "vase.stl", Readable: true, Format: "binary", Findings: []job.Finding{{Code: "holes", Level: job.Ask, At: &[3]float64{1, 2, 3}}},
		Estimate: &job.Estimate{PrintTimeS: 1234.5, MassG: 7.25, Printer: "Alder", Material: "PLA"}, Quote: &job.Quote{Currency: "CAD", Total: "1.50", Lines: []job.Line{{Label: job.Plain("PLA"), Amount: "1.50"}}}}
	do(t, l, func(tx *Tx) error { return tx.SaveJob(ctx, j, Robot, job.Plain("checked")) })
	got, err := l.Job(ctx, j.ID)
	if err != nil {
		t.Fatal(err)
	}
	j.Made = j.Made.UTC()
	if !reflect.DeepEqual(got, j) {
		t.Errorf("came back as\n%+v\nwas\n%+v", got, j)
	}
	events, err := l.Events(ctx, string(j.ID))
	if err != nil || parts(events[len(events)-1].Why) != "wishes settings agreement report" {
		t.Errorf("%+v, %v", events, err)
	}
	// Nothing changed: no event. A new price: the history says so.
	do(t, l, func(tx *Tx) error { return tx.SaveJob(ctx, got, Robot, job.Plain("again")) })
	j.Report.Quote.Total = "2.00"
	j.Stage = job.Collected // is not SaveJob's to change
	do(t, l, func(tx *Tx) error { return tx.SaveJob(ctx, j, "Bo Example", job.Plain("")) })
	after, _ := l.Events(ctx, string(j.ID))
	if len(after) != len(events)+1 || !strings.Contains(after[len(after)-1].Why.String(), `"history.part.price","args":{"after":"2.00","before":"1.50"}`) {
		t.Errorf("%+v", after)
	}
	if got, _ = l.Job(ctx, j.ID); got.Stage != job.Taken {
		t.Errorf("stage %s", got.Stage)
	}
	for _, e := range after {
		if strings.Contains(e.Why.String(), "two please") || strings.Contains(e.Why.String(), "555") {
			t.Errorf("the patron's words are in the history: %+v", e)
		}
	}
}

// parts names what of a job was changed, as its history keeps it.
func parts(why job.Message) string {
	var out []string
	what, _ := why.Args["what"].([]job.Message)
	for _, m := range what {
		out = append(out, strings.TrimPrefix(m.Key, "history.part."))
	}
	return strings.Join(out, " ")
}

func TestJobsFilterAndSort(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	for i, j := range []job.Job{
		{File: "100%_vase.stl", Patron: job.Address{Name: "Ada", Address: "ada@example.org"}, Wishes: job.Wishes{NeededBy: "2026-12-24", Pickup: "Central"}},
		{File: "owl.stl", Patron: job.Address{Name: "Bo", Address: "bo@example.org"}, Wishes: job.Wishes{Pickup: "Millbrook"}, Settings: job.Settings{Printer: "Alder"}},
		{File: "100 vases.stl", Patron: job.Address{Name: "Ada", Address: "ada@example.org"}, Wishes: job.Wishes{NeededBy: "2026-12-01"}},
	} {
		clock.pass(time.Hour)
		do(t, l, func(tx *Tx) error {
			made, err := tx.NewJob(ctx, j, letter, Robot, job.Plain(""))
			if err == nil && i == 1 {
				err = tx.Move(ctx, made.ID, job.Declined, "Bo Example", job.Plain(""))
			}
			return err
		})
	}
	start := clock.Now().Add(-3 * time.Hour)
	for _, c := range []struct {
		name string
		f    Filter
		want string
	}{
		{"all", Filter{}, "1 2 3"},
		{"down", Filter{Down: true}, "3 2 1"},
		{"open", Filter{Open: true}, "1 3"},
		{"stage", Filter{Stages: []job.Stage{job.Declined}}, "2"},
		{"patron", Filter{Patron: "ADA@example.org"}, "1 3"},
		{"text with a wildcard in it", Filter{Text: "100%_"}, "1"},
		{"text", Filter{Text: "VASE"}, "1 3"},
		{"id", Filter{Text: "lp-000002"}, "2"},
		{"pickup", Filter{Pickup: "Central"}, "1"},
		{"printer", Filter{Printer: "Alder"}, "2"},
		{"needed first", Filter{Sort: "needed"}, "3 1 2"},
		{"stage order", Filter{Sort: "stage"}, "1 3 2"},
		{"since", Filter{Since: start.Add(2 * time.Hour)}, "2 3"},
		{"until", Filter{Until: start.Add(2 * time.Hour)}, "1"},
		{"page", Filter{Limit: 1, Offset: 1}, "2"},
		{"hostile", Filter{Text: `'; DROP TABLE jobs; --`}, ""},
	} {
		rows, err := l.Jobs(ctx, c.f)
		var got []string
		for _, r := range rows {
			got = append(got, strings.TrimLeft(strings.TrimPrefix(string(r.ID), "LP-"), "0"))
		}
		if err != nil || strings.Join(got, " ") != c.want {
			t.Errorf("%s: %v, %v; want %s", c.name, got, err, c.want)
		}
	}
	if _, err := l.Jobs(ctx, Filter{Sort: "made; DROP TABLE jobs"}); err == nil || !strings.Contains(err.Error(), "there are changed, made") {
		t.Errorf("%v", err)
	}
	n, err := l.CountByStage(ctx)
	if err != nil || n[job.Taken] != 2 || n[job.Declined] != 1 {
		t.Errorf("%v, %v", n, err)
	}
}

// tenThousand is a ledger of 10,000 jobs with reports of about 6 KB each.
func tenThousand(b *testing.B) *Ledger {
	b.Helper()
	l, clock := newLedger(b)
	ctx := b.Context()
	letter := taken(b, l, 1, "a")
	report := &job.Report{Estimate: &job.Estimate{PrintTimeS: 3600, MassG: 12, Printer: "Alder", Material: "PLA"}, Quote: &job.Quote{Total: "3.50", Currency: "CAD"}}
	for i := range 20 {
		report.Findings = append(report.Findings, job.Finding{Code: "overhang", Level: job.Note, Text: job.Plain(strings.Repeat("a plain sentence with the figure ", 8)), Amount: float64(i)})
	}
	for batch := range 20 {
		do(b, l, func(tx *Tx) error {
			for i := range 500 {
				n := batch*500 + i
				clock.pass(time.Minute)
				tx.now = clock.Now()
				j, err := tx.NewJob(ctx, job.Job{File: fmt.Sprintf("part-%d.stl", n), Patron: job.Address{Name: "Patron", Address: fmt.Sprintf("p%d@example.org", n%700)}, Report: report}, letter, Robot, job.Plain(""))
				if err != nil {
					return err
				}
				to := []job.Stage{job.Checked, job.Declined, job.NeedsAgreement, job.Withdrawn}[n%4]
				if err := tx.Move(ctx, j.ID, to, Robot, job.Plain("")); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return l
}

func BenchmarkJobs(b *testing.B) {
	l := tenThousand(b)
	for _, c := range []struct {
		name string
		f    Filter
	}{
		{"all10000", Filter{}},
		{"page50", Filter{Limit: 50, Down: true}},
		{"openPage50", Filter{Open: true, Limit: 50}},
		{"text", Filter{Text: "part-77", Limit: 50}},
		{"patron", Filter{Patron: "p77@example.org"}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := l.Jobs(b.Context(), c.f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("oneJob", func(b *testing.B) {
		for b.Loop() {
			if _, err := l.Job(b.Context(), "LP-005000"); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("monthReport", func(b *testing.B) {
		for b.Loop() {
			if _, err := l.Report(b.Context(), time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("verify", func(b *testing.B) {
		for b.Loop() {
			if problems, err := l.Verify(b.Context()); err != nil || len(problems) > 0 {
				b.Fatal(problems, err)
			}
		}
	})
}

// BenchmarkTake takes letters of 50 KB as the robot does: bytes, row, first step.
func BenchmarkTake(b *testing.B) {
	l, _ := newLedger(b)
	body := strings.Repeat("0123456789abcdef", 50<<10/16)
	b.SetBytes(int64(len(body)))
	uid := uint32(0)
	for b.Loop() {
		uid++
		w, err := l.NewBlob(KindLetter, 0)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := fmt.Fprint(w, uid, body); err != nil {
			b.Fatal(err)
		}
		taken := &RawLetter{Raw: w, TakenLetter: TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: uid}}
		if err := l.TakeRaw(b.Context(), taken); err != nil || !taken.Fresh {
			b.Fatal(taken.Fresh, err)
		}
	}
}
