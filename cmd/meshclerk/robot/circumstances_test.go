package robot

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/wire"
	"meshclerk/reply/outbox"
)

// Where the robot asks for several circumstances at once, each row here differs in one of
// them. No server is needed: shelf stands for the mailbox.

// shelf is a mailbox of some folders, listed a page at a time. A folder that is not in
// it is not there.
type shelf struct {
	heldMail
	of       map[string][]mailbox.Head
	page     int
	validity uint32
	asked    []string // folder, cursor and day of each listing
	fail     error    // of every listing
	fetch    map[uint32]error
	removed  []string
	moved    []string
	remove   error
	dead     bool
	closed   int
}

func newShelf() *shelf { return &shelf{of: map[string][]mailbox.Head{}, page: 50, validity: 1} }

// put lays a message of ours, or somebody's, into a folder.
func (m *shelf) put(folder, messageID string, flags ...string) *shelf {
	uid := uint32(len(m.of[folder]) + 1)
	m.of[folder] = append(m.of[folder], mailbox.Head{MessageID: messageID, Item: mailbox.Item{Ref: mailbox.Ref{Folder: folder, UIDValidity: m.validity, UID: uid}, Flags: flags, Received: noon}})
	return m
}

func (m *shelf) New(_ context.Context, folder string, at mailbox.Cursor, since time.Time) (*mailbox.Batch, error) {
	m.asked = append(m.asked, fmt.Sprint(folder, " ", at.UIDValidity, " ", at.LastUID, " ", since.IsZero()))
	if m.fail != nil {
		return nil, m.fail
	}
	heads, there := m.of[folder]
	if !there {
		return nil, mailbox.ErrNoFolder
	}
	b := &mailbox.Batch{Cursor: mailbox.Cursor{UIDValidity: m.validity}, Reset: at.UIDValidity != m.validity}
	if at.UIDValidity == m.validity {
		b.Cursor = at
	}
	for _, h := range heads {
		if h.Ref.UID <= b.Cursor.LastUID {
			continue
		}
		if len(b.Items) == m.page {
			b.More = true
			break
		}
		b.Items = append(b.Items, h.Item)
	}
	if n := len(b.Items); n > 0 {
		b.Cursor.LastUID = b.Items[n-1].Ref.UID
	}
	return b, nil
}

func (m *shelf) Headers(_ context.Context, folder string, refs ...mailbox.Ref) (out []mailbox.Head, err error) {
	for _, h := range m.of[folder] {
		if slices.Contains(refs, h.Ref) {
			out = append(out, h)
		}
	}
	return out, nil
}

func (m *shelf) FindMessageID(_ context.Context, folder, id string) (out []mailbox.Ref, err error) {
	for _, h := range m.of[folder] {
		if h.MessageID == id {
			out = append(out, h.Ref)
		}
	}
	return out, nil
}

func (m *shelf) Fetch(_ context.Context, ref mailbox.Ref, w io.Writer, _ int64) (int64, error) {
	if err := m.fetch[ref.UID]; err != nil {
		return 0, err
	}
	text := m.bytes
	if text == "" {
		text = fmt.Sprintf("Subject: %d\r\n\r\nx", ref.UID)
	}
	n, err := io.WriteString(w, text)
	return int64(n), err
}

func (m *shelf) RemoveOwn(_ context.Context, ref mailbox.Ref, messageID string) error {
	m.removed = append(m.removed, fmt.Sprint(ref.Folder, " ", messageID))
	return m.remove
}

func (m *shelf) Move(_ context.Context, ref mailbox.Ref, to string) (mailbox.Ref, error) {
	m.moved = append(m.moved, to)
	return mailbox.Ref{}, m.remove
}
func (m *shelf) Alive() bool  { return !m.dead }
func (m *shelf) Close() error { m.closed++; return nil }

// What lies in the mailbox and the ledger does not know, or does not know as sent, shows
// that it is older; it is held then, and what it knows or is not ours shows nothing.
func TestWhatShowsAnOlderLedger(t *testing.T) {
	const unknown = "<D-009999.x@larkfield.example>"
	for name, c := range map[string]struct {
		put  func(r *Robot, m *shelf, waits, sent ledger.Draft)
		held bool
	}{
		"nothing":                 {func(*Robot, *shelf, ledger.Draft, ledger.Draft) {}, false},
		"in Sent, as it was sent": {func(r *Robot, m *shelf, _, d ledger.Draft) { m.put(r.Rules.Mailbox.Sent, d.MessageID) }, false},
		"in Sent, and it waits":   {func(r *Robot, m *shelf, d, _ ledger.Draft) { m.put(r.Rules.Mailbox.Sent, d.MessageID) }, true},
		"in Sent, unknown":        {func(r *Robot, m *shelf, _, _ ledger.Draft) { m.put(r.Rules.Mailbox.Sent, unknown) }, true},
		"in Sent, a person's own": {func(r *Robot, m *shelf, _, _ ledger.Draft) { m.put(r.Rules.Mailbox.Sent, "<x@mail.example>") }, false},
		"in Sent, behind a person's own": {func(r *Robot, m *shelf, _, _ ledger.Draft) {
			m.put(r.Rules.Mailbox.Sent, "<x@mail.example>").put(r.Rules.Mailbox.Sent, unknown)
		}, true},
		"to approve, and it waits":    {func(r *Robot, m *shelf, d, _ ledger.Draft) { m.put(r.Rules.Mailbox.ToApprove, d.MessageID) }, false},
		"to approve, and it was sent": {func(r *Robot, m *shelf, _, d ledger.Draft) { m.put(r.Rules.Mailbox.ToApprove, d.MessageID) }, false},
		"to approve, unknown":         {func(r *Robot, m *shelf, _, _ ledger.Draft) { m.put(r.Rules.Mailbox.ToApprove, unknown) }, true},
		"approved, unknown":           {func(r *Robot, m *shelf, _, _ ledger.Draft) { m.put(r.Rules.Mailbox.Approved[0].Folder, unknown) }, true},
	} {
		for _, page := range []int{1, 50} {
			r, m := robotAt(t, noon), newShelf()
			m.page = page
			waits, _ := replyTo(t, r, 1)
			sent, _ := replyTo(t, r, 2)
			if err := r.Approve(t.Context(), sent.ID, sent.SHA256, marisol, ledger.ViaCommand); err != nil {
				t.Fatal(err)
			}
			try, _, err := r.Ledger.BeginSend(t.Context(), sent.ID, owner)
			if err == nil {
				err = r.Ledger.EndSend(t.Context(), try, ledger.Delivered, job.Plain(""), ledger.Robot)
			}
			if err != nil {
				t.Fatal(err)
			}
			c.put(r, m, waits, sent)
			m.fail = mailbox.ErrRenumbered
			if err := r.mayAct(t.Context(), m); !errors.Is(err, mailbox.ErrRenumbered) {
				t.Errorf("%s: the mailbox does not answer, and %v", name, err)
			}
			m.fail = nil
			for range 2 {
				if err := r.mayAct(t.Context(), m); errors.Is(err, errHeld) != c.held || !c.held && err != nil {
					t.Errorf("%s, %d a page: %v, want held %v", name, page, err, c.held)
				}
			}
			asked := len(m.asked)
			if err := r.mayAct(t.Context(), m); errors.Is(err, errHeld) != c.held || len(m.asked) != asked {
				t.Errorf("%s: the mailbox is asked again", name)
			}
		}
	}
}

// A copy in Sent that cannot be told to be the same is no proof that this was sent: it
// is left to a person. One that cannot be read at all is looked at again.
func TestCopyInSentByWhatIsRead(t *testing.T) {
	for name, c := range map[string]struct {
		err   error
		bytes string
		then  ledger.DraftState
		fails bool
	}{
		"too large":      {mailbox.ErrTooLarge, "", ledger.DraftUncertain, false},
		"gone meanwhile": {mailbox.ErrGone, "", ledger.DraftApproved, true},
		"no message":     {nil, "\x00", ledger.DraftUncertain, false},
		"another":        {nil, "From: a\r\n\r\nx", ledger.DraftUncertain, false},
	} {
		r, m := robotAt(t, noon), newShelf()
		d, raw := replyTo(t, r, 1)
		m.put(r.Rules.Mailbox.Sent, d.MessageID)
		m.bytes, m.fetch = c.bytes, map[uint32]error{1: c.err}
		if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
			t.Fatal(err)
		}
		s, err := r.Ledger.Lease(t.Context(), owner, lease, ledger.StepSend)
		if err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
		before, err := r.sentAlready(t.Context(), m, s, d.ID, raw)
		now, err2 := r.Ledger.Draft(t.Context(), d.ID)
		if (err != nil) != c.fails || before == c.fails || err2 != nil || now.State != c.then {
			t.Errorf("%s: taken as sent before %v, then %s, %v, %v", name, before, now.State, err, err2)
		}
	}
}

// A reply is laid before staff unless it lies in Sent, its letter was answered before, or
// it waits no more; staff are told why it is not.
func TestReplyThatIsNotLaidAgain(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(r *Robot, m *shelf, d ledger.Draft)
		laid int
		told string
	}{
		"new": {func(*Robot, *shelf, ledger.Draft) {}, 1, ""},
		"in Sent": {func(r *Robot, m *shelf, d ledger.Draft) {
			m.put(r.Rules.Mailbox.Sent, d.MessageID)
			r.reconciled.done = true
		}, 0, "notices.lies-in-sent"},
		"put aside": {func(r *Robot, _ *shelf, d ledger.Draft) {
			if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.SetAside(t.Context(), d.ID, marisol, job.Plain("")) }); err != nil {
				t.Fatal(err)
			}
		}, 0, ""},
		"moved aside until it is posted": {func(r *Robot, m *shelf, d ledger.Draft) {
			aside := r.Rules.Mailbox.SetAside
			m.put(aside, d.MessageID)
			if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
				return tx.SaveWatched(t.Context(), aside, ledger.Watched{UIDValidity: 1})
			}); err != nil {
				t.Fatal(err)
			}
		}, 0, ""},
	} {
		r, m := robotAt(t, noon), newShelf()
		d, raw := replyTo(t, r, 1)
		m.bytes = string(raw)
		r.Dial = func(context.Context) (Mail, error) { return m, nil }
		c.do(r, m, d)
		if err := r.Ledger.Enqueue(t.Context(), ledger.StepPost, d.ID, time.Time{}); err != nil {
			t.Fatal(err)
		}
		s, err := r.Ledger.Lease(t.Context(), owner, lease, ledger.StepPost)
		if err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
		if err := r.step(t.Context(), &worker{r: r, stop: t.Context()}, s, nil); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		notices, err := r.Ledger.Notices(t.Context(), false)
		told := ""
		if len(notices) > 0 {
			told = notices[0].Text.Key
		}
		if steps, err2 := r.Ledger.OpenSteps(t.Context()); err != nil || err2 != nil || m.laid != c.laid || told != c.told || len(steps) != 0 {
			t.Errorf("%s: laid %d times, told %q, %d steps, %v, %v", name, m.laid, told, len(steps), err, err2)
		}
	}
}

// What stood in a folder when it was first seen, or before it was numbered anew, approves
// nothing, on its later pages neither. A folder that is missing keeps the next from
// nothing.
func TestFolderIsJudgedPageByPage(t *testing.T) {
	for name, c := range map[string]struct {
		known ledger.Watched
		want  ledger.DraftState
	}{
		"first seen": {ledger.Watched{}, ledger.DraftWaiting}, "numbered anew": {ledger.Watched{UIDValidity: 9, HighestUID: 7}, ledger.DraftWaiting},
		"known": {ledger.Watched{UIDValidity: 1}, ledger.DraftApproved}, "known further": {ledger.Watched{UIDValidity: 1, HighestUID: 3}, ledger.DraftWaiting},
	} {
		r, m := robotAt(t, noon), newShelf()
		m.page = 1
		folder := r.Rules.Mailbox.Approved[0].Folder
		d, raw := replyTo(t, r, 1)
		m.bytes = string(raw)
		m.put(folder, "<x@mail.example>").put(folder, "<y@mail.example>").put(folder, d.MessageID)
		if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.SaveWatched(t.Context(), folder, c.known) }); err != nil {
			t.Fatal(err)
		}
		if err := r.seeMoved(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		now, err := r.Ledger.Draft(t.Context(), d.ID)
		at, err2 := r.Ledger.Watched(t.Context(), folder)
		if err != nil || err2 != nil || now.State != c.want || at != (ledger.Watched{UIDValidity: 1, HighestUID: 3}) {
			t.Errorf("%s: the draft is %s, known up to %+v, %v, %v", name, now.State, at, err, err2)
		}
	}
	r, m := robotAt(t, noon), newShelf()
	d, _ := replyTo(t, r, 1)
	last := r.Rules.Mailbox.SetAside
	m.put(last, d.MessageID)
	if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.SaveWatched(t.Context(), last, ledger.Watched{UIDValidity: 1}) }); err != nil {
		t.Fatal(err)
	}
	_, raw := replyTo(t, r, 2)
	m.bytes = string(raw)
	if err := r.seeMoved(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if now, err := r.Ledger.Draft(t.Context(), d.ID); err != nil || now.State != ledger.DraftSetAside {
		t.Errorf("behind folders that are missing: %s, %v", now.State, err)
	}
	m.fail = mailbox.ErrRenumbered
	if err := r.seeMoved(t.Context(), m); !errors.Is(err, mailbox.ErrRenumbered) {
		t.Errorf("a folder that cannot be listed: %v", err)
	}
}

// An inbox that is numbered anew is listed again from its beginning, back to the first
// days; what is known is not taken again, and what came meanwhile is.
func TestInboxNumberedAnew(t *testing.T) {
	r, m := robotAt(t, noon), newShelf()
	inbox := r.Rules.Mailbox.Inbox
	m.put(inbox, "<a@example.org>").put(inbox, "<b@example.org>")
	if err := r.takeNew(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	m.validity = 2
	heads := m.of[inbox]
	m.of[inbox] = nil
	for range heads {
		m.put(inbox, "<a@example.org>")
	}
	m.put(inbox, "<c@example.org>", `\Answered`)
	m.asked = nil
	if err := r.takeNew(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if want := []string{inbox + " 1 2 true", inbox + " 0 0 false"}; !slices.Equal(m.asked, want) {
		t.Errorf("listed %q, want %q", m.asked, want)
	}
	if steps, err := r.Ledger.OpenSteps(t.Context()); err != nil || len(steps) != 3 {
		t.Errorf("%d letters are to be read, want 3, %v", len(steps), err)
	}
	if known, err := r.Ledger.Poll(t.Context(), inbox); err != nil || known.UIDValidity != 2 || known.HighestUID != 3 {
		t.Errorf("known %+v, %v", known, err)
	}
}

// One letter that cannot be taken keeps no other from being taken; where the connection
// breaks, those before it are ours, and the look is not finished.
func TestLetterThatCannotBeTaken(t *testing.T) {
	for name, c := range map[string]struct {
		err   error
		taken int
		fails bool
		told  ledger.NoticeKind
	}{
		"too large": {mailbox.ErrTooLarge, 2, false, ledger.NoticeTooLarge}, "gone": {mailbox.ErrGone, 2, false, ""},
		"cut off": {io.ErrUnexpectedEOF, 1, true, ""}, "none": {nil, 3, false, ""},
	} {
		r, m := robotAt(t, noon), newShelf()
		inbox := r.Rules.Mailbox.Inbox
		m.put(inbox, "<a@example.org>").put(inbox, "<b@example.org>").put(inbox, "<c@example.org>")
		m.fetch = map[uint32]error{2: c.err}
		err := r.takeNew(t.Context(), m)
		steps, err2 := r.Ledger.OpenSteps(t.Context())
		told, err3 := r.Ledger.Notices(t.Context(), false)
		known, err4 := r.Ledger.Poll(t.Context(), inbox)
		if (err != nil) != c.fails || len(steps) != c.taken || known.First.IsZero() != c.fails || errors.Join(err2, err3, err4) != nil {
			t.Errorf("%s: %d taken, known up to %d, %v", name, len(steps), known.HighestUID, err)
		}
		if got := len(told) == 1 && told[0].Kind == c.told; got != (c.told != "") {
			t.Errorf("%s: told %+v", name, told)
		}
		m.fetch = map[uint32]error{1: io.ErrUnexpectedEOF} // which is ours already
		if err := r.takeNew(t.Context(), m); err != nil {
			t.Errorf("%s: what is ours is fetched again: %v", name, err)
		}
	}
}

// Whose failure it is: the house's, or the letter's own.
func TestWhoseAFailureIs(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		want ledger.Trouble
	}{
		"a house's":         {fmt.Errorf("x: %w", houseError{ledger.SendingAway, io.EOF}), ledger.SendingAway},
		"told to stop":      {fmt.Errorf("x: %w", context.Canceled), ledger.Stopping},
		"the disk":          {ledger.ErrDiskFull, ledger.DiskFull},
		"a deadline":        {os.ErrDeadlineExceeded, ledger.MailboxAway},
		"a server's no":     {&wire.Error{Server: "imap"}, ledger.MailboxRefuses},
		"without a server":  {&wire.Error{}, ledger.NoTrouble},
		"the letter's":      {io.ErrUnexpectedEOF, ledger.NoTrouble},
		"a message is gone": {mailbox.ErrGone, ledger.NoTrouble},
	} {
		if got := troubleOf(c.err); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		want := c.want
		if want == ledger.NoTrouble {
			want = ledger.MailboxRefuses // at the door it is the house's in any case
		}
		if got := troubleOf(away(c.err)); got != want {
			t.Errorf("%s, at the door: %q, want %q", name, got, want)
		}
	}
}

// How a step goes on that failed, by what failed and how often it was tried.
func TestHowAFailedStepGoesOn(t *testing.T) {
	most := robotAt(t, noon).Rules.Caps.Attempts
	for name, c := range map[string]struct {
		cause    error
		attempts int
		open     bool // it is still to be done, by us or by whoever has it
		after    time.Duration
		counted  bool
		away     bool // it is still leased
	}{
		"it went well":             {nil, 1, true, 0, true, true},
		"another has it":           {ledger.ErrLeaseLost, 1, true, 0, true, true},
		"told to stop":             {context.Canceled, 1, true, 0, false, false},
		"the house's":              {houseError{ledger.MailboxAway, io.EOF}, most, true, 10 * time.Second, false, false},
		"its own":                  {io.EOF, 1, true, 10 * time.Second, true, false},
		"its own, the second":      {io.EOF, 2, true, time.Minute, true, false},
		"its own, the last":        {io.EOF, most, false, 0, true, false},
		"its own, beyond the last": {io.EOF, most + 1, false, 0, true, false},
	} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		if err := r.Ledger.Enqueue(t.Context(), ledger.StepPost, "D-1", time.Time{}); err != nil {
			t.Fatal(err)
		}
		s, err := r.Ledger.Lease(t.Context(), owner, lease)
		if err != nil {
			t.Fatal(err)
		}
		s.Attempts = c.attempts
		if err := r.applyRetryPolicy(t.Context(), s, c.cause); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		steps, err := r.Ledger.OpenSteps(t.Context())
		given, err2 := r.Ledger.GivenUp(t.Context())
		if err != nil || err2 != nil || (len(steps) == 1) != c.open || (len(given) == 1) == c.open {
			t.Errorf("%s: open %d, given up %d, %v, %v", name, len(steps), len(given), err, err2)
		}
		if !c.open || c.away {
			if s, err := r.Ledger.Lease(t.Context(), owner, lease); err != nil || s != nil {
				t.Errorf("%s: it is due: %+v, %v", name, s, err)
			}
			continue
		}
		if c.after > 0 {
			now = noon.Add(c.after - time.Millisecond)
			if s, err := r.Ledger.Lease(t.Context(), owner, lease); err != nil || s != nil {
				t.Errorf("%s: due before %v: %+v, %v", name, c.after, s, err)
			}
		}
		now = noon.Add(c.after)
		again, err := r.Ledger.Lease(t.Context(), owner, lease)
		if err != nil || again == nil || (again.Attempts == 2) != c.counted {
			t.Errorf("%s, after %v: %+v, %v; want it counted %v", name, c.after, again, err, c.counted)
		}
	}
}

// What becomes of the copies of a reply that has come to its end, and which answers of
// the mailbox are no failure.
func TestCopiesOfAReplyThatIsOver(t *testing.T) {
	for name, c := range map[string]struct {
		state   ledger.DraftState
		place   string // where its copy lies; "" is the to-approve folder
		err     error
		removed int
		moved   int
		laid    int
		fails   bool
	}{
		"sent":                      {ledger.DraftSent, "", nil, 2, 0, 1, false},
		"sent, gone meanwhile":      {ledger.DraftSent, "", mailbox.ErrGone, 2, 0, 1, false},
		"sent, not to be removed":   {ledger.DraftSent, "", io.EOF, 1, 0, 1, true},
		"superseded":                {ledger.DraftSuperseded, "", nil, 1, 0, 0, false},
		"superseded, gone":          {ledger.DraftSuperseded, "", mailbox.ErrGone, 1, 0, 0, false},
		"superseded, numbered anew": {ledger.DraftSuperseded, "", mailbox.ErrRenumbered, 1, 0, 0, false},
		"superseded, a person's":    {ledger.DraftSuperseded, "", mailbox.ErrNotOurs, 1, 0, 0, false},
		"superseded, cut off":       {ledger.DraftSuperseded, "", io.EOF, 1, 0, 0, true},
		"superseded, nowhere":       {ledger.DraftSuperseded, "-", nil, 0, 0, 0, false},
		"set aside":                 {ledger.DraftSetAside, "", nil, 0, 1, 0, false},
		"set aside elsewhere":       {ledger.DraftSetAside, "Elsewhere", nil, 0, 0, 0, false},
		"set aside, gone":           {ledger.DraftSetAside, "", mailbox.ErrGone, 0, 1, 0, false},
		"set aside, anew":           {ledger.DraftSetAside, "", mailbox.ErrRenumbered, 0, 1, 0, false},
		"set aside, cut off":        {ledger.DraftSetAside, "", io.EOF, 0, 1, 0, true},
		"waiting again":             {ledger.DraftWaiting, "", nil, 0, 0, 0, false},
	} {
		r, m := robotAt(t, noon), newShelf()
		m.remove = c.err
		d, _ := replyTo(t, r, 1)
		m.put(r.Rules.Mailbox.ToApprove, d.MessageID).put(r.Rules.Mailbox.Approved[0].Folder, d.MessageID).put(r.Rules.Mailbox.ToApprove, "<x@mail.example>")
		err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
			if c.place == "-" {
				if err := tx.PlaceDraft(t.Context(), d.ID, ledger.Place{}); err != nil {
					return err
				}
			} else if c.place != "" {
				if err := tx.PlaceDraft(t.Context(), d.ID, ledger.Place{Folder: c.place, UIDValidity: 1, UID: 1}); err != nil {
					return err
				}
			}
			switch c.state {
			case ledger.DraftSetAside:
				return tx.SetAside(t.Context(), d.ID, marisol, job.Plain(""))
			case ledger.DraftSuperseded:
				_, _, err := tx.NewDraft(t.Context(), ledger.Draft{Jobs: d.Jobs, To: d.To, MessageID: "<D-000009.x@larkfield.example>"}, []byte("anew"), ledger.Robot, job.Plain(""))
				return err
			}
			return nil
		})
		if err == nil && c.state == ledger.DraftSent {
			if err = r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err == nil {
				var try ledger.Send
				if try, _, err = r.Ledger.BeginSend(t.Context(), d.ID, owner); err == nil {
					err = r.Ledger.EndSend(t.Context(), try, ledger.Delivered, job.Plain(""), ledger.Robot)
				}
			}
		}
		if err == nil {
			err = r.Ledger.Enqueue(t.Context(), ledger.StepFile, d.ID, time.Time{})
		}
		if err != nil {
			t.Fatal(err)
		}
		s, err := r.Ledger.Lease(t.Context(), owner, lease, ledger.StepFile)
		if err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
		r.Dial = func(context.Context) (Mail, error) { return m, nil }
		err = r.step(t.Context(), &worker{r: r, stop: t.Context()}, s, nil)
		if (err != nil) != c.fails || len(m.removed) != c.removed || len(m.moved) != c.moved || m.laid != c.laid {
			t.Errorf("%s: removed %q, moved to %q, laid %d, %v", name, m.removed, m.moved, m.laid, err)
		}
		now, err := r.Ledger.Draft(t.Context(), d.ID)
		if err != nil || (now.Place == ledger.Place{}) != (!c.fails || c.place == "-") {
			t.Errorf("%s: its place is %v, %v", name, now.Place, err)
		}
	}
}

// A connection is kept while it lives, and closed and made anew when it does not.
func TestConnectionIsKeptWhileItLives(t *testing.T) {
	r := robotAt(t, noon)
	var made []*shelf
	var refuse error
	r.Dial = func(context.Context) (Mail, error) {
		if refuse != nil {
			return nil, refuse
		}
		made = append(made, newShelf())
		return made[len(made)-1], nil
	}
	h := &worker{r: r}
	for i, c := range []struct{ dead, want int }{{-1, 1}, {-1, 1}, {0, 2}, {-1, 2}} {
		if c.dead >= 0 {
			made[c.dead].dead = true
		}
		if m, err := h.mail(t.Context()); err != nil || len(made) != c.want || m != Mail(made[len(made)-1]) {
			t.Errorf("%d: %d connections, %v", i, len(made), err)
		}
	}
	if made[0].closed != 1 || made[1].closed != 0 {
		t.Errorf("closed %d and %d times", made[0].closed, made[1].closed)
	}
	made[1].dead, refuse = true, io.EOF
	if _, err := h.mail(t.Context()); troubleOf(err) != ledger.MailboxRefuses || !r.cramped.Load() {
		t.Errorf("no connection: %v, the look at the folders gives way %v", err, r.cramped.Load())
	}
}

// Bytes that are not those recorded are never handed over.
func TestBytesOtherThanRecordedAreNotSent(t *testing.T) {
	r, m := robotAt(t, noon), newShelf()
	d, _ := replyTo(t, r, 1)
	r.Dial = func(context.Context) (Mail, error) { return m, nil }
	if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	var refused error
	r.Send = func(ctx context.Context, msg outbox.Message) outbox.Outcome {
		msg.Raw[len(msg.Raw)-3] = '!' // what Commit compares
		refused = msg.Commit(ctx)
		return outbox.Outcome{State: outbox.Later, Err: refused}
	}
	if err := r.Work(t.Context()); err != nil {
		t.Fatal(err)
	}
	if job.Why(refused).Key != "faults.changed-on-disk" {
		t.Errorf("handed over: %v", refused)
	}
}
