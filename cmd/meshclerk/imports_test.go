package main

import (
	"os/exec"
	"strings"
	"testing"
)

// The house has one direction: what comes in never knows what goes out, and
// the domain words know nothing of ours.
func TestImportsGoOneWay(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}: {{join .Imports " "}} {{join .TestImports " "}} {{join .XTestImports " "}}`, "meshclerk/...").CombinedOutput()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) < 15 {
		t.Fatalf("only %d packages found; is the list whole?\n%s", len(lines), out)
	}
	for _, line := range lines {
		pkg, imports, _ := strings.Cut(line, ": ")
		for imported := range strings.FieldsSeq(imports) {
			if why := forbidden(pkg, imported); why != "" {
				t.Errorf("%s imports %s: %s", pkg, imported, why)
			}
		}
	}
}

func forbidden(pkg, imported string) string {
	if !strings.HasPrefix(imported, "meshclerk/") {
		return ""
	}
	under := func(s, room string) bool {
		return s == "meshclerk/"+room || strings.HasPrefix(s, "meshclerk/"+room+"/")
	}
	switch {
	case under(pkg, "intake/job") && imported != pkg:
		return "the domain words import nothing of ours"
	case under(pkg, "intake") && under(imported, "reply"):
		return "what comes in never knows what goes out"
	case under(pkg, "intake") && under(imported, "templates"):
		return "what comes in never knows what goes out"
	case under(pkg, "rules") && !under(imported, "intake/job") && !under(imported, "rules"):
		return "the rules know only the domain words"
	case !under(pkg, "cmd") && under(imported, "cmd"):
		return "only the command wires"
	}
	return ""
}
