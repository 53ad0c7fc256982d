package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// sentenceLike is three words in a row: more than a keyword of a file or a protocol.
var sentenceLike = regexp.MustCompile(`(?i)[a-z']+(?:\\s\+|\\s\*| )[a-z']+(?:\\s\+|\\s\*| )[a-z']+`)

// lookers are functions of the package strings that look into a text.
var lookers = map[string]bool{"Contains": true, "HasPrefix": true, "HasSuffix": true, "TrimPrefix": true, "TrimSuffix": true, "Cut": true,
	"CutPrefix": true, "CutSuffix": true, "Index": true, "LastIndex": true, "Split": true, "EqualFold": true, "Replace": true, "ReplaceAll": true}

// fromOutside are the places whose patterns read what others wrote, and who.
var fromOutside = map[string]string{
	"intake/letter/":            "patrons and mail programs, in any words",
	"intake/wishes/dictated.go": "signs that a patron spoke to a telephone",
	"reply/outbox/outbox.go":    "mail addresses, to be masked",
}

// No room looks into a sentence of ours: what it has to know of another room it gets
// as a value. A pattern or a comparison with three words in a row reads what a person
// or another program wrote, and stands in a list.
func TestNoPatternOverOurSentences(t *testing.T) {
	found := 0
	for _, room := range []string{"../../cmd", "../../intake", "../../reply", "../../rules", "../../templates"} {
		err := filepath.WalkDir(room, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || readsOthers(path) {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.CallExpr:
					of, name := callee(n)
					switch {
					case of == "regexp" && strings.Contains(name, "Compile"):
						found++
						if _, ok := n.Args[0].(*ast.BasicLit); !ok {
							t.Errorf("%s: of what is this pattern made?", set.Position(n.Pos()))
						}
					case of != "strings" || !lookers[name]:
						return true
					}
					for _, arg := range n.Args {
						reads(t, set.Position(arg.Pos()).String(), arg)
					}
				case *ast.BinaryExpr:
					if n.Op == token.EQL || n.Op == token.NEQ {
						reads(t, set.Position(n.Pos()).String(), n.X, n.Y)
					}
				case *ast.CaseClause:
					reads(t, set.Position(n.Pos()).String(), n.List...)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if found < 8 {
		t.Fatalf("only %d patterns found", found)
	}
}

func readsOthers(path string) bool {
	for place := range fromOutside {
		if strings.HasPrefix(path, "../../"+place) {
			return true
		}
	}
	return false
}

func callee(call *ast.CallExpr) (of, name string) {
	s, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return "", ""
	}
	if id, ok := s.X.(*ast.Ident); ok {
		return id.Name, s.Sel.Name
	}
	return "", ""
}

func reads(t *testing.T, at string, args ...ast.Expr) {
	t.Helper()
	for _, a := range args {
		lit, ok := a.(*ast.BasicLit)
		if !ok || lit.Kind != token.STRING {
			continue
		}
		text, err := strconv.Unquote(lit.Value)
		if err == nil && sentenceLike.MatchString(text) {
			t.Errorf("%s: %q reads a sentence; get it as a value, or say in fromOutside who else writes it", at, text)
		}
	}
}
