// Package agreement is the register of signed agreements and the rule that
// says whether one of them covers the sender of a letter.
//
// An Entry is one signature: a person, the version of the text that was
// signed, the day, and the mail addresses the person writes from. The same
// person may have several entries, one for each version signed.
//
// Judge is the rule. It is pure: what is on file, the house rules and the day
// go in, one verdict comes out. It keeps two invariants:
//
//   - A sender whose address was not proven by the mail server is never matched
//     silently. Anybody can write any sender into a letter, so the verdict is
//     then "unproven" and names what would match, for a person to decide.
//   - A card number in a letter is a claim, not a proof. It may choose among the
//     entries of a proven address; alone it only gives staff a hint.
//
// Dates are calendar days, written YYYY-MM-DD, without a time zone.
package agreement

import (
	"context"
	"strings"
	"unicode"

	"golang.org/x/text/cases"

	"meshclerk/intake/job"
)

// Entry is one signed agreement. Addresses are in lower case; dates are
// YYYY-MM-DD, or empty where unsaid.
type Entry struct {
	Address  string   `json:"address"`
	Others   []string `json:"other_addresses,omitempty"`
	Name     string   `json:"name"`
	Card     string   `json:"card,omitempty"`
	Signed   string   `json:"signed"`
	Version  string   `json:"version"`
	Expires  string   `json:"expires,omitempty"`
	Guardian string   `json:"guardian,omitempty"` // who signed for a minor
	Born     string   `json:"born,omitempty"`
	Minor    bool     `json:"minor,omitempty"` // known to be under age where no birth date is on file
}

// Register is where entries are kept.
type Register interface {
	// UpsertAgreements adds entries and brings known ones up to date. Doing it
	// again with the same entries changes nothing.
	UpsertAgreements(ctx context.Context, entries []Entry, who, why string) (Upserted, error)
	// FindAgreements returns every entry with that address, as the first or as
	// another one, or with that card number. An empty word matches nothing.
	FindAgreements(ctx context.Context, address, card string) ([]Entry, error)
	// Agreements returns the whole register, by name.
	Agreements(ctx context.Context) ([]Entry, error)
}

// Upserted counts what an import did.
type Upserted struct {
	Added   int `json:"added"`
	Changed int `json:"changed"`
	Same    int `json:"same"`
	// Waiting names the open jobs that lacked a good agreement and whose patron
	// now has an added or changed entry: judge them again.
	Waiting []string `json:"waiting,omitempty"`
}

// Addresses returns every address of the entry, the first one first.
func (e Entry) Addresses() []string { return append([]string{e.Address}, e.Others...) }

// Has reports whether the person writes from that address.
func (e Entry) Has(address string) bool {
	address = Normal(address)
	for _, a := range e.Addresses() {
		if address != "" && Normal(a) == address {
			return true
		}
	}
	return false
}

// SamePerson reports whether two entries with an address in common are about one
// person: a family may share one address. The card decides; without one on
// either side the name does.
func (e Entry) SamePerson(o Entry) bool {
	a, b := CardDigits(e.Card), CardDigits(o.Card)
	if a != "" && b != "" {
		return a == b
	}
	return e.Name == "" || o.Name == "" || foldName(e.Name) == foldName(o.Name)
}

// Normal returns the form in which addresses are compared.
func Normal(address string) string { return job.NormalAddress(address) }

// CardDigits returns the form in which card numbers are compared: letters in
// upper case and digits, without the spaces and dashes people write between them.
func CardDigits(card string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, card)
}

func foldName(name string) string {
	return cases.Fold().String(strings.Join(strings.Fields(name), " "))
}
