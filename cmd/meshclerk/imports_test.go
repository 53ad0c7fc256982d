package main

import (
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// arrows are all imports that a room may have of other rooms, tests left out.
// What comes in (intake) never knows what goes out (reply); the domain words
// (job) know nothing of ours; only the command knows the robot.
var arrows = map[string]string{
	"cmd/meshclerk/fakeserver": "",
	"cmd/meshclerk/robot":      "intake/job intake/ledger intake/mailbox intake/mailbox/wire reply/casework reply/outbox",
	"cmd/meshclerk/sample":     "intake/agreement intake/mesh intake/mesh/shapes rules",
	"cmd/meshclerk":            "cmd/meshclerk/fakeserver cmd/meshclerk/robot cmd/meshclerk/sample intake/agreement intake/credential intake/job intake/ledger intake/letter intake/mailbox intake/mailbox/wire intake/mesh intake/plain intake/preflight intake/slice intake/wishes reply/casework reply/desk reply/draft reply/outbox reply/quote reply/sheet rules templates",
	"intake/agreement":         "intake/job rules",
	"intake/budget":            "",
	"intake/convex":            "",
	"intake/credential":        "intake/job",
	"intake/job":               "",
	"intake/ledger":            "intake/agreement intake/job intake/plain",
	"intake/letter":            "intake/job rules",
	"intake/mailbox/mailtest":  "intake/credential intake/mailbox",
	"intake/mailbox/wire":      "intake/job",
	"intake/mailbox":           "intake/credential intake/job intake/mailbox/wire",
	"intake/mesh/shapes":       "intake/mesh",
	"intake/mesh":              "intake/budget intake/job intake/parallel",
	"intake/parallel":          "",
	"intake/plain":             "",
	"intake/preflight":         "intake/budget intake/job intake/mesh intake/plain intake/room intake/slice rules",
	"intake/room":              "intake/convex",
	"intake/slice":             "intake/budget intake/convex intake/job intake/mesh intake/parallel intake/room rules",
	"intake/tagger/train":      "intake/tagger rules",
	"intake/tagger":            "rules",
	"intake/wishes":            "intake/job intake/tagger rules",
	"reply/casework":           "intake/agreement intake/job intake/ledger intake/letter intake/mesh intake/plain intake/preflight intake/slice intake/wishes reply/draft reply/outbox reply/picture reply/quote rules templates",
	"reply/desk":               "intake/agreement intake/job intake/ledger intake/mesh intake/plain intake/preflight reply/casework reply/draft reply/picture reply/quote reply/sheet rules templates",
	"reply/draft":              "intake/job intake/plain reply/quote rules templates",
	"reply/outbox":             "intake/credential intake/job intake/mailbox/wire",
	"reply/picture":            "intake/mesh intake/parallel",
	"reply/quote":              "intake/job rules",
	"reply/sheet":              "intake/job intake/mesh intake/plain intake/preflight reply/casework reply/picture rules templates",
	"rules":                    "intake/job",
	"templates/madeup":         "",
	"templates":                "intake/job intake/plain rules",
}

const module = "meshclerk/"

// Every arrow between two rooms stands in the list, and every arrow of the list
// is there: an import that is new, or that nobody needs any more, is looked at.
func TestArrowsBetweenRooms(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}: {{join .Imports " "}}`, module+"...").CombinedOutput()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, out)
	}
	seen := map[string]bool{}
	for line := range strings.Lines(string(out)) {
		room, imports, _ := strings.Cut(strings.TrimPrefix(strings.TrimSpace(line), module), ":")
		seen[room] = true
		var has []string
		for _, imported := range strings.Fields(imports) {
			if other, ours := strings.CutPrefix(imported, module); ours {
				has = append(has, other)
			}
		}
		may, known := arrows[room]
		if !known {
			t.Errorf("the room %s is not in the list of arrows", room)
		}
		compare(t, room, has, strings.Fields(may))
	}
	for _, room := range slices.Sorted(maps.Keys(arrows)) {
		if !seen[room] {
			t.Errorf("the room %s is in the list of arrows and is not there", room)
		}
	}
}

func compare(t *testing.T, room string, has, may []string) {
	t.Helper()
	for _, other := range has {
		if !slices.Contains(may, other) {
			t.Errorf("%s imports %s, which the list of arrows does not have", room, other)
		}
	}
	for _, other := range may {
		if !slices.Contains(has, other) {
			t.Errorf("%s no longer imports %s: take the arrow out of the list", room, other)
		}
	}
}

// Tests may look further, but never from what comes in to what goes out, nor
// from a room to the command.
func TestTestsKeepTheDirection(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}: {{join .TestImports " "}} {{join .XTestImports " "}}`, module+"...").CombinedOutput()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		room, imports, _ := strings.Cut(strings.TrimPrefix(strings.TrimSpace(line), module), ":")
		for _, imported := range strings.Fields(imports) {
			other, ours := strings.CutPrefix(imported, module)
			up := strings.HasPrefix(room, "intake/") && (strings.HasPrefix(other, "reply/") || other == "templates")
			if ours && (up || !strings.HasPrefix(room, "cmd/") && strings.HasPrefix(other, "cmd/")) {
				t.Errorf("the tests of %s import %s", room, other)
			}
		}
	}
}

// A mesh is opened in one place, under one set of caps: nobody else sets its limits.
func TestMeshesAreOpenedInOnePlace(t *testing.T) {
	const opener = "../../intake/preflight/open.go"
	for _, room := range []string{"../../cmd", "../../intake", "../../reply"} {
		err := filepath.WalkDir(room, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			source, err := os.ReadFile(path)
			opens := regexp.MustCompile(`\bmesh\.(Limits|ReadFile|Read)\b`).Match(source)
			if opens != (path == opener) {
				t.Errorf("%s: opens a mesh %v; preflight.Open does", path, opens)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
