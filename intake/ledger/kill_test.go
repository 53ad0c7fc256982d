package ledger

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

// envChild names the ledger that the test binary shall work on until it is killed.
const envChild = "MESHCLERK_TEST_LEDGER"

// delivered is what stands for the mail server: one line for each message it took.
const delivered = "delivered.txt"

// TestKilledAtAnyMoment kills a process that takes letters, works on them and
// sends replies, again and again at moments chosen by chance, and lets the next
// one go on. Whatever a process said was committed must be there.
func TestKilledAtAnyMoment(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	said := map[string]bool{}
	const kills = 6
	for round := range kills {
		runAndKill(t, dir, 5+rand.IntN(60), said)
		checkAfterKill(t, dir, said, round)
	}
	if len(said) < kills*5 {
		t.Fatalf("only %d things were committed in %d rounds", len(said), kills)
	}
	checkDeliveries(t, dir)
}

// runAndKill starts a worker and kills it some microseconds after its nth word.
func runAndKill(t *testing.T, dir string, n int, said map[string]bool) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), envChild+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for i := 0; lines.Scan(); i++ {
		said[lines.Text()] = true
		if i == n {
			time.Sleep(time.Duration(rand.IntN(4000)) * time.Microsecond)
			cmd.Process.Kill()
		}
	}
	if err := cmd.Wait(); err == nil || !strings.Contains(err.Error(), "killed") {
		t.Fatalf("the worker ended by itself: %v", err)
	}
}

func checkAfterKill(t *testing.T, dir string, said map[string]bool, round int) {
	t.Helper()
	ctx := t.Context()
	l, err := Open(ctx, dir, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	for line := range said {
		what, id, _ := strings.Cut(line, " ")
		switch what {
		case "taken":
			if _, err := l.Letter(ctx, id); err != nil {
				t.Errorf("round %d: %s was committed: %v", round, line, err)
			}
		case "job":
			if _, err := l.Job(ctx, job.ID(id)); err != nil {
				t.Errorf("round %d: %s was committed: %v", round, line, err)
			}
		case "approved", "sending", "sent":
			d, err := l.Draft(ctx, id)
			if err != nil || d.Approval == nil {
				t.Errorf("round %d: %s was committed, but it is %s: %v", round, line, d.State, err)
			}
			if what != "approved" && d.State == DraftApproved {
				t.Errorf("round %d: %s was committed, but it may be sent once more", round, line)
			}
		}
	}
	problems, err := l.Verify(ctx)
	if err != nil || len(problems) > 0 {
		t.Errorf("round %d: %+v, %v", round, problems, err)
	}
	letters, err := l.Letters(ctx, 10000)
	if err != nil {
		t.Fatal(err)
	}
	for _, letter := range letters {
		got, err := l.Letter(ctx, letter.ID)
		if err != nil || len(got.Jobs) > 1 || (got.State == LetterTaken) != (len(got.Jobs) == 0) {
			t.Errorf("round %d: letter %s is %s and has jobs %v, %v", round, got.ID, got.State, got.Jobs, err)
		}
	}
}

// checkDeliveries holds what the server took against what the ledger says.
func checkDeliveries(t *testing.T, dir string) {
	t.Helper()
	l, err := Open(t.Context(), dir, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := l.RecoverSends(t.Context(), ""); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, delivered))
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	for _, id := range strings.Fields(string(raw)) {
		times[id]++
	}
	drafts, err := l.Drafts(t.Context(), DraftFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range drafts {
		n := times[d.ID]
		switch d.State {
		case DraftSent:
			if n != 1 {
				t.Errorf("draft %s is sent, and was delivered %d times", d.ID, n)
			}
		case DraftUncertain:
			if n > 1 {
				t.Errorf("draft %s is uncertain, and was delivered %d times", d.ID, n)
			}
		default:
			if n != 0 {
				t.Errorf("draft %s is %s, but was delivered %d times", d.ID, d.State, n)
			}
		}
	}
	t.Logf("%d drafts, %d delivered", len(drafts), len(times))
}

// workUntilKilled is the worker: it says each thing once it is committed.
func workUntilKilled(dir string) int {
	ctx := context.Background()
	w := worker{ctx: ctx}
	var err error
	if w.l, err = Open(ctx, dir, nil, nil); err == nil {
		err = w.run(dir)
	}
	fmt.Fprintln(os.Stderr, "worker:", err)
	return 1
}

type worker struct {
	ctx    context.Context
	l      *Ledger
	server *os.File
}

func (w *worker) run(dir string) (err error) {
	if w.server, err = os.OpenFile(filepath.Join(dir, delivered), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600); err != nil {
		return err
	}
	if _, err := w.l.ReleaseOwned(w.ctx, "worker"); err != nil {
		return err
	}
	if _, err := w.l.RecoverSends(w.ctx, "worker"); err != nil {
		return err
	}
	for {
		p, err := w.l.Poll(w.ctx, "INBOX")
		if err != nil {
			return err
		}
		uid := p.HighestUID + 1
		id, _, err := take(w.ctx, w.l, 1, uid, fmt.Sprintf("letter %d", uid))
		if err != nil {
			return err
		}
		fmt.Println("taken", id)
		if err := w.l.SavePoll(w.ctx, "INBOX", 1, uid); err != nil {
			return err
		}
		if err := w.work(); err != nil {
			return err
		}
	}
}

// work carries out every step that is due.
func (w *worker) work() error {
	for {
		step, err := w.l.Lease(w.ctx, "worker", time.Minute)
		if err != nil || step == nil {
			return err
		}
		switch step.Kind {
		case StepRead:
			err = w.read(step)
		case "draft":
			err = w.draft(step)
		case "send":
			err = w.send(step)
		}
		if err != nil {
			return err
		}
	}
}

func (w *worker) read(step *Step) error {
	var j job.Job
	err := w.l.Tx(w.ctx, func(tx *Tx) (err error) {
		if err := tx.SaveParsed(w.ctx, step.Subject, job.Letter{Disposition: job.Request}, Robot); err != nil {
			return err
		}
		if j, err = tx.NewJob(w.ctx, job.Job{File: "vase.stl"}, step.Subject, Robot, job.Plain("")); err != nil {
			return err
		}
		if err := tx.Enqueue(w.ctx, "draft", string(j.ID), time.Time{}); err != nil {
			return err
		}
		return tx.Done(w.ctx, step)
	})
	fmt.Println("job", j.ID)
	return err
}

func (w *worker) draft(step *Step) error {
	var d Draft
	err := w.l.Tx(w.ctx, func(tx *Tx) (err error) {
		d, _, err = tx.NewDraft(w.ctx, Draft{Jobs: []job.ID{job.ID(step.Subject)}, To: job.Address{Address: "ada@example.org"}}, []byte("about "+step.Subject), Robot, job.Plain(""))
		if err != nil {
			return err
		}
		return tx.Done(w.ctx, step)
	})
	if err != nil {
		return err
	}
	err = w.l.Tx(w.ctx, func(tx *Tx) error {
		if err := tx.Approve(w.ctx, d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
			return err
		}
		return tx.Enqueue(w.ctx, "send", d.ID, time.Time{})
	})
	fmt.Println("approved", d.ID)
	return err
}

func (w *worker) send(step *Step) error {
	d, err := w.l.Draft(w.ctx, step.Subject)
	if err != nil {
		return err
	}
	if d.State != DraftApproved {
		return w.l.Done(w.ctx, step)
	}
	s, _, err := w.l.BeginSend(w.ctx, d.ID, "worker")
	if err != nil {
		return err
	}
	fmt.Println("sending", d.ID)
	if _, err := fmt.Fprintln(w.server, d.ID); err != nil {
		return err
	}
	err = w.l.Tx(w.ctx, func(tx *Tx) error {
		if err := tx.EndSend(w.ctx, s, Delivered, job.Plain("250 ok"), Robot); err != nil {
			return err
		}
		return tx.Done(w.ctx, step)
	})
	fmt.Println("sent", d.ID)
	return err
}
