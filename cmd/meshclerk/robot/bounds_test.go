package robot

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// askedMail is a mailbox without messages that keeps what it was asked.
type askedMail struct {
	Mail
	fetched int
	since   map[string]time.Time // by folder
}

func (m *askedMail) Fetch(context.Context, mailbox.Ref, io.Writer, int64) (int64, error) {
	m.fetched++
	return 0, mailbox.ErrGone
}

func (m *askedMail) New(_ context.Context, folder string, _ mailbox.Cursor, since time.Time) (*mailbox.Batch, error) {
	m.since[folder] = since
	return &mailbox.Batch{}, nil
}

// robotAt is a robot without servers, at a moment of its own.
func robotAt(t *testing.T, now time.Time) *Robot {
	t.Helper()
	return robotBy(t, func() time.Time { return now })
}

// robotBy is a robot without servers that goes by a clock of its own.
func robotBy(t *testing.T, clock func() time.Time) *Robot {
	t.Helper()
	l, err := ledger.Open(t.Context(), t.TempDir(), nil, clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return underDefaults(l, slog.New(slog.DiscardHandler), clock)
}

// lies makes a draft about a job of its own that waits in the to-approve folder.
func lies(t *testing.T, r *Robot, n uint32, thread, letter string) (d ledger.Draft) {
	t.Helper()
	err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
		j, err := tx.NewJob(t.Context(), job.Job{Thread: thread, Patron: job.Address{Address: "ada@example.org"}}, letter, ledger.Robot, job.Plain(""))
		if err != nil {
			return err
		}
		d = ledger.Draft{Jobs: []job.ID{j.ID}, To: j.Patron, MessageID: fmt.Sprintf("<D-%06d.x@larkfield.example>", n)}
		if d, _, err = tx.NewDraft(t.Context(), d, []byte("Dear Ada"), ledger.Robot, job.Plain("")); err != nil {
			return err
		}
		return tx.PlaceDraft(t.Context(), d.ID, ledger.Place{Folder: r.Rules.Mailbox.ToApprove, UIDValidity: 1, UID: n})
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var noon = time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)

// An edited draft of 25 MB is fetched, and one a byte longer is left where it is, with
// one notice.
func TestEditedDraftUpToItsCap(t *testing.T) {
	r := robotAt(t, noon)
	d := lies(t, r, 1, "", "")
	folder := r.watchedFolders()[0]
	for i, size := range []int64{25 << 20, 25<<20 + 1} {
		m := &askedMail{}
		head := mailbox.Head{Item: mailbox.Item{Ref: mailbox.Ref{Folder: folder.folder, UIDValidity: 1, UID: uint32(i + 1)}, Size: size}, MessageID: d.MessageID}
		if err := r.seeOne(t.Context(), m, folder, head, false); err != nil {
			t.Fatal(err)
		}
		told, err := r.Ledger.Notices(t.Context(), false)
		if err != nil || m.fetched != 1-i || len(told) != i {
			t.Errorf("%d bytes: fetched %d times, notices %+v, %v", size, m.fetched, told, err)
		}
	}
}

// A copy with a Message-ID of its own is a version of the one draft that waits in its
// conversation. Where two wait it is of neither: nobody knows which.
func TestCopyInAConversationOfTwoDrafts(t *testing.T) {
	r := robotAt(t, noon)
	thread := ledger.NewThread()
	first := lies(t, r, 1, thread, "")
	head := mailbox.Head{MessageID: "<edited@mail.example>", References: []string{first.MessageID}}
	if d, found, err := r.draftOf(t.Context(), head); err != nil || !found || d.ID != first.ID {
		t.Errorf("one waits: found %v %s, %v", found, d.ID, err)
	}
	lies(t, r, 2, thread, "")
	if d, found, err := r.draftOf(t.Context(), head); err != nil || found {
		t.Errorf("two wait: found %v %s, %v", found, d.ID, err)
	}
}

// Sent is looked at from two days before the ledger's last word, since a server's SINCE
// goes by days and by its own clock (RFC 9051, 6.4.4), and by a new ledger thirty days
// back. The draft folders are looked at whole.
func TestHowFarBackTheMailboxIsAsked(t *testing.T) {
	for name, c := range map[string]struct {
		past bool
		want time.Time
	}{
		"new":         {false, noon.AddDate(0, 0, -30)},
		"with a past": {true, noon.AddDate(0, 0, -2)},
	} {
		r, m := robotAt(t, noon), &askedMail{since: map[string]time.Time{}}
		if c.past {
			lies(t, r, 1, "", "")
		}
		if err := r.reconcile(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if got := m.since[r.Rules.Mailbox.Sent]; !got.Equal(c.want) {
			t.Errorf("%s: Sent is looked at since %v, want %v", name, got, c.want)
		}
		if got, asked := m.since[r.Rules.Mailbox.ToApprove]; !asked || !got.IsZero() {
			t.Errorf("%s: drafts are looked at since %v (asked %v), want all", name, got, asked)
		}
	}
}

// The last try that the rules allow is made; the one after it is not.
func TestLastTryIsMade(t *testing.T) {
	r := robotAt(t, noon)
	most := r.Rules.Caps.Attempts
	for attempts, want := range map[int]string{most: "faults.no-such-step", most + 1: "faults.stopped-each-time"} {
		err := r.step(t.Context(), &worker{r: r}, &ledger.Step{Kind: "unknown", Attempts: attempts}, nil)
		if err == nil || job.Why(err).Key != want {
			t.Errorf("try %d of %d: %v, want %s", attempts, most, err, want)
		}
	}
}

// What health tells of at its bound, and a second later.
func TestHealthAtEachBound(t *testing.T) {
	for key, c := range map[string]struct {
		after time.Duration
		set   func(r *Robot)
	}{
		"health.overdue": {15 * time.Minute, func(r *Robot) {
			if err := r.Ledger.Enqueue(t.Context(), ledger.StepDraft, "a-conversation", noon); err != nil {
				t.Fatal(err)
			}
		}},
		"health.long-sending": {12 * time.Minute, func(r *Robot) { // over the ten of RFC 5321, 4.5.3.2.6
			d := lies(t, r, 1, "", "")
			if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
				t.Fatal(err)
			}
			if _, _, err := r.Ledger.BeginSend(t.Context(), d.ID, owner); err != nil {
				t.Fatal(err)
			}
		}},
		"health.loop-still":   {2 * time.Minute, func(r *Robot) { r.vitals.beats("work", noon, nil) }},
		"health.loop-at-step": {15 * time.Minute, func(r *Robot) { r.vitals.beats("work", noon, &ledger.Step{Kind: ledger.StepDraft}) }},
		"health.no-look-yet": {5*2*time.Minute + 30*time.Second - time.Second, func(r *Robot) { // five polls and a command
			r.Rules.Mailbox.Poll, r.Rules.Mailbox.Command = 2*time.Minute, 30*time.Second
			r.vitals.looked(noon, nil)
		}},
	} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		c.set(r)
		for _, over := range []time.Duration{0, time.Second} {
			now = noon.Add(c.after + over)
			told := slices.ContainsFunc(r.Health(t.Context()).Why, func(m job.Message) bool { return m.Key == key })
			if told != (over > 0) {
				t.Errorf("%s: told %v, %v after its bound", key, told, over)
			}
		}
	}
}

// There is to be room on the disk for two letters of the largest size.
func TestHealthTellsOfLittleRoom(t *testing.T) {
	r := robotAt(t, noon)
	free, ok := r.Ledger.Free()
	if !ok {
		t.Skip("the room on this disk cannot be told")
	}
	for letter, want := range map[uint64]bool{free / 5 * 2: false, free / 5 * 3: true} { // 4/5 and 6/5 of it
		r.Rules.Caps.LetterBytes = int64(letter)
		h := r.Health(t.Context())
		i := slices.IndexFunc(h.Why, func(m job.Message) bool { return m.Key == "health.little-room" })
		if got := i >= 0; got != want {
			t.Errorf("%d free, letters of %d: told %v", free, letter, got)
		}
		if i >= 0 && (h.Why[i].Args["needed"] != int64(letter>>19) || h.Why[i].Args["free"] != int64(h.FreeDiskBytes>>20)) {
			t.Errorf("%d free, letters of %d: %v", free, letter, h.Why[i].Args)
		}
	}
}

// What waits for a person is noted, and is nothing wrong with the robot.
func TestHealthNotesWithoutServers(t *testing.T) {
	r := robotAt(t, noon)
	noted := func() (out []string) {
		h := r.Health(t.Context())
		for _, m := range h.Note {
			out = append(out, m.Key)
		}
		return out
	}
	if got := noted(); len(got) > 0 {
		t.Errorf("noted %q of a new ledger", got)
	}
	d := lies(t, r, 1, "", "")
	if err := r.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	if _, _, err := r.Ledger.BeginSend(t.Context(), d.ID, owner); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Ledger.RecoverSends(t.Context(), owner); err != nil { // nobody knows its end
		t.Fatal(err)
	}
	s, err := r.Ledger.Lease(t.Context(), owner, lease)
	if err != nil || s == nil {
		t.Fatal(s, err)
	}
	err = r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
		if err := tx.GiveUp(t.Context(), s, mailbox.ErrGone, ledger.Robot); err != nil {
			return err
		}
		return tx.Hold(t.Context(), nil, job.Plain("restored"))
	})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := noted(), []string{"health.given-up", "health.uncertain", "health.restored"}; !slices.Equal(got, want) {
		t.Errorf("noted %q, want %q", got, want)
	}
}

// A length of time is told in the largest unit of which there are two.
func TestRoughlyAtEachBound(t *testing.T) {
	for d, want := range map[time.Duration]string{
		36 * time.Hour: "notices.days 2", 36*time.Hour - time.Minute: "notices.hours 36",
		90 * time.Minute: "notices.hours 2", 89 * time.Minute: "notices.minutes 89",
		time.Second: "notices.minutes 1", 0: "notices.minutes 1",
	} {
		if m := roughly(d); fmt.Sprint(m.Key, " ", m.Args["n"]) != want {
			t.Errorf("%v: %s %v, want %s", d, m.Key, m.Args["n"], want)
		}
	}
}

// A person's word that the clock is right holds for an hour, and not for what the clock
// said before it.
func TestClockIsRightForAnHour(t *testing.T) {
	for off, believed := range map[time.Duration]bool{0: true, time.Hour - time.Millisecond: true, time.Hour: false, -time.Millisecond: false} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		r.Elapsed = func() time.Duration { return 0 }
		if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.SayClockRight(t.Context(), "Marisol Teague") }); err != nil {
			t.Fatal(err)
		}
		now = noon.Add(off)
		r.clock = clockGuard{seen: noon.AddDate(0, -6, 0), alive: true}
		if err := r.seeClock(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := r.clockDoubt().IsZero(); got != believed {
			t.Errorf("%v after the word: believed %v", off, got)
		}
	}
}

// The calendar is looked at every ten minutes, at once where the clock went back, and
// not at all while the clock is not believed.
func TestHowOftenTheCalendarIsLookedAt(t *testing.T) {
	for _, c := range []struct {
		off   time.Duration
		doubt bool
		want  bool
	}{{10*time.Minute - 1, false, false}, {10 * time.Minute, false, true}, {0, false, false}, {-1, false, true}, {time.Hour, true, false}} {
		r := robotAt(t, noon.Add(c.off))
		r.tidied = noon
		if c.doubt {
			r.clock.doubt = job.Plain("ahead")
		}
		if err := r.tidy(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := r.tidied.Equal(r.Now()) && c.off != 0; got != c.want {
			t.Errorf("%+v: looked at %v", c, got)
		}
	}
}

// The next letter is read early behind one that is tried for the first time and may be
// tried again, and behind no other.
func TestWhenTheNextLetterIsReadEarly(t *testing.T) {
	for _, c := range []struct {
		kind         ledger.StepKind
		before, most int
		want         bool
	}{{ledger.StepRead, 0, 2, true}, {ledger.StepRead, 0, 1, false}, {ledger.StepRead, 1, 3, false}, {ledger.StepDraft, 0, 3, false}} {
		r, h := robotAt(t, noon), &worker{}
		h.r, r.Rules.Caps.Attempts = r, c.most
		for _, kind := range []ledger.StepKind{c.kind, ledger.StepRead} {
			if err := r.Ledger.Enqueue(t.Context(), kind, "L-"+string(kind)+fmt.Sprint(kind == c.kind), time.Time{}); err != nil {
				t.Fatal(err)
			}
			for range c.before {
				s, err := r.Ledger.Lease(t.Context(), owner, lease, kind)
				if err == nil {
					err = r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.Retry(t.Context(), s, context.Canceled, 0) })
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			if kind == c.kind && c.kind == ledger.StepRead { // another letter
				if err := r.Ledger.Enqueue(t.Context(), kind, "L-2", time.Time{}); err != nil {
					t.Fatal(err)
				}
				break
			}
		}
		if s, _, err := h.next(t.Context()); err != nil || s == nil || s.Kind != c.kind {
			t.Fatalf("%+v: %+v, %v", c, s, err)
		}
		if got := h.prefetched != nil; got != c.want {
			t.Errorf("%+v: another is read early %v", c, got)
		}
		h.prefetched.drop(t.Context(), r)
	}
}

// sized is a mailbox whose letters have a size of their own, whatever is in them.
type sized struct {
	Mail
	bytes int64
}

func (m sized) Fetch(_ context.Context, ref mailbox.Ref, w io.Writer, _ int64) (int64, error) {
	_, err := fmt.Fprintf(w, "Subject: %d\r\n\r\nx", ref.UID)
	return m.bytes, err
}

// Letters are made ours sixteen at a time, or eight megabytes.
func TestHowManyLettersAreTakenAtOnce(t *testing.T) {
	for _, c := range []struct {
		letters int
		bytes   int64
		want    []int // how many each time
	}{{16, 1, []int{16}}, {17, 1, []int{16, 1}}, {3, 4 << 20, []int{2, 1}}, {3, 4<<20 - 1, []int{3}}} {
		r := robotAt(t, noon)
		var taken []int
		fetched := true
		r.At = func(point string) {
			if point == "letter taken" {
				if fetched {
					taken = append(taken, 0)
				}
				taken[len(taken)-1]++
			}
			fetched = point == "fetched"
		}
		var items []mailbox.Item
		for i := range c.letters {
			items = append(items, mailbox.Item{Ref: mailbox.Ref{Folder: "INBOX", UIDValidity: 1, UID: uint32(i + 1)}})
		}
		if err := r.takeAll(t.Context(), sized{bytes: c.bytes}, items); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(taken, c.want) {
			t.Errorf("%d letters of %d bytes: %v at a time, want %v", c.letters, c.bytes, taken, c.want)
		}
	}
}

// A copy that answers nothing of ours is a version of no draft.
func TestCopyThatAnswersNothing(t *testing.T) {
	r := robotAt(t, noon)
	one := lies(t, r, 1, ledger.NewThread(), "")
	for _, c := range []struct {
		refs []string
		want bool
	}{{[]string{one.MessageID}, true}, {[]string{"<unknown@mail.example>"}, false}, {nil, false}} {
		_, found, err := r.draftOf(t.Context(), mailbox.Head{MessageID: "<edited@mail.example>", References: c.refs})
		if err != nil || found != c.want {
			t.Errorf("%q: found %v, %v", c.refs, found, err)
		}
	}
}

// Where a copy lies in an approved folder, it is a person's unless a server carried it,
// it is from another address, or it is older than the draft, by the second.
func TestWhatIsNoPersonsCopy(t *testing.T) {
	r := robotAt(t, noon)
	letter := func(head, from, date string) []byte {
		return []byte(head + "From: " + from + "\r\nTo: ada@example.org\r\nSubject: x\r\nDate: " + date + "\r\n\r\nx\r\n")
	}
	ours := r.Rules.Library.Address
	now := letter("", ours, "Fri, 27 Nov 2026 12:00:00 +0000")
	for name, c := range map[string]struct {
		raw  []byte
		want string
	}{
		"the same":         {now, ""},
		"the same moment":  {letter("", ours, "Fri, 27 Nov 2026 13:00:00 +0100"), ""},
		"a second older":   {letter("", ours, "Fri, 27 Nov 2026 11:59:59 +0000"), "notices.folder.older"},
		"a second younger": {letter("", ours, "Fri, 27 Nov 2026 12:00:01 +0000"), ""},
		"without a date":   {letter("", ours, "soon"), "faults.unread-date"},
		"another's":        {letter("", "ada@example.org", "Fri, 27 Nov 2026 12:00:00 +0000"), "notices.folder.not-ours"},
		"delivered":        {letter("Received: by mail.example; Fri, 27 Nov 2026 12:00:00 +0000\r\n", ours, "Fri, 27 Nov 2026 12:00:00 +0000"), "notices.folder.carried"},
	} {
		if got := r.notAPersons(now, c.raw); got.Key != c.want {
			t.Errorf("%s: %q, want %q", name, got.Key, c.want)
		}
	}
}

// A step whose draft has gone on is done without a word to a server: nothing is posted
// that does not wait, and nothing sent that is not approved.
func TestStepOfADraftThatHasGoneOn(t *testing.T) {
	for kind, wants := range map[ledger.StepKind]ledger.DraftState{ledger.StepPost: ledger.DraftWaiting, ledger.StepSend: ledger.DraftApproved} {
		for _, state := range []ledger.DraftState{ledger.DraftWaiting, ledger.DraftApproved, ledger.DraftSetAside, ledger.DraftSending} {
			r := robotAt(t, noon)
			d := lies(t, r, 1, "", "")
			dialled := false
			r.Dial = func(context.Context) (Mail, error) { dialled = true; return nil, mailbox.ErrGone }
			err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
				switch state {
				case ledger.DraftSetAside:
					return tx.SetAside(t.Context(), d.ID, marisol, job.Plain(""))
				case ledger.DraftApproved, ledger.DraftSending:
					return tx.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand)
				}
				return nil
			})
			if err == nil && state == ledger.DraftSending {
				_, _, err = r.Ledger.BeginSend(t.Context(), d.ID, owner)
			}
			if err == nil {
				err = r.Ledger.Enqueue(t.Context(), kind, d.ID, time.Time{})
			}
			if err != nil {
				t.Fatal(err)
			}
			s, err := r.Ledger.Lease(t.Context(), owner, lease, kind)
			if err != nil || s == nil {
				t.Fatalf("%+v, %v", s, err)
			}
			err = r.step(t.Context(), &worker{r: r, stop: t.Context()}, s, nil)
			if want := state == wants; dialled != want || (err != nil) != want {
				t.Errorf("%s of a draft that is %s: a server is asked %v, %v", kind, state, dialled, err)
			}
		}
	}
}

// Staff are told of a trouble at once, of a server that is away at the fourth wait, and
// never of what they were told otherwise.
func TestWhenStaffAreToldOfTrouble(t *testing.T) {
	for _, c := range []struct {
		trouble ledger.Trouble
		waits   int
		want    int
	}{
		{ledger.Held, 9, 0}, {ledger.DiskFull, 0, 1}, {ledger.MailboxRefuses, 0, 1},
		{ledger.MailboxAway, 2, 0}, {ledger.MailboxAway, 3, 1}, {ledger.SendingAway, 2, 0}, {ledger.SendingAway, 3, 1},
	} {
		r := robotAt(t, noon)
		if err := r.Ledger.Enqueue(t.Context(), ledger.StepPost, "D-1", time.Time{}); err != nil {
			t.Fatal(err)
		}
		s, err := r.Ledger.Lease(t.Context(), owner, lease)
		if err != nil {
			t.Fatal(err)
		}
		s.Waits = c.waits
		if err := r.applyRetryPolicy(t.Context(), s, houseError{c.trouble, mailbox.ErrGone}); err != nil {
			t.Fatal(err)
		}
		if told, err := r.Ledger.Notices(t.Context(), false); err != nil || len(told) != c.want {
			t.Errorf("%s at wait %d: %d notices, %v", c.trouble, c.waits, len(told), err)
		}
	}
}

// A Message-ID is ours by its form and its domain, both.
func TestMessageIDThatIsOurs(t *testing.T) {
	r := robotAt(t, noon)
	for id, want := range map[string]bool{
		"<D-000017.x@larkfield.example>": true, "<D-000017.x@mail.example>": false, "<D-000017@larkfield.example>": false, "<E-000017.x@larkfield.example>": false, "": false,
	} {
		if number, ours := r.draftNumber(id); ours != want || ours && number != "D-000017" {
			t.Errorf("%s: ours %v, %s", id, ours, number)
		}
	}
}

// A folder that is listed from its beginning is listed back from the earliest moment
// that is known: of now, of its first listing, and of its last good one.
func TestWhereAListingBegins(t *testing.T) {
	r := robotAt(t, noon)
	for _, c := range []struct{ first, good, from time.Time }{
		{time.Time{}, time.Time{}, noon}, {noon.Add(time.Hour), time.Time{}, noon},
		{noon.Add(-time.Hour), time.Time{}, noon.Add(-time.Hour)}, {noon, noon.Add(-time.Minute), noon.Add(-time.Minute)},
	} {
		want := c.from.AddDate(0, 0, -r.Rules.Mailbox.FirstDays)
		if got := r.cutoff(ledger.Poll{First: c.first, LastGood: c.good}); !got.Equal(want) {
			t.Errorf("%+v: from %v, want %v", c, got, want)
		}
	}
}

// pages is an inbox that is listed a page at a time, and cut off after some pages.
type pages struct {
	Mail
	of    [][]mailbox.Item
	upTo  int // pages before the connection breaks
	asked []mailbox.Cursor
}

func (m *pages) New(_ context.Context, _ string, at mailbox.Cursor, _ time.Time) (*mailbox.Batch, error) {
	m.asked = append(m.asked, at)
	n := 0
	for n < len(m.of) && m.of[n][len(m.of[n])-1].Ref.UID <= at.LastUID {
		n++
	}
	if n == m.upTo {
		return nil, io.ErrUnexpectedEOF
	}
	items := slices.Clone(m.of[n])
	return &mailbox.Batch{Items: items, More: n+1 < len(m.of), Cursor: mailbox.Cursor{UIDValidity: 1, LastUID: items[len(items)-1].Ref.UID}}, nil
}

func (m *pages) Fetch(_ context.Context, ref mailbox.Ref, w io.Writer, _ int64) (int64, error) {
	n, err := fmt.Fprintf(w, "Subject: %d\r\n\r\nx", ref.UID)
	return int64(n), err
}

// A first look that is cut off between two pages is a first look again, which leaves
// alone what a person answered before; a later look goes on where it was cut off.
func TestLookCutOffBetweenPages(t *testing.T) {
	item := func(uid uint32, flags ...string) mailbox.Item {
		return mailbox.Item{Ref: mailbox.Ref{Folder: "INBOX", UIDValidity: 1, UID: uid}, Flags: flags, Received: noon}
	}
	for name, c := range map[string]struct {
		first bool
		upTo  uint32 // every letter up to here is safe after the cut
		taken int    // in the end
	}{
		"the first look": {true, 0, 2}, "a later look": {false, 2, 4},
	} {
		r := robotAt(t, noon)
		if !c.first {
			if err := r.saveCursor(t.Context(), mailbox.Cursor{UIDValidity: 1}); err != nil {
				t.Fatal(err)
			}
		}
		m := &pages{upTo: 1, of: [][]mailbox.Item{{item(1), item(2, `\Answered`)}, {item(3), item(4, `\Answered`)}}}
		if err := r.takeNew(t.Context(), m); err == nil {
			t.Fatal("the connection did not break")
		}
		if known, err := r.Ledger.Poll(t.Context(), r.Rules.Mailbox.Inbox); err != nil || known.HighestUID != c.upTo || known.First.IsZero() != c.first {
			t.Errorf("%s, cut off: %+v, %v", name, known, err)
		}
		m.upTo = len(m.of)
		if err := r.takeNew(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if steps, err := r.Ledger.OpenSteps(t.Context()); err != nil || len(steps) != c.taken {
			t.Errorf("%s: %d letters are taken, want %d, %v", name, len(steps), c.taken, err)
		}
		if known, err := r.Ledger.Poll(t.Context(), r.Rules.Mailbox.Inbox); err != nil || known.HighestUID != 4 {
			t.Errorf("%s, at its end: %+v, %v", name, known, err)
		}
	}
}
