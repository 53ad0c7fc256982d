package desk

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// SecretHeader is where a proxy in front proves that it is the one.
const SecretHeader = "Meshclerk-Proxy-Secret"

// Headers in which a proxy says who asks.
const (
	ForwardedFor = "X-Forwarded-For"
	Forwarded    = "Forwarded" // RFC 7239
)

// Proxy is a web server in front of the page. What it says of a visitor is
// believed when it comes from one of its addresses and brings the secret, since
// others on its machine or its network have the address too; else its headers
// say nothing.
type Proxy struct {
	From   []string // its addresses, or prefixes of them
	Secret string   // in the header SecretHeader
	Client string   // header that holds the visitor's address: ForwardedFor, Forwarded or ""
	nets   []netip.Prefix
	proof  [sha256.Size]byte
}

// minSecret keeps a secret from being guessed: 22 letters and digits have 128 bits.
const minSecret = 22

func (p *Proxy) check() error {
	switch {
	case len(p.From) == 0:
		return errors.New(`a proxy is to be believed, but not from which address; set proxy_from = ["127.0.0.1"] to where it asks from`)
	case p.Secret == "":
		return errors.New("a proxy is to be believed without a secret, so anybody at its address could sign in as anybody; set proxy_secret_file, and let the proxy send the same words in the header " + SecretHeader)
	case len(p.Secret) < minSecret:
		return fmt.Errorf("the proxy's secret has %d characters; it needs at least %d, e.g. from: openssl rand -hex 32", len(p.Secret), minSecret)
	case p.Client != "" && !strings.EqualFold(p.Client, ForwardedFor) && !strings.EqualFold(p.Client, Forwarded):
		return fmt.Errorf("client_header is %q; it can be %q or %q, whichever the proxy sends", p.Client, ForwardedFor, Forwarded)
	}
	p.proof, p.nets = sha256.Sum256([]byte(p.Secret)), nil
	for _, s := range p.From {
		if a, err := netip.ParseAddr(s); err == nil {
			a = a.Unmap()
			p.nets = append(p.nets, netip.PrefixFrom(a, a.BitLen()))
			continue
		}
		n, err := netip.ParsePrefix(s)
		if err != nil {
			return fmt.Errorf("%q is neither an address nor a prefix; write the proxy's address, e.g. 10.0.0.5", s)
		}
		p.nets = append(p.nets, n)
	}
	return nil
}

func (p *Proxy) at(a netip.Addr) bool {
	return slices.ContainsFunc(p.nets, func(n netip.Prefix) bool { return n.Contains(a) })
}

// brought reports whether a request came through the proxy.
func (p *Proxy) brought(r *http.Request, from netip.Addr) bool {
	words := r.Header.Values(SecretHeader)
	if p == nil || !p.at(from) || len(words) != 1 { // two values: one of them is not the proxy's
		return false
	}
	proof := sha256.Sum256([]byte(words[0])) // of one length, whatever was sent
	return subtle.ConstantTimeCompare(proof[:], p.proof[:]) == 1
}

// maxHops bounds how many proxies before ours are looked through.
const maxHops = 20

// client is the address of who asked the proxy: the last that is not one of the
// proxy's own, since whatever stands before it was written by who asks. The zero
// address is somebody whom the proxy does not name.
func (p *Proxy) client(h http.Header, from netip.Addr) netip.Addr {
	if p.Client == "" {
		return from
	}
	hops := strings.Split(strings.Join(h.Values(p.Client), ","), ",")
	if strings.EqualFold(p.Client, Forwarded) {
		hops = forwardedFor(h.Values(p.Client))
	}
	for n, i := 0, len(hops)-1; i >= 0 && n < maxHops; n, i = n+1, i-1 {
		if from = hop(hops[i]); !from.IsValid() || !p.at(from) {
			return from
		}
	}
	return from
}

// hop reads one address, with or without a port.
func hop(s string) netip.Addr {
	s = strings.TrimSpace(s)
	if host, _, err := net.SplitHostPort(s); err == nil {
		s = host
	}
	a, err := netip.ParseAddr(strings.Trim(s, "[]"))
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap().WithZone("")
}

// forwardedFor gives the for= of each element of Forwarded headers; "" where an
// element has none. RFC 7239, 4: elements are parted by commas, pairs by
// semicolons, values may be quoted strings.
func forwardedFor(values []string) []string {
	var out []string
	for _, v := range values {
		for _, element := range splitQuoted(v, ',') {
			who := ""
			for _, pair := range splitQuoted(element, ';') {
				name, value, _ := strings.Cut(pair, "=")
				if strings.EqualFold(strings.TrimSpace(name), "for") {
					who = unquoted(strings.TrimSpace(value))
				}
			}
			out = append(out, who)
		}
	}
	return out
}

// splitQuoted splits at a sign that stands outside quoted strings.
func splitQuoted(s string, at byte) []string {
	var out []string
	begin, quoted := 0, false
	for i := 0; i < len(s); i++ {
		switch {
		case quoted && s[i] == '\\':
			i++
		case s[i] == '"':
			quoted = !quoted
		case s[i] == at && !quoted:
			out, begin = append(out, s[begin:i]), i+1
		}
	}
	return append(out, s[begin:])
}

func unquoted(s string) string {
	if len(s) < 2 || s[0] != '"' || s[len(s)-1] != '"' {
		return s
	}
	var b strings.Builder
	for i := 1; i < len(s)-1; i++ {
		if s[i] == '\\' && i+2 < len(s) { // RFC 9110, 5.6.4
			i++
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// visitor is who asks, as far as the connection tells.
type visitor struct {
	from    netip.Addr // the zero address is unknown
	proxied bool       // the proxy brought the request, and its headers count
}

type visitorKey struct{}

// received finds out who asks, and takes what proves it out of the request.
func (d *Desk) received(r *http.Request) *http.Request {
	v := visitor{from: hop(r.RemoteAddr)}
	if p := d.cfg.Proxy; p.brought(r, v.from) {
		v = visitor{p.client(r.Header, v.from), true}
	}
	r.Header.Del(SecretHeader)
	return r.WithContext(context.WithValue(r.Context(), visitorKey{}, v))
}

func visitorOf(r *http.Request) visitor {
	v, _ := r.Context().Value(visitorKey{}).(visitor)
	return v
}

// place is what the tries of a visitor are counted under. One who has an IPv6
// address has at least 2^64 of them (RFC 6177).
func (v visitor) place() string {
	if v.from.Is6() {
		n, _ := v.from.Prefix(64) // a valid address has this many bits
		return n.String()
	}
	return v.from.String()
}
