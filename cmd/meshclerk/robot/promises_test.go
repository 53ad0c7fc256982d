package robot

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/templates"
)

// promises are what a letter says will happen or will not, each with the conversation
// in which it comes true. The words are of the English text or piece.
var promises = []struct{ words, text, conversation, comes string }{
	{"We print nothing before that.", "_go-ahead", "yes-at-once", "== drafted accepted"},
	{"You can say yes now; we keep it.", "_go-ahead", "yes-before-the-agreement", "== drafted accepted"},
	{"Want changes? Tell us, and you get a new price.", "_go-ahead", "change-of-mind-twice", "== drafted changed-quote"},
	{"For a call when it is ready, add your number.", "_go-ahead", "phone-after-the-yes", "phone"},
	{"You then get the price of that size; we print nothing before you say yes to it.", "_go-ahead", "drawn-in-inches", "== drafted changed-quote"},
	{"You need not send your file again.", "_agreement", "yes-before-the-agreement", "== drafted accepted"},
	{"we will write to you then", "accepted", "yes-at-once", "== drafted ready"},
	{"Is something not right? Tell us soon, before it is printed.", "accepted", "branch-after-the-yes", "branch"},
	{"you need not say it again", "still-needed", "yes-then-the-form", "== drafted accepted"},
	{"If we hear nothing, we will close the request on", "reminder", "lapsed-then-yes", "== drafted lapsed"},
	{"This is the only reminder that we send.", "reminder", "lapsed-then-yes", "== drafted lapsed"},
	{"If you change your mind, reply to this email, and you get a new price.", "lapsed", "lapsed-then-yes", "== drafted changed-quote"},
	{"If you change your mind, reply to this email.", "withdrawn", "withdrawn-and-back", "== drafted changed-quote"},
	{"Nothing will be printed, and you owe nothing.", "withdrawn", "withdrawn-and-back", "stage withdrawn"},
	{"and we work out time and price at", "too-big", "too-big-then-smaller", "== drafted quote"},
	{"You do not pay for a failed print. We will try again", "failed", "en-beekeeper-fails-and-printed-again", "== drafted ready"},
	{"We keep", "pickup-reminder", "ready-never-collected", "== drafted not-collected"},
	{"and the person who looks after our printers will write to you about it", "question", "failed-print", "== with staff: question"},
	{"If you think that we have misunderstood what it is or what it is for, please tell us.", "declined", "declined-and-reopened", "reopen"},
	{"Then send us the .stl file in reply to this email.", "_how-to-export", "forgotten-then-another", "== drafted quote"},
	{"it takes the place of this file", "cannot-print", "en-wall-too-thin-then-corrected", "== job penpot.stl: stage quoted, copies 2, colour blue, branch Millbrook"},
	{"holds until", "reminder", "en-yes-on-the-last-day", "agreed 1.50"},
	{"We will write to you again when we know whether it can be printed", "unfinished", "en-check-not-finished", "== drafted quote"},
	{"We delete", "withdrawn", "en-no-thanks-and-deleted", "== kept nothing"},
	{"once you have said yes to this email, we look at", "several", "en-more-files-than-at-once", "== job brick.stl: stage quoted"},
	{"You owe nothing for it.", "_given-up", "en-one-part-dropped", "stage withdrawn"},
}

// Every promise of a letter comes true in a conversation: its words stand in the text and
// in what was drafted there, and what it promises comes below them.
func TestPromisesComeTrue(t *testing.T) {
	for _, p := range promises {
		source, err := templates.Builtin("en/" + p.text + ".md")
		if err != nil || !strings.Contains(string(source), p.words) {
			t.Errorf("%s.md does not say %q any more (%v): it has another promise now, which needs its conversation", p.text, p.words, err)
		}
		b, err := os.ReadFile(filepath.Join("../../../testdata/conversations", p.conversation+".txt"))
		if err != nil {
			t.Error(err)
			continue
		}
		_, below, said := strings.Cut(strings.Join(strings.Fields(string(b)), " "), p.words)
		if !said || !strings.Contains(below, p.comes) {
			t.Errorf("%s: %q is said %v, and %q comes below it %v", p.conversation, p.words, said, p.comes, strings.Contains(below, p.comes))
		}
	}
}

// The paragraph for those who are new stands in the first letter of a patron that has
// room for it, and in no later one to them: not in the same conversation, and not when
// they begin another. Conversations are held letter for letter, so what is not drafted
// there is not said.
func TestNewcomersAreToldOnce(t *testing.T) {
	heading := []string{"New to 3D printing?", "L’impression 3D est nouvelle pour vous?", "¿Es nueva para usted la impresión 3D?"}
	files, err := filepath.Glob("../../../testdata/conversations/*.txt")
	if err != nil {
		t.Fatal(err)
	}
	first, again := 0, 0
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		told, patron := map[string]bool{}, ""
		for block := range strings.SplitSeq("\n"+string(b), "\n== ") {
			head, text, _ := strings.Cut(block, "\n")
			if from, to := strings.Index(head, "<"), strings.Index(head, ">"); to > 0 && (strings.HasPrefix(head, "patron ") || strings.HasPrefix(head, "answer from ")) {
				patron = head[from+1 : to]
			}
			if !strings.HasPrefix(head, "drafted") || strings.HasSuffix(head, ", left") { // what was left was not sent
				continue
			}
			says := false
			for _, h := range heading {
				says = says || strings.Contains(strings.Join(strings.Fields(text), " "), h)
			}
			switch {
			case says && told[patron]:
				t.Errorf("%s: %s is told again how to begin", filepath.Base(file), patron)
			case says:
				told[patron] = true
				first++
			case told[patron]:
				again++
			}
		}
	}
	if first < 50 || again < 50 {
		t.Errorf("%d conversations tell it, and %d letters come after", first, again)
	}
}
