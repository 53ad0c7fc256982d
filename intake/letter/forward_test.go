package letter

import (
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

const staff = "From: Owen Dufresne <owen.dufresne@larkfield.example>\r\nMessage-ID: <f1@larkfield.example>\r\nDate: Tue, 3 Nov 2026 10:12:00 -0500\r\n"

// A member of staff passes a letter on in the text, as different mail programs do it.
func TestForwardsInTheText(t *testing.T) {
	const words = "Hello Owen,\n\ncan you print the bracket for me?\n\nTomas"
	for name, c := range map[string]struct{ subject, text string }{
		"marked":             {"Fwd: bracket", "---------- Forwarded message ---------\nFrom: Tomas Vega <Tomas.Vega@example.com>\nDate: Tue, 3 Nov 2026 at 09:58\nSubject: bracket\nTo: Owen <owen@larkfield.example>\n\n\n" + words},
		"marked, no subject": {"bracket", "for the robot\n\n---------- Forwarded message ---------\nFrom: Tomas Vega <Tomas.Vega@example.com>\nDate: Tue, 3 Nov 2026 at 09:58\nSubject: bracket\nTo: Owen <owen@larkfield.example>\n\n" + words},
		"header block":       {"FW: bracket", "please\n\nFrom: Tomas Vega <Tomas.Vega@example.com>\nSent: Tuesday, November 3, 2026 9:58 AM\nTo: Owen Dufresne <owen@larkfield.example>\nSubject: bracket\n\n" + words},
		"with mailto":        {"FW: bracket", "From: Tomas Vega [mailto:tomas.vega@example.com] <tomas.vega@example.com>\nSent: Tuesday, November 3, 2026 9:58 AM\nTo: Owen Dufresne\nSubject: bracket\n\n" + words},
		"quoted":             {"Fwd: bracket", "Begin forwarded message:\n\n> From: Tomas Vega <tomas.vega@example.com>\n> Subject: bracket\n> Date: November 3, 2026 at 9:58:00 AM EST\n> To: owen@larkfield.example\n> \n> " + strings.ReplaceAll(words, "\n", "\n> ")},
		"starred":            {"Fwd: bracket", "---------- Forwarded message ---------\nFrom: *Tomas Vega* <tomas.vega@example.com>\nDate: Tue, 3 Nov 2026\nSubject: bracket\nTo: <owen@larkfield.example>\n\n" + words},
		"french":             {"TR: bracket", "De : Tomas Vega <tomas.vega@example.com>\nEnvoyé : mardi 3 novembre 2026 09:58\nÀ : Owen Dufresne\nObjet : bracket\n\n" + words},
		"french, marked":     {"Fwd: bracket", "---------- Message transféré ---------\nDe : Tomas Vega <tomas.vega@example.com>\nDate : mar. 3 nov. 2026 à 09:58\nObjet : bracket\nÀ : Owen <owen@larkfield.example>\n\n" + words},
		"spanish":            {"RV: bracket", "De: Tomas Vega <tomas.vega@example.com>\nEnviado: martes, 3 de noviembre de 2026 9:58\nPara: Owen Dufresne\nAsunto: bracket\n\n" + words},
		"quotes in turn":     {"Fwd: bracket", "---------- Forwarded message ---------\nFrom: Tomas Vega <tomas.vega@example.com>\nDate: Tue, 3 Nov 2026\nSubject: bracket\nTo: <owen@larkfield.example>\n\n" + words + "\n\nOn Mon, 2 Nov 2026, Owen <owen@larkfield.example> wrote:\n> send it here\n"},
	} {
		raw := fmt.Sprintf("%sSubject: %s\r\nContent-Type: text/plain; charset=utf-8\r\n\r\n%s", staff, c.subject, c.text)
		l := read(t, raw, house(""))
		if l.From.Address != "tomas.vega@example.com" || l.From.Name != "Tomas Vega" || l.Forwarder == nil || l.Forwarder.Address != "owen.dufresne@larkfield.example" {
			t.Errorf("%s: from %+v, forwarded by %+v", name, l.From, l.Forwarder)
		}
		if l.Text != words || l.Subject != "bracket" || l.Authenticated != job.None || l.Disposition != job.Request {
			t.Errorf("%s: %q %q %s %s", name, l.Subject, l.Text, l.Authenticated, l.Disposition)
		}
	}
}

// What looks like a forward and is none: the letter stays the writer's own.
func TestNoForwards(t *testing.T) {
	block := "From: Tomas Vega <tomas.vega@example.com>\nSent: Tuesday\nTo: Owen\nSubject: bracket\n\nwords"
	for name, raw := range map[string]string{
		"staff answers":            staff + "Subject: RE: bracket\r\n\r\nwill do\n\n" + block,
		"a patron passes on":       "From: pat@example.org\r\nSubject: Fwd: bracket\r\n\r\nsee below\n\n" + block,
		"staff passes on staff's":  staff + "Subject: Fwd: x\r\n\r\nFrom: Priya <priya.lindqvist@larkfield.example>\nSent: Tuesday\nTo: Owen\nSubject: x\n\nwords",
		"not proven to be staff":   "Authentication-Results: mx.larkfield.example; dmarc=fail header.from=larkfield.example\r\n" + staff + "Subject: Fwd: bracket\r\n\r\n" + block,
		"staff writes for herself": staff + "Subject: my own part\r\n\r\nPlease print a bookmark for me.",
	} {
		l := read(t, raw, house(""))
		if l.Forwarder != nil || strings.Contains(l.From.Address, "tomas") {
			t.Errorf("%s: taken for a forward of %+v", name, l.From)
		}
	}
}

// The verdict on an attached letter counts only when the forwarder is proven.
func TestForwardedVerdict(t *testing.T) {
	inner := "Authentication-Results: mx.larkfield.example; dmarc=pass header.from=example.com\r\nFrom: tomas.vega@example.com\r\nSubject: x\r\n\r\nplease print this"
	for outer, want := range map[string]job.Verdict{
		"dmarc=pass header.from=larkfield.example": job.Pass,
		"dmarc=none header.from=larkfield.example": job.None,
		"spf=pass": job.None,
	} {
		l := read(t, "Authentication-Results: mx.larkfield.example; "+outer+"\r\n"+staff+"Subject: Fwd\r\nContent-Type: message/rfc822\r\n\r\n"+inner, house(""))
		if l.Authenticated != want || l.From.Address != "tomas.vega@example.com" {
			t.Errorf("%s: got %s from %s, want %s", outer, l.Authenticated, l.From.Address, want)
		}
	}
}

func TestForwardWithoutWordsOfOnesOwn(t *testing.T) {
	l := read(t, "From: pat@example.org\r\nSubject: Fwd: design\r\n\r\n---------- Forwarded message ---------\nFrom: Kim <kim@example.net>\nDate: Mon\nSubject: design\nTo: pat@example.org\n\nplease print it in green\n", house(""))
	if l.Text != "please print it in green" || l.From.Address != "pat@example.org" {
		t.Errorf("%q from %s", l.Text, l.From.Address)
	}
}
