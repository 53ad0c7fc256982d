package wishes

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
	"meshclerk/rules"
)

var (
	fit   = flag.Bool("fit", false, "fit vote.txt anew, which takes some minutes")
	votes = flag.String("votes", "", "a file to write what is voted on to with -fit, a line of JSON each")
	apart = flag.String("apart", "", "a folder to keep the taggers in that -fit learns; empty it when the marked text or the tagger changes")
)

// parts are the writers whose marked letters a tagger leaves out, so that what it makes
// of theirs, and of the letters by the same hands, is what it makes of strangers'.
var parts = [][]string{
	{"older-answers.txt", "ten-answers.txt", "eleven-answers.txt", "twelve-answers.txt"},
	{"train-en-1.txt", "train-fr-1.txt", "train-es-1.txt"},
	{"train-en-2.txt", "train-fr-2.txt", "train-es-2.txt"},
	{"train-en-3.txt", "train-fr-3.txt", "train-es-3.txt"},
	{"train-en-4.txt", "train-en-5.txt", "train-fr-4.txt", "train-es-4.txt"},
}

// voter is an answer with its evidence.
type voter struct {
	letterCase
	own    job.Reply // as its sentences give it
	e      *evidence
	weight float64
}

// TestVote counts what the vote makes of the answers; with -fit it fits it first, and
// prints what it makes of each writer's when it has not seen them.
func TestVote(t *testing.T) {
	if !*fit {
		if _, e := look(houseReader(), Input{Text: "Yes.", Language: "en", Answer: true, Date: monday}); !slices.Equal(e.names, voted().names) {
			t.Errorf("vote.txt has other names than there is evidence: fit it anew")
		}
		return
	}
	voters := gather(t)
	var groups []string
	for _, v := range voters {
		if g := groupOf(v.file); !slices.Contains(groups, g) {
			groups = append(groups, g)
		}
	}
	replies := make([]job.Reply, len(voters))
	side := make(chan bool, 2)
	var wait sync.WaitGroup
	for _, g := range groups {
		wait.Go(func() {
			side <- true
			defer func() { <-side }()
			held := learnTally(slices.DeleteFunc(slices.Clone(voters), func(v voter) bool { return groupOf(v.file) == g }))
			for k, v := range voters {
				if groupOf(v.file) == g {
					replies[k] = held.vote(v.own, v.e)
					note(v, replies[k], held.count(v.e.x))
				}
			}
		})
	}
	wait.Wait()
	for _, g := range groups {
		var by, all score
		wrongYes := 0
		for k, v := range voters {
			if groupOf(v.file) == g {
				by.mark(v.own, v.want.Answer)
				all.mark(replies[k], v.want.Answer)
				if replies[k] == job.Accept && v.want.Answer != job.Accept {
					wrongYes++
					t.Logf("%s %s is taken for an acceptance: %.120q", v.file, v.name, v.in.Text)
				}
			}
		}
		t.Logf("%-24s by sentences %.3f %.3f, by vote %.3f %.3f (%d right, %d wrong, %d missed), %d wrong accepts", g, by.precision(), by.recall(), all.precision(), all.recall(), all.right, all.wrong, all.missed, wrongYes)
	}
	if err := os.WriteFile("vote.txt", []byte(learnTally(voters).String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

var noted sync.Mutex

// note writes what was voted on and how.
func note(v voter, got job.Reply, p ballot) {
	if *votes == "" {
		return
	}
	noted.Lock()
	defer noted.Unlock()
	f, err := os.OpenFile(*votes, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	json.NewEncoder(f).Encode(map[string]any{"file": v.file, "name": v.name, "want": v.want.Answer, "own": v.own, "got": got, "p": p, "least": v.e.least, "closed": v.e.closed, "most": v.e.most, "found": v.e.found, "text": v.in.Text})
}

func groupOf(file string) string {
	if strings.HasPrefix(file, "stranger-") || strings.HasPrefix(file, "train-") || strings.HasPrefix(file, "sentences-") || file == "spoilers" {
		return file
	}
	return "older" + string('0'+rune(len(file)%4))
}

func (s *score) mark(got, want job.Reply) {
	if want == "unsure" {
		if want = ""; got == job.Question {
			got = ""
		}
	}
	switch {
	case got == want && want != "":
		s.right++
	case got != want && got != "":
		s.wrong++
	}
	if got != want && want != "" {
		s.missed++
	}
}

// look reads one answer and gives what its sentences say and the evidence.
func look(r *Reader, in Input) (reply job.Reply, e *evidence) {
	r.witness = func(own job.Reply, seen *evidence) { reply, e = own, seen }
	defer func() { r.witness = nil }()
	r.Understand(in)
	return reply, e
}

// gather looks at all answers whose truth is known, each with a tagger that has not
// learned from its writer: the labelled ones, those of the marked letters whose acts
// tell, and phrases of consent beside spoilers and alone.
func gather(t *testing.T) []voter {
	readers := readersApart(t)
	var voters []voter
	add := func(c letterCase, r *Reader, weight float64) {
		own, e := look(r, c.in)
		voters = append(voters, voter{c, own, e, weight})
	}
	for _, c := range slices.Concat(readCases(t, false), readCases(t, true)) {
		if c.in.Answer {
			add(c, readers[0], 1)
		}
	}
	letters, more, _, err := tagger.ReadAll(labelled)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range letters {
		k := slices.IndexFunc(parts, func(p []string) bool { return slices.Contains(p, l.Writer) })
		if c, ok := markedAnswer(l); ok && k > 0 {
			add(c, readers[k], 0.5)
		}
	}
	for n, l := range more {
		if c, ok := markedAnswer(l); ok && l.Alone {
			add(c, readers[sharer(n)], 0.2)
		}
	}
	for k, c := range spoiled() {
		if k%9 == 0 || c.want.Answer == job.Accept {
			add(c, readers[0], 0.2)
		}
	}
	return voters
}

// sharer is the part that the n-th of the single sentences is left out of.
func sharer(n int) int { return 1 + n%(len(parts)-1) }

func readersApart(t *testing.T) []*Reader {
	letters, more, _, err := tagger.ReadAll(labelled)
	if err != nil {
		t.Fatal(err)
	}
	house := rules.Default()
	words := tagger.NewWords(house.Words, house.Library.Branches, house.Materials)
	out := make([]*Reader, len(parts))
	side := make(chan bool, 2)
	var wait sync.WaitGroup
	for k, part := range parts {
		wait.Go(func() {
			side <- true
			defer func() { <-side }()
			own := func(l tagger.Marked) bool { return slices.Contains(part, l.Writer) }
			var others []tagger.Marked
			for n, l := range more {
				if !own(l) && !(l.Alone && sharer(n) == k) {
					others = append(others, l)
				}
			}
			kept := filepath.Join(*apart, fmt.Sprint("tagger-", k))
			b, err := os.ReadFile(kept)
			if err != nil || *apart == "" {
				b = tagger.Learn(slices.DeleteFunc(slices.Clone(letters), own), others, words).Bytes()
			}
			m, err := tagger.ParseModel(b) // as coarse as the weights of the program
			if err != nil {
				panic(err)
			}
			if *apart != "" {
				os.WriteFile(kept, b, 0o644) // a run without it learns them again
			}
			out[k] = houseReader()
			out[k].tags = m.With(words)
		})
	}
	wait.Wait()
	return out
}

// markedAnswer is an answer of the marked letters, labelled by what its sentences do.
// Where it names values it is left out, since what was offered is not known.
func markedAnswer(l tagger.Marked) (letterCase, bool) {
	c := letterCase{name: l.Name, file: l.Writer, in: Input{Language: l.Language, Answer: true, Date: time.Date(2026, 11, 23, 10, 0, 0, 0, time.UTC)}}
	var does [tagger.Acts]bool
	for _, s := range l.Sentences {
		for a, v := range s.Acts {
			does[a] = does[a] || v
		}
		for _, p := range s.Spans {
			does[tagger.Wish] = does[tagger.Wish] || !slices.Contains([]tagger.Role{tagger.Phone, tagger.Card, tagger.Pickup, tagger.Date}, p.Role)
		}
		c.in.Text += s.Text + "\n"
		if strings.ContainsAny(s.Text[len(s.Text)-1:], ".!?") {
			c.in.Text = c.in.Text[:len(c.in.Text)-1] + " "
		}
	}
	c.in.Text = strings.TrimSpace(c.in.Text)
	holds := does[tagger.If] || does[tagger.Ask] || does[tagger.Doubt]
	switch {
	case does[tagger.Wish] && !holds && !does[tagger.No]:
		return c, false
	case does[tagger.Yes] && !holds && !does[tagger.No]:
		c.want.Answer = job.Accept
	case does[tagger.No] && !holds && !does[tagger.Yes] && !does[tagger.Wish]:
		c.want.Answer = job.Decline
	case does[tagger.Ask] && !does[tagger.If] && !does[tagger.Doubt] && !does[tagger.No] && !does[tagger.Yes] && !does[tagger.Wish]:
		c.want.Answer = job.Question
	default:
		c.want.Answer = "unsure"
	}
	return c, l.Answer && (!l.ActsOnly || l.Alone)
}

// spoiled are the phrases of consent beside spoilers, and with thanks alone.
func spoiled() []letterCase {
	var out []letterCase
	add := func(text, lang string, answer job.Reply) {
		c := letterCase{name: text, file: "spoilers", in: Input{Text: text, Language: lang, Answer: true, Date: monday}}
		c.want.Answer = answer
		out = append(out, c)
	}
	replies := rules.Default().Words.Replies
	for _, lang := range languages {
		for _, kind := range []string{"accept", "acceptstart", "yes", "ok"} {
			for _, phrase := range replies[lang][kind] {
				for _, s := range spoilers[lang][0] {
					add(s+" "+phrase+".", lang, "unsure")
				}
				for _, s := range spoilers[lang][1] {
					add(phrase+" "+s, lang, "unsure")
				}
				if kind != "ok" {
					add(phrase+map[string]string{"en": ", thank you.\n\nBest regards,\nVera", "fr": ". Merci.\n\nCordialement,\nVera", "es": ". Gracias.\n\nSaludos,\nVera"}[lang], lang, job.Accept)
				}
			}
		}
	}
	return out
}

// String writes the weights as vote.txt has them.
func (t *tally) String() string {
	var b strings.Builder
	b.WriteString("# evidence\taccept\tchange\tdecline\tquestion\tnone; fitted, see vote.go\n")
	for k, n := range t.names {
		b.WriteString(n)
		for _, w := range t.w[k] {
			fmt.Fprintf(&b, "\t%.3f", w)
		}
		b.WriteString("\n")
	}
	return b.String()
}

const (
	fitRounds = 150
	fitPace   = 0.3
	fitPull   = 0.002
)

// learnTally fits the weights by all voters at once, in a fixed order (AdaGrad, with
// half the square of the weights as a cost).
func learnTally(voters []voter) *tally {
	t := &tally{names: voters[0].e.names, w: make([][len(voices)]float64, len(voters[0].e.names))}
	moved, all := make([][len(voices)]float64, len(t.w)), 0.0
	for _, v := range voters {
		all += v.weight
	}
	for range fitRounds {
		slope := make([][len(voices)]float64, len(t.w))
		for i, w := range t.w {
			for k := range w {
				slope[i][k] = fitPull * w[k]
			}
		}
		for _, v := range voters {
			p := t.count(v.e.x)
			p[v.voice()]--
			for i, x := range v.e.x {
				if x == 0 {
					continue
				}
				for k := range p {
					slope[i][k] += p[k] * x * v.weight / all
				}
			}
		}
		for i := range t.w {
			for k, g := range slope[i] {
				moved[i][k] += g * g
				t.w[i][k] -= fitPace * g / math.Sqrt(moved[i][k]+1e-10)
			}
		}
	}
	return t
}

// voice is the column of the label.
func (v *voter) voice() int {
	if k := slices.Index(voices[:], v.want.Answer); k >= 0 {
		return k
	}
	return len(voices) - 1
}
