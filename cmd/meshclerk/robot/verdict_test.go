package robot

import (
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// signedBy is an agreement that was signed yesterday.
func signedBy(h *house, address, name string) agreement.Entry {
	return agreement.Entry{Address: address, Name: name, Signed: h.now().AddDate(0, 0, -1).Format(time.DateOnly), Version: h.Rules.Agreement.Current}
}

// TestUnfinishedPromisesNothing: a check that used up its work is no verdict. The
// letter neither says that the part can be printed nor names a price, staff get a
// notice, and a yes agrees to nothing.
func TestUnfinishedPromisesNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree(signedBy(h, "amara.okafor@example.org", "Amara Okafor"))
	h.Rules.Caps.CheckWork = 1
	h.imap.Deliver(request(t, "maze"))
	h.once()
	j := h.oneJob()
	if !j.Report.Unfinished || j.Report.Printable() || j.Report.Estimate != nil || j.Report.Quote != nil {
		t.Fatalf("the report is %+v", j.Report)
	}
	told := strings.Join(h.notices(), "\n")
	if !strings.Contains(told, "unfinished-check: the check of job "+string(j.ID)+" is not finished") || !strings.Contains(told, "check_work") {
		t.Errorf("staff are told %q", told)
	}
	_, got := h.approves("unfinished")
	h.wantText(got, "could not finish checking it", "Nothing is settled yet")
	for _, promise := range []string{"we can print", "can be printed.", "$", "with *yes*"} {
		if strings.Contains(string(got), promise) {
			t.Errorf("the letter says %q:\n%s", promise, got)
		}
	}
	h.answers(got, "Yes please, go ahead.")
	j = h.oneJob()
	if j.Stage == job.Agreed || len(h.drafts(ledger.DraftWaiting)) > 0 {
		t.Errorf("after a yes the job is %s, %d drafts wait", j.Stage, len(h.drafts(ledger.DraftWaiting)))
	}
	if told := strings.Join(h.notices(), "\n"); !strings.Contains(told, "says yes, but no quote is open") {
		t.Errorf("staff are not told of the yes: %q", told)
	}
	h.whole()
}

// TestOnlyAWholeReportIsAgreed: whatever a report lacks, a yes to it puts
// nothing onto the print list: staff get a letter that says how things are.
func TestOnlyAWholeReportIsAgreed(t *testing.T) {
	t.Parallel()
	for name, lame := range map[string]func(*job.Report){
		"unfinished": func(r *job.Report) { r.Unfinished = true },
		"unfinished, as it was said before": func(r *job.Report) {
			r.Error = job.Plain("the check was not finished in the time that one file may take")
		},
		"no estimate": func(r *job.Report) { r.Estimate = nil },
		"no price":    func(r *job.Report) { r.Quote = nil },
		"not read":    func(r *job.Report) { r.Readable = false },
		"stopped":     func(r *job.Report) { r.Findings = append(r.Findings, job.Finding{Code: "holes", Level: job.Stop}) },
		"too big, and not finished": func(r *job.Report) {
			r.Unfinished, r.Fit = true, &job.Fit{ScaleToFit: 0.5}
			r.Findings = append(r.Findings, job.Finding{Code: "too-big", Level: job.Stop})
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.agree(signedBy(h, "amara.okafor@example.org", "Amara Okafor"))
			h.imap.Deliver(request(t, "clip"))
			h.once()
			_, got := h.approves("quote")
			h.wantStage(job.Quoted)
			h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
				j, err := tx.Job(t.Context(), h.oneJob().ID)
				if err != nil {
					return err
				}
				lame(j.Report)
				return tx.SaveJob(t.Context(), j, "test", job.Plain("made lame"))
			}))
			h.answers(got, "Yes please.")
			h.wantStage(job.Drafted)
			if k := h.waiting().Kind; k == templates.TextAccepted {
				t.Errorf("the letter that waits is %q", k)
			}
		})
	}
}

// TestChangedWhileChecked: what a check found out is not recorded over a job that
// was changed meanwhile; the job is checked again as it is now.
func TestChangedWhileChecked(t *testing.T) {
	t.Parallel()
	forty := &job.Size{Axis: "width", MM: 40}
	for name, c := range map[string]struct {
		change func(*job.Job)
		want   func(job.Job) bool
	}{
		"another size": {func(j *job.Job) { j.Wishes.Size, j.Settings = forty, job.Settings{} }, func(j job.Job) bool {
			return j.Settings.Scale == 2 && j.Report.Mesh.SizeMM[0] == 40
		}},
		"three copies by staff": {func(j *job.Job) { j.Settings.Copies = 3 }, func(j job.Job) bool {
			return j.Settings.Copies == 3 && j.Report.Estimate.Copies == 3
		}},
		"another file": {func(j *job.Job) { j.File, j.Blob = "other.stl", "" }, func(j job.Job) bool { return j.Report == nil }},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.agree(signedBy(h, "amara.okafor@example.org", "Amara Okafor"))
			h.imap.Deliver(request(t, "clip"))
			changed := false
			h.At = func(point string) {
				if point != "checked" || changed {
					return
				}
				changed = true
				h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
					id := job.ID("")
					rows, err := h.Ledger.Jobs(t.Context(), ledger.Filter{})
					if err == nil {
						id = rows[0].ID
					}
					j, err := tx.Job(t.Context(), id)
					if err != nil {
						return err
					}
					c.change(&j)
					return tx.SaveJob(t.Context(), j, marisol, job.Plain("changed meanwhile"))
				}))
			}
			h.once()
			if !changed {
				t.Fatal("there was no check")
			}
			j := h.oneJob()
			if !c.want(j) {
				t.Errorf("settings %+v, report %+v", j.Settings, j.Report)
			}
			if strings.Contains(h.log.String(), "step failed") {
				t.Errorf("the change counts as a failure:\n%s", h.log)
			}
		})
	}
}

// A job withdrawn while it is checked stays withdrawn, and its step ends.
func TestWithdrawnWhileChecked(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree(signedBy(h, "amara.okafor@example.org", "Amara Okafor"))
	h.imap.Deliver(request(t, "clip"))
	done := false
	h.At = func(point string) {
		if point != "checked" || done {
			return
		}
		done = true
		h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
			rows, err := h.Ledger.Jobs(t.Context(), ledger.Filter{})
			if err != nil {
				return err
			}
			return tx.Move(t.Context(), rows[0].ID, job.Declined, marisol, job.Plain("no"))
		}))
	}
	h.once()
	h.wantStage(job.Declined)
	open, err := h.Ledger.OpenSteps(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range open {
		if s.Kind == ledger.StepCheck {
			t.Errorf("the check goes on: %+v", s)
		}
	}
}
