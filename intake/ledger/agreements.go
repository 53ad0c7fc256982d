package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// The ledger is where the register of agreements is kept.
var _ agreement.Register = (*Ledger)(nil)

// UpsertAgreements implements agreement.Register: all entries, or none.
func (l *Ledger) UpsertAgreements(ctx context.Context, entries []agreement.Entry, who, why string) (agreement.Upserted, error) {
	return in(ctx, l, func(tx *Tx) (agreement.Upserted, error) { return tx.UpsertAgreements(ctx, entries, who, why) })
}

// UpsertAgreements is that of Ledger, as part of a larger transaction.
func (tx *Tx) UpsertAgreements(ctx context.Context, entries []agreement.Entry, who, why string) (agreement.Upserted, error) {
	var done agreement.Upserted
	waiting := map[string]bool{}
	for _, e := range entries {
		n, what, err := tx.upsert(ctx, e)
		if err != nil {
			return agreement.Upserted{}, err
		}
		switch what {
		case "same":
			done.Same++
			continue
		case "added":
			done.Added++
		default:
			done.Changed++
		}
		if err := tx.event(ctx, Event{Who: who, Subject: fmt.Sprintf("A-%06d", n), What: "agreement", To: what, Why: job.Plain(why)}); err != nil {
			return agreement.Upserted{}, err
		}
		jobs, err := tx.lacking(ctx, e)
		if err != nil {
			return agreement.Upserted{}, err
		}
		for _, id := range jobs {
			waiting[id] = true
		}
	}
	for id := range waiting {
		done.Waiting = append(done.Waiting, id)
	}
	slices.Sort(done.Waiting)
	return done, nil
}

// upsert adds an entry, or brings the one for the same person and version up to date.
func (tx *Tx) upsert(ctx context.Context, e agreement.Entry) (id int64, what string, err error) {
	old, err := tx.entries(ctx, `WHERE address = ? AND LOWER(version) = LOWER(?) ORDER BY id`, e.Address, e.Version)
	if err != nil {
		return 0, "", err
	}
	for _, o := range old {
		if !e.SamePerson(o.Entry) {
			continue
		}
		if sameEntry(o.Entry, e) {
			return o.id, "same", nil
		}
		err := tx.exec(ctx, `UPDATE agreements SET name = ?, card = ?, card_key = ?, signed = ?, version = ?, expires = ?, guardian = ?, born = ?, minor = ?, changed = ? WHERE id = ?`,
			e.Name, e.Card, agreement.CardDigits(e.Card), e.Signed, e.Version, e.Expires, e.Guardian, e.Born, flag(e.Minor), stamp(tx.now), o.id)
		if err != nil {
			return 0, "", err
		}
		return o.id, "changed", tx.saveAddresses(ctx, o.id, e)
	}
	id, err = tx.insert(ctx, `INSERT INTO agreements (address, name, card, card_key, signed, version, expires, guardian, born, minor, changed) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id`,
		e.Address, e.Name, e.Card, agreement.CardDigits(e.Card), e.Signed, e.Version, e.Expires, e.Guardian, e.Born, flag(e.Minor), stamp(tx.now))
	if err != nil {
		return 0, "", err
	}
	return id, "added", tx.saveAddresses(ctx, id, e)
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}

func sameEntry(a, b agreement.Entry) bool {
	others := slices.Equal(a.Others, b.Others)
	a.Others, b.Others = nil, nil
	return others && a.Address == b.Address && a.Name == b.Name && a.Card == b.Card && a.Signed == b.Signed && a.Version == b.Version &&
		a.Expires == b.Expires && a.Guardian == b.Guardian && a.Born == b.Born && a.Minor == b.Minor
}

func (tx *Tx) saveAddresses(ctx context.Context, id int64, e agreement.Entry) error {
	if err := tx.exec(ctx, `DELETE FROM agreement_addresses WHERE agreement = ?`, id); err != nil {
		return err
	}
	for i, a := range e.Addresses() {
		if a == "" {
			continue
		}
		err := tx.exec(ctx, `INSERT INTO agreement_addresses (agreement, address, place) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, id, agreement.Normal(a), i)
		if err != nil {
			return err
		}
	}
	return nil
}

// lacking gives the open jobs without a good agreement that the entry may help.
func (tx *Tx) lacking(ctx context.Context, e agreement.Entry) ([]string, error) {
	c := &clause{}
	c.in("stage", anys(openStages()))
	c.add("agreement_state <> 'good' AND agreement_state <> ''")
	var addresses []string
	for _, a := range e.Addresses() {
		addresses = append(addresses, agreement.Normal(a))
	}
	c.in("patron_address", anys(addresses))
	return tx.words(ctx, `SELECT id FROM jobs`+c.String(), c.args...)
}

// FindAgreements implements agreement.Register.
func (r Reader) FindAgreements(ctx context.Context, address, card string) ([]agreement.Entry, error) {
	address, card = agreement.Normal(address), agreement.CardDigits(card)
	return plainEntries(r.entries(ctx, `WHERE (? <> '' AND id IN (SELECT agreement FROM agreement_addresses WHERE address = ?))
		OR (? <> '' AND card_key = ?) ORDER BY signed DESC, id`, address, address, card, card))
}

// Agreements implements agreement.Register.
func (r Reader) Agreements(ctx context.Context) ([]agreement.Entry, error) {
	return plainEntries(r.entries(ctx, `ORDER BY LOWER(name), address, signed, id`))
}

// entry is an agreement and its number.
type entry struct {
	agreement.Entry
	id int64
}

func plainEntries(list []entry, err error) ([]agreement.Entry, error) {
	out := make([]agreement.Entry, len(list))
	for i, e := range list {
		out[i] = e.Entry
	}
	return out, err
}

func (r Reader) entries(ctx context.Context, where string, args ...any) ([]entry, error) {
	var out []entry
	at := map[int64]int{}
	err := r.each(ctx, `SELECT id, address, name, card, signed, version, expires, guardian, born, minor FROM agreements `+where, args, func(rows *sql.Rows) error {
		var e entry
		err := rows.Scan(&e.id, &e.Address, &e.Name, &e.Card, &e.Signed, &e.Version, &e.Expires, &e.Guardian, &e.Born, &e.Minor)
		at[e.id] = len(out)
		out = append(out, e)
		return err
	})
	if err != nil || len(out) == 0 {
		return nil, err
	}
	err = r.each(ctx, `SELECT agreement, address FROM agreement_addresses WHERE place > 0 AND agreement IN (SELECT id FROM agreements `+where+`) ORDER BY agreement, place`, args, func(rows *sql.Rows) error {
		var id int64
		var address string
		if err := rows.Scan(&id, &address); err != nil {
			return err
		}
		if i, ok := at[id]; ok {
			out[i].Others = append(out[i].Others, address)
		}
		return nil
	})
	return out, err
}
