package letter

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// TestCaps meets every cap that a letter has, one by one: what is over it is left
// out, what is within it is kept, and the letter says so.
func TestCaps(t *testing.T) {
	long := strings.Repeat("Please print this in blue. ", 400)
	nested := func(n int) string {
		inner := textPart("innermost")
		for i := range n {
			inner = fmt.Sprintf("Content-Type: multipart/mixed; boundary=n%d\r\n\r\n--n%d\r\n%s\r\n--n%d--", i, i, inner, i)
		}
		return inner
	}
	cases := map[string]struct {
		caps rules.Caps
		raw  string
		note string
		kept func(*job.Letter) bool
	}{
		"letter_bytes": {caps(func(c *rules.Caps) { c.LetterBytes = 2000 }), mixed(textPart("Hello."), filePart("a.stl", binarySTL(500))),
			`reading.letter-large {"size":{"amount":2000,"unit":"bytes"}}`, func(l *job.Letter) bool { return l.Text == "Hello." && find(t, l, "a.stl").Bytes < 1500 }},
		"header_bytes": {caps(func(c *rules.Caps) { c.HeaderBytes = 1000 }), top + "X-Long: " + strings.Repeat("x ", 5000) + "\r\nIn-Reply-To: <a@b>\r\n\r\nHello.",
			"reading.header-long", func(l *job.Letter) bool { return l.Subject == "part" && l.Text == "Hello." && l.InReplyTo == "" }},
		"header_bytes, folded": {caps(func(c *rules.Caps) { c.HeaderBytes = 1000 }), top + "X-Long: x\r\n" + strings.Repeat(" folded\r\n", 5000) + "\r\nHello.",
			"reading.header-long", func(l *job.Letter) bool { return l.Subject == "part" && l.Text == "Hello." }},
		"header_bytes, of parts": {caps(func(c *rules.Caps) { c.HeaderBytes = 1000 }), mixed(textPart("Hello."), "X-Long: "+strings.Repeat("x ", 5000)+"\r\n\r\nmore", textPart("end")),
			"reading.header-long", func(l *job.Letter) bool { return strings.HasPrefix(l.Text, "Hello.") }},
		"parts": {caps(func(c *rules.Caps) { c.Parts = 4 }), mixed(textPart("1"), textPart("2"), textPart("3"), textPart("4"), textPart("5")),
			`reading.many-parts {"n":4}`, func(l *job.Letter) bool { return l.Text == "1\n\n2\n\n3" }},
		"depth": {caps(func(c *rules.Caps) { c.Depth = 3 }), mixed(textPart("outer"), nested(4)),
			`reading.parts-deep {"n":3}`, func(l *job.Letter) bool { return l.Text == "outer" }},
		"depth, within": {caps(func(c *rules.Caps) { c.Depth = 5 }), mixed(textPart("outer"), nested(4)),
			"", func(l *job.Letter) bool { return l.Text == "outer\n\ninnermost" }},
		"depth, of letters": {caps(func(c *rules.Caps) { c.Depth = 2 }), top + strings.Repeat("Content-Type: message/rfc822\r\n\r\n", 6) + "Subject: in\r\n\r\nx",
			`reading.letters-deep {"n":2}`, func(l *job.Letter) bool { return l.Subject == "part" }},
		"text_bytes": {caps(func(c *rules.Caps) { c.TextBytes = 5000 }), mixed(textPart(long), filePart("a.stl", binarySTL(10))),
			"reading.text-long", func(l *job.Letter) bool {
				return len(l.Text) > 4900 && len(l.Text) <= 5000 && find(t, l, "a.stl").Bytes == 584
			}},
		"text_bytes, of HTML": {caps(func(c *rules.Caps) { c.TextBytes = 5000 }), mixed("Content-Type: text/html\r\n\r\n<p>" + strings.Repeat("<b>x</b> ", 8000)),
			"reading.text-long", func(l *job.Letter) bool { return len(l.Text) > 100 && len(l.Text) <= 5000 }},
		"archive_files": {caps(func(c *rules.Caps) { c.ArchiveFiles = 2 }), mixed(filePart("a.zip", zipped(t, member{"1.stl", binarySTL(1)}, member{"2.stl", binarySTL(1)}, member{"3.stl", binarySTL(1)}))),
			`reading.file.archive-files {"n":2}`, func(l *job.Letter) bool { return len(l.Attachments) == 3 }},
		"archive_bytes": {caps(func(c *rules.Caps) { c.ArchiveBytes = 2000 }), mixed(filePart("a.zip", zipped(t, member{"1.stl", binarySTL(10)}, member{"2.stl", binarySTL(100)}))),
			"reading.file.bomb", func(l *job.Letter) bool {
				return find(t, l, "1.stl").Note.IsZero() && !find(t, l, "2.stl").Note.IsZero()
			}},
		"archive_ratio": {caps(func(c *rules.Caps) { c.ArchiveRatio = 10 }), mixed(filePart("a.zip", zipped(t, member{"1.stl", make([]byte, 3<<20)}))),
			"reading.file.bomb", func(l *job.Letter) bool { return find(t, l, "1.stl").Bytes < 2<<20 }},
		"archive_depth": {caps(func(c *rules.Caps) { c.ArchiveDepth = 1 }), mixed(filePart("a.zip", zipped(t, member{"b.zip", zipped(t, member{"1.stl", nil})}))),
			"reading.file.archive-deep", func(l *job.Letter) bool { return len(l.Attachments) == 2 }},
		"mesh_bytes": {caps(func(c *rules.Caps) { c.MeshBytes = 500 }), mixed(filePart("a.stl", binarySTL(10))),
			`reading.file.mesh-large {"size":{"amount":500,"unit":"bytes"}}`, func(l *job.Letter) bool { return find(t, l, "a.stl").Bytes == 584 }},
	}
	for f := range reflect.TypeFor[rules.Caps]().Fields() {
		name := f.Tag.Get("toml")
		if _, met := cases[name]; !met && !strings.Contains(" facets coordinate_mm check_work attempts ", " "+name+" ") { // those are met on the way of a whole letter, by the robot
			t.Errorf("no letter meets the cap %s", name)
		}
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			opts := house(t.TempDir())
			opts.Caps = c.caps
			l := read(t, c.raw, opts)
			if c.note == "" && len(l.Notes) > 0 || !strings.Contains(strings.Join(said(l), "\n"), c.note) {
				t.Errorf("said %q, want %q in it", said(l), c.note)
			}
			if !c.kept(l) {
				t.Errorf("what is within the cap was not kept: %q %q %+v", l.Subject, l.Text, l.Attachments)
			}
			checkFiles(t, opts.Dir, l)
		})
	}
}

func caps(change func(*rules.Caps)) rules.Caps {
	c := rules.Default().Caps
	change(&c)
	return c
}

// said is everything that the letter tells staff.
func said(l *job.Letter) []string {
	out := shownAs(l.Notes)
	for _, a := range l.Attachments {
		out = append(out, a.Note.String())
	}
	return out
}

// shownAs shows messages as a log does.
func shownAs(messages []job.Message) (out []string) {
	for _, m := range messages {
		out = append(out, m.String())
	}
	return out
}

// endless makes a letter without holding it.
func endless(size int64) io.Reader {
	line := []byte(strings.Repeat("QUJD", 19) + "\r\n")
	head := top + "Content-Type: application/sla; name=big.stl\r\nContent-Transfer-Encoding: base64\r\n\r\n"
	return io.MultiReader(strings.NewReader(head), io.LimitReader(&repeat{of: line}, size))
}

type repeat struct {
	of []byte
	at int
}

func (r *repeat) Read(p []byte) (int, error) {
	n := copy(p, r.of[r.at:])
	r.at = (r.at + n) % len(r.of)
	return n, nil
}

// A large letter must cost no more memory than a small one, whatever it is made of.
func TestBigLetterIsNotHeld(t *testing.T) {
	for name, in := range map[string]io.Reader{
		"base64":     endless(60 << 20),
		"one line":   io.MultiReader(strings.NewReader(top+"\r\n"), io.LimitReader(&repeat{of: []byte("x")}, 16<<20)),
		"html":       io.MultiReader(strings.NewReader(top+"Content-Type: text/html\r\n\r\n"), io.LimitReader(&repeat{of: []byte("<div>x")}, 16<<20)),
		"header":     io.MultiReader(strings.NewReader(top), io.LimitReader(&repeat{of: []byte("X: y\r\n")}, 16<<20)),
		"one header": io.MultiReader(strings.NewReader(top+"X: "), io.LimitReader(&repeat{of: []byte("y")}, 16<<20)),
		"preamble":   io.MultiReader(strings.NewReader(top+"Content-Type: multipart/mixed; boundary=b\r\n\r\n"), io.LimitReader(&repeat{of: []byte("y\r\n")}, 16<<20)),
		"boundaries": io.MultiReader(strings.NewReader(top+"Content-Type: multipart/mixed; boundary=b\r\n\r\n"), io.LimitReader(&repeat{of: []byte("--b\r\n\r\n")}, 20<<20)),
		"quoted":     io.MultiReader(strings.NewReader(top+"Content-Type: a/b\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n"), io.LimitReader(&repeat{of: []byte("=")}, 16<<20)),
	} {
		t.Run(name, func(t *testing.T) {
			m := &memory{in: in}
			m.look()
			before := m.most
			l, err := Read(t.Context(), m, house(t.TempDir()))
			if err != nil {
				t.Fatal(err)
			}
			if grown := m.most - before; grown > 8<<20 {
				t.Errorf("%d MB were held at once", grown>>20)
			}
			if l.Subject != "part" {
				t.Errorf("subject %q", l.Subject)
			}
		})
	}
}

// memory passes a reader on and looks now and then at how much memory is in use.
type memory struct {
	in        io.Reader
	n, looked int64
	most      int64
}

func (m *memory) Read(p []byte) (int, error) {
	n, err := m.in.Read(p)
	if m.n += int64(n); m.n-m.looked > 4<<20 {
		m.looked = m.n
		m.look()
	}
	return n, err
}

func (m *memory) look() {
	var s runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&s)
	m.most = max(m.most, int64(s.HeapAlloc))
}

func TestReadErrors(t *testing.T) {
	for name, raw := range map[string]string{"empty": "", "blank": "\r\n\r\n", "binary": "\x00\x01\x02\xff\xfe", "prose": "Dear library\n\nplease print"} {
		if _, err := Read(t.Context(), strings.NewReader(raw), Options{}); !errors.Is(err, ErrNotMail) {
			t.Errorf("%s: got %v, want ErrNotMail", name, err)
		}
	}
	broken := errors.New("the line went dead")
	in := io.MultiReader(strings.NewReader(mixed(textPart("Hello."))[:150]), &failing{broken})
	if _, err := Read(t.Context(), in, Options{}); !errors.Is(err, broken) {
		t.Errorf("a source that fails: got %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Read(ctx, strings.NewReader(mixed(textPart("Hello."))), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v", err)
	}
	if _, err := Read(t.Context(), bytes.NewReader(nil), Options{Dir: "/no/such/folder"}); err == nil {
		t.Error("a folder that is not there: no error")
	}
}

type failing struct{ err error }

func (f *failing) Read([]byte) (int, error) { return 0, f.err }

// TestCapsToTheByte meets each cap twice: a letter that needs just so much is read
// whole and says nothing; one that needs one more is over it.
func TestCapsToTheByte(t *testing.T) {
	text := strings.Repeat("Please print this in blue. ", 40)
	markup := "<p>     " + strings.Repeat("<b>x</b> ", 40) // a multiple of markupFactor
	whole := mixed(textPart("Hello."), filePart("a.stl", binarySTL(10)))
	page := func(width int) []byte { return bytes.Repeat([]byte{'x'}, width) }
	for name, c := range map[string]struct {
		raw  string
		need int64
		set  func(c *rules.Caps, n int64)
		note string
	}{
		"letter_bytes":        {whole, int64(len(whole)), func(c *rules.Caps, n int64) { c.LetterBytes = n }, "reading.letter-large"},
		"header_bytes":        {top + "\r\nHello.", int64(len(top) + 2), func(c *rules.Caps, n int64) { c.HeaderBytes = n }, "reading.header-long"},
		"parts":               {whole, 3, func(c *rules.Caps, n int64) { c.Parts = int(n) }, "reading.many-parts"},
		"depth, of letters":   {top + strings.Repeat("Content-Type: message/rfc822\r\n\r\n", 3) + "Subject: in\r\n\r\nx", 3, func(c *rules.Caps, n int64) { c.Depth = int(n) }, "reading.letters-deep"},
		"text_bytes":          {top + "\r\n" + text, int64(len(text)), func(c *rules.Caps, n int64) { c.TextBytes = n }, "reading.text-long"},
		"text_bytes, in all":  {mixed(textPart("Hello."), textPart("Bye.")), 10, func(c *rules.Caps, n int64) { c.TextBytes = n }, "reading.text-long"},
		"text_bytes, of HTML": {top + "Content-Type: text/html\r\n\r\n" + markup, int64(len(markup)), func(c *rules.Caps, n int64) { c.TextBytes = n / markupFactor }, "reading.text-long"},
		"archive_files":       {mixed(filePart("a.zip", zipped(t, member{"1.stl", binarySTL(1)}, member{"2.stl", binarySTL(1)}))), 2, func(c *rules.Caps, n int64) { c.ArchiveFiles = int(n) }, "reading.file.archive-files"},
		"archive_bytes":       {mixed(filePart("a.zip", zipped(t, member{"1.stl", binarySTL(10)}))), 584, func(c *rules.Caps, n int64) { c.ArchiveBytes = n }, "reading.file.bomb"},
		"archive_depth":       {mixed(filePart("a.zip", zipped(t, member{"b.zip", zipped(t, member{"1.txt", page(9)})}))), 2, func(c *rules.Caps, n int64) { c.ArchiveDepth = int(n) }, "reading.file.archive-deep"},
		"mesh_bytes":          {mixed(filePart("a.stl", binarySTL(10))), 584, func(c *rules.Caps, n int64) { c.MeshBytes = n }, "reading.file.mesh-large"},
	} {
		t.Run(name, func(t *testing.T) {
			for n, over := range map[int64]bool{c.need: false, c.need - 1: true} {
				opts := house(t.TempDir())
				opts.Caps = caps(func(caps *rules.Caps) { c.set(caps, n) })
				l := read(t, c.raw, opts)
				if got := strings.Contains(strings.Join(said(l), "\n"), c.note); got != over {
					t.Errorf("it needs %d, and with %d it said %q", c.need, n, said(l))
				}
			}
		})
	}
}

// A file that unpacks to 1 MB at most harms nobody, however tightly it was packed.
func TestSmallFilesMayBePackedTightly(t *testing.T) {
	for size, bomb := range map[int]bool{1 << 20: false, 1<<20 + 1: true} {
		opts := house(t.TempDir())
		opts.Caps = caps(func(c *rules.Caps) { c.ArchiveRatio = 10 })
		a := find(t, read(t, mixed(filePart("a.zip", zipped(t, member{"1.stl", make([]byte, size)}))), opts), "1.stl")
		if got := !a.Note.IsZero(); got != bomb {
			t.Errorf("%d bytes packed into few: %s", size, a.Note)
		}
	}
}
