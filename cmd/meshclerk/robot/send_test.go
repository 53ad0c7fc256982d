package robot

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/reply/outbox"
)

// heldMail is a mailbox that holds what it is told to, and notes what is done.
type heldMail struct {
	Mail
	inSent string // the bytes that lie in Sent under any Message-ID; "" is none
	laid   int
	bytes  string // of every message that is fetched
	gone   bool
}

func (m *heldMail) Alive() bool  { return true }
func (m *heldMail) Close() error { return nil }
func (m *heldMail) FindMessageID(_ context.Context, folder, _ string) ([]mailbox.Ref, error) {
	if m.inSent != "" && folder == "Sent" {
		return []mailbox.Ref{{Folder: folder, UIDValidity: 1, UID: 9}}, nil
	}
	return nil, nil
}
func (m *heldMail) Fetch(_ context.Context, ref mailbox.Ref, w io.Writer, _ int64) (int64, error) {
	if m.gone {
		return 0, mailbox.ErrGone
	}
	text := m.bytes
	if ref.Folder == "Sent" {
		text = m.inSent
	}
	n, err := io.WriteString(w, text)
	return int64(n), err
}
func (m *heldMail) New(context.Context, string, mailbox.Cursor, time.Time) (*mailbox.Batch, error) {
	return &mailbox.Batch{}, nil
}
func (m *heldMail) AppendOnce(_ context.Context, folder string, _ []string, _ time.Time, _ []byte, _ string) (mailbox.Ref, error) {
	m.laid++
	return mailbox.Ref{Folder: folder, UIDValidity: 1, UID: uint32(100 + m.laid)}, nil
}
func (m *heldMail) RemoveOwn(context.Context, mailbox.Ref, string) error { return nil }

// replyTo makes a whole reply that waits, with a copy in the to-approve folder.
func replyTo(t *testing.T, r *Robot, n uint32) (ledger.Draft, []byte) {
	t.Helper()
	raw, err := outbox.Canonical([]byte(fmt.Sprintf("From: <%s>\r\nTo: <ada@example.org>\r\nSubject: part\r\nMessage-ID: <D-%06d.x@larkfield.example>\r\nDate: Fri, 27 Nov 2026 12:00:00 +0000\r\nMIME-Version: 1.0\r\nContent-Type: text/plain; charset=utf-8\r\n\r\nDear Ada\r\n", r.Rules.Library.Address, n)))
	if err != nil {
		t.Fatal(err)
	}
	var d ledger.Draft
	err = r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
		j, err := tx.NewJob(t.Context(), job.Job{Patron: job.Address{Address: "ada@example.org"}}, "", ledger.Robot, job.Plain(""))
		if err != nil {
			return err
		}
		d = ledger.Draft{Jobs: []job.ID{j.ID}, To: j.Patron, MessageID: fmt.Sprintf("<D-%06d.x@larkfield.example>", n)}
		if d, _, err = tx.NewDraft(t.Context(), d, raw, ledger.Robot, job.Plain("")); err != nil {
			return err
		}
		return tx.PlaceDraft(t.Context(), d.ID, ledger.Place{Folder: r.Rules.Mailbox.ToApprove, UIDValidity: 1, UID: n})
	})
	if err != nil {
		t.Fatal(err)
	}
	return d, raw
}

// What becomes of an approved reply by what the sending server says, and whether it was
// handed over before: at most once, and never a second time where nobody knows.
func TestSendByItsOutcome(t *testing.T) {
	why := errors.New("no")
	for name, c := range map[string]struct {
		commits bool
		out     outbox.Outcome
		then    ledger.DraftState
		due     bool // it is tried again by itself
		silent  bool // the next letter waits
	}{
		"taken":                  {true, outbox.Outcome{State: outbox.Sent}, ledger.DraftSent, false, false},
		"refused":                {true, outbox.Outcome{State: outbox.Refused, Err: why}, ledger.DraftFailed, false, false},
		"refused at the door":    {false, outbox.Outcome{State: outbox.Refused, Err: why}, ledger.DraftFailed, false, false},
		"put off at the door":    {false, outbox.Outcome{State: outbox.Later, Err: why}, ledger.DraftApproved, true, false},
		"put off behind its end": {true, outbox.Outcome{State: outbox.Later, Err: why}, ledger.DraftApproved, true, false},
		"no answer":              {true, outbox.Outcome{State: outbox.Uncertain, Err: why}, ledger.DraftUncertain, false, true},
	} {
		r := robotAt(t, noon)
		d, _ := replyTo(t, r, 1)
		m := &heldMail{}
		r.Dial = func(context.Context) (Mail, error) { return m, nil }
		sends := 0
		r.Send = func(ctx context.Context, msg outbox.Message) outbox.Outcome {
			sends++
			if c.commits {
				if err := msg.Commit(ctx); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			}
			return c.out
		}
		if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
			t.Fatal(err)
		}
		if err := r.Work(t.Context()); err != nil {
			t.Fatal(err)
		}
		got, err := r.Ledger.Draft(t.Context(), d.ID)
		if err != nil {
			t.Fatal(err)
		}
		steps, err := r.Ledger.OpenSteps(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if again := len(steps) == 1 && steps[0].Kind == ledger.StepSend; got.State != c.then || again != c.due || sends != 1 {
			t.Errorf("%s: %s, tried again %v, handed over %d times", name, got.State, again, sends)
		}
		if wait, _ := r.breaker.open(r.Now()); wait != c.silent {
			t.Errorf("%s: the next waits %v", name, wait)
		}
		if filed := m.laid == 1; filed != (c.then == ledger.DraftSent) {
			t.Errorf("%s: filed in Sent %v", name, filed)
		}
	}
}

// An approved reply that lies in Sent already is not sent: the same bytes count as sent,
// and other bytes are left to a person.
func TestReplyThatLiesInSent(t *testing.T) {
	for name, same := range map[string]bool{"the same": true, "another": false} {
		r := robotAt(t, noon)
		d, raw := replyTo(t, r, 1)
		m := &heldMail{inSent: string(raw)}
		if !same {
			m.inSent = strings.Replace(m.inSent, "Dear", "Hello", 1)
		}
		r.Rules.Mailbox.Sent = "Sent"
		r.Dial = func(context.Context) (Mail, error) { return m, nil }
		r.Send = func(context.Context, outbox.Message) outbox.Outcome {
			t.Errorf("%s: it was sent", name)
			return outbox.Outcome{State: outbox.Refused}
		}
		if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
			t.Fatal(err)
		}
		if err := r.Work(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got, err := r.Ledger.Draft(t.Context(), d.ID); err != nil || (got.State == ledger.DraftSent) != same {
			t.Errorf("%s: %s, %v", name, got.State, err)
		}
	}
}

// A silent server is asked first whether it is there again, once the wait is over.
func TestSilentServerIsProbedFirst(t *testing.T) {
	now := noon
	r := robotBy(t, func() time.Time { return now })
	asked := 0
	var answer error
	r.Reach = func(context.Context) error { asked++; return answer }
	try := func(what string, want bool, probes int) {
		t.Helper()
		err := r.mayTry(t.Context())
		if (err == nil) != want || asked != probes || err != nil && troubleOf(err) != ledger.SendingAway {
			t.Errorf("%s: may try %v, asked %d times, %v", what, err == nil, asked, err)
		}
	}
	try("before any silence", true, 0)
	r.breaker.note(true, now)
	try("at once after it", false, 0)
	now, answer = noon.Add(10*time.Second), errors.New("away")
	try("after the wait, and it is away", false, 1)
	answer = nil
	try("and it is there", true, 2)
	r.breaker.note(false, now)
	try("after an answer", true, 2)
	r.breaker.note(true, now)
	now, r.Reach = now.Add(10*time.Second), nil
	try("without anybody to ask", true, 2)
}

// What a message in an approved folder does to its draft: it is a person's word only
// where it came after the draft, from us, whole and not undone.
func TestMessageInAnApprovedFolder(t *testing.T) {
	for name, c := range map[string]struct {
		change func(h *mailbox.Head, m *heldMail)
		stood  bool
		aside  bool // in the set-aside folder
		state  ledger.DraftState
		told   ledger.NoticeKind
	}{
		"moved":             {func(*mailbox.Head, *heldMail) {}, false, false, ledger.DraftApproved, ""},
		"set aside":         {func(*mailbox.Head, *heldMail) {}, false, true, ledger.DraftSetAside, ""},
		"marked as deleted": {func(h *mailbox.Head, _ *heldMail) { h.Flags = []string{`\deleted`} }, false, false, ledger.DraftWaiting, ""},
		"stood there":       {func(*mailbox.Head, *heldMail) {}, true, false, ledger.DraftWaiting, ledger.NoticeMoveRefused},
		"another stood":     {func(h *mailbox.Head, _ *heldMail) { h.MessageID = "<x@mail.example>" }, true, false, ledger.DraftWaiting, ""},
		"none of ours":      {func(h *mailbox.Head, _ *heldMail) { h.MessageID = "<x@mail.example>" }, false, false, ledger.DraftWaiting, ledger.NoticeNotDraft},
		"too large":         {func(h *mailbox.Head, _ *heldMail) { h.Size = draftBytes + 1 }, false, false, ledger.DraftWaiting, ledger.NoticeMoveRefused},
		"gone":              {func(_ *mailbox.Head, m *heldMail) { m.gone = true }, false, false, ledger.DraftWaiting, ""},
		"carried": {func(_ *mailbox.Head, m *heldMail) {
			m.bytes = "Received: by mail.example; Fri, 27 Nov 2026 12:00:00 +0000\r\n" + m.bytes
		}, false, false, ledger.DraftWaiting, ledger.NoticeMoveRefused},
		"not ours": {func(_ *mailbox.Head, m *heldMail) { m.bytes = strings.Replace(m.bytes, "From: <", "From: <x", 1) }, false, false, ledger.DraftWaiting, ledger.NoticeMoveRefused},
		"older":    {func(_ *mailbox.Head, m *heldMail) { m.bytes = strings.Replace(m.bytes, "12:00:00", "11:59:59", 1) }, false, false, ledger.DraftWaiting, ledger.NoticeMoveRefused},
		"not fit to leave": {func(_ *mailbox.Head, m *heldMail) {
			m.bytes = strings.Replace(m.bytes, "To: <ada@example.org>\r\n", "", 1)
		}, false, false, ledger.DraftWaiting, ledger.NoticeDraftUnfit},
		"to somebody else": {func(_ *mailbox.Head, m *heldMail) { m.bytes = strings.Replace(m.bytes, "<ada@", "<eve@", 1) }, false, false, ledger.DraftWaiting, ledger.NoticeReaddressed},
	} {
		r := robotAt(t, noon)
		d, raw := replyTo(t, r, 1)
		folders := r.watchedFolders()
		w := folders[0]
		if c.aside {
			w = folders[len(folders)-1]
		}
		m := &heldMail{bytes: string(raw)}
		head := mailbox.Head{Item: mailbox.Item{Ref: mailbox.Ref{Folder: w.folder, UIDValidity: 1, UID: 5}, Size: 100}, MessageID: d.MessageID}
		c.change(&head, m)
		for range 2 { // judged once
			if err := r.seeOne(t.Context(), m, w, head, c.stood); err != nil && name != "moved" && name != "set aside" {
				t.Fatalf("%s: %v", name, err)
			}
		}
		got, err := r.Ledger.Draft(t.Context(), d.ID)
		if err != nil || got.State != c.state {
			t.Errorf("%s: the draft is %s, %v; want %s", name, got.State, err, c.state)
		}
		told, err := r.Ledger.Notices(t.Context(), false)
		if err != nil || len(told) > 1 || len(told) == 1 && (told[0].Kind != c.told || told[0].Times != 1) || len(told) == 0 && c.told != "" {
			t.Errorf("%s: told %+v, %v; want %q once", name, told, err, c.told)
		}
	}
}

// The clock that is not believed is told of by the way in which it is off, and once.
func TestClockIsToldOfByItsWay(t *testing.T) {
	for off, key := range map[time.Duration]string{aDay * 4: "notices.clock-ahead", -time.Hour: "notices.clock-behind"} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		r.Elapsed = func() time.Duration { return 0 }
		if err := r.seeClock(t.Context()); err != nil || !r.clockDoubt().IsZero() {
			t.Fatal(err, r.clockDoubt())
		}
		now = noon.Add(off)
		for range 2 {
			if err := r.seeClock(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		told, err := r.Ledger.Notices(t.Context(), false)
		if err != nil || len(told) != 1 || told[0].Times != 1 || told[0].Text.Key != key {
			t.Errorf("off by %v: told %+v, %v", off, told, err)
		}
		now = noon
		if err := r.seeClock(t.Context()); err != nil {
			t.Fatal(err)
		}
		if told, err := r.Ledger.Notices(t.Context(), false); err != nil || len(told) != 0 {
			t.Errorf("right again: told %+v, %v", told, err)
		}
	}
}

// Across a stop the clock is held against what the ledger keeps of it.
func TestClockAcrossAStop(t *testing.T) {
	for off, believed := range map[time.Duration]bool{14 * aDay: true, 14*aDay + time.Second: false} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.BelieveClock(t.Context()) }); err != nil {
			t.Fatal(err)
		}
		now = noon.Add(off)
		if err := r.seeClock(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := r.clockDoubt().IsZero(); got != believed {
			t.Errorf("%v after it was believed: %v", off, got)
		}
	}
}

// What the sending server answered is written down also where the lease of the send ran
// out before the answer came, and another has it by then: a letter that was delivered is never left as uncertain.
func TestAnswerAfterTheLeaseIsWrittenDown(t *testing.T) {
	for state, want := range map[outbox.State]ledger.DraftState{
		outbox.Sent: ledger.DraftSent, outbox.Refused: ledger.DraftFailed, outbox.Later: ledger.DraftApproved, outbox.Uncertain: ledger.DraftUncertain,
	} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		d, _ := replyTo(t, r, 1)
		r.Dial = func(context.Context) (Mail, error) { return &heldMail{}, nil }
		r.Send = func(ctx context.Context, msg outbox.Message) outbox.Outcome {
			if err := msg.Commit(ctx); err != nil {
				t.Error(err)
			}
			now = now.Add(lease + time.Second)
			if other, err := r.Ledger.Lease(ctx, "another", lease, ledger.StepSend); err != nil || other == nil {
				t.Errorf("nobody takes the step over: %+v, %v", other, err)
			}
			return outbox.Outcome{State: state, Err: errors.New("said late")}
		}
		if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
			t.Fatal(err)
		}
		s, err := r.Ledger.Lease(t.Context(), owner, lease, ledger.StepSend)
		if err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
		if err := r.step(t.Context(), &worker{r: r, stop: t.Context()}, s, nil); err != nil {
			t.Errorf("state %v: %v", state, err)
		}
		if got, err := r.Ledger.Draft(t.Context(), d.ID); err != nil || got.State != want {
			t.Errorf("said %v: the reply is %s, want %s, %v", state, got.State, want, err)
		}
		if again, err := r.Ledger.RecoverSends(t.Context(), owner); err != nil || len(again) != 0 {
			t.Errorf("said %v: %v without an end, %v", state, again, err)
		}
	}
}
