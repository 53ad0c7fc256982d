package agreement

import (
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

const day = "2006-01-02"

// Judge reports whether one of the entries found covers the sender. found is what
// the register holds for the sender's address and for card, the card number in
// the letter (or empty); when is the library's local time. The verdict's Why is
// for staff: it may tell what is on file, so it never goes into a letter.
func Judge(sender job.Address, auth job.Verdict, card string, when time.Time, found []Entry, r rules.Agreement) job.Agreement {
	if !r.Required {
		return job.Agreement{State: job.AgreementGood, Why: job.Say("agreement.not-asked", nil)}
	}
	today := when.Format(day)
	byAddress, byCard := split(sender.Address, card, found)
	best, ok := pick(byAddress, card, today, r)
	switch {
	case ok && auth != job.Pass && !r.TrustUnproven:
		return unproven(best, job.Say("agreement.unproven", job.Args{"check": said(auth), "match": best.why}))
	case ok:
		return best.verdict()
	case len(byCard) > 0 && r.MatchCard:
		best, _ = pick(byCard, card, today, r)
		return unproven(best, job.Say("agreement.by-card", job.Args{"match": best.why}))
	}
	return job.Agreement{State: job.AgreementNone, Why: job.Say("agreement.none", nil)}
}

// split parts the entries that have the sender's address from those that only have the card.
func split(address, card string, found []Entry) (byAddress, byCard []Entry) {
	digits := CardDigits(card)
	for _, e := range found {
		switch {
		case e.Has(address):
			byAddress = append(byAddress, e)
		case digits != "" && CardDigits(e.Card) == digits:
			byCard = append(byCard, e)
		}
	}
	return byAddress, byCard
}

// judged is an entry and what the rule says of it alone.
type judged struct {
	Entry
	state   job.AgreementState
	expires string
	why     job.Message
}

// rank orders states from the one that covers to the ones that do not.
var rank = []job.AgreementState{job.AgreementGood, job.AgreementGuardian, job.AgreementExpired, job.AgreementOld, job.AgreementNone}

// pick returns the entry that speaks best for the sender. Where the letter names a
// card that one of the entries has, only that person's entries count: others
// in the family may share the address.
func pick(entries []Entry, card, today string, r rules.Agreement) (judged, bool) {
	if digits := CardDigits(card); digits != "" && r.MatchCard {
		named := slices.DeleteFunc(slices.Clone(entries), func(e Entry) bool { return CardDigits(e.Card) != digits })
		if len(named) > 0 {
			entries = named
		}
	}
	if len(entries) == 0 {
		return judged{}, false
	}
	all := make([]judged, len(entries))
	for i, e := range entries {
		all[i] = judgeOne(e, today, r)
	}
	return slices.MinFunc(all, func(a, b judged) int {
		if d := slices.Index(rank, a.state) - slices.Index(rank, b.state); d != 0 {
			return d
		}
		return strings.Compare(b.Signed, a.Signed) // the newest signature first
	}), true
}

// judgeOne holds one entry against the rule.
func judgeOne(e Entry, today string, r rules.Agreement) judged {
	j := judged{Entry: e, expires: expires(e, r)}
	what := describe(e)
	switch {
	case e.Signed > today:
		j.state, j.why = job.AgreementNone, job.Say("agreement.to-come", job.Args{"agreement": what})
	case !counts(e.Version, r):
		j.state, j.why = job.AgreementOld, job.Say("agreement.old-version", job.Args{"agreement": what, "version": r.Current})
	case j.expires == "" && e.Signed == "" && r.ValidMonths > 0:
		j.state, j.why = job.AgreementExpired, job.Say("agreement.no-day", job.Args{"agreement": what})
	case j.expires != "" && j.expires < today:
		j.state, j.why = job.AgreementExpired, job.Say("agreement.ended", job.Args{"agreement": what, "on": j.expires})
	case isMinor(e, today, r) && strings.TrimSpace(e.Guardian) == "":
		j.state, j.why = job.AgreementGuardian, job.Say("agreement.no-guardian", job.Args{"agreement": what, "age": r.GuardianBelow})
	case j.expires != "":
		j.state, j.why = job.AgreementGood, job.Say("agreement.good-until", job.Args{"agreement": what, "until": j.expires})
	default:
		j.state, j.why = job.AgreementGood, job.Say("agreement.good", job.Args{"agreement": what})
	}
	return j
}

func (j judged) verdict() job.Agreement {
	return job.Agreement{State: j.state, Why: j.why, Address: j.Address, Name: j.Name,
		Card: j.Card, Version: j.Version, Signed: j.Signed, Expires: j.expires}
}

// unproven returns what would match, without matching it.
func unproven(j judged, why job.Message) job.Agreement {
	v := j.verdict()
	v.State, v.Why = job.AgreementUnproven, why
	return v
}

func said(auth job.Verdict) job.Message {
	if auth == job.Fail {
		return job.Say("agreement.check-failed", nil)
	}
	return job.Say("agreement.no-check", nil)
}

func describe(e Entry) job.Message {
	name := e.Name
	if name == "" {
		name = e.Address
	}
	if e.Signed == "" {
		return job.Say("agreement.of", job.Args{"version": e.Version, "name": name})
	}
	return job.Say("agreement.of-signed", job.Args{"version": e.Version, "name": name, "signed": e.Signed})
}

func counts(version string, r rules.Agreement) bool {
	same := func(v string) bool { return strings.EqualFold(strings.TrimSpace(v), strings.TrimSpace(version)) }
	return same(r.Current) || slices.ContainsFunc(r.Accept, same)
}

// expires returns the last day on which the entry counts, or "" for never. A day
// in the register goes before the house's term.
func expires(e Entry, r rules.Agreement) string {
	if e.Expires != "" {
		return e.Expires
	}
	signed, err := time.Parse(day, e.Signed)
	if err != nil || r.ValidMonths <= 0 {
		return ""
	}
	return addMonths(signed, r.ValidMonths).Format(day)
}

// addMonths returns the same day of a later month, or that month's last day where
// it is shorter: 31 January and one month is 28 or 29 February, not March.
func addMonths(t time.Time, n int) time.Time {
	first := time.Date(t.Year(), t.Month()+time.Month(n), 1, 0, 0, 0, 0, time.UTC)
	last := first.AddDate(0, 1, -1).Day()
	return first.AddDate(0, 0, min(t.Day(), last)-1)
}

func isMinor(e Entry, today string, r rules.Agreement) bool {
	if r.GuardianBelow <= 0 {
		return false
	}
	born, err := time.Parse(day, e.Born)
	if err != nil {
		return e.Minor
	}
	return born.AddDate(r.GuardianBelow, 0, 0).Format(day) > today
}
