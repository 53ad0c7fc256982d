package main

import (
	"context"
	"io"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/ledger"
)

// The stories under testdata/jobs are told in a house with a mailbox and a
// robot at work on the ledger in the folder data:
//
//	house KEY …        open it, with the sample register and these sample letters
//	robot              let the robot look and work
//	approve            approve every reply that waits, and have it sent
//	now-month          set $MONTH to this month, in the library's time zone
//	patron KEY TEXT [FILE]
//	                   the writer of that sample letter answers the last reply
func TestJobStories(t *testing.T) {
	h := &storyHouses{at: map[string]*demo{}}
	testscript.Run(t, testscript.Params{Dir: filepath.Join("testdata", "jobs"), Setup: things, Cmds: map[string]func(*testscript.TestScript, bool, []string){
		"house": h.open,
		"robot": func(ts *testscript.TestScript, _ bool, _ []string) { ts.Check(h.of(ts).bot.Once(context.Background())) },
		"approve": func(ts *testscript.TestScript, _ bool, _ []string) {
			ts.Check(approveAll(h.of(ts)))
		},
		"patron":    h.patron,
		"now-month": func(ts *testscript.TestScript, _ bool, _ []string) { ts.Setenv("MONTH", storyMonth(ts, h.of(ts))) },
	}})
}

// storyHouses are the houses by the work folder of their story; stories run side
// by side.
type storyHouses struct {
	mu sync.Mutex
	at map[string]*demo
}

func (h *storyHouses) of(ts *testscript.TestScript) *demo {
	h.mu.Lock()
	defer h.mu.Unlock()
	d := h.at[ts.Getenv("WORK")]
	if d == nil {
		ts.Fatalf("the story has opened no house")
	}
	return d
}

func (h *storyHouses) open(ts *testscript.TestScript, _ bool, keys []string) {
	ctx := context.Background()
	d := &demo{env: &env{ctx: ctx, getenv: func(string) string { return "" }, out: io.Discard, err: io.Discard}, show: &progress{}}
	ts.Check(d.set(ts.MkAbs("data")))
	ts.Defer(d.close)
	h.mu.Lock()
	h.at[ts.Getenv("WORK")] = d
	h.mu.Unlock()
	_, err := d.ledger.UpsertAgreements(ctx, sample.Agreements(time.Now(), d.rules.Agreement), "story", "")
	ts.Check(err)
	for _, key := range keys {
		raw, err := letterOf(ts, key).Compose(time.Now())
		ts.Check(err)
		ts.Check(d.servers.Deliver(raw))
	}
	ts.Check(d.bot.Once(ctx))
}

func storyMonth(ts *testscript.TestScript, d *demo) string {
	zone, err := time.LoadLocation(d.rules.Library.Timezone)
	ts.Check(err)
	return time.Now().In(zone).Format("2006-01")
}

func letterOf(ts *testscript.TestScript, key string) sample.Letter {
	all, err := sample.Letters()
	ts.Check(err)
	i := slices.IndexFunc(all, func(l sample.Letter) bool { return l.Key == key })
	if i < 0 {
		ts.Fatalf("there is no sample letter %q", key)
	}
	return all[i]
}

func approveAll(d *demo) error {
	waiting, err := d.ledger.Drafts(d.ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting}})
	if err != nil {
		return err
	}
	for _, w := range waiting {
		if err := d.bot.Approve(d.ctx, w.ID, w.SHA256, demoClerk, ledger.ViaCommand); err != nil {
			return err
		}
	}
	return d.bot.Once(d.ctx)
}

func (h *storyHouses) patron(ts *testscript.TestScript, _ bool, args []string) {
	l := letterOf(ts, args[0])
	t := &talk{demo: h.of(ts), w: io.Discard, key: l.Key, name: l.FromName, address: l.FromAddress, turns: time.Now().Nanosecond()}
	var files []sample.File
	for _, name := range args[2:] {
		files = append(files, sample.File{Name: name, MediaType: "application/pdf", Data: []byte(ts.ReadFile(name))})
	}
	ts.Check(t.patron(args[1], files...))
}
