package desk

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/rules"
	"meshclerk/templates/madeup"
)

// Of a rules file nothing is lost on the page: every rule with its value, every
// word of the explanations.
func TestRulesAreShownWhole(t *testing.T) {
	for _, name := range rules.Files() {
		b, err := rules.Builtin(name)
		if err != nil {
			t.Fatal(err)
		}
		var shown strings.Builder
		for _, block := range ruleBlocks(string(b)) {
			shown.WriteString(block.Table + " " + block.Note + " ")
			for _, r := range block.Rules {
				if r.Name == "" || r.Value == "" {
					t.Errorf("%s: a rule is %q = %q", name, r.Name, r.Value)
				}
				shown.WriteString(r.Name + " " + r.Value + " ")
			}
		}
		left := map[string]int{}
		for _, w := range strings.Fields(shown.String()) {
			left[strings.Trim(w, "[]#-=")]++
		}
		for _, w := range strings.Fields(string(b)) {
			w = strings.Trim(w, "[]#-=")
			if left[w]--; w != "" && left[w] < 0 {
				t.Errorf("%s: the page lacks %q", name, w)
			}
		}
	}
}

func TestRuleBlocks(t *testing.T) {
	got := ruleBlocks("# --- one ---\n# It has two lines.\n[[thing]]\nname = \"a [b\"\nlist = [\n  1,\n  2,\n]\n\n# Next.\nx = 1 # why\n# Last.\ny = 2\n")
	if len(got) != 3 || got[0].Table != "thing" || !strings.HasSuffix(got[0].Note, "\nIt has two lines.") || len(got[0].Rules) != 2 || got[0].Rules[1].Value != "[\n1,\n2,\n]" ||
		got[1].Rules[0].Value != "1 # why" || got[2].Note != "Last." {
		t.Errorf("%+v", got)
	}
}

// Rules with a mistake are shown, with the mistake and its line.
func TestRulesWithAMistake(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h := newHouse(t, func(c *Config) { c.RulesDir = dir })
	if err := os.WriteFile(filepath.Join(dir, "limits.toml"), []byte("# Short days.\njob_hours = \"many\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, page := h.browser("marisol").get("/rules")
	holds(t, page, `role="alert"`, "limits.toml", "job_hours", "your own", "Short days.")
}

// What is wrong with the rules is said in the reader's language, with its place as it is.
func TestRuleMistakesInEveryLanguage(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h := newHouse(t, func(c *Config) { c.RulesDir = dir; inMadeUp(t)(c) })
	mistakes := "job_hours = 0\nmax_copies = 3\nkeep_dasy = 3\naccepted = []\n"
	if err := os.WriteFile(filepath.Join(dir, "limits.toml"), []byte(mistakes), 0o644); err != nil {
		t.Fatal(err)
	}
	b := h.browser("marisol")
	for lang, want := range map[string]string{
		"en": "unknown key keep_dasy", "fr": "clé inconnue : keep_dasy\n  3 | keep_dasy = 3\n    | ^^^^^^^^^\n  conseil : vouliez-vous dire keep_days ?",
		madeup.Language: madeup.Begin + "unknown key keep_dasy" + madeup.End,
	} {
		b.post("/language", url.Values{"language": {lang}})
		_, page := b.get("/rules")
		holds(t, page, "limits.toml:3:1: "+want)
	}
	_, err := rules.Load(dir)
	for line := range strings.Lines(madeup.Unmarked(h.desk.pages.localizers[madeup.Language].Error(err))) {
		if place := strings.Trim(line, " |^\n"); place != "" && !strings.Contains(place, " | ") && !strings.HasSuffix(place, ":") {
			t.Errorf("%q has no mark", line)
		}
	}
}

// So is what is wrong with a reply text.
func TestTextMistakesInEveryLanguage(t *testing.T) {
	t.Parallel()
	h := newHouse(t, inMadeUp(t))
	b := h.browser("owen")
	for lang, want := range map[string]string{"fr": "il n’y a pas de champ .Patrn ici\n", madeup.Language: madeup.Begin + "there is no field .Patrn here" + madeup.End} {
		b.post("/language", url.Values{"language": {lang}})
		_, page := b.post("/texts/en/quote", url.Values{"source": {"Subject: x\n\n{{.Patrn}}\n"}, "do": {"check"}})
		holds(t, page, "en/quote.md:3:4: "+want)
	}
}
