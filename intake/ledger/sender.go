package ledger

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"

	"meshclerk/intake/agreement"
)

// A letter that was never understood still has a sender, who may ask for it or
// have it forgotten. Its header is only looked through for addresses here: a
// wrong guess costs nothing, and nothing is answered from it.

const maxHeader = 256 << 10

var (
	// RFC 5322, 3.6.2: who wrote it, and who sent it for them.
	senderField = regexp.MustCompile(`(?i)^(from|sender)[ \t]*:`)
	addressForm = regexp.MustCompile(`[^\s<>()\[\],;:"\\]+@[^\s<>()\[\],;:"\\]+`)
)

// senders gives the addresses in the From and Sender fields of a letter's raw bytes.
func (l *Ledger) senders(sha string) ([]string, error) {
	f, err := l.OpenBlob(sha)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return sendersOf(f)
}

func sendersOf(r io.Reader) ([]string, error) {
	var out []string
	ours := false
	lines := bufio.NewReader(io.LimitReader(r, maxHeader))
	for {
		line, err := lines.ReadString('\n')
		line = strings.TrimRight(line, "\r\n")
		if line == "" {
			if errors.Is(err, io.EOF) {
				err = nil
			}
			return out, err
		}
		if line[0] != ' ' && line[0] != '\t' { // RFC 5322, 2.2.3: else the field goes on
			ours = senderField.MatchString(line)
		}
		if !ours {
			continue
		}
		for _, a := range addressForm.FindAllString(line, -1) {
			if a = agreement.Normal(a); !slices.Contains(out, a) {
				out = append(out, a)
			}
		}
	}
}

// unreadFrom gives the letters that nobody understood and an address wrote.
func (r Reader) unreadFrom(ctx context.Context, is func(address string) bool) ([]string, error) {
	type unread struct{ id, sha string }
	var all []unread
	err := r.each(ctx, `SELECT id, sha256 FROM letters WHERE from_address = '' AND raw IS NOT NULL ORDER BY id`, nil, func(rows *sql.Rows) error {
		var u unread
		err := rows.Scan(&u.id, &u.sha)
		all = append(all, u)
		return err
	})
	if err != nil {
		return nil, err
	}
	var out []string
	for _, u := range all {
		from, err := r.l.senders(u.sha)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return nil, r.l.plain(err)
		}
		if slices.ContainsFunc(from, is) {
			out = append(out, u.id)
		}
	}
	return out, nil
}

// knowSender records who wrote a letter that is set aside unread, so that its
// notice folds with others of the same sender. Of several writers none is
// recorded.
func (tx *Tx) knowSender(ctx context.Context, id string) error {
	var sha, address string
	err := tx.q.QueryRowContext(ctx, `SELECT sha256, from_address FROM letters WHERE id = ? AND raw IS NOT NULL`, id).Scan(&sha, &address)
	if errors.Is(err, sql.ErrNoRows) || err == nil && address != "" {
		return nil
	}
	if err != nil {
		return err
	}
	from, err := tx.l.senders(sha)
	if err != nil || len(from) != 1 {
		return nil // it is set aside all the same
	}
	return tx.exec(ctx, `UPDATE letters SET from_address = ? WHERE id = ?`, from[0], id)
}
