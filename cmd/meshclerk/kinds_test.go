package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/templates"
)

// Every kind of file that is told apart has its words in the book of sentences, and
// the book has no kind that nobody tells.
func TestKindsHaveTheirWords(t *testing.T) {
	source, err := os.ReadFile("../../intake/mesh/sniff.go")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{}
	for _, m := range regexp.MustCompile(`"([a-z0-9-]+)", (?:otherKind|export|fromArchive|unpackIt|download)\b|\{"<\w+", "(\w+)"\}`).FindAllSubmatch(source, -1) {
		told[string(m[1])+string(m[2])] = true
	}
	if len(told) < 40 {
		t.Fatalf("only %d kinds are found in the source", len(told))
	}
	b := templates.DefaultBook()
	for kind := range told {
		if _, ok := b.Args("findings.kind." + kind); !ok {
			t.Errorf("there is no sentence findings.kind.%s", kind)
		}
	}
	for _, key := range b.Keys() {
		if kind, ok := strings.CutPrefix(key, "findings.kind."); ok && !told[kind] {
			t.Errorf("no file is said to be %s", kind)
		}
	}
}

// What the check says by a key that is put together has its sentence: how a part is held
// to the plate, and where an earlier job with the same file stands.
func TestComposedFindingsHaveTheirWords(t *testing.T) {
	b := templates.DefaultBook()
	keys := []string{"findings.became.unknown"}
	for _, grip := range []string{"none", "skirt", "brim", "raft"} {
		keys = append(keys, "findings.do."+grip)
	}
	for _, s := range job.Stages() {
		keys = append(keys, "findings.became."+string(s))
	}
	for _, key := range keys {
		if _, ok := b.Args(key); !ok {
			t.Errorf("there is no sentence %s", key)
		}
	}
}
