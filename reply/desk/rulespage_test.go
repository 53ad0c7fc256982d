package desk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/rules"
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
	dir := t.TempDir()
	h := newHouse(t, func(c *Config) { c.RulesDir = dir })
	if err := os.WriteFile(filepath.Join(dir, "limits.toml"), []byte("# Short days.\njob_hours = \"many\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, page := h.browser("marisol").get("/rules")
	holds(t, page, `role="alert"`, "limits.toml", "job_hours", "your own", "Short days.")
}
