package robot

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

const envSmallDisk = "MESHCLERK_TEST_SMALL_DISK"

// onSmallDisk runs a test in a process of its own, whose data folder is a disk
// of 4 MB in memory that nobody else sees.
func onSmallDisk(t *testing.T, test func(h *house, disk string)) {
	if dir := os.Getenv(envSmallDisk); dir != "" {
		if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=4m"); err != nil {
			t.Skip(err)
		}
		test(newHouseIn(t, filepath.Join(dir, "data")), dir)
		return
	}
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
	cmd.Env = append(os.Environ(), envSmallDisk+"="+t.TempDir())
	cmd.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS}
	if os.Getuid() != 0 {
		t.Skip("a disk of its own needs root")
	}
	out, err := cmd.CombinedOutput()
	switch _, ended := errors.AsType[*exec.ExitError](err); {
	case err != nil && !ended, strings.Contains(string(out), "--- SKIP"):
		t.Skipf("no small disk can be had here: %v\n%s", err, out)
	case err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()):
		t.Errorf("%v\n%s", err, out)
	}
}

// fill takes all the room there is, and leaves some free; free gives it back.
func fill(t *testing.T, disk string, leave int64) (free func()) {
	t.Helper()
	var s syscall.Statfs_t
	if err := syscall.Statfs(disk, &s); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(disk, "filler")
	if err := os.WriteFile(name, make([]byte, max(0, int64(s.Bavail)*s.Bsize-leave)), 0o600); err != nil && !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	return func() { os.Remove(name) }
}

// A disk that is nearly full is not the letter's fault: whatever has no room
// waits, nothing is set aside, staff are told once, and it goes on by itself.
func TestFullDiskSetsNothingAside(t *testing.T) {
	onSmallDisk(t, func(h *house, disk string) {
		h.agree()
		h.imap.Deliver(request(t, "room"))
		if err := h.Poll(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, leave := range []int64{0, 40_000, 100_000, 8_000, 60_000, 20_000} {
			free := fill(t, disk, leave)
			freed := time.AfterFunc(700*time.Millisecond, free)
			h.Once(t.Context()) // an error, or as far as there is room
			if freed.Stop() {
				free()
			}
			h.forward(time.Hour)
		}
		if aside, err := h.Ledger.Letters(t.Context(), 10, ledger.LetterSetAside); err != nil || len(aside) > 0 {
			t.Errorf("set aside: %+v, %v", aside, err)
		}
		if given, err := h.Ledger.GivenUp(t.Context()); err != nil || len(given) > 0 {
			t.Errorf("given up: %+v, %v", given, err)
		}
		h.once()
		h.wantStage(job.Drafted)
		h.waiting()
		if n := h.notices(); len(n) > 0 {
			t.Errorf("notices %q when there is room again", n)
		}
		h.whole()
	})
}

// The server says 250 and there is no room to write it down: it is kept, and
// written when there is room. The letter is never sent twice and never left in doubt.
func TestAnswerIsKeptUntilItCanBeWritten(t *testing.T) {
	onSmallDisk(t, func(h *house, disk string) {
		h.agree()
		h.imap.Deliver(request(t, "kept"))
		h.once()
		h.approve()
		h.At = func(point string) {
			if point == "answered" {
				free := fill(t, disk, 0)
				time.AfterFunc(time.Second, free)
			}
		}
		h.once()
		h.wantDelivered(1)
		if n := len(h.drafts(ledger.DraftSent)); n != 1 {
			t.Errorf("%d are recorded as sent\n%s", n, h.log)
		}
		if !strings.Contains(h.log.String(), "not written down yet") {
			t.Error("there was room all the time; this test shows nothing")
		}
		h.whole()
	})
}

// The same with a ledger that another program holds for longer than it is waited for.
func TestAnswerIsKeptWhileTheLedgerIsHeld(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("holds the ledger for longer than its patience")
	}
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "held"))
	h.once()
	h.approve()
	other, err := ledger.Open(t.Context(), h.Ledger.Dir(), slog.New(slog.DiscardHandler), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	held := make(chan struct{})
	h.At = func(point string) {
		if point != "answered" {
			return
		}
		go other.Tx(context.WithoutCancel(t.Context()), func(*ledger.Tx) error {
			close(held)
			time.Sleep(20 * time.Second) // over the 15 s of the database's own patience
			return nil
		})
		<-held
	}
	h.once()
	h.wantDelivered(1)
	if n := len(h.drafts(ledger.DraftSent)); n != 1 {
		t.Errorf("%d are recorded as sent\n%s", n, h.log)
	}
	if !strings.Contains(h.log.String(), "not written down yet") {
		t.Error("the ledger was never held for too long; this test shows nothing")
	}
}
