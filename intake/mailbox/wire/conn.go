package wire

import (
	"errors"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// pieceBytes is how much is written under one deadline.
const pieceBytes = 64 << 10

// Conn is a connection whose deadlines mean progress.
type Conn struct {
	net.Conn
	timeout time.Duration

	mu     sync.Mutex
	armed  time.Duration // 0 when resting
	silent atomic.Bool
	hungUp atomic.Bool
	closed atomic.Bool
}

// Arm wants progress from now on, every timeout; extra is allowed on top, for
// a command that rests by nature.
func (c *Conn) Arm(extra time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.armed = c.timeout + extra
	c.Conn.SetDeadline(time.Now().Add(c.armed))
}

// ArmFor wants progress every d, instead of the usual timeout.
func (c *Conn) ArmFor(d time.Duration) { c.Arm(d - c.timeout) }

// Rest lets the connection be silent.
func (c *Conn) Rest() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.armed = 0
	c.Conn.SetDeadline(time.Time{})
}

// Silent reports whether the other side kept us waiting too long.
func (c *Conn) Silent() bool { return c.silent.Load() }

// HungUp reports whether the other side ended the connection.
func (c *Conn) HungUp() bool { return c.hungUp.Load() }

// Closed reports whether we closed it.
func (c *Conn) Closed() bool { return c.closed.Load() }

// Close closes it; more than once does no harm.
func (c *Conn) Close() error {
	if c.closed.Swap(true) {
		return nil
	}
	return c.Conn.Close()
}

func (c *Conn) progress() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.armed > 0 {
		c.Conn.SetDeadline(time.Now().Add(c.armed))
	}
}

func (c *Conn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if n > 0 {
		c.progress()
	}
	c.note(err)
	return n, err
}

func (c *Conn) Write(p []byte) (int, error) {
	done := 0
	for done < len(p) {
		n, err := c.Conn.Write(p[done:min(len(p), done+pieceBytes)])
		done += n
		if err != nil {
			c.note(err)
			return done, err
		}
		c.progress()
	}
	return done, nil
}

func (c *Conn) note(err error) {
	if errors.Is(err, os.ErrDeadlineExceeded) {
		c.silent.Store(true)
	}
	if IsEOF(err) {
		c.hungUp.Store(true)
	}
}

// SetDeadline, SetReadDeadline and SetWriteDeadline do nothing: see the package comment.
func (c *Conn) SetDeadline(time.Time) error      { return nil }
func (c *Conn) SetReadDeadline(time.Time) error  { return nil }
func (c *Conn) SetWriteDeadline(time.Time) error { return nil }

// Forgive takes back a silence that was only a glance.
func (c *Conn) Forgive() { c.silent.Store(false) }
