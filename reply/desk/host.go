package desk

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"meshclerk/intake/job"
)

// A web site elsewhere can have its own name lead to this machine, and its pages
// are then of our origin (DNS rebinding). So the page answers only to names it was
// told of. The name localhost and addresses of this machine lead nowhere else.

func checkHosts(hosts []string) error {
	for _, h := range hosts {
		if h == "" || strings.ContainsAny(h, "/:@ *[]") {
			return fmt.Errorf("hosts has %q; write only the name, e.g. print.library.example", h)
		}
	}
	return nil
}

// answersTo reports whether the name that a request asks is one of ours.
func (d *Desk) answersTo(r *http.Request) bool {
	name := r.Host
	if host, _, err := net.SplitHostPort(name); err == nil {
		name = host
	}
	name = strings.TrimSuffix(strings.ToLower(strings.Trim(name, "[]")), ".")
	if a, err := netip.ParseAddr(name); err == nil {
		return a.Unmap().IsLoopback() || a.Unmap() == arrivedAt(r)
	}
	return name == "localhost" || strings.HasSuffix(name, ".localhost") || // RFC 6761, 6.3
		slices.ContainsFunc(d.cfg.Hosts, func(h string) bool { return strings.EqualFold(strings.TrimSuffix(h, "."), name) })
}

// arrivedAt is the address of this machine that a request came to.
func arrivedAt(r *http.Request) netip.Addr {
	at, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return netip.Addr{}
	}
	return hop(at.String())
}

// misdirected answers a request for another name: RFC 9110, 15.5.20.
func (d *Desk) misdirected(w http.ResponseWriter, r *http.Request) {
	if n := d.misnamed.times(d.office.Now()); n > 0 {
		d.cfg.Log.Warn("page asked by another name", "host", oneLine(r.Host, 100), "times", n, "mend", "add it to hosts under [staff_page] if it is ours")
	}
	text := d.localizer(r).Say(job.Say("page.wrong.other-name", job.Args{"name": oneLine(r.Host, 100)}))
	http.Error(w, text, http.StatusMisdirectedRequest)
}
