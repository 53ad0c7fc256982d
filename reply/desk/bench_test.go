package desk

import (
	"fmt"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// BenchmarkStaffRequests sends 50 requests a second at a ledger of 10,000 jobs
// with 40 waiting replies, round the pages staff use, and reports the 95th
// percentile. The aim is under 100 ms.
func BenchmarkStaffRequests(b *testing.B) {
	h := newHouse(b, nil)
	fill(b, h, 10_000)
	var ids []string
	for range 40 {
		_, d := h.letter(okafor())
		ids = append(ids, d)
	}
	staff := h.browser("marisol")
	b.ResetTimer()
	var mu sync.Mutex
	var took []time.Duration
	var wg sync.WaitGroup
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for i := range max(b.N, 200) {
		<-tick.C
		path := []string{"/", "/reply/" + ids[i%len(ids)], "/reply/" + ids[i%len(ids)] + "/state", "/prints", "/jobs", "/state", "/record"}[i%7]
		wg.Go(func() {
			begun := time.Now()
			code, _ := staff.get(path)
			mu.Lock()
			defer mu.Unlock()
			took = append(took, time.Since(begun))
			if code != http.StatusOK {
				b.Errorf("%s: %d", path, code)
			}
		})
	}
	wg.Wait()
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)*95/100])/1e6, "ms-p95")
	b.ReportMetric(float64(took[len(took)/2])/1e6, "ms-median")
	b.ReportMetric(0, "ns/op")
}

// fill puts in old jobs, most of them at their end.
func fill(b *testing.B, h *house, n int) {
	b.Helper()
	ctx := b.Context()
	_, d := h.letter(okafor())
	got, err := h.ledger.Draft(ctx, d)
	if err != nil {
		b.Fatal(err)
	}
	like, err := h.ledger.Job(ctx, got.Jobs[0])
	if err != nil {
		b.Fatal(err)
	}
	terms, _ := like.Terms()
	offer := func(tx *ledger.Tx, id job.ID) error {
		if err := tx.AddOffer(ctx, ledger.Offer{Draft: d, Job: id, SHA256: got.SHA256, Terms: &terms}); err != nil {
			return err
		}
		o, _, err := tx.LastOffer(ctx, id)
		if err != nil {
			return err
		}
		if err := tx.KeepYes(ctx, o, "", "patron"); err != nil {
			return err
		}
		return tx.CountYes(ctx, id)
	}
	const perDay = 50 // what comes in together has one time
	for from := 0; from < n; from += perDay {
		h.clock.pass(24 * time.Hour)
		h.do(func(tx *ledger.Tx) error {
			for i := range perDay {
				j := like
				j.Thread, j.Patron.Address = "", fmt.Sprintf("patron%d@example.org", (from+i)%1500)
				made, err := tx.NewJob(ctx, j, "", ledger.Robot, job.Plain(""))
				if err != nil {
					return err
				}
				to := []job.Stage{job.Checked, job.Drafted, job.Quoted, job.Agreed, job.Printing, job.Ready, job.Collected}
				if (from+i)%100 == 0 {
					to = to[:(from+i)/100%5+1]
				}
				for _, s := range to {
					if s == job.Agreed {
						if err := offer(tx, made.ID); err != nil {
							return err
						}
					}
					if err := tx.Move(ctx, made.ID, s, ledger.Robot, job.Plain("")); err != nil {
						return err
					}
				}
			}
			return nil
		})
	}
}
