package ledger

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

const envSmallDisk = "MESHCLERK_TEST_SMALL_DISK"

// TestFullDisk fills a real disk: a file system of 2 MB in memory, which only a
// process of its own sees and which is gone when that process ends.
func TestFullDisk(t *testing.T) {
	if dir := os.Getenv(envSmallDisk); dir != "" {
		fillDisk(t, dir)
		return
	}
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestFullDisk$", "-test.v")
	cmd.Env = append(os.Environ(), envSmallDisk+"="+t.TempDir())
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	out, err := cmd.CombinedOutput()
	switch _, ended := errors.AsType[*exec.ExitError](err); {
	case err != nil && !ended:
		t.Skipf("no process with its own disks can be had here (%v); TestFullDatabase and TestFullDiskIsSaid remain", err)
	case strings.Contains(string(out), "--- SKIP"):
		t.Skipf("no small disk can be had here; TestFullDatabase and TestFullDiskIsSaid remain:\n%s", out)
	case err != nil || !strings.Contains(string(out), "--- PASS: TestFullDisk"):
		t.Errorf("%v\n%s", err, out)
	}
}

func fillDisk(t *testing.T, dir string) {
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=2m"); err != nil {
		t.Skip(err)
	}
	l, err := Open(t.Context(), filepath.Join(dir, "data"), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, _, err := take(t.Context(), l, 1, 1, "a"); err != nil {
		t.Fatal(err)
	}
	_, _, err = take(t.Context(), l, 1, 2, strings.Repeat("a large letter ", 300_000))
	if !errors.Is(err, ErrDiskFull) || !strings.Contains(err.Error(), "faults.ledger.full ") {
		t.Fatalf("says %v", err)
	}
	for uid := uint32(3); uid < 1000; uid++ { // until the database has no room either
		if _, _, err = take(t.Context(), l, 1, uid, strings.Repeat("small ", int(uid))); err != nil {
			break
		}
	}
	if !errors.Is(err, ErrDiskFull) {
		t.Fatalf("the database says %v", err)
	}
	if _, err := l.Letter(t.Context(), "L-000001"); err != nil {
		t.Error(err)
	}
	whole(t, l)
}
