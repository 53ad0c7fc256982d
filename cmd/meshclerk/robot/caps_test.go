//go:build unix

package robot

import (
	"runtime"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
	"meshclerk/rules"
)

// TestCapsOfAFile meets every cap that a mesh file has, on its whole way from the
// mailbox: the patron gets a letter that says so, and nothing is lost. The caps
// of a letter's parts and archives are met in the room letter.
func TestCapsOfAFile(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		cap   func(*rules.Caps)
		draft string
		says  string // in the report
	}{
		"facets":        {func(c *rules.Caps) { c.Facets = 11 }, "unreadable", "11"},
		"coordinate_mm": {func(c *rules.Caps) { c.CoordinateMM = 9 }, "unreadable", "coordinate"},
		"check_work":    {func(c *rules.Caps) { c.CheckWork = 0.1 }, "unfinished", "more work than the rules allow"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.agree()
			c.cap(&h.Rules.Caps)
			h.imap.Deliver(request(t, "capped"))
			h.once()
			j := h.oneJob()
			if j.Report == nil || j.Report.Printable() || j.Report.Quote != nil {
				t.Fatalf("the report is %+v", j.Report)
			}
			said := h.Office.Say(j.Report.Error)
			for _, f := range j.Report.Findings {
				said += "\n" + h.Office.Say(f.Text)
			}
			if !strings.Contains(said, c.says) {
				t.Errorf("the report says %q, want %q in it", said, c.says)
			}
			if d := h.waiting(); d.Kind != c.draft {
				t.Errorf("the patron gets the letter %s, want %s", d.Kind, c.draft)
			}
			h.whole()
		})
	}
}

// A letter over letter_bytes stays in the mailbox as it was; staff are told once,
// and the letters behind it are taken.
func TestCapOfALetter(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.Rules.Caps.LetterBytes = 50_000
	long := append(request(t, "long"), []byte(strings.Repeat("and so on, at length\r\n", 3000))...)
	h.imap.Deliver(long)
	h.imap.Deliver(request(t, "short"))
	h.once()
	h.once()
	if j := h.oneJob(); j.File != "short.stl" {
		t.Errorf("the job is about %s", j.File)
	}
	if got := h.notices(); len(got) != 1 || !strings.HasPrefix(got[0], "letter-too-large: ") || !strings.Contains(got[0], "letter_bytes") {
		t.Errorf("notices %q", got)
	}
	if n := len(h.imap.Messages(h.Rules.Mailbox.Inbox)); n != 2 {
		t.Errorf("%d letters lie in the mailbox, want both", n)
	}
	h.whole()
}

// A mesh over mesh_bytes is not read; its patron is told so, once.
func TestCapOfAnAttachment(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.Rules.Caps.MeshBytes = 600 // the box has 684 bytes
	h.imap.Deliver(request(t, "heavy"))
	h.once()
	d := h.waiting()
	if said := casework.WrittenOf(d).Markdown; d.Kind != "unreadable" || strings.Count(said, "heavy.stl") != 1 {
		t.Errorf("the patron gets the letter %s:\n%s", d.Kind, said)
	}
	h.whole()
}

// A step is tried as often as attempts says, and then its letter is set aside.
func TestCapOfAttempts(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.Rules.Caps.Attempts = 1
	h.imap.Deliver([]byte("\x00\x01\x02 this is no mail at all\r\n"))
	h.once()
	aside, err := h.Ledger.Letters(t.Context(), 10, ledger.LetterSetAside)
	if err != nil || len(aside) != 1 || !aside[0].Raw {
		t.Errorf("after one try: %+v, %v", aside, err)
	}
	h.whole()
}

// A letter of 60 MB goes from the mail server to disk, and is parsed from there,
// without being held: what is live at any moment stays far below its size.
func TestBigLetterFromTheMailbox(t *testing.T) {
	if testing.Short() {
		t.Skip("moves 60 MB")
	}
	h := newHouse(t)
	h.imap.Deliver(request(t, "small")) // after which all tables that are read once are there
	h.once()
	line := strings.Repeat("QUJD", 19) + "\r\n"
	head := "From: Rosa Vidal <rosa.vidal@example.net>\r\nTo: print@larkfield.example\r\nSubject: big\r\nMIME-Version: 1.0\r\n" +
		"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\n\r\nPlease print this in blue.\r\n--b\r\n" +
		"Content-Type: application/octet-stream; name=plan.bin\r\nContent-Transfer-Encoding: base64\r\n\r\n"
	h.imap.Deliver([]byte(head + strings.Repeat(line, 60<<20/len(line)) + "--b--\r\n"))
	before := heapInUse()
	most, stop, stopped := before, make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
				most = max(most, heapInUse())
			}
		}
	}()
	h.once()
	close(stop)
	<-stopped
	letters, err := h.Ledger.Letters(t.Context(), 10)
	if err != nil || len(letters) != 2 || letters[0].Bytes < 60<<20 || letters[0].Parsed == nil {
		t.Fatalf("%+v, %v", letters, err)
	}
	t.Logf("a letter of %d MB; %.1f MB more were live at most", letters[0].Bytes>>20, float64(most-before)/(1<<20))
	if most-before > 16<<20 {
		t.Errorf("%d MB were held at once", (most-before)>>20)
	}
}

// heapInUse is the heap that is in use, garbage left out.
func heapInUse() int64 {
	var s runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&s)
	return int64(s.HeapAlloc)
}
