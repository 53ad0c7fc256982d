package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// fromSomebody takes a letter and records who wrote it, for the jobs named.
func fromSomebody(t *testing.T, l *Ledger, uid uint32, address string, jobs ...job.ID) string {
	t.Helper()
	id := taken(t, l, uid, fmt.Sprintf("From: %s\r\n\r\n%d", address, uid))
	do(t, l, func(tx *Tx) error {
		if err := tx.SaveParsed(t.Context(), id, job.Letter{From: job.Address{Address: address}, Subject: "again"}, Robot); err != nil {
			return err
		}
		for _, j := range jobs {
			if err := tx.Link(t.Context(), j, id, RoleAnswer); err != nil {
				return err
			}
		}
		return nil
	})
	return id
}

func openNotices(t *testing.T, l *Ledger) []Notice {
	t.Helper()
	list, err := l.Notices(t.Context(), false)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Sixty letters of one sender about one job are one notice, which names them all.
func TestNoticesOfOneSenderAndJobFold(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, fromSomebody(t, l, 1, "ada@example.org"))
	var letters []string
	for i := range uint32(60) {
		clock.pass(time.Minute)
		id := fromSomebody(t, l, 100+i, "ada@example.org", j.ID)
		letters = append(letters, id)
		if err := l.AddNotice(ctx, "question", id, job.Plain("letter "+id+" asks something")); err != nil {
			t.Fatal(err)
		}
	}
	list := openNotices(t, l)
	if len(list) != 1 {
		t.Fatalf("%d notices of sixty letters", len(list))
	}
	n, last := list[0], letters[59]
	if n.Times != 60 || n.Subject != last || n.Text.Text != "letter "+last+" asks something" || !n.Last.Equal(clock.Now()) || !slices.Equal(n.Letters, letters) {
		t.Errorf("the notice: %d times, about %s, %q, %d letters", n.Times, n.Subject, n.Text, len(n.Letters))
	}
	for _, id := range letters {
		if !n.About(id) {
			t.Errorf("letter %s cannot be reached from it", id)
		}
	}
	// Another kind, another sender, another job and another matter are notices of their own.
	other := newJob(t, l, fromSomebody(t, l, 2, "ada@example.org"))
	apart := map[NoticeKind]string{
		"answer-unproven": fromSomebody(t, l, 200, "ada@example.org", j.ID),
		"question":        fromSomebody(t, l, 201, "eve@example.net", j.ID),
	}
	for kind, id := range apart {
		if err := l.AddNotice(ctx, kind, id, job.Plain("look")); err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range []string{fromSomebody(t, l, 202, "ada@example.org", other.ID), fromSomebody(t, l, 203, "ada@example.org"), taken(t, l, 204, "unread"), taken(t, l, 205, "unread too"), string(j.ID), "INBOX/7"} {
		if err := l.AddNotice(ctx, "question", id, job.Plain("look")); err != nil {
			t.Fatal(err)
		}
	}
	if got := openNotices(t, l); len(got) != 9 {
		t.Errorf("%d notices, want 9: %+v", len(got), got)
	}
	// The same letter once more is no other letter.
	if err := l.AddNotice(ctx, "question", letters[3], job.Plain("letter "+letters[3]+" asks something")); err != nil {
		t.Fatal(err)
	}
	if n := openNotices(t, l)[0]; n.Times != 61 || len(n.Letters) != 60 {
		t.Errorf("%d times, %d letters", n.Times, len(n.Letters))
	}
}

// A notice that grew since a person read it is not put away unread.
func TestGrownNoticeIsNotPutAway(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	for uid := range uint32(2) {
		if err := l.AddNotice(ctx, "stray-answer", fromSomebody(t, l, uid+1, "ada@example.org"), job.Plain("look")); err != nil {
			t.Fatal(err)
		}
	}
	n := openNotices(t, l)[0]
	closing := func(times int) error {
		return l.Tx(ctx, func(tx *Tx) error { return tx.CloseNoticeSeen(ctx, n.ID, times, "Bo Example") })
	}
	if err := closing(1); !errors.Is(err, ErrNoticeGrew) {
		t.Errorf("put away after one of two was read: %v", err)
	}
	if err := closing(2); err != nil || len(openNotices(t, l)) != 0 {
		t.Errorf("both were read: %v", err)
	}
	if err := closing(2); !errors.Is(err, ErrNotFound) {
		t.Errorf("twice: %v", err)
	}
	// A letter that comes later opens a notice of its own.
	if err := l.AddNotice(ctx, "stray-answer", fromSomebody(t, l, 9, "ada@example.org"), job.Plain("look")); err != nil {
		t.Fatal(err)
	}
	if got := openNotices(t, l); len(got) != 1 || got[0].Times != 1 {
		t.Errorf("%+v", got)
	}
}

// What is forgotten of a folded notice leaves it; the rest of it stays open.
func TestForgottenLetterLeavesItsNotice(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, fromSomebody(t, l, 1, "ada@example.org"))
	first, second := fromSomebody(t, l, 2, "ada@example.org", j.ID), fromSomebody(t, l, 3, "ada@example.org", j.ID)
	for _, id := range []string{first, second} {
		if err := l.AddNotice(ctx, "question", id, job.Plain("letter "+id)); err != nil {
			t.Fatal(err)
		}
		clock.pass(time.Second)
	}
	blank := func(id string) {
		do(t, l, func(tx *Tx) error {
			_, err := tx.blank(ctx, gathered{letters: []string{id}})
			return err
		})
	}
	blank(second)
	if got := openNotices(t, l); len(got) != 1 || got[0].Subject != first || got[0].Text.Text != "letter "+first || !slices.Equal(got[0].Letters, []string{first}) {
		t.Errorf("%+v", got)
	}
	blank(first)
	if got := openNotices(t, l); len(got) != 0 {
		t.Errorf("%+v", got)
	}
	if all, err := l.Notices(ctx, true); err != nil || len(all) != 1 || !all[0].Text.IsZero() {
		t.Errorf("%+v, %v", all, err)
	}
}

// setAside has a letter's reading given up.
func setAside(t *testing.T, l *Ledger) string {
	t.Helper()
	s, err := l.Lease(t.Context(), "robot", time.Minute, StepRead)
	if err != nil || s == nil {
		t.Fatal(s, err)
	}
	if err := l.Tx(t.Context(), func(tx *Tx) error { return tx.GiveUp(t.Context(), s, errors.New("it cannot be read"), Robot) }); err != nil {
		t.Fatal(err)
	}
	return s.Subject
}

// Letters that could not be read and are of one sender fold too, and they are
// reached by forget and export, though nobody understood them.
func TestLettersSetAsideAreReached(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	bodies := []string{
		"From: Ada Example <ADA@example.org>\r\nSubject: Ada-Secret-Word\r\n\r\nAda-Secret-Word 1",
		"Received: from x\r\n\tby y\r\nFROM:\r\n =?utf-8?q?Ada?=\r\n <ada@example.org>\r\n\r\nAda-Secret-Word 2",
		"Sender: ada@example.org\nX: \x00\xff\nFrom ada@example.org\n\nAda-Secret-Word 3",
		"From: <ada@example.org>, Cleo <cleo@example.org>\r\n\r\nAda-Secret-Word 4",
	}
	var aside []string
	for i, body := range bodies {
		taken(t, l, uint32(10+i), body)
		aside = append(aside, setAside(t, l))
	}
	taken(t, l, 20, "To: ada@example.org\r\nFrom: cleo@example.org\r\nSubject: for ada@example.org\r\n\r\nFrom: ada@example.org\r\n\r\nof Cleo")
	cleos := setAside(t, l)
	if got := openNotices(t, l); len(got) != 3 { // Ada's three, the one of two writers, Cleo's
		t.Errorf("%d notices, want 3: %+v", len(got), got)
	}
	x, err := l.ExportAddress(ctx, "ada@example.org")
	if err != nil || len(x.Letters) != len(aside) || len(x.Files) != len(aside) {
		t.Errorf("export: %d letters, %d files, %v", len(x.Letters), len(x.Files), err)
	}
	done, err := l.ForgetAddress(ctx, "ada@example.org", "Bo Example")
	if err != nil || done.Letters != len(aside) {
		t.Errorf("forget: %+v, %v", done, err)
	}
	if files := found(t, l, "Ada-Secret-Word"); len(files) > 0 {
		t.Errorf("her words are still in %v", files)
	}
	if got, err := l.Letter(ctx, cleos); err != nil || !got.Raw {
		t.Errorf("another's letter went too: %+v, %v", got, err)
	}
	if got := openNotices(t, l); len(got) != 1 || !got[0].About(cleos) {
		t.Errorf("%+v", got)
	}
	for _, id := range aside {
		if err := l.Tx(ctx, func(tx *Tx) error { return tx.Again(ctx, id, "Bo Example", job.Plain("")) }); err == nil {
			t.Errorf("letter %s is read again without its bytes", id)
		}
	}
	// Cleo's expires like others do.
	clock.pass(time.Hour)
	if done, err := l.Expire(ctx, clock.Now(), Robot); err != nil || done.Letters != 1 {
		t.Errorf("expire: %+v, %v", done, err)
	}
	if got, err := l.Letter(ctx, cleos); err != nil || got.Raw || len(openNotices(t, l)) != 0 {
		t.Errorf("after its time: %+v, %v", got, err)
	}
	whole(t, l)
}

// What a worker still does for somebody who is forgotten meanwhile is dropped.
func TestForgetStopsWorkInHand(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	id := taken(t, l, 1, "From: ada@example.org\r\n\r\nAda-Secret-Word")
	s, err := l.Lease(ctx, "robot", time.Minute, StepRead)
	if err != nil || s == nil {
		t.Fatal(s, err)
	}
	if done, err := l.ForgetAddress(ctx, "ada@example.org", "Bo Example"); err != nil || done.Letters != 1 {
		t.Fatalf("%+v, %v", done, err)
	}
	err = l.Tx(ctx, func(tx *Tx) error {
		if err := tx.SaveParsed(ctx, id, job.Letter{From: job.Address{Address: "ada@example.org"}}, Robot); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
	if !errors.Is(err, ErrLeaseLost) {
		t.Errorf("the worker's results came after: %v", err)
	}
	if files := found(t, l, "ada@example.org"); len(files) > 0 {
		t.Errorf("the address is back in %v", files)
	}
	if open, err := l.OpenSteps(context.WithoutCancel(ctx)); err != nil || len(open) != 0 {
		t.Errorf("%+v, %v", open, err)
	}
}

// Whatever a header holds, the addresses found in it stand in it.
func FuzzSenders(f *testing.F) {
	for _, s := range []string{"From: a@example.org\r\n\r\nFrom: b@example.org", "from :\n <a@b>\n\n", "\n", "From", "Sender: \"x\" <a@@b>, c@d;e@f", "From: a@b\n\tc@d\nX: e@f"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, raw string) {
		got, err := sendersOf(strings.NewReader(raw))
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range got {
			if !strings.Contains(a, "@") || !strings.Contains(agreement.Normal(raw), a) {
				t.Errorf("%q is not in %q", a, raw)
			}
		}
	})
}

// A letter that is dealt with before the others of its notice is on record as dealt with,
// when and by whom, as the last of them is; what is forgotten leaves nothing of it.
func TestLettersOfANoticeDealtWithOneByOne(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, fromSomebody(t, l, 1, "ada@example.org"))
	var letters []string
	for i := range uint32(3) {
		clock.pass(time.Minute)
		id := fromSomebody(t, l, 100+i, "ada@example.org", j.ID)
		letters = append(letters, id)
		if err := l.AddNotice(ctx, NoticeQuestion, id, job.Plain("about "+id)); err != nil {
			t.Fatal(err)
		}
	}
	done := map[string]time.Time{}
	for i, id := range []string{letters[1], letters[2], letters[0]} {
		clock.pass(time.Hour)
		done[id] = clock.Now()
		for range 2 { // again changes nothing
			do(t, l, func(tx *Tx) error { return tx.SettleLetter(ctx, NoticeQuestion, id, "Bo Example") })
			clock.pass(time.Minute)
		}
		if open := openNotices(t, l); len(open) != min(1, 2-i) || len(open) == 1 && (open[0].About(id) || len(open[0].Letters) != 2-i) {
			t.Errorf("after %d: open is %+v", i+1, open)
		}
	}
	all, err := l.Notices(ctx, true)
	if err != nil || len(all) != len(letters) {
		t.Fatalf("%d notices, want %d, %v", len(all), len(letters), err)
	}
	for _, id := range letters {
		i := slices.IndexFunc(all, func(n Notice) bool { return n.About(id) })
		if i < 0 {
			t.Errorf("nothing is on record of letter %s", id)
			continue
		}
		if n := all[i]; n.Open || !n.Done.Equal(done[id]) || n.DoneBy != "Bo Example" || n.Subject != id || !slices.Equal(n.Letters, []string{id}) || n.Text.Text != "about "+id {
			t.Errorf("letter %s: %+v, want it dealt with at %v", id, n, done[id])
		}
	}
	do(t, l, func(tx *Tx) error { return tx.unfold(ctx, letters[1]) })
	if all, err := l.Notices(ctx, true); err != nil || slices.ContainsFunc(all, func(n Notice) bool { return slices.Contains(n.Letters, letters[1]) }) {
		t.Errorf("%+v, %v", all, err)
	}
}
