package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The command line says what the house says in its own folder of sentences: in what it
// writes for people, in JSON, and in an error.
func TestCommandLineSaysTheHousesSentences(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	conf := put("meshclerk.toml", `data = "data"
domain = "larkfield.example"
templates = "texts"
[imap]
host = "127.0.0.1"
port = 143
tls = "none"
credential = {kind = "none"}
[smtp]
host = "127.0.0.1"
port = 25
tls = "none"
credential = {kind = "none"}
`)
	put("texts/en/letters.toml", "asks = \"somebody wants a print, says our house\"\n")
	put("texts/en/mending.toml", "no-thickness = \"flat as paper, says our house\"\nrefused = \"no: {{.why}}\"\n")
	eml := put("a.eml", "From: Ada <ada@example.org>\nTo: print@larkfield.example\nSubject: A print\nMessage-ID: <a@example.org>\n\nCould you print this part for me, please?\n")
	flat := put("flat.stl", "solid s\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 10 0 0\nvertex 0 10 0\nendloop\nendfacet\nfacet normal 0 0 -1\nouter loop\nvertex 0 0 0\nvertex 0 10 0\nvertex 10 0 0\nendloop\nendfacet\nendsolid s\n")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"letter", "--config", conf, eml}, "request: somebody wants a print, says our house"},
		{[]string{"letter", "--config", conf, "--json", eml}, `"why":"somebody wants a print, says our house"`},
		{[]string{"letter", eml}, "request: no model is attached, but the words ask for a print"},
		{[]string{"mend", "--config", conf, flat, "-o", filepath.Join(dir, "out.stl")}, "says our house"},
	} {
		var out bytes.Buffer
		err := run(t.Context(), c.args, func(string) string { return "" }, strings.NewReader(""), &out, &out)
		if err != nil {
			out.WriteString(err.Error())
		}
		if !strings.Contains(out.String(), c.want) {
			t.Errorf("%v: %s\nwant %q", c.args, out.String(), c.want)
		}
	}
}
