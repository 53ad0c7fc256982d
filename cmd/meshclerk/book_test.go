package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// Every message that a room makes has a sentence in the book, and gives exactly the
// arguments that the sentence takes. Each sentence is said by some room, or filled
// into another one.
func TestMessagesHaveTheirSentences(t *testing.T) {
	b := templates.DefaultBook()
	used := map[string]bool{}
	found := 0
	for _, room := range []string{"../../cmd", "../../intake", "../../reply", "../../rules", "../../templates"} {
		err := filepath.WalkDir(room, func(path string, e fs.DirEntry, err error) error {
			if strings.HasSuffix(path, ".html") {
				return usedInPage(path, used)
			}
			if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if s, ok := n.(*ast.BasicLit); ok && s.Kind == token.STRING {
					if key, err := strconv.Unquote(s.Value); err == nil {
						used[key] = true
						if _, known := b.Args(key); isKey.MatchString(key) && !known {
							t.Errorf("%s: there is no sentence %s", set.Position(n.Pos()), key)
						}
					}
				}
				call, ok := n.(*ast.CallExpr)
				if !ok || !isSay(call) {
					return true
				}
				found++
				for _, wrong := range wrongMessage(b, call) {
					t.Errorf("%s: %s", set.Position(n.Pos()), wrong)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if found < 60 {
		t.Fatalf("only %d messages found", found)
	}
	for _, key := range b.Keys() {
		if !used[key] && !b.FilledIn(key) && !slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(key, p) }) {
			t.Errorf("no room says %s", key)
		}
	}
}

// isKey tells a key by the file that it is of, where it is not handed to job.Say at once.
var isKey = regexp.MustCompile(`^(letters|servers|doctor|rules|mistakes)\.[a-z.-]+$`)

// prefixes are those of keys that end in a word of the ledger.
var prefixes = []string{"fields.", "notices.state.", "notices.trouble.", "notices.why.", "faults.not-so.", "faults.none.", "history.part.", "history.no-answer", "history.not-collected", "numbers.unit.", "calendar.", "colours.", "report.group.", "sheet.adhesion.",
	"findings.measure.", "findings.do.", "findings.became.", "findings.kind.",
	"page.", "codes.", "sheet.page."} // which the desk holds against its pages

// usedInPage notes what a page says: {{t "report.of"}}.
func usedInPage(path string, used map[string]bool) error {
	page, err := os.ReadFile(path)
	for _, m := range saidInPage.FindAllSubmatch(page, -1) {
		used[string(m[1])] = true
	}
	return err
}

var saidInPage = regexp.MustCompile(`\bt "([^"]+)"`)

func isSay(call *ast.CallExpr) bool {
	s, ok := call.Fun.(*ast.SelectorExpr)
	if !ok || s.Sel.Name != "Say" || len(call.Args) != 2 {
		return false
	}
	id, ok := s.X.(*ast.Ident)
	return ok && id.Name == "job"
}

// wrongMessage holds a call of job.Say against the book, as far as it is literal.
func wrongMessage(b *templates.Book, call *ast.CallExpr) (out []string) {
	lit, ok := call.Args[0].(*ast.BasicLit)
	if !ok {
		return nil
	}
	key, _ := strconv.Unquote(lit.Value)
	want, known := b.Args(key)
	if !known {
		return []string{"there is no sentence " + key}
	}
	given := []string{}
	switch args := call.Args[1].(type) {
	case *ast.Ident: // nil
	case *ast.CompositeLit:
		for _, e := range args.Elts {
			name, _ := strconv.Unquote(e.(*ast.KeyValueExpr).Key.(*ast.BasicLit).Value)
			given = append(given, name)
		}
	default:
		return nil
	}
	slices.Sort(given)
	if !slices.Equal(given, want) {
		out = append(out, key+" takes "+strings.Join(want, ", ")+" and is given "+strings.Join(given, ", "))
	}
	return out
}

// Where a reply stands has its word for every state of the ledger.
func TestStatesHaveTheirWords(t *testing.T) {
	b := templates.DefaultBook()
	for _, s := range []ledger.DraftState{ledger.DraftWaiting, ledger.DraftApproved, ledger.DraftSending, ledger.DraftSent, ledger.DraftUncertain, ledger.DraftFailed, ledger.DraftSetAside, ledger.DraftSuperseded} {
		if _, known := b.Args("notices.state." + string(s)); !known {
			t.Errorf("no word for %s", s)
		}
	}
	for _, trouble := range []ledger.Trouble{ledger.DiskFull, ledger.NoRight, ledger.LedgerBusy, ledger.MachineTired, ledger.MailboxAway, ledger.MailboxRefuses, ledger.SendingAway} {
		if _, known := b.Args("notices.trouble." + string(trouble)); !known {
			t.Errorf("no sentence for the trouble %s", trouble)
		}
	}
}
