package casework

import (
	"context"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// byTheWay are letters that take nothing of an earlier one back: what was
// quoted before them still stands.
var byTheWay = map[string]bool{templates.TextReminder: true, templates.TextPickupReminder: true, templates.TextQuestion: true, templates.TextStillNeeded: true, templates.TextCollected: true}

// silence is how a conversation about a job rests. Whoever spoke last waits for
// the other: while it is our turn, no time runs against the patron.
type silence struct {
	ours     ledger.Draft // our last letter that left or that staff set aside, reminders left out
	from     time.Time    // since when the patron has been silent
	reminded bool         // a reminder was written since
	ourTurn  bool         // the patron has written since, or a letter of ours has not left yet
}

func (o *Office) silence(ctx context.Context, id job.ID) (s silence, err error) {
	drafts, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Job: id})
	if err != nil {
		return s, err
	}
	for _, d := range drafts {
		reminder := d.Kind == templates.TextReminder || d.Kind == templates.TextPickupReminder
		switch {
		case d.State == ledger.DraftSuperseded:
		case reminder:
			s.reminded = true
		case byTheWay[d.Kind] && s.ours.ID != "" && (d.State == ledger.DraftSent || d.State == ledger.DraftSetAside):
			s.from = d.Changed // what was said before still stands, and was reminded of
		case d.State == ledger.DraftSent, d.State == ledger.DraftSetAside:
			s = silence{ours: d, from: d.Changed}
		default:
			s.ourTurn = true
		}
	}
	if s.ours.ID == "" {
		s.ourTurn = true
		return s, nil
	}
	letters, err := o.Ledger.LettersOf(ctx, id)
	if err != nil {
		return s, err
	}
	spoke := s.from
	for _, l := range letters {
		if !l.TakenAt.After(spoke) {
			continue
		}
		settled, err := o.settled(ctx, l.ID)
		if err != nil {
			return s, err
		}
		if settled.IsZero() && l.Parsed != nil && l.State == ledger.LetterDone && thanks(l.Parsed, o.Rules.Words) {
			continue // thanks are nobody's turn
		}
		s.ourTurn = s.ourTurn || settled.IsZero()
		if settled.After(s.from) {
			s.from = settled
		}
	}
	return s, nil
}

// settled tells when staff dealt with the notice about a letter, e.g. by
// telephone; never, while one is open or there was none.
func (o *Office) settled(ctx context.Context, letter string) (when time.Time, err error) {
	all, err := o.Ledger.Notices(ctx, true)
	for _, n := range all {
		switch {
		case !n.About(letter):
		case n.Open:
			return time.Time{}, err
		case n.Done.After(when):
			when = n.Done
		}
	}
	return when, err
}

// since tells whether that many days have gone by in silence; none are counted
// while it is our turn.
func (s silence) since(now time.Time, days int) bool {
	return !s.ourTurn && days > 0 && !now.Before(s.from.AddDate(0, 0, days))
}
