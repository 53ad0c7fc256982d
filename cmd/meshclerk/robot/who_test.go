package robot

import (
	"bytes"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/casework"
	"meshclerk/reply/outbox"
)

// state is all that a letter could have changed: jobs, drafts and what left.
func (h *house) state() string {
	h.t.Helper()
	var jobs []job.Job
	var drafts []string
	for _, j := range h.jobs() {
		if j.Patron.Address == "amara.okafor@example.org" {
			jobs = append(jobs, j)
		}
	}
	for _, d := range h.drafts() {
		if slices.ContainsFunc(jobs, func(j job.Job) bool { return slices.Contains(d.Jobs, j.ID) }) {
			drafts = append(drafts, d.ID+" "+string(d.State)+" "+d.Kind+" "+d.SHA256)
		}
	}
	b, err := json.MarshalIndent(map[string]any{"jobs": jobs, "drafts": drafts, "left": len(h.smtp.Delivered())}, "", " ")
	if err != nil {
		h.t.Fatal(err)
	}
	return string(b)
}

func stlOf(t *testing.T, m *mesh.Mesh) []byte {
	t.Helper()
	var file bytes.Buffer
	if err := mesh.WriteSTL(&file, m); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

// TestUnprovenAnswersChangeNothing: an answer acts only when it is proven to be the
// patron's. Each of these letters, from the patron's address without proof, or
// proven but from another address, is left to staff with a notice and changes
// nothing; from the patron it does act, so that the table proves something.
func TestUnprovenAnswersChangeNothing(t *testing.T) {
	t.Parallel()
	form := sample.File{Name: "agreement.pdf", MediaType: "application/pdf", Data: []byte("%PDF-1.4\n%%EOF\n")}
	for name, c := range map[string]struct {
		signed bool // the agreement is on file
		text   string
		files  []sample.File
	}{
		"accept":         {true, "Yes please, go ahead.", nil},
		"change":         {true, "Could I have two of them instead of one?", nil},
		"another size":   {true, "Please make it 40 mm wide.", nil},
		"decline":        {true, "No thank you, please cancel it.", nil},
		"withdraw":       {true, "I do not want it any more.", nil},
		"question":       {true, "Is PLA strong enough for a coat?", nil},
		"another branch": {true, "I would rather collect it at Fernhill.", nil},
		"new file":       {true, "Here is the corrected file.", []sample.File{{Name: "clip.stl", MediaType: "model/stl", Data: stlOf(t, shapes.Box(60, 40, 30))}}},
		"agreement form": {false, "Here is the signed form.", []sample.File{form}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			kind := "needs-agreement"
			if c.signed {
				h.agree(signedBy(h, "amara.okafor@example.org", "Amara Okafor"))
				kind = "quote"
			}
			h.imap.Deliver(request(t, "clip"))
			h.once()
			_, got := h.approves(kind)
			before := h.state()
			for _, who := range []struct{ name, address, dmarc string }{
				{"Amara Okafor", "amara.okafor@example.org", "none"}, {"Amara Okafor", "amara.okafor@example.org", "fail"},
				{"Mallory", "mallory@example.org", "pass"}, {"Amara Okafor", "amara.okafor@example.net", "pass"},
				{"Amara Okafor", "amara.o\u212aafor@example.org", "pass"},
			} {
				told := len(h.letterNotices())
				h.answersAs(who.name, who.address, who.dmarc, got, c.text, c.files...)
				if after := h.state(); after != before {
					t.Fatalf("%s of %s (%s) changed\n%s\nto\n%s", name, who.address, who.dmarc, before, after)
				}
				now := h.letterNotices()
				if name == "new file" && who.address == "mallory@example.org" { // a request of her own
					if len(now) != told {
						t.Errorf("a file of somebody else: notices %q", now)
					}
					continue
				}
				form := name == "agreement form" && who.dmarc == "pass" // whose it is, staff see
				if len(now) != told+1 || !strings.HasPrefix(now[told], "answer-unproven") && !(form && strings.HasPrefix(now[told], "agreement-form")) {
					t.Errorf("%s of %s (%s): notices %q", name, who.address, who.dmarc, now)
				}
			}
			notices := len(h.notices())
			h.answers(got, c.text, c.files...)
			if h.state() == before && len(h.notices()) == notices {
				t.Errorf("from the patron it does nothing either, so this proves nothing")
			}
			h.whole()
		})
	}
}

// letterNotices lists the letters that open notices are about, oldest first.
func (h *house) letterNotices() []string {
	h.t.Helper()
	all, err := h.Ledger.Notices(h.t.Context(), false)
	if err != nil {
		h.t.Fatal(err)
	}
	var out []string
	for _, n := range all {
		for _, l := range n.Letters {
			out = append(out, string(n.Kind)+" "+l)
		}
	}
	slices.SortFunc(out, func(a, b string) int {
		return strings.Compare(a[strings.IndexByte(a, ' '):], b[strings.IndexByte(b, ' '):])
	})
	return out
}

// TestUnprovenLearnsNothing: whoever writes in a patron's name, without proof, gets
// to the word what a stranger gets for the same letter, whatever is on file for the
// patron: no earlier print, agreement, card or wish. And the reply goes to the
// address that the letter shows, not where it asks for answers.
func TestUnprovenLearnsNothing(t *testing.T) {
	t.Parallel()
	const card = "2900 1234 5678 9"
	day := func(h *house, months int) string { return h.now().AddDate(0, months, 0).Format(time.DateOnly) }
	for name, onFile := range map[string]func(*house) agreement.Entry{
		"a good agreement": func(h *house) agreement.Entry {
			return agreement.Entry{Signed: day(h, -1), Version: h.Rules.Agreement.Current}
		},
		"an expired one": func(h *house) agreement.Entry {
			return agreement.Entry{Signed: day(h, -60), Expires: day(h, -1), Version: h.Rules.Agreement.Current}
		},
		"one of old version": func(h *house) agreement.Entry {
			return agreement.Entry{Signed: day(h, -60), Expires: day(h, 12), Version: "1999-01"}
		},
		"one of a minor": func(h *house) agreement.Entry {
			return agreement.Entry{Signed: day(h, -1), Version: h.Rules.Agreement.Current, Born: day(h, -120)}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			e := onFile(h)
			e.Address, e.Name, e.Card = "amara.okafor@example.org", "Amara Okafor", card
			h.agree(e)
			h.imap.Deliver(request(t, "clip")) // the patron's own, with a past
			h.once()
			for _, d := range h.drafts(ledger.DraftWaiting) {
				h.act(h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand))
			}
			h.once()
			for _, about := range []string{"Please print it once more, as last time.", "My card is " + card + ". Please print this."} {
				forged := h.repliesTo("amara.okafor@example.org", "mallory@example.org", about)
				stranger := h.repliesTo("a.stranger@example.org", "", strings.ReplaceAll(about, card, "2900 9876 5432 1"))
				if forged.said != stranger.said {
					t.Errorf("to %q a stranger is told\n%s\nand one in the patron's name\n%s", about, stranger.said, forged.said)
				}
				if forged.to != "amara.okafor@example.org" {
					t.Errorf("the reply to the forged letter goes to %s", forged.to)
				}
			}
		})
	}
}

type replied struct{ to, said string }

var pictureID = regexp.MustCompile(`cid:\S+`) // each draft's own

// repliesTo delivers an unproven request and gives the draft that answers it.
func (h *house) repliesTo(from, replyTo, text string) replied {
	h.t.Helper()
	h.forward(time.Second)
	l := sample.Letter{Key: fmt.Sprintf("r%d", len(h.imap.Messages("INBOX"))), FromName: "Amara Okafor", FromAddress: from, DMARC: "none", Subject: "Please print clip", Text: text,
		Files: []sample.File{{Name: "clip.stl", MediaType: "model/stl", Data: stlOf(h.t, shapes.Box(20, 20, 10))}}}
	if replyTo != "" {
		l.Headers = map[string]string{"Reply-To": replyTo}
	}
	raw, err := l.Compose(h.now())
	h.act(err)
	h.imap.Deliver(raw)
	h.once()
	for _, d := range h.drafts(ledger.DraftWaiting) {
		if draftFor(h, d).Patron.Address != from {
			continue
		}
		h.act(h.SetAside(h.t.Context(), d.ID, marisol, "seen"))
		return replied{d.To.Address, d.Kind + "\n" + pictureID.ReplaceAllString(casework.WrittenOf(d).Markdown, "cid:")}
	}
	h.t.Fatalf("no reply to %s waits\n%s", from, h.log)
	return replied{}
}

func draftFor(h *house, d ledger.Draft) job.Job {
	h.t.Helper()
	j, err := h.Ledger.Job(h.t.Context(), d.Jobs[0])
	h.act(err)
	return j
}

// TestAddressBeyondASCII: a patron whose address has letters outside ASCII (RFC 6531,
// 6532) gets the reply where the library's mail server can carry it; where it cannot,
// staff are told so, and nothing is sent.
func TestAddressBeyondASCII(t *testing.T) {
	t.Parallel()
	const eva = "éva.körös@example.org"
	for _, carries := range []bool{true, false} {
		t.Run(fmt.Sprintf("server carries it %v", carries), func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			if carries {
				h.smtp = mailtest.SMTP(t, mailtest.Accept, mailtest.UTF8())
				h.Send = sender(t, h.smtp)
			}
			h.agree(signedBy(h, eva, "Éva Körös"))
			raw := strings.ReplaceAll(string(request(t, "clip")), "amara.okafor@example.org", eva)
			h.imap.Deliver([]byte(raw))
			h.once()
			j := h.oneJob()
			if j.Patron.Address != eva || j.Auth != job.Pass || j.Agreement.State != job.AgreementGood {
				t.Fatalf("patron %+v, %s, agreement %+v", j.Patron, j.Auth, j.Agreement)
			}
			d := h.waiting()
			if d.Kind != "quote" || d.To.Address != eva {
				t.Fatalf("%s to %+v", d.Kind, d.To)
			}
			h.act(h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand))
			h.once()
			got, told := h.smtp.Delivered(), strings.Join(h.notices(), "\n")
			if carries {
				if len(got) != 1 || !got[0].UTF8 || !slices.Equal(got[0].To, []string{eva}) {
					t.Errorf("delivered %+v; %s", got, told)
				}
				if to, err := outbox.Recipients(got[0].Raw); err != nil || !slices.Equal(to, []string{eva}) {
					t.Errorf("the letter says it is to %q, %v", to, err)
				}
				return
			}
			if len(got) != 0 || !strings.Contains(told, "send-refused") || !strings.Contains(told, "takes no addresses with other than plain letters") {
				t.Errorf("delivered %d; staff are told %q", len(got), told)
			}
		})
	}
}
