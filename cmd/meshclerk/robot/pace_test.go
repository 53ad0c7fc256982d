package robot

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// pacedMail is an empty mailbox that notes when its folders are listed.
type pacedMail struct {
	Mail
	listed *[]time.Time
}

func (m pacedMail) New(context.Context, string, mailbox.Cursor, time.Time) (*mailbox.Batch, error) {
	*m.listed = append(*m.listed, time.Now())
	return &mailbox.Batch{}, nil
}

func (pacedMail) Close() error { return nil }

// gaps are the waits between moments, those of no length left out.
func gaps(at []time.Time) (out []time.Duration) {
	for i := 1; i < len(at); i++ {
		if d := at[i].Sub(at[i-1]); d > 0 {
			out = append(out, d)
		}
	}
	return out
}

// The folders are looked at every three seconds, which keeps an approval within five of
// the move. Where they cannot be, the next try waits for a poll, between three seconds
// and a minute; where the work needs the connection, for ten minutes.
func TestHowOftenTheFoldersAreLookedAt(t *testing.T) {
	away := errors.New("away")
	for name, c := range map[string]struct {
		poll    time.Duration
		cramped bool
		err     error
		want    time.Duration
	}{
		"as a rule":        {time.Minute, false, nil, 3 * time.Second},
		"a slow poll":      {2 * time.Minute, false, away, time.Minute},
		"a poll between":   {30 * time.Second, false, away, 30 * time.Second},
		"a quick poll":     {time.Second, false, away, 3 * time.Second},
		"the work goes on": {time.Minute, true, nil, 10 * time.Minute},
	} {
		r := robotAt(t, noon)
		r.Rules.Mailbox.Poll = c.poll
		synctest.Test(t, func(t *testing.T) {
			ctx, stop := context.WithTimeout(t.Context(), 25*time.Minute)
			defer stop()
			var at []time.Time
			r.Dial = func(context.Context) (Mail, error) {
				if c.err != nil || c.cramped {
					at = append(at, time.Now())
				}
				return pacedMail{listed: &at}, c.err
			}
			if c.cramped {
				var none []time.Time
				r.Dial = func(context.Context) (Mail, error) {
					at = append(at, time.Now())
					time.AfterFunc(time.Second, func() { r.cramped.Store(true) })
					return pacedMail{listed: &none}, nil
				}
			}
			r.watchMoves(ctx)
			got := gaps(at)
			want := c.want
			if c.cramped {
				want += movesEvery // the look that found it out
			}
			if len(got) == 0 || slices.ContainsFunc(got, func(d time.Duration) bool { return d != want }) {
				t.Errorf("%s: waits %v, want %v each", name, got[:min(3, len(got))], want)
			}
		})
	}
}

// A mailbox that cannot be looked at is tried again at the next poll, after a minute at
// most.
func TestPollThatFailedIsTriedAgain(t *testing.T) {
	for poll, want := range map[time.Duration]time.Duration{30 * time.Second: 30 * time.Second, 5 * time.Minute: time.Minute} {
		r := robotAt(t, noon)
		r.Rules.Mailbox.Poll = poll
		synctest.Test(t, func(t *testing.T) {
			ctx, stop := context.WithTimeout(t.Context(), 10*time.Minute)
			defer stop()
			var at []time.Time
			r.Dial = func(context.Context) (Mail, error) { at = append(at, time.Now()); return nil, errors.New("away") }
			r.watch(ctx, nil)
			if got := gaps(at); len(got) == 0 || got[0] != want {
				t.Errorf("a poll every %v: tried again after %v, want %v", poll, got, want)
			}
		})
	}
}

// idleMail waits for no news.
type idleMail struct {
	Mail
	err error
}

func (m idleMail) Idle(context.Context, string, mailbox.Cursor, time.Duration) (bool, error) {
	return false, m.err
}

// Where a server tells no news by itself, the next look is after a poll.
func TestServerWithoutNews(t *testing.T) {
	r := robotAt(t, noon)
	for _, c := range []struct {
		err  error
		want time.Duration
	}{{mailbox.ErrNoIdle, r.Rules.Mailbox.Poll}, {nil, 0}} {
		synctest.Test(t, func(t *testing.T) {
			began := time.Now()
			if err := r.idle(t.Context(), idleMail{err: c.err}); err != nil || time.Since(began) != c.want {
				t.Errorf("%v: next look after %v, %v; want %v", c.err, time.Since(began), err, c.want)
			}
		})
	}
}

// What has happened already is written down until it is written, with longer waits up to
// ten seconds. What is not the house's trouble is told at once.
func TestWaitsUntilItIsWritten(t *testing.T) {
	r := robotAt(t, noon)
	synctest.Test(t, func(t *testing.T) {
		var at []time.Time
		err := r.persist(t.Context(), func(context.Context) error {
			if at = append(at, time.Now()); len(at) < 10 {
				return ledger.ErrBusy
			}
			return os.ErrInvalid
		})
		ms := time.Millisecond
		want := []time.Duration{250 * ms, 500 * ms, 1000 * ms, 2000 * ms, 4000 * ms, 8000 * ms, 10000 * ms, 10000 * ms, 10000 * ms}
		if got := gaps(at); !slices.Equal(got, want) || !errors.Is(err, os.ErrInvalid) {
			t.Errorf("waits %v, %v; want %v", got, err, want)
		}
	})
}

// The step in hand has twenty seconds when we are told to stop, and as long as its lease
// when we are not.
func TestHowLongAStepMayTake(t *testing.T) {
	for told, want := range map[bool]time.Duration{true: 20 * time.Second, false: 15 * time.Minute} {
		r := robotAt(t, noon)
		d := lies(t, r, 1, "", "")
		err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.Enqueue(t.Context(), ledger.StepPost, d.ID, time.Time{}) })
		if err != nil {
			t.Fatal(err)
		}
		synctest.Test(t, func(t *testing.T) {
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			var took time.Duration
			r.Dial = func(ctx context.Context) (Mail, error) {
				if told {
					stop()
				}
				began := time.Now()
				<-ctx.Done()
				took = time.Since(began)
				return nil, ctx.Err()
			}
			if err := r.Work(ctx); err != nil {
				t.Error(err)
			}
			if took != want {
				t.Errorf("told to stop %v: the step had %v, want %v", told, took, want)
			}
		})
	}
}

// What a stop left half written is swept away after a day, and not before.
func TestLeftoversAreSweptAfterADay(t *testing.T) {
	for age, stays := range map[time.Duration]bool{24*time.Hour - time.Second: true, 24*time.Hour + time.Second: false} {
		r := robotAt(t, noon)
		w, err := r.Ledger.NewBlob(ledger.KindLetter, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte("half")); err != nil {
			t.Fatal(err)
		}
		left := func() []string {
			out, err := filepath.Glob(filepath.Join(r.Ledger.Dir(), "incoming", "*"))
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		if len(left()) != 1 {
			t.Fatalf("half written: %v", left())
		}
		if err := os.Chtimes(left()[0], noon.Add(-age), noon.Add(-age)); err != nil {
			t.Fatal(err)
		}
		if err := r.Recover(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := len(left()) == 1; got != stays {
			t.Errorf("%v old: stays %v", age, got)
		}
		w.Abort()
	}
}

// failing is a mailbox that gives no letter.
type failing struct {
	Mail
	err error
}

func (m failing) Fetch(context.Context, mailbox.Ref, io.Writer, int64) (int64, error) {
	return 0, m.err
}

// A letter over the cap stays in the mailbox, and staff are told its size and the cap.
func TestLetterOverTheCap(t *testing.T) {
	r := robotAt(t, noon)
	r.Rules.Caps.LetterBytes = 30 << 20
	item := mailbox.Item{Ref: mailbox.Ref{Folder: "INBOX", UIDValidity: 1, UID: 7}, Size: 41 << 20}
	for name, c := range map[string]struct {
		err  error
		told int
		fail bool
	}{"gone": {mailbox.ErrGone, 0, false}, "away": {os.ErrDeadlineExceeded, 0, true}, "too large": {mailbox.ErrTooLarge, 1, false}} {
		var taken takenBatch
		if err := r.fetch(t.Context(), failing{err: c.err}, item, &taken); (err != nil) != c.fail || len(taken.letters) > 0 {
			t.Errorf("%s: %v, %d letters", name, err, len(taken.letters))
		}
		list, err := r.Ledger.Notices(t.Context(), false)
		if err != nil || len(list) != c.told {
			t.Errorf("%s: notices %+v, %v", name, list, err)
		}
		for _, n := range list {
			if text := r.Say(n.Text); n.Kind != ledger.NoticeTooLarge || !strings.Contains(text, "41 MB") || !strings.Contains(text, "30 MB") {
				t.Errorf("%s: %q", n.Kind, text)
			}
			if err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.CloseNotice(t.Context(), n.ID, marisol) }); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// What is wrong outside is the house's trouble, by its name; a letter's own is none.
func TestWhoseTroubleItIs(t *testing.T) {
	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	for _, c := range []struct {
		ctx  context.Context
		err  error
		want ledger.Trouble
	}{
		{t.Context(), errors.New("greylisted"), ledger.SendingAway}, {t.Context(), ledger.ErrDiskFull, ledger.DiskFull}, {stopped, ledger.ErrDiskFull, ledger.Stopping},
	} {
		if got := laterTrouble(c.ctx, c.err); got != c.want {
			t.Errorf("%v: %q, want %q", c.err, got, c.want)
		}
	}
	for _, c := range []struct {
		err  error
		want ledger.Trouble
	}{
		{context.Canceled, ledger.Stopping}, {ledger.ErrBusy, ledger.LedgerBusy}, {os.ErrDeadlineExceeded, ledger.MailboxAway},
		{houseError{ledger.Held, context.Canceled}, ledger.Held}, {job.Refuse(job.Plain("not a mesh")), ledger.NoTrouble}, {mailbox.ErrGone, ledger.NoTrouble},
	} {
		if got := troubleOf(c.err); got != c.want {
			t.Errorf("%v: %q, want %q", c.err, got, c.want)
		}
		if got := troubleOf(away(c.err)); c.want == ledger.NoTrouble && got != ledger.MailboxRefuses || c.want != ledger.NoTrouble && got != c.want {
			t.Errorf("at the door, %v: %q", c.err, got)
		}
	}
}
