package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// worded are four words in a row, lower case: a sentence, and not the name of a header
// or a command.
var worded = regexp.MustCompile(`\b[a-z']+ [a-z']+ [a-z']+ [a-z']+\b`)

// logged are the methods of a logger, whose event names are English for whoever greps.
var logged = map[string]bool{"Debug": true, "Info": true, "Warn": true, "Error": true}

// A room whose words people read says them by a key: no sentence of ours stands in its
// Go, but for the names of log events and for causes, which nobody is shown.
func TestRoomsHoldNoSentences(t *testing.T) {
	seen := map[string]bool{}
	for _, room := range []string{"intake/credential", "intake/mailbox", "intake/mailbox/wire", "reply/outbox"} {
		for _, s := range sentences(t, "../../"+room) {
			if _, ok := causes[s.text]; !ok {
				t.Errorf("%s: %q; put it into the book of sentences", s.at, s.text)
			}
			seen[s.text] = true
		}
	}
	for text := range causes {
		if !seen[text] {
			t.Errorf("%q stands nowhere any more: take it out of the list", text)
		}
	}
}

// causes are words of ours in Go that no person is shown, and why.
var causes = map[string]string{
	"the message is no longer in the folder":             "to be told apart by errors.Is",
	"the server has numbered the folder's messages anew": "to be told apart by errors.Is",
	"the folder does not exist":                          "to be told apart by errors.Is",
	"the message is larger than the limit":               "to be told apart by errors.Is",
	"the message is not our own draft":                   "to be told apart by errors.Is",
	"the server cannot tell of new mail by itself":       "to be told apart by errors.Is",
	"the test message was not removed":                   "to be told apart by errors.Is",
	"an answer before the end of the message":            "a cause, for the log",
	"From: Meshclerk <doctor@meshclerk.invalid>\r\nSubject: test message of the doctor, to be deleted\r\nDate: ": "the test message of the doctor",
	"\r\n\r\nmeshclerk doctor tried whether it may put messages into this folder and take them out.\r\n":         "the test message of the doctor",
}

type literal struct{ at, text string }

// sentences lists the sentences in the Go of one room, tests left out.
func sentences(t *testing.T, room string) (out []literal) {
	t.Helper()
	files, err := filepath.Glob(room + "/*.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("%s has no files (%v)", room, err)
	}
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.Field: // a tag
				return false
			case *ast.CallExpr:
				if s, ok := n.Fun.(*ast.SelectorExpr); ok && logged[s.Sel.Name] && len(n.Args) > 0 {
					return false
				}
			case *ast.BasicLit:
				if text, err := strconv.Unquote(n.Value); err == nil && n.Kind == token.STRING && worded.MatchString(text) {
					out = append(out, literal{set.Position(n.Pos()).String(), text})
				}
			}
			return true
		})
	}
	return out
}
