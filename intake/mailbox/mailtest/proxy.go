package mailtest

import (
	"fmt"
	"io"
	"net"
	"sync"
	"testing"
)

// Proxy stands between a client and a server and spoils the connection.
type Proxy struct {
	Host string
	Port int

	target string
	mu     sync.Mutex
	conns  []net.Conn
	left   int64 // octets from the server until the cut; -1 for no cut
	stall  bool
}

// NewProxy forwards to a port of loopback.
func NewProxy(t testing.TB, port int) *Proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, target: fmt.Sprintf("127.0.0.1:%d", port), left: -1}
	t.Cleanup(func() { l.Close(); p.Cut() })
	go p.serve(l)
	return p
}

// CutAfter cuts each connection once so many more octets came from the server.
func (p *Proxy) CutAfter(n int64) { p.mu.Lock(); p.left = n; p.mu.Unlock() }

// Stall lets nothing more through, from either side, and keeps the connections open.
func (p *Proxy) Stall() { p.mu.Lock(); p.stall = true; p.mu.Unlock() }

// Heal lets everything through again, on new connections.
func (p *Proxy) Heal() { p.mu.Lock(); p.left, p.stall = -1, false; p.mu.Unlock() }

// Cut cuts all connections now.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		c.Close()
	}
	p.conns = nil
}

func (p *Proxy) serve(l net.Listener) {
	for {
		client, err := l.Accept()
		if err != nil {
			return
		}
		server, err := net.Dial("tcp", p.target)
		if err != nil {
			client.Close()
			continue
		}
		p.mu.Lock()
		p.conns = append(p.conns, client, server)
		p.mu.Unlock()
		go p.pump(server, client, false)
		go p.pump(client, server, true)
	}
}

// pump copies from one side to the other; counted is the server's side.
func (p *Proxy) pump(to, from net.Conn, counted bool) {
	buf := make([]byte, 4096)
	for {
		n, err := from.Read(buf)
		n, open := p.allow(n, counted)
		if n > 0 {
			to.Write(buf[:n])
		}
		if err == io.EOF || !open || err != nil {
			to.Close()
			from.Close()
			return
		}
	}
}

// allow returns how many of n octets pass, and whether the connection stays.
func (p *Proxy) allow(n int, counted bool) (int, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.stall:
		return 0, true
	case !counted || p.left < 0:
		return n, true
	case int64(n) >= p.left:
		n = int(p.left)
		p.left = -1
		return n, false
	}
	p.left -= int64(n)
	return n, true
}
