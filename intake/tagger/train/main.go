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
	m := tagger.Learn(marked, more, tagger.NewWords(h.Words, h.Library.Branches, h.Materials))
	m.Text = sum
	return os.WriteFile(weights, m.Bytes(), 0o644)
}
