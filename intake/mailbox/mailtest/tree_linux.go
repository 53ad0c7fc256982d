package mailtest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// tree is a private copy of an unpacked tree of packages (.ci/servers), in which
// servers run that cannot be installed beside each other. They listen on loopback
// and end with the test.
type tree struct {
	t    testing.TB
	dir  string
	log  *logFile
	what string
}

const (
	treesEnv   = "MESHCLERK_SERVER_TREES"
	treesThere = "/var/cache/meshclerk-servers"
)

// The users that the servers run as. What a package's installation would add.
const (
	treePasswd = `root:x:0:0:root:/root:/bin/sh
mail:x:8:8:mail:/var/mail:/usr/sbin/nologin
nobody:x:65534:65534:nobody:/nonexistent:/usr/sbin/nologin
cyrus:x:7001:8:cyrus:/var/spool/cyrus:/bin/sh
courier:x:7002:7002:courier:/var/lib/courier:/usr/sbin/nologin
postfix:x:7003:7003:postfix:/var/spool/postfix:/usr/sbin/nologin
Debian-exim:x:7004:7004:exim:/var/spool/exim4:/usr/sbin/nologin
print:x:7005:7005:the shared mailbox:/home/print:/bin/sh
`
	treeGroup = `root:x:0:
mail:x:8:cyrus
nogroup:x:65534:
shadow:x:42:
courier:x:7002:
postfix:x:7003:
Debian-exim:x:7004:
print:x:7005:
postdrop:x:7006:
sasl:x:7007:cyrus,postfix
`
	cyrusUID, mailGID = 7001, 8
	courierUID        = 7002
	postfixUID        = 7003
	eximUID           = 7004
	printUID          = 7005
	postdropGID       = 7006
)

// cloneTree makes a private copy of a tree, by hard links, or skips the test.
func cloneTree(t testing.TB, name, what string) *tree {
	t.Helper()
	from := os.Getenv(treesEnv)
	if from == "" {
		from = treesThere
	}
	if os.Getuid() != 0 {
		Missing(t, what+" for a test that runs as root, as chroot asks for,", what+", unpacked by .ci/servers")
	}
	if _, err := os.Stat(filepath.Join(from, name, ".whole")); err != nil {
		Missing(t, what+" in "+from, what+", unpacked by .ci/servers")
	}
	sweep(from)
	// A short name, since Unix sockets have short ones, and on the same disk.
	dir, err := os.MkdirTemp(from, fmt.Sprintf("run%d-", os.Getpid()))
	if err != nil {
		t.Fatal(err)
	}
	r := &tree{t: t, dir: dir, log: &logFile{}, what: what}
	t.Cleanup(func() { r.fell() })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("cp", "-al", filepath.Join(from, name)+"/.", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	r.write("etc/passwd", treePasswd, 0, 0o644)
	r.write("etc/group", treeGroup, 0, 0o644)
	r.write("etc/hosts", "127.0.0.1 localhost\n", 0, 0o644)
	r.write("etc/resolv.conf", "", 0, 0o644)
	r.folder("tmp", 0, 0, 0o1777)
	r.listen()
	return r
}

// listen takes what the servers tell the system's log.
func (r *tree) listen() {
	r.t.Helper()
	path := filepath.Join(r.dir, "dev/log")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		r.t.Fatal(err)
	}
	if err := os.Chmod(path, 0o666); err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { l.Close() })
	go func() {
		line := make([]byte, 8192)
		for {
			n, err := l.Read(line)
			if err != nil {
				return
			}
			fmt.Fprintf(r.log, "%s\n", line[:n])
		}
	}()
}

// write puts a file into the tree. A link to the shared tree is broken first.
func (r *tree) write(path, content string, uid int, mode os.FileMode) {
	r.t.Helper()
	full := filepath.Join(r.dir, path)
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		r.t.Fatal(err)
	}
	os.Remove(full)
	if err := os.WriteFile(full, []byte(content), mode); err != nil {
		r.t.Fatal(err)
	}
	if err := os.Chown(full, uid, uid); err != nil {
		r.t.Fatal(err)
	}
}

func (r *tree) folder(path string, uid, gid int, mode os.FileMode) {
	r.t.Helper()
	full := filepath.Join(r.dir, path)
	if err := os.MkdirAll(full, 0o755); err != nil {
		r.t.Fatal(err)
	}
	if err := os.Chown(full, uid, gid); err != nil {
		r.t.Fatal(err)
	}
	// The bits above the permissions are other ones in os.FileMode.
	if err := syscall.Chmod(full, uint32(mode)); err != nil {
		r.t.Fatal(err)
	}
}

// command is a program of the tree.
func (r *tree) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Path, cmd.Err = name, nil // it is looked for in the tree, not here
	cmd.Dir = "/"
	cmd.Env = []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL=C"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Chroot: r.dir, Setpgid: true}
	cmd.Stdout, cmd.Stderr = r.log, r.log
	return cmd
}

// must runs a program of the tree to its end.
func (r *tree) must(stdin, name string, args ...string) {
	r.t.Helper()
	cmd := r.command(name, args...)
	cmd.Stdin = strings.NewReader(stdin)
	if err := cmd.Run(); err != nil {
		r.t.Fatalf("%s %v: %v\n%s", name, args, err, r.log)
	}
}

// start begins a server of the tree, and waits until its port greets.
func (r *tree) start(port int, name string, args ...string) {
	r.t.Helper()
	cmd := r.command(name, args...)
	if err := cmd.Start(); err != nil {
		r.t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { cmd.Wait(); close(ended) }()
	if port == 0 {
		return
	}
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); {
		if answers(port) {
			return
		}
		select {
		case <-ended:
			r.t.Fatalf("%s ended at once:\n%s", r.what, r.log)
		case <-time.After(20 * time.Millisecond):
		}
	}
	r.t.Fatalf("%s does not start:\n%s", r.what, r.log)
}

// answers reports whether a server of either kind greets on the port.
func answers(port int) bool {
	c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return false
	}
	defer c.Close()
	c.SetReadDeadline(time.Now().Add(5 * time.Second))
	b := make([]byte, 3)
	n, err := c.Read(b)
	return err == nil && (strings.HasPrefix(string(b[:n]), "* O") || string(b[:n]) == "220")
}

// fell ends every process that lives in the tree, which are ours alone, since the
// tree is; then it removes the tree.
func (r *tree) fell() {
	if r.t.Failed() {
		r.t.Logf("%s said:\n%s", r.what, r.log)
	}
	if err := uproot(r.dir); err != nil {
		r.t.Error(err)
	}
}

// sweep clears what a test that was killed has left.
func sweep(from string) {
	left, _ := filepath.Glob(filepath.Join(from, "run*-*"))
	for _, dir := range left {
		var pid int
		if _, err := fmt.Sscanf(filepath.Base(dir), "run%d-", &pid); err == nil && syscall.Kill(pid, 0) == syscall.ESRCH {
			uproot(dir)
		}
	}
}

// uproot ends what lives in a private tree and removes it.
func uproot(dir string) error {
	for range 50 {
		all := living(dir)
		if len(all) == 0 {
			break
		}
		for _, pid := range all {
			syscall.Kill(pid, syscall.SIGKILL)
		}
		time.Sleep(20 * time.Millisecond)
	}
	return os.RemoveAll(dir)
}

// living returns the processes whose root the folder is.
func living(dir string) []int {
	roots, _ := filepath.Glob("/proc/[0-9]*/root")
	var out []int
	for _, link := range roots {
		at, err := os.Readlink(link)
		if err != nil || at != dir {
			continue
		}
		var pid int
		if _, err := fmt.Sscanf(link, "/proc/%d/root", &pid); err == nil {
			out = append(out, pid)
		}
	}
	return out
}
