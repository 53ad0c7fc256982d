// Command train writes the weights of package tagger from the marked letters. It
// is run by go generate in that package's folder.
package main

import (
	"fmt"
	"os"

	"meshclerk/intake/tagger"
	"meshclerk/rules"
)

const (
	letters = "../../testdata/wishes"
	weights = "weights.bin"
	lists   = "words.sha256" // of the house's lists that they were learned with
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "train:", err)
		os.Exit(1)
	}
}

func run() error {
	marked, more, sum, err := tagger.ReadAll(letters)
	if err != nil {
		return err
	}
	h := rules.Default()
	words := tagger.NewWords(h.Words, h.Library.Branches, h.Materials)
	m := tagger.Learn(marked, more, words)
	m.Text = sum
	if err := os.WriteFile(weights, m.Bytes(), 0o644); err != nil {
		return err
	}
	return os.WriteFile(lists, fmt.Appendf(nil, "%x\n", words.Hash()), 0o644)
}
