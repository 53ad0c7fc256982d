package sample

import (
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/rules"
)

// Agreements is the register of the demo: whose agreement is on file. Tomas
// Lindgren has none, Priya Raman's has run out.
func Agreements(now time.Time, r rules.Agreement) []agreement.Entry {
	signed := func(monthsAgo int) string { return now.AddDate(0, -monthsAgo, 0).Format(time.DateOnly) }
	var out []agreement.Entry
	for _, p := range []struct{ name, address, card string }{
		{"Amara Okafor", "amara.okafor@example.org", "2900 1138 4402 7"},
		{"Jonas Weller", "jonas.weller@example.org", "2900 4417 8823 1"},
		{"Hélène Marchand", "helene.marchand@example.com", "2900 5520 0164 3"},
		{"Wei Tan", "wei.tan@example.net", "2900 6071 9928 8"},
		{"Lucía Ferrer", "lucia.ferrer@example.org", "2900 3345 1209 5"},
		{"Ben Achterberg", "ben.achterberg@example.net", "2900 7719 3340 2"},
		{"Greta Solheim", "greta.solheim@example.com", "2900 8846 5017 9"},
		{"Omar Benali", "omar.benali@example.org", "2900 2203 7781 4"},
		{"Ingrid Falk", "ingrid.falk@example.net", "2900 9184 6632 0"},
		{"Samuel Adeyemi", "samuel.adeyemi@example.com", "2900 4058 2291 6"},
		{"Yara Costa", "yara.costa@example.org", "2900 6627 1174 8"},
	} {
		out = append(out, agreement.Entry{Address: p.address, Name: p.name, Card: p.card, Signed: signed(3), Version: r.Current})
	}
	return append(out, agreement.Entry{
		Address: "priya.raman@example.com", Name: "Priya Raman", Card: "2900 1502 4486 3",
		Signed: signed(30), Version: r.Current, Expires: signed(6),
	})
}
