package main

import (
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// The command shows a notice of many letters in one line with their number and
// the latest; --json has them all.
func TestNoticesCommandNamesTheLetters(t *testing.T) {
	dir := t.TempDir()
	l, err := ledger.Open(t.Context(), dir, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for uid := range uint32(12) {
		sha, n, err := l.PutBlob(t.Context(), ledger.KindLetter, strings.NewReader(fmt.Sprint(uid)), 0)
		if err != nil {
			t.Fatal(err)
		}
		err = l.Tx(t.Context(), func(tx *ledger.Tx) error {
			id, _, err := tx.Take(t.Context(), ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: uid + 1, SHA256: sha, Bytes: n})
			if err != nil {
				return err
			}
			if err := tx.SaveParsed(t.Context(), id, job.Letter{From: job.Address{Address: "ada@example.org"}}, ledger.Robot); err != nil {
				return err
			}
			return tx.AddNotice(t.Context(), "stray-answer", id, job.Plain("letter "+id+" answers something"))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	list := func(args ...string) string {
		var out safeBuffer
		if err := run(t.Context(), append([]string{"notices", "--data", dir}, args...), func(string) string { return "" }, nil, &out, &out); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	shown := list()
	if strings.Count(shown, "\n") != 2 || !strings.Contains(shown, "letter L-000012 answers something (12 letters: L-000003, ") || !strings.Contains(shown, "; --json also names the 2 before them)") {
		t.Error(shown)
	}
	if all := list("--json"); !strings.Contains(all, `"letters":["L-000001","L-000002",`) {
		t.Error(all)
	}
}
