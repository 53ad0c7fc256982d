package robot

import (
	"context"
	"maps"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/reply/outbox"
)

// Health is how the robot fares, as the health address tells it. Ages are in
// seconds. No patron's name or word is in it.
type Health struct {
	OK            bool          `json:"ok"`
	LastGoodPoll  string        `json:"last_good_poll,omitempty"`
	Why           []job.Message `json:"why,omitempty"` // what is wrong now: while there is one, OK is false
	Note          []job.Message `json:"note,omitempty"`
	OldestDueS    int           `json:"oldest_due_s"`
	OldestSendS   int           `json:"oldest_sending_s"`
	GivenUp       int           `json:"given_up"`
	Uncertain     int           `json:"uncertain"`
	FreeDiskBytes uint64        `json:"free_disk_bytes,omitempty"`
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
		h.Why = append(h.Why, doubt)
	}
	h.OK = len(h.Why) == 0
	return h
}

// In gives the same in the words of a reader, with the addresses in it masked.
func (h Health) In(say func(job.Message) string) Health {
	worded := func(messages []job.Message) (out []job.Message) {
		for _, m := range messages {
			out = append(out, job.Plain(outbox.Mask(say(m))))
		}
		return out
	}
	h.Why, h.Note = worded(h.Why), worded(h.Note)
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
			h.Note = append(h.Note, job.Say("health.last-look", job.Args{"why": job.Why(err)}))
		}
	case err != nil:
		h.Why = append(h.Why, job.Why(err))
	default:
		h.Why = append(h.Why, job.Say("health.no-look-yet", nil))
	}
}

// laneHealth tells of a loop that stands still, and of an answer not written down.
func (r *Robot) laneHealth(h *Health) {
	beats, unsaved := r.vitals.all()
	for _, name := range slices.Sorted(maps.Keys(beats)) {
		b := beats[name]
		quiet, since := r.Now().Sub(b.at), b.at.UTC().Format(time.RFC3339)
		switch {
		case b.step == "" && quiet > mostQuiet:
			h.Why = append(h.Why, job.Say("health.loop-still", job.Args{"loop": name, "since": since}))
		case b.step != "" && quiet > lease:
			h.Why = append(h.Why, job.Say("health.loop-at-step", job.Args{"loop": name, "step": b.step, "since": since}))
		}
	}
	if unsaved != nil {
		h.Why = append(h.Why, job.Say("health.not-written", job.Args{"why": job.Why(unsaved)}))
	}
}

func (r *Robot) ledgerHealth(ctx context.Context, h *Health) {
	if free, ok := r.Ledger.Free(); ok {
		h.FreeDiskBytes = free
		if least := 2 * uint64(r.Rules.Caps.LetterBytes); free < least {
			h.Why = append(h.Why, job.Say("health.little-room", job.Args{"free": int64(free >> 20), "needed": int64(least >> 20)}))
		}
	}
	p, err := r.Ledger.Pulse(ctx)
	if err != nil {
		h.Why = append(h.Why, job.Why(err))
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
		h.Why = append(h.Why, job.Say("health.overdue", job.Args{"age": roughly(due)}))
	}
	if sending > mostSending {
		h.Why = append(h.Why, job.Say("health.long-sending", job.Args{"age": roughly(sending)}))
	}
	if p.GivenUp > 0 {
		h.Note = append(h.Note, job.Say("health.given-up", job.Args{"n": p.GivenUp}))
	}
	if p.Uncertain > 0 {
		h.Note = append(h.Note, job.Say("health.uncertain", job.Args{"n": p.Uncertain}))
	}
	if !p.Held.IsZero() {
		h.Note = append(h.Note, job.Say("health.restored", nil))
	}
}
