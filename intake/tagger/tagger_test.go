package tagger

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"meshclerk/rules"
)

const (
	marked = "../../testdata/wishes/marked"
	single = "../../testdata/wishes/sentences"
)

func houseWords() *Words {
	h := rules.Default()
	return NewWords(h.Words, h.Library.Branches, h.Materials)
}

func readMarked(t testing.TB, folder string) []Marked {
	letters, _, err := ReadMarked(folder)
	if err != nil {
		t.Fatal(err)
	}
	return letters
}

// count is how often something was found rightly, wrongly, and not found.
type count struct{ right, wrong, missed int }

func (c *count) add(got, want bool) {
	switch {
	case got && want:
		c.right++
	case got:
		c.wrong++
	case want:
		c.missed++
	}
}

func (c count) precision() float64 { return float64(c.right) / float64(max(1, c.right+c.wrong)) }
func (c count) f() float64 {
	return 2 * float64(c.right) / float64(max(1, 2*c.right+c.wrong+c.missed))
}
func (c count) recall() float64 { return float64(c.right) / float64(max(1, c.right+c.missed)) }

type marksheet struct {
	chain, acts [Acts]count
	roles       [Roles]count
}

func (s *marksheet) String() string {
	var b strings.Builder
	for a, c := range s.acts {
		fmt.Fprintf(&b, "%-10s %5d %5d %5d  %.3f %.3f, for the chain %.3f %.3f\n", Act(a), c.right, c.wrong, c.missed, c.precision(), c.recall(), s.chain[a].precision(), s.chain[a].recall())
	}
	for r, c := range s.roles {
		fmt.Fprintf(&b, "%-10s %5d %5d %5d  %.3f %.3f\n", Role(r), c.right, c.wrong, c.missed, c.precision(), c.recall())
	}
	return b.String()
}

// measure compares what a model finds in letters with their marks.
func measure(m *Model, letters []Marked, words *Words, s *marksheet) {
	for _, l := range letters {
		es := examples([]Marked{l}, words)
		ss := make([]sentence, len(es))
		for k, e := range es {
			ss[k] = e.s
		}
		chain, broad, _ := m.letter(ss, placesOf(ss, l.Language, l.Answer))
		for k, e := range es {
			s.mark(m, e, &chain[k], &broad[k])
		}
	}
}

func (s *marksheet) mark(m *Model, e *example, chain, broad *[Acts]float64) {
	for a := range Acts {
		s.acts[a].add(broad[a] >= 0.5, e.acts[a])
		s.chain[a].add(chain[a] >= 0.5, e.acts[a])
	}
	if e.actsOnly {
		return
	}
	path, sure, _ := m.path(nil, &e.s, e.language, actLetters(chain))
	got := wholeSpans(e.s.toks, path, sure)
	want := wholeSpans(e.s.toks, e.roles, make([]float64, len(e.roles)))
	for _, g := range got {
		s.roles[g.Role].add(true, slices.ContainsFunc(want, g.same))
	}
	for _, w := range want {
		if !slices.ContainsFunc(got, w.same) {
			s.roles[w.Role].missed++
		}
	}
}

func (p Span) same(q Span) bool { return p.Role == q.Role && p.Start == q.Start && p.End == q.End }

func wholeSpans(toks []token, path []Role, sure []float64) []Span {
	return slices.DeleteFunc(spans(toks, path, sure), func(s Span) bool { return s.Role == None })
}

// TestHeldOut learns from all writers but one of each language and reads those.
// The floors are the F-measures (the harmonic mean of precision and recall: van
// Rijsbergen 1979, "Information Retrieval", 7) as measured, rounded down: they tell when
// a change costs.
func TestHeldOut(t *testing.T) {
	if testing.Short() {
		t.Skip("it learns for some 20 seconds")
	}
	held := []string{"train-en-2.txt", "train-es-2.txt", "train-fr-2.txt"}
	var learn, rest []Marked
	for _, l := range readMarked(t, marked) {
		if slices.Contains(held, l.Writer) {
			rest = append(rest, l)
		} else {
			learn = append(learn, l)
		}
	}
	words, s := houseWords(), &marksheet{}
	measure(Learn(learn, readMarked(t, single), words), rest, words, s)
	t.Logf("%d letters\nact or role right wrong missed precision recall\n%v", len(rest), s)
	for a, floor := range actFloors {
		if c := s.acts[a]; c.f() < floor {
			t.Errorf("%v: precision %.3f, recall %.3f, F %.3f, want %v", a, c.precision(), c.recall(), c.f(), floor)
		}
	}
	for r, floor := range roleFloors {
		if c := s.roles[r]; c.f() < floor {
			t.Errorf("%v: precision %.3f, recall %.3f, F %.3f, want %v", r, c.precision(), c.recall(), c.f(), floor)
		}
	}
}

var (
	actFloors = map[Act]float64{Yes: .81, No: .87, If: .55, Ask: .88, Wish: .91, Tell: .82, Polite: .96}

	roleFloors = map[Role]float64{Copies: .76, Colour: .82, Size: .83, Material: .92, Infill: .69, Phone: .87, Card: .73, Pickup: .89}
)

// TestWeightsBelongToText: the weights in the program were learned from the
// letters in testdata.
func TestWeightsBelongToText(t *testing.T) {
	_, _, sum, err := ReadAll("../../testdata/wishes")
	if err != nil {
		t.Fatal(err)
	}
	if sum != TextHash() {
		t.Error("the marked letters have changed since: run go generate ./intake/tagger")
	}
	lists, err := os.ReadFile("words.sha256")
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprintf("%x", houseWords().Hash()); got != strings.TrimSpace(string(lists)) {
		t.Errorf("the lists of words.toml behind the features have changed (%s): put words for the grammar alone into [guards], or run go generate ./intake/tagger and fit the vote anew", got)
	}
	if b := learned().Bytes(); !bytes.Equal(b, weights) {
		t.Error("the weights do not survive being read and written")
	}
	if len(weights) > 3<<20 {
		t.Errorf("%d bytes of weights", len(weights))
	}
}

// TestLearnTwice: the same letters give the same weights.
func TestLearnTwice(t *testing.T) {
	letters, more, words := readMarked(t, marked)[:60], readMarked(t, single)[:60], houseWords()
	if a, b := Learn(letters, more, words).Bytes(), Learn(letters, more, words).Bytes(); !bytes.Equal(a, b) {
		t.Error("two runs over the same letters differ")
	}
}

// TestReadBounds: of an endless letter 32 kB are read, sentences are cut, and
// spans lie in the text and in order.
func TestReadBounds(t *testing.T) {
	g := New(houseWords())
	for name, text := range map[string]string{
		"words": strings.Repeat("two red ", 1<<16), "digits": strings.Repeat("7", 1<<20), "signs": strings.Repeat("!?…(", 1<<18),
		"lines": strings.Repeat("yes\n", 1<<18), "cut rune": strings.Repeat("é", 1<<18), "an accent alone": "\u06d7 ok \u0301", "no text": "\xff\xfe\x80", "": "", "space": " \n ",
	} {
		at := 0
		for _, s := range g.Read(text, "en", true) {
			if s.Start < at || s.End <= s.Start || s.End > min(len(text), maxBytes) {
				t.Fatalf("%s: a sentence at %d..%d behind %d", name, s.Start, s.End, at)
			}
			if n := len(tokens(text[s.Start:s.End])); n > maxSentence {
				t.Errorf("%s: a sentence of %d tokens", name, n)
			}
			for _, p := range s.Spans {
				if p.Start < at || p.End > s.End || !(p.P >= 0 && p.P <= 1.0001) {
					t.Fatalf("%s: span %+v in %d..%d", name, p, s.Start, s.End)
				}
				at = p.End
			}
			at = s.End
		}
	}
}

// TestYesNeedsAWord: what only looks like known words is no yes.
func TestYesNeedsAWord(t *testing.T) {
	g := New(houseWords())
	for _, text := range []string{"acceptorial", "approvington", "okayama", "proceedings"} {
		if p := g.Read(text, "en", true)[0].Acts[Yes]; p >= 0.5 {
			t.Errorf("%q is a yes with %.2f", text, p)
		}
	}
	if p := g.Read("yes please go ahead", "en", true)[0].Acts[Yes]; p < 0.9 {
		t.Errorf("a plain yes is one with only %.2f", p)
	}
}

func TestParseMarked(t *testing.T) {
	got, err := ParseMarked("# a note\n=== a en answer\npolite | Hi [sic],\nwish+yes | Make it [three|copies] in [navy blue|colour]\n")
	if err != nil {
		t.Fatal(err)
	}
	s := got[0].Sentences[1]
	if got[0].Sentences[0].Text != "Hi [sic]," || s.Text != "Make it three in navy blue" || !s.Acts[Yes] || !s.Acts[Wish] || s.Acts[No] {
		t.Errorf("read %+v", got)
	}
	if want := []Span{{8, 13, Copies, 1}, {17, 26, Colour, 1}}; !slices.Equal(s.Spans, want) {
		t.Errorf("spans %v, want %v", s.Spans, want)
	}
	for text, want := range map[string]string{
		"yes | ok":                         "line 1: want \"=== name",
		"=== a en":                         "line 1: want",
		"=== a en answer\nok":              "line 2: no sign |",
		"=== a en answer\nagree | ok":      "line 2: no act \"agree\"",
		"=== a en first\nwish | [2|count]": "line 2: no role \"count\"",
	} {
		if _, err := ParseMarked(text); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: error %v, want %s", text, err, want)
		}
	}
}

func TestParseModelCutShort(t *testing.T) {
	b := Learn(readMarked(t, marked)[:20], nil, houseWords()).Bytes()
	for _, n := range []int{0, 10, 100, 300, len(b) / 2} {
		if _, err := ParseModel(b[:n]); err == nil {
			t.Errorf("%d of %d bytes are read without an error", n, len(b))
		}
	}
}

func BenchmarkRead(b *testing.B) {
	g := New(houseWords())
	text := "Hello,\n\nplease print two of the attached shelf brackets in blue PLA, 10 cm tall, by Friday. I would collect them at Millbrook. My number is 555-0142.\n\nThank you,\nAmara\n"
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		g.Read(text, "en", false)
	}
}
