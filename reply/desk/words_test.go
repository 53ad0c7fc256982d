package desk

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/template/parse"

	"meshclerk/rules"
	"meshclerk/templates"
)

// call is one call of a function in a page: {{t "page.reply.to" "address" …}}.
type call struct {
	page, name string
	args       []parse.Node
}

// callsInPages lists what the pages call.
func callsInPages(t *testing.T) (out []call) {
	t.Helper()
	p, err := loadPages(rules.Default(), templates.DefaultBook())
	if err != nil {
		t.Fatal(err)
	}
	for name, page := range p.byName["en"] {
		for _, part := range page.Templates() {
			if part.Tree == nil {
				continue
			}
			walk(part.Tree.Root, func(c *parse.CommandNode) {
				if id, ok := c.Args[0].(*parse.IdentifierNode); ok {
					out = append(out, call{name, id.Ident, c.Args[1:]})
				}
			})
		}
	}
	return out
}

// walk shows every command of a template, also those within others.
func walk(n parse.Node, see func(*parse.CommandNode)) {
	branch := func(b *parse.BranchNode) {
		walk(b.Pipe, see)
		walk(b.List, see)
		if b.ElseList != nil {
			walk(b.ElseList, see)
		}
	}
	switch n := n.(type) {
	case *parse.ListNode:
		for _, c := range n.Nodes {
			walk(c, see)
		}
	case *parse.ActionNode:
		walk(n.Pipe, see)
	case *parse.TemplateNode:
		if n.Pipe != nil {
			walk(n.Pipe, see)
		}
	case *parse.IfNode:
		branch(&n.BranchNode)
	case *parse.RangeNode:
		branch(&n.BranchNode)
	case *parse.WithNode:
		branch(&n.BranchNode)
	case *parse.PipeNode:
		for _, c := range n.Cmds {
			see(c)
			for _, a := range c.Args {
				if inner, ok := a.(*parse.PipeNode); ok {
					walk(inner, see)
				}
			}
		}
	}
}

func literal(n parse.Node) string {
	if s, ok := n.(*parse.StringNode); ok {
		return s.Text
	}
	return ""
}

// keysInCode are the keys of the page's words that stand in this room's Go.
func keysInCode(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range sources {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		src, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, src, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				if key, err := strconv.Unquote(lit.Value); err == nil && strings.HasPrefix(key, pageFile+".") {
					out[key] = true
				}
			}
			return true
		})
	}
	return out
}

// Every sentence that a page or this room's Go says stands in the book and is given
// just what it takes; every sentence of the page's file is said.
func TestPagesAndBookAgree(t *testing.T) {
	b := templates.DefaultBook()
	said := keysInCode(t)
	if len(said) < 80 {
		t.Fatalf("only %d keys in the code", len(said))
	}
	for key := range said {
		if _, ok := b.Args(key); !ok {
			t.Errorf("there is no sentence %s", key)
		}
	}
	for _, c := range callsInPages(t) {
		if c.name != "t" {
			continue
		}
		key := literal(c.args[0])
		want, ok := b.Args(key)
		if !ok {
			t.Errorf("%s: there is no sentence %q (%s)", c.page, key, c.args[0])
			continue
		}
		said[key] = true
		given := []string{}
		for i := 1; i < len(c.args); i += 2 {
			given = append(given, literal(c.args[i]))
		}
		if slices.Sort(given); !slices.Equal(given, want) || len(c.args)%2 == 0 {
			t.Errorf("%s: %s takes %q and is given %q", c.page, key, want, given)
		}
	}
	for _, key := range b.Keys() {
		if strings.HasPrefix(key, pageFile+".") && !said[key] {
			t.Errorf("no page says %s", key)
		}
	}
}

// Every kind of code that is shown has words, and every kind that has words is shown.
func TestKindsOfCodesAgree(t *testing.T) {
	shown := map[string]bool{}
	for _, c := range callsInPages(t) {
		if c.name == "code" {
			shown[literal(c.args[0])] = true
		}
	}
	for _, kind := range []string{"familiar", "axis", "answer", "disposition", "finding", "via", "actor"} { // in code
		shown[kind] = true
	}
	for _, key := range templates.DefaultBook().Keys() {
		rest, ok := strings.CutPrefix(key, codesFile+".")
		if !ok {
			continue
		}
		kind, _, _ := strings.Cut(rest, ".")
		if !shown[kind] {
			t.Errorf("nothing shows %s", key)
		}
	}
	b := templates.DefaultBook()
	for kind := range shown {
		if !slices.ContainsFunc(b.Keys(), func(k string) bool { return strings.HasPrefix(k, codesFile+"."+kind+".") }) {
			t.Errorf("no code of the kind %q has a word", kind)
		}
	}
}

// The how-to of DEVELOPERS.md, carried out: a copy of page.toml in a folder of the
// house's own, with one sentence translated, is a language of the page. What has no
// words in it, such as a stage, is in English.
func TestLanguageIsOneFolder(t *testing.T) {
	t.Parallel()
	h := newHouse(t, func(c *Config) {
		dir := t.TempDir()
		english, err := os.ReadFile("../../templates/en/page.toml")
		if err != nil {
			t.Fatal(err)
		}
		german := strings.Replace(string(english), `waiting = "Waiting"`, `waiting = "Wartet"`, 1)
		if err := errors.Join(os.Mkdir(filepath.Join(dir, "de"), 0o700), os.WriteFile(filepath.Join(dir, "de", "page.toml"), []byte(german), 0o600)); err != nil {
			t.Fatal(err)
		}
		if c.Office.Templates, err = templates.Load(dir, c.Office.Rules.Library.Languages); err != nil {
			t.Fatal(err)
		}
	})
	h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.get("/")
	holds(t, page, `<button class="plain" name="language" value="de" lang="de">Deutsch</button>`, `value="fr" lang="fr">Français</button>`)
	lacks(t, page, `value="es"`) // whose page nobody has translated
	_, page = b.post("/language", url.Values{"language": {"de"}})
	holds(t, page, `<html lang="de">`, "<h1>Wartet ", "Quote")
	for accept, want := range map[string]string{"de-AT,fr;q=0.8": "de", "fr-CH, en;q=0.9": "fr", "es, it": "en", "": "en", "es, de;q=0.5": "de", ";;;": "en"} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, h.server.URL+"/sign-in", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Accept-Language", accept)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(resp.Body)
		if err := errors.Join(err, resp.Body.Close()); err != nil || !strings.Contains(string(body), `<html lang="`+want+`">`) {
			t.Errorf("%q is not read in %s (%v)", accept, want, err)
		}
	}
}
