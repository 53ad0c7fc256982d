package robot

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/reply/casework"
)

// atThePrinter is what staff do between two looks: what is agreed goes onto a
// printer, what prints is done, what is ready and told of is handed over.
func atThePrinter(ctx context.Context, r *Robot) error {
	rows, err := r.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Agreed, job.Printing, job.Ready}})
	if err != nil {
		return err
	}
	for _, row := range rows {
		told, err := r.Ledger.Drafts(ctx, ledger.DraftFilter{Job: row.ID, States: []ledger.DraftState{ledger.DraftSent}})
		if err != nil {
			return err
		}
		switch last := len(told) - 1; {
		case last < 0:
		case row.Stage == job.Agreed && told[last].Kind == "accepted":
			if err = r.Start(ctx, row.ID, marisol); isBusy(err) {
				continue // the machine prints one thing at a time
			}
		case row.Stage == job.Printing:
			err = r.Printed(ctx, row.ID, casework.Spent{Hours: 1, Grams: 9}, marisol)
		case row.Stage == job.Ready && told[last].Kind == "ready":
			_, err = r.Collected(ctx, row.ID, row.Total, marisol)
		}
		if err != nil {
			return err
		}
		r.mark("pressed " + string(row.Stage))
	}
	return nil
}

// manyKills meet each point and each stage.
const manyKills = 200

const killsEnv = "MESHCLERK_KILLS"

// Whole conversations, from the first letter to the counter, over Dovecot and
// Postfix, while the program is killed (SIGKILL) again and again at durable
// points by chance, with no life in between that is not cut short. In the end
// every letter was taken once, every reply left at most once, exactly once where
// it counts as sent, and every ledger row agrees with its history. 30 kills, or
// as many as MESHCLERK_KILLS says; 300 hit each point and each stage.
func TestKilledInWholeConversations(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts the process a hundred times")
	}
	kills := 30
	if n, err := strconv.Atoi(os.Getenv(killsEnv)); err == nil {
		kills = n
	}
	c, imap, _ := newMortal(t)
	mta := mailtest.Postfix(t)
	c.Whole, c.SMTPTLS, c.SMTPCA = true, "starttls", mta.CAFile
	c.SMTPPort, c.SMTPUser, c.SMTPPassword = mta.Port, mta.User, mta.Password
	p := &patron{t: t, imap: imap, mta: mta, seen: map[string]bool{}}
	chance := rand.New(rand.NewPCG(11, 300))
	points, stages := map[string]int{}, map[job.Stage]int{}
	for died := 0; died < kills; {
		p.writes()
		c.DieAt = 1 + chance.IntN(40)
		point, alive := c.run(t)
		if !alive {
			died++
			points[strings.Fields(point)[0]]++
		}
		p.looksUp(c, stages)
	}
	c.DieAt = 0
	for range 6 { // lives that are not cut short, until all is quiet
		p.answers()
		if _, alive := c.run(t); !alive {
			t.Fatal("a child without a death sentence died")
		}
		p.looksUp(c, stages)
	}
	p.holds(c)
	if kills < manyKills {
		return // too few to meet each point by chance
	}
	t.Logf("%d kills at %v; jobs stood at %v", kills, points, stages)
	for _, word := range []string{"fetched", "letter", "leased", "files", "done", "checked", "composed", "posted", "approved", "sending", "answered", "copied", "filed", "pressed"} {
		if points[word] == 0 {
			t.Errorf("no child died at a point that begins with %q", word)
		}
	}
	for _, s := range []job.Stage{job.Taken, job.Checked, job.Drafted, job.Quoted, job.Agreed, job.Printing, job.Ready, job.Collected} {
		if stages[s] == 0 {
			t.Errorf("no job stood at %s between two lives", s)
		}
	}
}

// patron writes letters and says yes to each quote that reaches her; staff look
// up what is uncertain.
type patron struct {
	t       *testing.T
	imap    *mailtest.Server
	mta     *mailtest.MTA
	letters int
	said    int
	seen    map[string]bool // by Message-ID
}

// writes has at most a few conversations open at a time.
func (p *patron) writes() {
	p.answers()
	if p.letters <= p.said+1 {
		p.letters++
		p.imap.Deliver(request(p.t, fmt.Sprintf("part-%03d", p.letters)))
	}
}

func (p *patron) answers() {
	for _, raw := range p.mta.Delivered() {
		id := header(raw, "Message-ID")
		if p.seen[id] {
			continue
		}
		p.seen[id] = true
		text, err := sample.PlainText(raw)
		if err != nil {
			p.t.Fatal(err)
		}
		if !strings.Contains(strings.Join(strings.Fields(text), " "), "We print nothing before that") {
			continue // no quote
		}
		p.said++
		l, err := sample.Letter{Key: fmt.Sprintf("yes-%d", p.said), FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: "pass", Text: "Yes please, go ahead."}.Answering(raw)
		if err != nil {
			p.t.Fatal(err)
		}
		answer, err := l.Compose(time.Now())
		if err != nil {
			p.t.Fatal(err)
		}
		p.imap.Deliver(answer)
	}
}

// looksUp counts where the jobs stand, and has a person settle what is uncertain
// by what really arrived.
func (p *patron) looksUp(c mortal, stages map[job.Stage]int) {
	p.t.Helper()
	l, err := ledger.Open(p.t.Context(), c.Data, nil, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	defer l.Close()
	rows, err := l.Jobs(p.t.Context(), ledger.Filter{})
	if err != nil {
		p.t.Fatal(err)
	}
	for _, row := range rows {
		stages[row.Stage]++
	}
	uncertain, err := l.Drafts(p.t.Context(), ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftUncertain}})
	if err != nil {
		p.t.Fatal(err)
	}
	for _, d := range uncertain {
		if err := underDefaults(l, slog.New(slog.DiscardHandler), time.Now).Settle(p.t.Context(), d.ID, p.arrived()[d.MessageID] > 0, marisol); err != nil {
			p.t.Fatal(err)
		}
	}
}

// arrived counts the deliveries of each Message-ID.
func (p *patron) arrived() map[string]int {
	out := map[string]int{}
	for _, raw := range p.mta.Delivered() {
		out[header(raw, "Message-ID")]++
	}
	return out
}

// holds proves what must be true in the end.
func (p *patron) holds(c mortal) {
	p.t.Helper()
	l, err := ledger.Open(p.t.Context(), c.Data, nil, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	defer l.Close()
	arrived := p.arrived()
	drafts, err := l.Drafts(p.t.Context(), ledger.DraftFilter{})
	if err != nil {
		p.t.Fatal(err)
	}
	known := map[string]bool{}
	for _, d := range drafts {
		known[d.MessageID] = true
		n := arrived[d.MessageID]
		if n > 1 || d.State == ledger.DraftSent && n != 1 || d.State != ledger.DraftSent && n != 0 {
			p.t.Errorf("draft %s is %s and arrived %d times", d.ID, d.State, n)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(arrived)) {
		if !known[id] {
			p.t.Errorf("%s arrived and is no draft", id)
		}
	}
	letters, err := l.Letters(p.t.Context(), 1000, ledger.LetterDone)
	if err != nil || len(letters) != p.letters+p.said {
		p.t.Errorf("%d letters are done, want %d (%v)", len(letters), p.letters+p.said, err)
	}
	rows, err := l.Jobs(p.t.Context(), ledger.Filter{})
	if err != nil || len(rows) != p.letters {
		p.t.Errorf("%d jobs for %d requests (%v)", len(rows), p.letters, err)
	}
	if problems, err := l.Verify(p.t.Context()); err != nil || len(problems) > 0 {
		p.t.Errorf("the ledger is not whole: %v %v", problems, err)
	}
}

func isBusy(err error) bool {
	_, ok := errors.AsType[*casework.BusyError](err)
	return ok
}
