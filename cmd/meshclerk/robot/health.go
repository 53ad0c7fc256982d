package robot

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/reply/outbox"
)

// Health is how the robot fares, as the health address tells it. Ages are in
// seconds. No patron's name or word is in it.
type Health struct {
	OK            bool     `json:"ok"`
	LastGoodPoll  string   `json:"last_good_poll,omitempty"`
	Why           []string `json:"why,omitempty"` // what is wrong now: while there is one, OK is false
	Note          []string `json:"note,omitempty"`
	OldestDueS    int      `json:"oldest_due_s"`
	OldestSendS   int      `json:"oldest_sending_s"`
	GivenUp       int      `json:"given_up"`
	Uncertain     int      `json:"uncertain"`
	FreeDiskBytes uint64   `json:"free_disk_bytes,omitempty"`
}

const (
	mostDue     = 15 * time.Minute // a step that should have been done this long ago is stuck
	mostSending = 12 * time.Minute // over the ten of RFC 5321, 4.5.3.2.6
	mostQuiet   = 2 * time.Minute  // a lane comes round every second
)

// Health tells how the robot fares now.
func (r *Robot) Health(ctx context.Context) Health {
	h := Health{}
	r.mailHealth(&h)
	r.laneHealth(&h)
	r.ledgerHealth(ctx, &h)
	if doubt := r.clockDoubt(); !doubt.IsZero() {
		h.Why = append(h.Why, r.Say(doubt))
	}
	for i := range h.Why {
		h.Why[i] = outbox.Mask(h.Why[i])
	}
	h.OK = len(h.Why) == 0
	return h
}

func (r *Robot) mailHealth(h *Health) {
	when, err := r.LastGoodPoll()
	if !when.IsZero() {
		h.LastGoodPoll = when.UTC().Format(time.RFC3339)
	}
	switch {
	case r.Well():
		if err != nil {
			h.Note = append(h.Note, "the last look at the mailbox failed: "+outbox.Mask(r.Error(err)))
		}
	case err != nil:
		h.Why = append(h.Why, r.Error(err))
	default:
		h.Why = append(h.Why, "the mailbox was not looked at yet")
	}
}

// laneHealth tells of a loop that stands still, and of an answer not written down.
func (r *Robot) laneHealth(h *Health) {
	beats, unsaved := r.vitals.all()
	for _, name := range slices.Sorted(maps.Keys(beats)) {
		b := beats[name]
		quiet := r.Now().Sub(b.at)
		switch {
		case b.step == "" && quiet > mostQuiet:
			h.Why = append(h.Why, fmt.Sprintf("the %s loop stands still since %s; restart the service", name, b.at.UTC().Format(time.RFC3339)))
		case b.step != "" && quiet > lease:
			h.Why = append(h.Why, fmt.Sprintf("the %s loop is at one %s step since %s; restart the service", name, b.step, b.at.UTC().Format(time.RFC3339)))
		}
	}
	if unsaved != nil {
		h.Why = append(h.Why, "what was done cannot be written down: "+unsaved.Error())
	}
}

func (r *Robot) ledgerHealth(ctx context.Context, h *Health) {
	if free, ok := r.Ledger.Free(); ok {
		h.FreeDiskBytes = free
		if least := 2 * uint64(r.Rules.Caps.LetterBytes); free < least {
			h.Why = append(h.Why, fmt.Sprintf("%d MB are free on the disk that holds the data, and two of the largest letters need %d MB; free some space", free>>20, least>>20))
		}
	}
	p, err := r.Ledger.Pulse(ctx)
	if err != nil {
		h.Why = append(h.Why, r.Error(err))
		return
	}
	age := func(t time.Time) time.Duration {
		if t.IsZero() {
			return 0
		}
		return max(0, r.Now().Sub(t))
	}
	due, sending := age(p.OldestDue), age(p.OldestSending)
	h.OldestDueS, h.OldestSendS, h.GivenUp, h.Uncertain = int(due.Seconds()), int(sending.Seconds()), p.GivenUp, p.Uncertain
	if due > mostDue {
		h.Why = append(h.Why, fmt.Sprintf("work that was due %s ago is not done; meshclerk doctor and the log say why", r.Say(roughly(due))))
	}
	if sending > mostSending {
		h.Why = append(h.Why, fmt.Sprintf("a reply is being sent for %s; restart the service, which makes it uncertain", r.Say(roughly(sending))))
	}
	if p.GivenUp > 0 {
		h.Note = append(h.Note, fmt.Sprintf("%s given up: meshclerk retry", job.Count(p.GivenUp, "step was", "steps were")))
	}
	if p.Uncertain > 0 {
		h.Note = append(h.Note, fmt.Sprintf("%s uncertain: meshclerk drafts settle", job.Count(p.Uncertain, "reply is", "replies are")))
	}
	if !p.Held.IsZero() {
		h.Note = append(h.Note, "the ledger was restored and nothing is sent until somebody says go on: meshclerk restored")
	}
}
