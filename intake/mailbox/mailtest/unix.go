//go:build unix

package mailtest

import (
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// nobody is who Dovecot runs as when the tests run as root: it refuses to be root.
const nobody = "nobody"

func runsAs() (name, group string) {
	u, err := user.Current()
	if os.Getuid() == 0 {
		u, err = user.Lookup(nobody)
	}
	if err != nil {
		return nobody, "nogroup"
	}
	g, err := user.LookupGroupId(u.Gid)
	if err != nil {
		return u.Username, u.Gid
	}
	return u.Username, g.Name
}

func ids() (uid, gid int, err error) {
	u, err := user.Lookup(nobody)
	if err != nil {
		return 0, 0, fmt.Errorf("dovecot will not run as root, and there is no user %q: %w", nobody, err)
	}
	uid, _ = strconv.Atoi(u.Uid)
	gid, _ = strconv.Atoi(u.Gid)
	return uid, gid, nil
}

// unprivileged makes the command run as an ordinary user who owns dir.
func unprivileged(cmd *exec.Cmd, dir string) error {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if os.Getuid() != 0 {
		return nil
	}
	uid, gid, err := ids()
	if err != nil {
		return err
	}
	cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid), NoSetGroups: false}
	return filepath.Walk(dir, func(path string, _ os.FileInfo, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(path, uid, gid)
	})
}

// giveAway lets Dovecot's user own a file that the test made.
func giveAway(path string) error {
	if os.Getuid() != 0 {
		return nil
	}
	uid, gid, err := ids()
	if err != nil {
		return err
	}
	return os.Lchown(path, uid, gid)
}

// kill ends the program and those it started, which share its process group.
func kill(p *os.Process) { syscall.Kill(-p.Pid, syscall.SIGKILL) }
