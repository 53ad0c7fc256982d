package ledger

import (
	"slices"
	"testing"

	"meshclerk/intake/job"
)

// Jobs are found by words in any order, each anywhere in what a list shows of them,
// whatever the case and the accents; a sign of LIKE is a sign.
func TestFindByWords(t *testing.T) {
	l, _ := newLedger(t)
	letter := taken(t, l, 1, "a")
	for _, j := range []job.Job{
		{File: "vase 50%.stl", Patron: job.Address{Name: "Amara Okafor", Address: "amara@example.org"}, Wishes: job.Wishes{Pickup: "Fernhill"}},
		{File: "boîte_à_thé.stl", Patron: job.Address{Name: "Élodie Bœuf", Address: "e.b@example.org"}},
		{File: "lid.stl", Patron: job.Address{Name: "Okafor, Ben", Address: "ben@example.org"}},
	} {
		do(t, l, func(tx *Tx) error {
			_, err := tx.NewJob(t.Context(), j, letter, Robot, job.Plain(""))
			return err
		})
	}
	for text, want := range map[string][]string{
		"okafor amara":       {"vase 50%.stl"},
		"Amara Okafor":       {"vase 50%.stl"},
		"okafor":             {"lid.stl", "vase 50%.stl"},
		"okafor fernhill":    {"vase 50%.stl"},
		"okafor élodie":      {},
		"elodie boeuf":       {"boîte_à_thé.stl"},
		"ÉLODIE BŒUF":        {"boîte_à_thé.stl"},
		"the boite":          {"boîte_à_thé.stl"}, // the tea, "thé",
		"50%":                {"vase 50%.stl"},
		"a_the":              {"boîte_à_thé.stl"},
		"d_s":                {},
		"  ":                 {"boîte_à_thé.stl", "lid.stl", "vase 50%.stl"},
		"ben@example.org li": {"lid.stl"},
	} {
		rows, err := l.Jobs(t.Context(), Filter{Text: text})
		if err != nil {
			t.Fatal(err)
		}
		got := []string{}
		for _, row := range rows {
			got = append(got, row.File)
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%q finds %q, want %q", text, got, want)
		}
	}
}
