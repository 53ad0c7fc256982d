package wire

import (
	"context"
	"errors"
	"net"
	"os"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"meshclerk/intake/job"
)

// A server that is slow may take its time; one that is silent may not.
func TestProgressExtendsTheDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := net.Pipe()
		c := &Conn{Conn: a, timeout: time.Minute}
		c.Arm(0)
		go func() {
			for range 10 {
				time.Sleep(50 * time.Second)
				b.Write([]byte("x"))
			}
		}()
		buf := make([]byte, 1)
		for i := range 10 {
			if _, err := c.Read(buf); err != nil {
				t.Fatalf("octet %d: %v", i, err)
			}
		}
		start := time.Now()
		if _, err := c.Read(buf); !errors.Is(err, os.ErrDeadlineExceeded) || !c.Silent() || time.Since(start) != time.Minute {
			t.Fatalf("%v after %v, silent %v", err, time.Since(start), c.Silent())
		}
		c.Close()
		b.Close()
	})
}

func TestWritingIsBoundedToo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := net.Pipe()
		c := &Conn{Conn: a, timeout: time.Minute}
		c.Arm(0)
		go func() { // takes one piece every 50 s, then no more
			buf := make([]byte, pieceBytes)
			for range 4 {
				time.Sleep(50 * time.Second)
				b.Read(buf)
			}
		}()
		n, err := c.Write(make([]byte, 10*pieceBytes))
		if n != 4*pieceBytes || !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Fatalf("%d octets, %v", n, err)
		}
		c.Close()
		b.Close()
	})
}

// Between commands a connection may be silent for any time, and a library's
// own deadlines do not count.
func TestRestingConnectionIsNotCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := net.Pipe()
		c := &Conn{Conn: a, timeout: time.Minute}
		c.Arm(0)
		c.Rest()
		c.SetReadDeadline(time.Now().Add(time.Second))
		go func() { time.Sleep(time.Hour); b.Write([]byte("x")) }()
		if _, err := c.Read(make([]byte, 1)); err != nil || c.Silent() {
			t.Fatal(err)
		}
		c.Close()
		b.Close()
	})
}

func TestConfigurationIsChecked(t *testing.T) {
	good := Config{Host: "imap.larkfield.example", Port: 993, TLS: TLS, Table: "imap"}
	if err := good.Check(); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		change func(*Config)
		want   string
	}{
		{func(c *Config) { c.Host = "" }, `servers.no-host {"table":"imap"}`},
		{func(c *Config) { c.Port = 0 }, `servers.no-port {"host":"imap.larkfield.example","port":"0","table":"imap"}`},
		{func(c *Config) { c.TLS = "ssl" }, `servers.no-such-tls {"given":"ssl","table":"imap"}`},
		{func(c *Config) { c.TLS, c.Host = None, "192.0.2.7" }, `servers.in-the-clear {"server":"192.0.2.7:993","table":"imap"}`},
		{func(c *Config) { c.CAFile = "/nonexistent/ca.pem" }, `servers.authority-unread {"file":"/nonexistent/ca.pem","table":"imap"}`},
		{func(c *Config) { c.CAFile = os.Args[0] }, `servers.authority-none {"file":"` + os.Args[0] + `","table":"imap"}`},
	} {
		c := good
		row.change(&c)
		if _, _, err := Dial(t.Context(), c); err == nil || err.Error() != row.want || Temporary(err) {
			t.Errorf("got  %v\nwant %s", err, row.want)
		}
	}
}

// Each way in which a connection fails has its sentence, and says whether to
// wait or to mend.
func TestFailuresAreExplained(t *testing.T) {
	c := Config{Host: "imap.larkfield.example", Port: 993, Table: "imap", CommandTimeout: time.Minute}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	for _, row := range []struct {
		ctx       context.Context
		err       error
		want      string
		temporary bool
	}{
		{t.Context(), &net.DNSError{IsNotFound: true}, `servers.no-machine {"host":"imap.larkfield.example","table":"imap"}`, false},
		{t.Context(), &net.DNSError{IsTemporary: true}, `servers.no-look-up {"host":"imap.larkfield.example"}`, true},
		{t.Context(), syscall.ECONNREFUSED, `servers.nobody-there {"server":"imap.larkfield.example:993","table":"imap"}`, true},
		{t.Context(), syscall.EHOSTUNREACH, `servers.no-way {"server":"imap.larkfield.example:993"}`, true},
		{t.Context(), os.ErrDeadlineExceeded, `servers.silent {"doing":{"key":"servers.doing.signing-in"},"server":"imap.larkfield.example:993","table":"imap","waited":60}`, true},
		{t.Context(), syscall.ECONNRESET, `servers.cut {"doing":{"key":"servers.doing.signing-in"},"server":"imap.larkfield.example:993"}`, true},
		{stopped, syscall.ECONNRESET, `servers.stopped {"doing":{"key":"servers.doing.signing-in"},"server":"imap.larkfield.example:993"}`, true},
	} {
		err := c.Explain(row.ctx, job.Say("servers.doing.signing-in", nil), row.err)
		if err.Error() != row.want || err.Temporary != row.temporary {
			t.Errorf("got  %v (temporary %v)\nwant %s", err, err.Temporary, row.want)
		}
	}
}
