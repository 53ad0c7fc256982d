package robot

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// A letter with more files than are looked at at once: the count is right, the others
// are kept, and the yes brings them, with an offer of their own and each only once.
func TestMoreFilesThanAtOnce(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.Rules.Limits.FilesPerLetter = 2
	l := sample.Letter{Key: "tokens", FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: "pass",
		Subject: "tokens", Text: "Hello,\n\nplease print each once in blue. I collect them at Millbrook.\n\nAmara\n"}
	for i := range 3 {
		var stl bytes.Buffer
		if err := mesh.WriteSTL(&stl, shapes.Box(20, 20, 10+float64(i))); err != nil {
			t.Fatal(err)
		}
		l.Files = append(l.Files, sample.File{Name: fmt.Sprintf("token%d.stl", i+1), MediaType: "model/stl", Data: stl.Bytes()})
	}
	raw, err := l.Compose(time.Now().Add(-time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	h.imap.Deliver(raw)
	h.once()
	_, got := h.approves("several")
	h.wantText(got, "We have looked at the first 2 of your 3 files", "and keep the other")
	if n := len(h.jobs()); n != 2 {
		t.Fatalf("%d jobs, want 2", n)
	}
	h.answers(got, "Yes, print them all please.")
	var agreed, offered int
	for _, j := range h.jobs() {
		switch j.Stage {
		case job.Agreed:
			agreed++
		case job.Drafted:
			offered++
		}
	}
	if agreed != 2 || offered != 1 || len(h.jobs()) != 3 {
		t.Fatalf("%d agreed, %d offered, of %d jobs; want 2, 1 and 3", agreed, offered, len(h.jobs()))
	}
	for _, d := range h.drafts("waiting") {
		if d.Kind == "quote" {
			h.act(h.Approve(t.Context(), d.ID, d.SHA256, marisol, "command"))
		}
	}
	h.once()
	sent := h.smtp.Delivered()
	got = sent[len(sent)-1].Raw
	h.wantText(got, "token3.stl")
	h.answers(got, "Yes please.")
	for _, j := range h.jobs() {
		if j.Stage != job.Agreed {
			t.Errorf("%s is %s", j.File, j.Stage)
		}
	}
	if n := len(h.jobs()); n != 3 {
		t.Errorf("%d jobs, want 3", n)
	}
}
