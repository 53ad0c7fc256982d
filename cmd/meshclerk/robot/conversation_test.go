package robot

import (
	"bytes"
	"cmp"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/casework"
)

var rewrite = flag.Bool("update", false, "write what was drafted into the conversations")

// Whole conversations, as text: testdata/conversations has a README of its own.
func TestConversations(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/conversations/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatal("there are no conversations", err)
	}
	for _, path := range files {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			t.Parallel()
			play(t, path)
		})
	}
}

// block is one block of a conversation: its head and the lines below it.
type block struct {
	head, body string
	line       int
}

func blocks(t *testing.T, text string) (intro string, out []block) {
	for i, line := range strings.Split(text, "\n") {
		head, is := strings.CutPrefix(line, "== ")
		switch {
		case is:
			out = append(out, block{head: strings.TrimSpace(head), line: i + 1})
		case len(out) == 0:
			intro += line + "\n"
		default:
			out[len(out)-1].body += line + "\n"
		}
	}
	if strings.TrimSpace(intro) == "" {
		t.Fatal("a conversation begins with a paragraph that says what it is about")
	}
	for i := range out {
		out[i].body = strings.TrimSpace(out[i].body)
	}
	return intro, out
}

// stage is where a conversation is played.
type stage struct {
	*house
	t      *testing.T
	at     block
	writer job.Address
	last   []byte // the last letter that reached the patron
	letter string // id of the patron's last letter
	dir    string // where letters and files are kept
	before string // id of the one before it
}

func play(t *testing.T, path string) {
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	intro, list := blocks(t, string(text))
	dir := t.TempDir()
	s := &stage{house: newHouseIn(t, dir), t: t, dir: dir}
	s.agree()
	for i := range list {
		s.at = list[i]
		s.step(&list[i])
	}
	if *rewrite {
		var b strings.Builder
		b.WriteString(intro)
		for _, one := range list {
			fmt.Fprintf(&b, "== %s\n", one.head)
			if one.body != "" {
				fmt.Fprintf(&b, "%s\n\n", one.body)
			}
		}
		if err := os.WriteFile(path, []byte(strings.TrimRight(b.String(), "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func (s *stage) bad(format string, args ...any) {
	s.t.Helper()
	s.t.Errorf("line %d, %s: %s", s.at.line, s.at.head, fmt.Sprintf(format, args...))
}

var named = regexp.MustCompile(`^(.+?) <([^>]+)>(?:: (.*))?$`)

func (s *stage) person(of string) (a job.Address, subject string) {
	s.t.Helper()
	m := named.FindStringSubmatch(of)
	if m == nil {
		s.t.Fatalf("line %d: %q is no NAME <address>", s.at.line, of)
	}
	return job.Address{Name: m[1], Address: m[2]}, m[3]
}

func (s *stage) step(b *block) {
	word, rest, _ := strings.Cut(b.head, " ")
	switch word {
	case "signed":
		who, _ := s.person(rest)
		s.agree(agreement.Entry{Address: who.Address, Name: who.Name, Signed: s.now().AddDate(0, 0, -1).Format(time.DateOnly), Version: s.Rules.Agreement.Current})
	case "patron":
		var subject string
		s.writer, subject = s.person(rest)
		s.last = nil
		s.write(s.writer, subject, b.body)
	case "answer":
		who := s.writer
		if from, ok := strings.CutPrefix(rest, "from "); ok {
			who, _ = s.person(from)
		}
		s.write(who, "", b.body)
	case "drafted":
		s.drafted(b, rest)
	case "staff":
		s.staff(rest)
	case "wait":
		days, err := strconv.Atoi(strings.Fields(rest)[0])
		if err != nil {
			s.t.Fatalf("line %d: %v", b.line, err)
		}
		s.forward(time.Duration(days) * 24 * time.Hour)
		s.once()
		s.once()
	case "job":
		s.job(rest)
	case "nothing":
		s.nothingWaits()
	case "kept":
		s.kept(rest)
	case "house":
		s.rule(rest)
	case "with":
		s.withStaff(strings.TrimPrefix(rest, "staff: "))
	default:
		s.t.Fatalf("line %d: there is no block %q", b.line, b.head)
	}
}

func (s *stage) waitingDrafts() []ledger.Draft {
	s.t.Helper()
	return s.drafts(ledger.DraftWaiting)
}

func (s *stage) nothingWaits() {
	for _, d := range s.waitingDrafts() {
		raw, _ := s.Ledger.DraftBytes(s.t.Context(), d.ID)
		text, _ := sample.PlainText(raw)
		s.bad("%s (%s) waits, want none\n%s", d.ID, d.Kind, text)
	}
}

// write lets a patron write, with what the lines that begin with @ say of the letter.
func (s *stage) write(who job.Address, subject, body string) {
	s.t.Helper()
	s.forward(time.Second) // so that no two letters have one Message-ID
	l := sample.Letter{Key: fmt.Sprintf("letter-%d", len(s.imap.Messages("INBOX"))), FromName: who.Name, FromAddress: who.Address, Subject: subject, DMARC: "pass"}
	thread, quote, own := s.last != nil, true, subject
	var text strings.Builder
	for line := range strings.Lines(body) {
		order, is := strings.CutPrefix(strings.TrimSpace(line), "@")
		if !is {
			text.WriteString(line)
			continue
		}
		word, rest, _ := strings.Cut(order, " ")
		switch word {
		case "file":
			l.Files = append(l.Files, s.part(rest))
		case "pdf":
			l.Files = append(l.Files, sample.File{Name: rest, MediaType: "application/pdf", Data: []byte("%PDF-1.4\n% a signed form\n%%EOF\n")})
		case "unproven":
			l.DMARC = "fail"
		case "no":
			thread, quote = thread && rest != "thread", false
		case "subject":
			own = rest
		case "html":
			l.HTML = true
		case "quote":
			quote = false
			text.WriteString(s.quoted(rest))
		default:
			s.t.Fatalf("line %d: there is no @%s", s.at.line, word)
		}
	}
	words := strings.TrimSpace(text.String()) + "\n"
	l.Text = words
	var err error
	if thread {
		if l, err = l.Answering(s.last); err != nil {
			s.t.Fatal(err)
		}
		if !quote {
			l.Text = words
		}
	}
	if own != "" {
		l.Subject = own
	}
	raw, err := l.Compose(s.now())
	if err != nil {
		s.t.Fatal(err)
	}
	s.imap.Deliver(raw)
	s.once()
	letters, err := s.Ledger.Letters(s.t.Context(), 1)
	if err != nil || len(letters) == 0 {
		s.t.Fatal("the letter was not taken", err)
	}
	s.before, s.letter = s.letter, letters[0].ID
}

// quoted is the last letter as a mail program quotes it, or one of its questions.
func (s *stage) quoted(which string) string {
	text, err := sample.PlainText(s.last)
	if err != nil {
		s.t.Fatal(err)
	}
	if which == "" {
		return "On an earlier day the 3D print desk wrote:\n" + regexp.MustCompile(`(?m)^`).ReplaceAllString(strings.TrimSpace(text), "> ") + "\n"
	}
	lines := strings.Split(text, "\n")
	i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, which+". ") })
	if i < 0 {
		s.t.Fatalf("line %d: the last letter has no question %s:\n%s", s.at.line, which, text)
	}
	out := "> " + lines[i] + "\n"
	for _, l := range lines[i+1:] {
		if !strings.HasPrefix(l, "   ") {
			break
		}
		out += "> " + l + "\n"
	}
	return out
}

// part makes the file of a line such as "clip.stl bracket 60 30".
func (s *stage) part(line string) sample.File {
	words := strings.Fields(line)
	i := slices.IndexFunc(words, func(w string) bool { return strings.HasSuffix(strings.ToLower(w), ".stl") })
	if i < 0 || len(words) < i+2 {
		s.t.Fatalf("line %d: @file needs a name that ends in .stl and a part: %q", s.at.line, line)
	}
	var n [4]float64
	for k, w := range words[i+2:] {
		n[min(k, 3)], _ = strconv.ParseFloat(w, 64)
	}
	var m *mesh.Mesh
	switch words[i+1] {
	case "box":
		m = shapes.Box(n[0], n[1], n[2])
	case "bracket":
		m = shapes.Bracket(n[0], n[1])
	case "vase":
		m = shapes.Vase(n[0], n[1], n[2])
	case "gear":
		m = shapes.Gear(int(n[0]), n[1], n[2], n[3])
	case "lid":
		m = shapes.Lid(n[0], n[1], n[2], 0.3)
	case "openbox":
		m = shapes.OpenBox(n[0], n[1], n[2], n[3])
	case "knob":
		m = shapes.Knob(n[0], n[1])
	case "nameplate":
		m = shapes.NamePlate(words[i+2], n[1])
	case "ball":
		m = shapes.UVSphere(n[0], 48, 24)
	case "mushroom":
		m = shapes.Mushroom(48, n[0], n[1], n[2])
	case "raised": // a plate with a smaller body on it
		m = shapes.Merge(shapes.Box(n[0], n[1], n[2]), shapes.Moved(shapes.Box(n[0]/2, n[1]/2, n[2]/2), n[0]/4, n[1]/4, n[2]+1e-4))
	case "letters": // two letters that stand on a plate of that size
		m = shapes.Merge(shapes.Moved(shapes.Box(n[0]/4, n[1]/2, 2), -n[0]/3, -n[1]/4, n[2]), shapes.Moved(shapes.Box(n[0]/5, n[1]/2, 2), n[0]/8, -n[1]/4, n[2]))
		return s.file(words, i, m)
	case "hinge": // a bar that lies on two blocks, a small gap above them
		return s.file(words, i, shapes.OnBed(shapes.Merge(shapes.Box(10, n[1], 10), shapes.Moved(shapes.Box(10, n[1], 10), n[0]-10, 0, 0), shapes.Moved(shapes.Box(n[0], n[1], 5), 0, 0, 10.3))))
	case "stud": // one that stands on a plate of that size
		return s.file(words, i, shapes.Moved(shapes.Box(n[0]/4, n[1]/2, 8), -n[0]/8-3, -n[1]/4, n[2]))
	case "holes":
		m = shapes.Without(shapes.Box(n[0], n[1], n[2]), 0, 5)
	case "inches":
		m = shapes.Box(n[0], n[1], n[2])
	default:
		s.t.Fatalf("line %d: there is no part %q", s.at.line, words[i+1])
	}
	return s.file(words, i, shapes.OnBed(m))
}

// file is a mesh as an attachment.
func (s *stage) file(words []string, i int, m *mesh.Mesh) sample.File {
	s.t.Helper()
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, m); err != nil {
		s.t.Fatal(err)
	}
	return sample.File{Name: strings.Join(words[:i+1], " "), MediaType: "model/stl", Data: b.Bytes()}
}

// drafted holds the reply that waits against the file, and has it approved and sent.
func (s *stage) drafted(b *block, head string) {
	s.t.Helper()
	kind, left := strings.CutSuffix(head, ", left")
	kind, first := strings.CutSuffix(kind, ", first of 2")
	waiting := s.waitingDrafts()
	if first && len(waiting) == 2 {
		waiting = waiting[:1]
	}
	if len(waiting) != 1 {
		s.bad("%d replies wait, want one, or two", len(waiting))
		for _, d := range waiting {
			s.t.Logf("%s (%s): %s", d.ID, d.Kind, d.Subject)
		}
		if len(waiting) == 0 {
			for _, n := range s.notices() {
				s.t.Logf("notice: %s", n)
			}
			return
		}
	}
	d := waiting[len(waiting)-1]
	raw, err := s.Ledger.DraftBytes(s.t.Context(), d.ID)
	if err != nil {
		s.t.Fatal(err)
	}
	text := s.shown(raw)
	if d.Kind != kind {
		s.bad("the reply that waits is of the kind %q\n%s", d.Kind, text)
	} else if same := unwrapped(b.body) == unwrapped(text); !same && *rewrite {
		b.body = text
	} else if !same && b.body != "" {
		s.bad("the reply is another now; read it, and where it is right: go test ./cmd/meshclerk/robot -run Conversations -update\n%s", differ(b.body, text))
	}
	if left {
		return
	}
	if err := s.Approve(s.t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		s.t.Fatalf("line %d: %v", s.at.line, err)
	}
	before := len(s.smtp.Delivered())
	s.once()
	got := s.smtp.Delivered()
	if len(got) != before+1 {
		s.t.Fatalf("line %d: %d messages left, want one\n%s", s.at.line, len(got)-before, s.log)
	}
	s.last = got[len(got)-1].Raw
	if code := ourCodes.FindString(text + d.Subject); code != "" {
		s.bad("a number of ours reached the patron: %s", code)
	}
}

// ourCodes are the numbers of jobs, letters, drafts and notices, which mean nothing to a
// patron.
var ourCodes = regexp.MustCompile(`\b(LP|L|D|N)-\d{6}\b`)

// shown is a letter as its reader sees it, without what is new on every run.
func (s *stage) shown(raw []byte) string {
	text, err := sample.PlainText(raw)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, j := range s.jobs() {
		text = strings.ReplaceAll(text, j.Thread, "THREAD")
	}
	text = dates.ReplaceAllString(strings.ReplaceAll(text, "\u00a0", " "), "DAY")
	var out []string
	for _, l := range strings.Split(strings.TrimSpace(text), "\n") {
		out = append(out, strings.TrimRight(l, " \r"))
	}
	return strings.Join(out, "\n")
}

// dates are those of letters, in three languages: they differ from run to run.
var dates = regexp.MustCompile(`(?i)\b(?:(?:(?:mon|tues|wednes|thurs|fri|satur|sun)day|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche|lunes|martes|mi[ée]rcoles|jueves|viernes|s[áa]bado|domingo),?\s+(?:le\s+|el\s+)?)?(?:\d{1,2}(?:er)?\s+(?:de\s+)?(?:january|february|march|april|may|june|july|august|september|october|november|december|janvier|février|mars|avril|mai|juin|juillet|août|septembre|octobre|novembre|décembre|enero|febrero|marzo|abril|mayo|junio|julio|agosto|septiembre|octubre|noviembre|diciembre)(?:\s+(?:de\s+)?\d{4})?|(?:january|february|march|april|may|june|july|august|september|october|november|december)\s+\d{1,2},?\s+\d{4})`)

// unwrapped is a letter with a line for each paragraph: where a line ends depends on how
// long the name of the day is.
func unwrapped(letter string) string {
	paragraphs := strings.Split(letter, "\n\n")
	for i, p := range paragraphs {
		paragraphs[i] = strings.Join(strings.Fields(p), " ")
	}
	return strings.Join(paragraphs, "\n")
}

func differ(was, is string) string {
	a, b := strings.Split(unwrapped(was), "\n"), strings.Split(unwrapped(is), "\n")
	var out strings.Builder
	for i := range max(len(a), len(b)) {
		var x, y string
		if i < len(a) {
			x = a[i]
		}
		if i < len(b) {
			y = b[i]
		}
		if x != y {
			fmt.Fprintf(&out, "- %s\n+ %s\n", x, y)
		}
		if out.Len() > 3000 {
			break
		}
	}
	return out.String()
}

// kept counts what is kept of letters and their files.
func (s *stage) kept(want string) {
	s.t.Helper()
	n := 0
	err := filepath.WalkDir(filepath.Join(s.dir, "blobs"), func(_ string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			n++
		}
		return err
	})
	if err != nil || (want == "nothing") != (n == 0) {
		s.bad("%d letters and files are kept (%v)", n, err)
	}
}

// rule sets one of the house's limits from here on.
func (s *stage) rule(of string) {
	s.t.Helper()
	r := *s.Rules
	at := strings.LastIndexByte(of, ' ')
	n, err := strconv.Atoi(of[at+1:])
	switch rule := of[:max(at, 0)]; {
	case err == nil && rule == "files per letter":
		r.Limits.FilesPerLetter = n
	case err == nil && rule == "check work":
		r.Caps.CheckWork = float64(n)
	default:
		s.t.Fatalf("line %d: there is no rule %q", s.at.line, of)
	}
	s.Rules = &r
}

// job holds a job against what the file says of it.
func (s *stage) job(line string) {
	s.t.Helper()
	file, wants, _ := strings.Cut(line, ": ")
	var found *job.Job
	for _, j := range s.jobs() {
		if j.File == file {
			found = &j
		}
	}
	if found == nil {
		s.bad("there is no such job")
		return
	}
	ctx := s.t.Context()
	offered, agreed, err := s.Prices(ctx, found.ID)
	if err != nil {
		s.t.Fatal(err)
	}
	waits, err := s.WaitsFor(ctx, *found)
	if err != nil {
		s.t.Fatal(err)
	}
	set := found.Asked()
	var colours []string
	for _, c := range set.Colours {
		colours = append(colours, fmt.Sprint(c.Copies, " ", c.Colour))
	}
	if set.Second != nil { // two colours in one print
		colours = []string{set.Colour + " " + set.Second.Colour}
	}
	is := map[string]string{"stage": string(found.Stage), "copies": strconv.Itoa(set.Copies), "colour": cmp.Or(set.Colour, "-"), "colours": strings.Join(colours, " and "),
		"branch": cmp.Or(found.Wishes.Pickup, "-"), "scale": strconv.FormatFloat(cmp.Or(set.Scale, 1), 'g', 3, 64), "price": cmp.Or(offered, "-"), "agreed": cmp.Or(agreed, "-"),
		"waits": "for " + cmp.Or(waits, "nobody"), "material": cmp.Or(set.Material, s.Rules.Printing.Material), "supports": cmp.Or(set.Supports, "-"), "change": "-", "phone": cmp.Or(found.Wishes.Phone, "-")}
	is["bodies"] = "-"
	if two := found.InTwo(); two != nil {
		is["bodies"] = strings.Trim(fmt.Sprint(two.Bodies), "[]")
		is["change"] = fmt.Sprintf("%s at %g", two.Colour, two.FromMM)
	}
	for _, want := range strings.Split(wants, ", ") {
		word, value, _ := strings.Cut(strings.TrimSpace(want), " ")
		if got, known := is[word]; !known {
			s.t.Fatalf("line %d: there is no word %q", s.at.line, word)
		} else if got != value {
			s.bad("%s is %q, want %q", word, got, value)
		}
	}
}

// withStaff holds the letters that wait for a person against the reasons in the file.
func (s *stage) withStaff(want string) {
	s.t.Helper()
	open, err := s.Ledger.Notices(s.t.Context(), false)
	if err != nil {
		s.t.Fatal(err)
	}
	var is []string
	for _, n := range open {
		is = append(is, string(n.Kind))
	}
	slices.Sort(is)
	if got := cmp.Or(strings.Join(is, ", "), "nothing"); got != want {
		s.bad("%s\n%s", got, strings.Join(s.notices(), "\n"))
	}
}

// staff is what a person at the library does.
func (s *stage) staff(line string) {
	s.t.Helper()
	ctx := s.t.Context()
	word, rest, _ := strings.Cut(line, " ")
	must := func(err error) {
		s.t.Helper()
		if err != nil {
			s.t.Fatalf("line %d, %s: %v", s.at.line, line, err)
		}
	}
	jobs := s.jobs()
	first := func() job.ID {
		if len(jobs) == 0 {
			s.t.Fatalf("line %d: there is no job", s.at.line)
		}
		return jobs[0].ID
	}
	decide := func(as job.Reply) {
		must(s.Decide(ctx, casework.Decision{Letter: s.letter, As: as, Wishes: s.wishes(rest), By: marisol}))
	}
	switch word {
	case "yes":
		decide(job.Accept)
	case "no":
		decide(job.Decline)
	case "change":
		decide(job.Change)
	case "noted":
		decide("")
	case "close":
		which := s.letter
		if rest == "earlier" { // the one before the last
			which = s.before
		}
		must(s.CloseLetter(ctx, which, marisol))
	case "confirms": // that the sender is who the letter says
		must(s.Confirm(ctx, first(), marisol))
	case "puts": // away what they were told of
		open, err := s.Ledger.Notices(ctx, false)
		must(err)
		for _, n := range open {
			must(s.CloseNotice(ctx, n.ID, 0, marisol))
		}
	case "belongs":
		must(s.Belongs(ctx, s.letter, first(), marisol))
	case "joins":
		_, err := s.Join(ctx, casework.IDs(jobs), marisol)
		must(err)
	case "parts":
		must(s.Part(ctx, first(), marisol))
	case "set":
		s.set(jobs[0], rest)
	case "aside":
		must(s.SetAside(ctx, s.waiting().ID, marisol, rest))
	case "again":
		for _, d := range s.drafts(ledger.DraftSetAside) {
			must(s.Reopen(ctx, d.ID, marisol, ""))
		}
	case "decline":
		must(s.Close(ctx, first(), job.Declined, marisol, rest))
	case "reopen":
		must(s.TakeUp(ctx, first(), marisol))
	case "prints":
		must(s.Start(ctx, first(), marisol))
	case "printed":
		for _, j := range jobs {
			if j.Stage == job.Printing || j.Stage == job.Agreed {
				must(s.Printed(ctx, j.ID, casework.Spent{Hours: 1, Grams: 9}, marisol))
			}
		}
	case "fails":
		must(s.PrintFailed(ctx, first(), casework.Spent{}, marisol, rest))
	case "collected":
		_, err := s.Collected(ctx, first(), rest, marisol)
		must(err)
	case "signs":
		who, _ := s.person(rest)
		s.agree(agreement.Entry{Address: who.Address, Name: who.Name, Signed: s.now().AddDate(0, 0, -1).Format(time.DateOnly), Version: s.Rules.Agreement.Current})
	default:
		s.t.Fatalf("line %d: staff do not %q", s.at.line, word)
	}
	s.once()
}

// wishes reads "copies 2 colour red".
func (s *stage) wishes(line string) (w job.Wishes) {
	words := strings.Fields(line)
	for i := 0; i+1 < len(words); i += 2 {
		v := words[i+1]
		n, _ := strconv.ParseFloat(v, 64)
		switch words[i] {
		case "copies":
			c := int(n)
			w.Copies = &c
		case "colour":
			w.Colours = []string{v}
		case "scale":
			w.Scale = &n
		case "material":
			w.Material = v
		case "branch":
			w.Pickup = v
		case "supports":
			w.Supports = v
		default:
			s.t.Fatalf("line %d: there is no wish %q", s.at.line, words[i])
		}
	}
	return w
}

// set changes settings as on the page, without a reply that waits.
func (s *stage) set(j job.Job, line string) {
	ctx := s.t.Context()
	w := s.wishes(regexp.MustCompile(`layer \S+`).ReplaceAllString(line, ""))
	set := j.Settings
	if w.Copies != nil {
		set.Copies = *w.Copies
	}
	if len(w.Colours) > 0 {
		set.Colour = w.Colours[0]
	}
	set.Material, set.Supports = cmp.Or(w.Material, set.Material), cmp.Or(w.Supports, set.Supports)
	if w.Scale != nil {
		set.Scale = *w.Scale
	}
	if m := regexp.MustCompile(`layer (\S+)`).FindStringSubmatch(line); m != nil {
		set.LayerMM, _ = strconv.ParseFloat(m[1], 64)
	}
	report, err := s.Recheck(ctx, j.ID, set)
	if err == nil {
		err = s.TakeOver(ctx, casework.NewSettings{Seen: j, Settings: set, Report: report, By: marisol})
	}
	if err != nil {
		s.t.Fatalf("line %d: %v", s.at.line, err)
	}
}

// A day with a longer name moves the ends of lines and makes no other letter.
func TestLongerDayIsTheSameLetter(t *testing.T) {
	friday, saturday := "The price holds until DAY.\nTake care\n---", "The price holds until\nDAY.\nTake care\n---"
	if unwrapped(friday) != unwrapped(saturday) {
		t.Error(differ(friday, saturday))
	}
	if unwrapped("one\n\ntwo") == unwrapped("one two") || unwrapped("one two") == unwrapped("one too") {
		t.Error("another paragraph or word is the same letter")
	}
}
