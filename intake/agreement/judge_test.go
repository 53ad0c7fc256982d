package agreement

import (
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

var house = rules.Agreement{Required: true, Current: "2026-1", Accept: []string{"2025-1"}, ValidMonths: 24, GuardianBelow: 18, MatchCard: true}

var (
	ada   = Entry{Address: "ada@example.org", Others: []string{"ada@example.net"}, Name: "Ada Example", Card: "2 1234", Signed: "2026-01-31", Version: "2026-1"}
	child = Entry{Address: "ada@example.org", Name: "Kim Example", Card: "2 9999", Signed: "2026-03-01", Version: "2026-1", Born: "2010-11-26"}
)

func with(e Entry, change func(*Entry)) Entry {
	change(&e)
	return e
}

func TestJudge(t *testing.T) {
	day := time.Date(2026, 11, 25, 18, 0, 0, 0, time.UTC)
	noCard := house
	noCard.MatchCard = false
	for _, c := range []struct {
		name    string
		address string
		auth    job.Verdict
		card    string
		found   []Entry
		rules   rules.Agreement
		want    job.AgreementState
		who     string // the name of the one it speaks of
		why     string // part of the sentence
	}{
		{"good", "ada@example.org", job.Pass, "", []Entry{ada}, house, job.AgreementGood, "Ada Example", `"until":"2028-01-31"`},
		{"capital letters in the address", "Ada@Example.ORG", job.Pass, "", []Entry{ada}, house, job.AgreementGood, "Ada Example", ""},
		{"another address of hers", "ada@example.net", job.Pass, "", []Entry{ada}, house, job.AgreementGood, "Ada Example", ""},
		{"none on file", "eve@example.org", job.Pass, "", nil, house, job.AgreementNone, "", "agreement.none"},
		{"what was found is of others", "eve@example.org", job.Pass, "", []Entry{ada}, house, job.AgreementNone, "", ""},
		{"no agreement needed", "eve@example.org", job.Fail, "", nil, rules.Agreement{}, job.AgreementGood, "", "agreement.not-asked"},

		{"older version that counts", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Version = " 2025-1" })}, house, job.AgreementGood, "Ada Example", ""},
		{"older version that does not", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Version = "2019" })}, house, job.AgreementOld, "Ada Example", `"version":"2026-1"`},
		{"expired by the house's term", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Signed = "2024-11-24" })}, house, job.AgreementExpired, "Ada Example", `"on":"2026-11-24"`},
		{"on its last day", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Signed = "2024-11-25" })}, house, job.AgreementGood, "Ada Example", `"until":"2026-11-25"`},
		{"expired by the register", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Expires = "2026-11-24" })}, house, job.AgreementExpired, "Ada Example", ""},
		{"the register gives longer than the house", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Signed, e.Expires = "2020-01-01", "2030-01-01" })}, house, job.AgreementGood, "Ada Example", `"until":"2030-01-01"`},
		{"no end at all", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Signed = "2001-01-01" })}, rules.Agreement{Required: true, Current: "2026-1"}, job.AgreementGood, "Ada Example", "agreement.good "},
		{"no day of signing", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Signed = "" })}, house, job.AgreementExpired, "Ada Example", "agreement.no-day"},
		{"signed tomorrow", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Signed = "2026-11-26" })}, house, job.AgreementNone, "Ada Example", "agreement.to-come"},

		{"minor without a guardian", "ada@example.org", job.Pass, "", []Entry{child}, house, job.AgreementGuardian, "Kim Example", "agreement.no-guardian"},
		{"minor with a guardian", "ada@example.org", job.Pass, "", []Entry{with(child, func(e *Entry) { e.Guardian = "Ada Example" })}, house, job.AgreementGood, "Kim Example", ""},
		{"of age today", "ada@example.org", job.Pass, "", []Entry{with(child, func(e *Entry) { e.Born = "2008-11-25" })}, house, job.AgreementGood, "Kim Example", ""},
		{"of age tomorrow", "ada@example.org", job.Pass, "", []Entry{with(child, func(e *Entry) { e.Born = "2008-11-26" })}, house, job.AgreementGuardian, "Kim Example", `"age":18`},
		{"known to be a minor, no birth date", "ada@example.org", job.Pass, "", []Entry{with(child, func(e *Entry) { e.Born, e.Minor = "", true })}, house, job.AgreementGuardian, "Kim Example", ""},
		{"the house asks for no guardian", "ada@example.org", job.Pass, "", []Entry{child}, rules.Agreement{Required: true, Current: "2026-1"}, job.AgreementGood, "Kim Example", ""},

		{"the good one among several", "ada@example.org", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Version = "2019" }), with(ada, func(e *Entry) { e.Signed = "2023-01-01" }), ada}, house, job.AgreementGood, "Ada Example", "2026-01-31"},
		{"shared address, no card: the good one", "ada@example.org", job.Pass, "", []Entry{child, ada}, house, job.AgreementGood, "Ada Example", ""},
		{"shared address, the child's card", "ada@example.org", job.Pass, "29999", []Entry{child, ada}, house, job.AgreementGuardian, "Kim Example", ""},
		{"a card nobody of them has", "ada@example.org", job.Pass, "777", []Entry{ada}, house, job.AgreementGood, "Ada Example", ""},

		{"forged: DMARC fails", "ada@example.org", job.Fail, "", []Entry{ada}, house, job.AgreementUnproven, "Ada Example", `"match":{"key":"agreement.good-until"`},
		{"no DMARC result", "ada@example.org", job.None, "", []Entry{ada}, house, job.AgreementUnproven, "Ada Example", "agreement.no-check"},
		{"no verdict at all", "ada@example.org", "", "", []Entry{ada}, house, job.AgreementUnproven, "Ada Example", ""},
		{"forged, and the card known to the forger", "ada@example.org", job.Fail, "2 1234", []Entry{ada}, house, job.AgreementUnproven, "Ada Example", ""},
		{"forged, expired: nothing is told", "ada@example.org", job.Fail, "", []Entry{with(ada, func(e *Entry) { e.Signed = "2020-01-01" })}, house, job.AgreementUnproven, "Ada Example", "agreement.ended"},
		{"unproven and unknown", "eve@example.org", job.Fail, "", nil, house, job.AgreementNone, "", ""},
		{"the house trusts all senders", "ada@example.org", job.None, "", []Entry{ada}, with2(house, func(r *rules.Agreement) { r.TrustUnproven = true }), job.AgreementGood, "Ada Example", ""},

		{"the card from another address", "ada@work.example", job.Pass, "2-1234", []Entry{ada}, house, job.AgreementUnproven, "Ada Example", "agreement.by-card"},
		{"the card, where cards do not count", "ada@work.example", job.Pass, "2-1234", []Entry{ada}, noCard, job.AgreementNone, "", ""},
		{"the card alone, even where senders are trusted", "ada@work.example", job.Pass, "2-1234", []Entry{ada}, with2(house, func(r *rules.Agreement) { r.TrustUnproven = true }), job.AgreementUnproven, "Ada Example", ""},
		{"an entry without an address matches nobody's empty one", "", job.Pass, "", []Entry{with(ada, func(e *Entry) { e.Address, e.Others = "", nil })}, house, job.AgreementNone, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Judge(job.Address{Address: c.address}, c.auth, c.card, day, c.found, c.rules)
			if got.State != c.want || got.Name != c.who || !strings.Contains(got.Why.String(), c.why) || got.Why.Key == "" {
				t.Errorf("got %+v\nwant %s of %q, why %q", got, c.want, c.who, c.why)
			}
		})
	}
}

func with2(r rules.Agreement, change func(*rules.Agreement)) rules.Agreement {
	change(&r)
	return r
}

// Whatever the verdict of the mail server but pass, nobody is ever matched.
func TestUnprovenIsNeverGood(t *testing.T) {
	day := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	for _, auth := range []job.Verdict{job.Fail, job.None, "", "PASS", "pass ", "softfail"} {
		for _, card := range []string{"", "2 1234", "2 9999"} {
			for _, from := range []string{"ada@example.org", "ada@example.net", "eve@example.org"} {
				if got := Judge(job.Address{Address: from}, auth, card, day, []Entry{ada, child}, house); got.State == job.AgreementGood {
					t.Errorf("%q from %s with card %q is %+v", auth, from, card, got)
				}
			}
		}
	}
}

// The day is the library's, not Greenwich's.
func TestJudgeInTheLibrarysZone(t *testing.T) {
	zone := time.FixedZone("", -5*3600)
	e := with(ada, func(e *Entry) { e.Expires = "2026-11-25" })
	late := time.Date(2026, 11, 26, 3, 0, 0, 0, time.UTC) // still the 25th there
	if got := Judge(job.Address{Address: e.Address}, job.Pass, "", late.In(zone), []Entry{e}, house); got.State != job.AgreementGood {
		t.Errorf("%+v", got)
	}
	if got := Judge(job.Address{Address: e.Address}, job.Pass, "", late, []Entry{e}, house); got.State != job.AgreementExpired {
		t.Errorf("%+v", got)
	}
}

func TestAddMonths(t *testing.T) {
	for _, c := range []struct {
		from string
		n    int
		want string
	}{
		{"2026-01-31", 1, "2026-02-28"}, {"2024-01-31", 1, "2024-02-29"}, {"2024-02-29", 12, "2025-02-28"},
		{"2026-01-15", 24, "2028-01-15"}, {"2026-11-30", 3, "2027-02-28"}, {"2026-12-31", 12, "2027-12-31"},
	} {
		from, err := time.Parse(day, c.from)
		if err != nil {
			t.Fatal(err)
		}
		if got := addMonths(from, c.n).Format(day); got != c.want {
			t.Errorf("%s and %d months is %s, want %s", c.from, c.n, got, c.want)
		}
	}
}

func TestSamePerson(t *testing.T) {
	for _, c := range []struct {
		a, b Entry
		want bool
	}{
		{Entry{Name: "Ada Example", Card: "2 1234"}, Entry{Name: "Ada Other", Card: "21234"}, true},
		{Entry{Name: "Ada Example", Card: "2 1234"}, Entry{Name: "Ada Example", Card: "2 9999"}, false},
		{Entry{Name: "Ada Example", Card: "2 1234"}, Entry{Name: "ada  EXAMPLE"}, true},
		{Entry{Name: "Ada Example"}, Entry{Name: "Kim Example"}, false},
		{Entry{Name: "Ada Example"}, Entry{}, true},
	} {
		if got := c.a.SamePerson(c.b); got != c.want {
			t.Errorf("%+v and %+v: %v", c.a, c.b, got)
		}
		if got := c.b.SamePerson(c.a); got != c.want {
			t.Errorf("%+v and %+v: %v", c.b, c.a, got)
		}
	}
}
