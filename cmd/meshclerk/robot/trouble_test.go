package robot

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/intake/mailbox/wire"
	"meshclerk/reply/outbox"
)

// approve lets Marisol approve the draft that waits.
func (h *house) approve() ledger.Draft {
	h.t.Helper()
	d := h.waiting()
	if err := h.Approve(h.t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		h.t.Fatal(err)
	}
	return d
}

// The wait between tries grows as OPERATING says: 10 s, 1 min, 6 min, half an
// hour, and half an hour again. RFC 5321, 4.5.4.1 asks for half an hour in the end.
func TestWaitsBetweenTriesGrow(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "slow"))
	h.once()
	d := h.approve()
	h.smtp.Behave(mailtest.BusyData)
	tries := func() int {
		sends, err := h.Ledger.Sends(t.Context(), d.ID)
		if err != nil {
			t.Fatal(err)
		}
		return len(sends)
	}
	h.once()
	for i, wait := range []time.Duration{10 * time.Second, time.Minute, 6 * time.Minute, 30 * time.Minute, 30 * time.Minute} {
		if got := tries(); got != i+1 {
			t.Fatalf("%d tries, want %d", got, i+1)
		}
		h.forward(wait - 5*time.Second)
		h.once()
		if got := tries(); got != i+1 {
			t.Fatalf("tried again before %v had gone by", wait)
		}
		h.forward(5 * time.Second)
		h.once()
	}
	if got := tries(); got != 6 {
		t.Errorf("%d tries, want 6", got)
	}
	h.smtp.Behave(mailtest.Accept)
	h.forward(31 * time.Minute)
	h.once()
	h.wantDelivered(1)
	if n := h.notices(); len(n) != 0 {
		t.Errorf("the trouble is over and staff are still told: %q", n)
	}
}

// A mailbox that refuses us for hours is not the draft's fault: nothing is given
// up, staff are told once, and it goes on by itself.
func TestRefusingMailboxIsNotTheLettersFault(t *testing.T) {
	t.Parallel()
	for name, refusal := range map[string]error{
		"sign-in": refusedBy("servers.mend.imap-secret"),
		"token":   errors.New("the token server says no"),
		"quota":   refusedBy("servers.mend.room"),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.agree()
			h.imap.Deliver(request(t, "refused"))
			dial := h.Dial
			if err := h.Poll(t.Context()); err != nil {
				t.Fatal(err)
			}
			h.Dial = func(context.Context) (Mail, error) { return nil, refusal }
			for range 6 {
				if err := h.Work(t.Context()); err != nil {
					t.Fatal(err)
				}
				h.forward(time.Hour)
			}
			if n := h.notices(); len(n) != 1 || !strings.Contains(n[0], h.Error(refusal)) {
				t.Errorf("notices %q, want the one refusal", n)
			}
			h.Dial = dial
			h.once()
			if n := len(h.imap.Messages(h.Rules.Mailbox.ToApprove)); n != 1 {
				t.Errorf("%d drafts lie in to-approve, want one", n)
			}
			if n := h.notices(); len(n) != 0 {
				t.Errorf("notices %q after it was over", n)
			}
		})
	}
}

// A refusal while posting, such as a quota, is the house's too.
func TestRefusedPostIsNotGivenUp(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "quota"))
	dial, full := h.Dial, true
	h.Dial = func(ctx context.Context) (Mail, error) {
		m, err := dial(ctx)
		if full && err == nil {
			m = fullMailbox{m}
		}
		return m, err
	}
	for range 6 {
		h.once()
		h.forward(time.Hour)
	}
	if n := h.notices(); len(n) != 1 || !strings.Contains(n[0], "make room") {
		t.Errorf("notices %q, want one about the quota", n)
	}
	full = false
	h.once()
	if n := len(h.imap.Messages(h.Rules.Mailbox.ToApprove)); n != 1 {
		t.Errorf("%d drafts lie in to-approve, want one", n)
	}
}

// refusedBy is the no of a mail server, with what is to be done about it.
func refusedBy(mend string) error {
	return wire.Config{Host: "127.0.0.1", Port: 143}.Fault(job.Say("servers.refuses", job.Args{"server": "127.0.0.1:143", "words": "no",
		"what": job.Say("servers.to.list", nil), "mend": job.Say(mend, nil)}), nil)
}

type fullMailbox struct{ Mail }

func (fullMailbox) AppendOnce(context.Context, string, []string, time.Time, []byte, string) (mailbox.Ref, error) {
	return mailbox.Ref{}, refusedBy("servers.mend.room")
}

// A server that takes a letter and says nothing holds up neither the other
// letters nor a stop, and the letter is uncertain.
func TestSilentSendingServerHoldsUpNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "first"))
	h.once()
	d := h.approve()
	h.smtp.Behave(mailtest.SilentAfterDot)
	h.Send = patientSender(t, h.smtp)
	dotted := make(chan struct{})
	h.smtp.OnData(func() { close(dotted) })
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- h.Run(ctx) }()
	<-dotted
	h.imap.Deliver(request(t, "second"))
	h.until("the second letter is drafted while the first has no answer", func() bool {
		return len(h.drafts(ledger.DraftWaiting)) == 1
	})
	stop()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(time.Minute): // the answer is waited for ten minutes otherwise
		t.Fatal("told to stop, it waits on for an answer")
	}
	if got := h.drafts(ledger.DraftUncertain); len(got) != 1 || got[0].ID != d.ID {
		t.Errorf("uncertain: %+v", got)
	}
}

// patientSender waits for an answer as long as RFC 5321 asks, and a moment when
// told to stop.
func patientSender(t testing.TB, sink *mailtest.Sink) func(context.Context, outbox.Message) outbox.Outcome {
	c := outbox.Config{Config: mailbox.Config{Host: sink.Host, Port: sink.Port, TLS: "none", CommandTimeout: time.Minute, Table: "smtp"}, Grace: 100 * time.Millisecond}
	source := mailtest.Password(t, sink.User, sink.Password)
	return func(ctx context.Context, m outbox.Message) outbox.Outcome {
		return outbox.Send(ctx, c, source, m, slog.New(slog.DiscardHandler))
	}
}

// until waits for something to come true, with a deadline that only a fault meets.
func (h *house) until(what string, there func() bool) {
	h.t.Helper()
	for end := time.Now().Add(time.Minute); !there(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			h.t.Fatalf("never: %s\n%s", what, h.log)
		}
	}
}

// After a letter that had no answer, the next ones are not risked one after
// another: there is a wait, and the server is probed first.
func TestOneSilenceDoesNotMakeEveryLetterUncertain(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	probes, reachable := 0, false
	h.Reach = func(context.Context) error {
		probes++
		if reachable {
			return nil
		}
		return wire.Config{Host: "127.0.0.1", Port: 25}.Silence(job.Say("servers.doing.greeting", nil), nil)
	}
	for i := range 4 {
		h.imap.Deliver(request(t, fmt.Sprintf("many-%d", i)))
	}
	h.once()
	for _, d := range h.drafts(ledger.DraftWaiting) {
		if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
			t.Fatal(err)
		}
	}
	h.smtp.Behave(mailtest.CutAfterDot)
	h.once()
	h.wantUncertain(1)
	h.forward(time.Minute)
	h.once()
	if probes == 0 {
		t.Error("the server was not probed before another letter")
	}
	h.wantUncertain(1)
	reachable = true
	h.forward(time.Hour)
	h.once()
	h.wantUncertain(2) // it answers a probe, and is silent again
	h.forward(15 * time.Second)
	h.once()
	h.wantUncertain(2)
	h.smtp.Behave(mailtest.Accept)
	h.forward(time.Hour)
	h.once()
	h.wantUncertain(2)
	if n := len(h.drafts(ledger.DraftSent)); n != 2 {
		t.Errorf("%d sent, want the other two", n)
	}
}

func (h *house) wantUncertain(n int) {
	h.t.Helper()
	if got := len(h.drafts(ledger.DraftUncertain)); got != n {
		h.t.Fatalf("%d are uncertain, want %d\n%s", got, n, h.log)
	}
}

// What was given up can be tried again, one or all.
func TestTryAgain(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "again"))
	broken := true
	h.At = func(point string) {
		if broken && point == "files kept" {
			panic("a fault of our own")
		}
	}
	for range 4 {
		h.once()
		h.forward(time.Hour)
	}
	given, err := h.Ledger.GivenUp(t.Context())
	if err != nil || len(given) != 1 {
		t.Fatalf("given up: %+v, %v", given, err)
	}
	broken = false
	err = h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.TryAgain(t.Context(), given[0].Subject, marisol) })
	if err != nil {
		t.Fatal(err)
	}
	h.once()
	h.wantStage(job.Drafted)
	if n := h.notices(); len(n) != 0 {
		t.Errorf("notices %q", n)
	}
	if given, err = h.Ledger.GivenUp(t.Context()); err != nil || len(given) != 0 {
		t.Errorf("still given up: %+v, %v", given, err)
	}
	h.whole()
}
