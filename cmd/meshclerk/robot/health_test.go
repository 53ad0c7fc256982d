package robot

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/wire"
)

// all are words, one below the other.
func all(words []job.Message) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = w.Text
	}
	return strings.Join(out, "\n")
}

// The health address tells the real cause, whatever it is, and not always that
// the mailbox cannot be reached.
func TestHealthTellsTheRealCause(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		make func(h *house)
		want string
	}{
		"sign-in refused": {func(h *house) {
			h.Dial = func(context.Context) (Mail, error) {
				return nil, wire.Config{Host: "127.0.0.1", Port: 143}.Fault(job.Say("servers.no-sign-in", job.Args{"server": "127.0.0.1:143", "words": "no",
					"with": job.Say("servers.with.password-env", job.Args{"user": "amara.okafor@example.org", "name": "PW"}), "mend": job.Say("servers.mend.imap-secret", nil)}), nil)
			}
			h.forward(time.Hour)
			h.Poll(h.t.Context())
		}, "does not let us in with the password of a***@example.org"},
		"work that is not done": {func(h *house) {
			if err := h.Ledger.Enqueue(h.t.Context(), "draft", "nobody", h.now()); err != nil {
				h.t.Fatal(err)
			}
			h.forward(time.Hour)
			h.Poll(h.t.Context())
		}, "work that was due 60 minutes ago is not done"},
		"a loop that stands still": {func(h *house) {
			h.vitals.beats("work", h.now(), nil)
			h.forward(10 * time.Minute)
			h.Poll(h.t.Context())
		}, "the work loop stands still"},
		"a step without end": {func(h *house) {
			h.vitals.beats("send", h.now(), &ledger.Step{Kind: ledger.StepSend})
			h.forward(time.Hour)
			h.Poll(h.t.Context())
		}, "the send loop is at one send step"},
		"a send without end": {func(h *house) {
			h.agree()
			h.imap.Deliver(request(h.t, "endless"))
			h.once()
			d := h.approve()
			if _, _, err := h.Ledger.BeginSend(h.t.Context(), d.ID, "another"); err != nil {
				h.t.Fatal(err)
			}
			h.forward(time.Hour)
			h.Poll(h.t.Context())
		}, "a reply is being sent for"},
		"an answer not written down": {func(h *house) {
			h.vitals.cannotWrite(errors.New("the disk that holds /data is full"))
		}, "cannot be written down: the disk that holds /data is full"},
		"no room":       {func(h *house) { h.Rules.Caps.LetterBytes = 1 << 60 }, "free some space"},
		"a wrong clock": {func(h *house) { h.misset(60 * aDay); h.once() }, "this machine's clock says"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.once()
			if got := h.Health(t.Context()); !got.OK || len(got.Why) > 0 || got.LastGoodPoll == "" || got.FreeDiskBytes == 0 {
				t.Fatalf("a sound house: %+v", got)
			}
			c.make(h)
			got := h.Health(t.Context())
			if said := all(got.In(h.Say).Why); got.OK || !strings.Contains(said, c.want) {
				t.Errorf("says %q, want %q", said, c.want)
			}
		})
	}
}

// What is for a person to decide is told, and is no fault of the service's.
func TestHealthNotesWhatWaitsForAPerson(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver([]byte("\x00\x01 this is no mail at all\r\n"))
	for range 4 {
		h.once()
		h.forward(time.Hour)
	}
	h.once()
	got := h.Health(t.Context())
	if !got.OK || got.GivenUp != 1 || !strings.Contains(all(got.In(h.Say).Note), "meshclerk retry") {
		t.Errorf("health %+v", got)
	}
}
