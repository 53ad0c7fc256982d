package outbox_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/intake/mailbox/wire"
	"meshclerk/reply/outbox"
	"meshclerk/templates"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var quiet = slog.New(slog.DiscardHandler)

// english says an error as the command line does.
var english = templates.DefaultBook().In("en", "en-CA", "CAD")

// sentence says an outcome to a person.
func sentence(o outbox.Outcome) string {
	if o.Err != nil {
		return english.Error(o.Err)
	}
	return english.Say(o.Said())
}

func reply(body string) []byte {
	return []byte("From: Larkfield Print Desk <print@larkfield.example>\r\nTo: Ana Brook <ana@example.org>\r\nSubject: Re: Please print\r\n" +
		"Date: Wed, 25 Nov 2026 10:00:00 +0000\r\nMessage-ID: <r1@larkfield.example>\r\n\r\n" + body)
}

func config(k *mailtest.Sink, tls string) outbox.Config {
	return outbox.Config{Config: wire.Config{Host: k.Host, Port: k.Port, TLS: tls, CAFile: k.CAFile, CommandTimeout: 20 * time.Second},
		Hello: "print.larkfield.example", AnswerTimeout: 20 * time.Second}
}

func message(raw []byte) outbox.Message {
	return outbox.Message{From: "print@larkfield.example", To: []string{"ana@example.org"}, Raw: raw}
}

func send(t *testing.T, k *mailtest.Sink, c outbox.Config, m outbox.Message) outbox.Outcome {
	t.Helper()
	return outbox.Send(t.Context(), c, mailtest.Password(t, k.User, k.Password), m, quiet)
}

// What arrives is what was approved, octet for octet; also where the protocol
// stuffs dots (RFC 5321, 4.5.2).
func TestApprovedOctetsArrive(t *testing.T) {
	large := strings.Repeat(".a line that begins with a dot\r\n", 200000) // 6 MB
	for name, body := range map[string]string{
		"plain":       "Hello Ana,\r\n",
		"dots":        ".\r\n..\r\n...\r\n.x\r\n\r\n.\r\n",
		"dot at once": ".",
		"8 bit":       "Gr\xc3\xb6\xc3\x9fe \xff\xfe\r\n",
		"empty":       "",
		"large":       large,
	} {
		t.Run(name, func(t *testing.T) {
			k := mailtest.SMTP(t, mailtest.Accept)
			raw, err := outbox.Canonical(reply(body))
			if err != nil {
				t.Fatal(err)
			}
			committed := 0
			m := message(raw)
			m.Commit = func(context.Context) error {
				if len(k.Delivered()) > 0 {
					t.Error("committed after the message had left")
				}
				committed++
				return nil
			}
			out := send(t, k, config(k, "none"), m)
			if out.State != outbox.Sent || out.Err != nil || committed != 1 {
				t.Fatalf("%+v, committed %d times", out, committed)
			}
			got := k.Delivered()
			if len(got) != 1 || !bytes.Equal(got[0].Raw, raw) {
				t.Fatalf("%d messages; %q", len(got), got[0].Raw[:min(200, len(got[0].Raw))])
			}
			d := got[0]
			if d.From != "print@larkfield.example" || len(d.To) != 1 || d.To[0] != "ana@example.org" || d.User != k.User || !d.Bit8 || d.UTF8 {
				t.Fatalf("envelope: %+v", d)
			}
		})
	}
}

func TestEncryptedSending(t *testing.T) {
	for way, k := range map[string]*mailtest.Sink{
		"starttls": mailtest.SMTP(t, mailtest.Accept, mailtest.Encrypt(t)),
		"tls":      mailtest.SMTPS(t, mailtest.Accept),
	} {
		out := send(t, k, config(k, way), message(reply("x\r\n")))
		if out.State != outbox.Sent || !k.Delivered()[0].TLS {
			t.Errorf("%s: %+v", way, out)
		}
	}
}

// The table of outcomes. In each row the right to try again is the point: a
// message may be tried again only where it cannot have left.
func TestOutcomes(t *testing.T) {
	for _, row := range []struct {
		name    string
		behave  mailtest.Behaviour
		state   outbox.State
		code    int
		taken   int // messages the server did take
		says    string
		commits int
	}{
		{"recipient refused", mailtest.RefuseRcpt, outbox.Refused, 550, 0, "being given recipient 1 of 1 (it says: 550 5.1.1 no such mailbox here); mend the address or the message, and approve it again", 0},
		{"sender refused", mailtest.RefuseSender, outbox.Refused, 550, 0, "being given the sender (it says: 550 5.7.1 sender not allowed)", 0},
		{"greylisted", mailtest.BusyRcpt, outbox.Later, 451, 0, "greylisted, come back); we try again by ourselves", 0},
		{"busy at the door", mailtest.BusyGreeting, outbox.Later, 421, 0, "try again later); we try again by ourselves", 0},
		{"content refused", mailtest.RefuseData, outbox.Refused, 554, 0, "taking the message (it says: 554 5.7.1 content not wanted)", 1},
		{"disk full", mailtest.BusyData, outbox.Later, 451, 0, "disk full for now", 1},
		{"cut before the dot", mailtest.CutBeforeDot, outbox.Later, 0, 0, "was cut while being given the message; we try again by ourselves", 1},
		{"cut after the dot", mailtest.CutAfterDot, outbox.Uncertain, 0, 1, "was given the whole message and did not answer, so it may have left; look for it in the Sent folder and settle it by hand", 1},
		{"silent after the dot", mailtest.SilentAfterDot, outbox.Uncertain, 0, 1, "did not answer, so it may have left", 1},
		{"silent", mailtest.Silent, outbox.Later, 0, 0, "does not answer while waiting for its greeting (waited", 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			k := mailtest.SMTP(t, row.behave)
			c := config(k, "none")
			if row.behave == mailtest.Silent || row.behave == mailtest.SilentAfterDot {
				c.CommandTimeout, c.AnswerTimeout = 300*time.Millisecond, 300*time.Millisecond
			}
			// Larger than what the kernels hold, so that a cut is felt while writing.
			body := "x\r\n"
			if row.behave == mailtest.CutBeforeDot {
				body = strings.Repeat(strings.Repeat("x", 70)+"\r\n", 400000)
			}
			commits := 0
			m := message(reply(body))
			m.Commit = func(context.Context) error { commits++; return nil }
			out := send(t, k, c, m)
			if out.State != row.state || out.Code != row.code || commits != row.commits || len(k.Delivered()) != row.taken {
				t.Fatalf("%+v, %d commits, %d taken", out, commits, len(k.Delivered()))
			}
			if !strings.Contains(sentence(out), row.says) {
				t.Fatalf("says %q", sentence(out))
			}
		})
	}
}

func TestAllRecipientsOrNobody(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.RefuseLast)
	m := message(reply("x\r\n"))
	m.To = append(m.To, "gone@example.net")
	if out := send(t, k, config(k, "none"), m); out.State != outbox.Refused || len(k.Delivered()) != 0 {
		t.Fatalf("%+v", out)
	}
}

func TestUncommittedIsNotSent(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept)
	full := errors.New("disk full")
	m := message(reply("x\r\n"))
	m.Commit = func(context.Context) error { return full }
	out := send(t, k, config(k, "none"), m)
	if out.State != outbox.Later || !errors.Is(out.Err, full) || len(k.Delivered()) != 0 {
		t.Fatalf("%+v", out)
	}
}

// Told to stop: before the dot nothing leaves; after it the answer still counts.
func TestStopping(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept)
	ctx, cancel := context.WithCancel(t.Context())
	m := message(reply("x\r\n"))
	m.Commit = func(context.Context) error { cancel(); return nil }
	out := outbox.Send(ctx, config(k, "none"), mailtest.Password(t, k.User, k.Password), m, quiet)
	if out.State != outbox.Later || len(k.Delivered()) != 0 || !errors.Is(out.Err, context.Canceled) {
		t.Fatalf("%+v", out)
	}
	slow := mailtest.SMTP(t, mailtest.SlowAnswer)
	ctx, cancel = context.WithCancel(t.Context())
	slow.OnData(cancel)
	out = outbox.Send(ctx, config(slow, "none"), mailtest.Password(t, slow.User, slow.Password), message(reply("x\r\n")), quiet)
	if out.State != outbox.Sent || ctx.Err() == nil {
		t.Fatalf("%+v (context %v)", out, ctx.Err())
	}
}

func TestServersLimits(t *testing.T) {
	small := mailtest.SMTP(t, mailtest.Accept, mailtest.MaxBytes(1000))
	out := send(t, small, config(small, "none"), message(reply(strings.Repeat("0123456789\r\n", 100))))
	if out.State != outbox.Refused || !strings.Contains(sentence(out), "takes at most 1000") {
		t.Errorf("%+v", out)
	}
	ok := reply("short\r\n")
	if out := send(t, small, config(small, "none"), message(ok)); out.State != outbox.Sent || small.Delivered()[0].Size != int64(len(ok)) {
		t.Errorf("%+v, announced %d of %d (RFC 1870)", out, small.Delivered()[0].Size, len(ok))
	}
	plain := mailtest.SMTP(t, mailtest.Accept)
	m := message(reply("x\r\n"))
	m.To = []string{"größe@example.org"}
	if out := send(t, plain, config(plain, "none"), m); out.State != outbox.Refused || !strings.Contains(sentence(out), "ask the patron for another address") {
		t.Errorf("%+v", out)
	}
	modern := mailtest.SMTP(t, mailtest.Accept, mailtest.UTF8())
	if out := send(t, modern, config(modern, "none"), m); out.State != outbox.Sent || !modern.Delivered()[0].UTF8 || modern.Delivered()[0].To[0] != "größe@example.org" {
		t.Errorf("%+v", out)
	}
	m.To = []string{"ana@büro.example"} // a domain alone needs no SMTPUTF8: RFC 5890 A-labels
	if out := send(t, plain, config(plain, "none"), m); out.State != outbox.Sent || plain.Delivered()[0].To[0] != "ana@xn--bro-hoa.example" {
		t.Errorf("%+v %v", out, plain.Delivered())
	}
}

func TestWrongPasswordIsNotTheDraftsFault(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept)
	out := outbox.Send(t.Context(), config(k, "none"), mailtest.Password(t, k.User, "no"), message(reply("x\r\n")), quiet)
	if out.State != outbox.Later || !strings.Contains(sentence(out), "does not let us in with the password of print@larkfield.example") ||
		!strings.Contains(sentence(out), "check user and secret under [smtp.credential]") {
		t.Fatalf("%+v", out)
	}
}

// The encryption that is asked for is had, or nothing is said.
func TestNoSecretGoesInTheClear(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept)
	out := send(t, k, config(k, "starttls"), message(reply("x\r\n")))
	if out.State != outbox.Later || !strings.Contains(sentence(out), "does not encrypt on this port") {
		t.Errorf("%+v", out)
	}
	c := config(k, "none")
	c.Host = "192.0.2.1" // RFC 5737
	out = send(t, k, c, message(reply("x\r\n")))
	if out.State != outbox.Later || !strings.Contains(sentence(out), `the connection to 192.0.2.1:`) || !strings.Contains(sentence(out), `set tls = "tls" or "starttls" under [smtp]`) {
		t.Errorf("%+v", out)
	}
	strange := mailtest.SMTP(t, mailtest.Accept, mailtest.Encrypt(t))
	c = config(strange, "starttls")
	c.CAFile = ""
	out = send(t, strange, c, message(reply("x\r\n")))
	if out.State != outbox.Later || !strings.Contains(sentence(out), "signed by nobody we know; name the signing authority in ca_file under [smtp]") {
		t.Errorf("%+v", out)
	}
}

func TestOtherFormIsRefused(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept)
	for name, raw := range map[string][]byte{
		"bare LF": bytes.ReplaceAll(reply("x\r\n"), []byte("\r\n"), []byte("\n")),
		"bare CR": reply("a\rb\r\n"),
		"Bcc":     append([]byte("Bcc: boss@example.org\r\n"), reply("x\r\n")...),
		"no end":  reply("x"),
		"no id":   bytes.Replace(reply("x\r\n"), []byte("Message-ID"), []byte("X-Other-ID"), 1),
	} {
		if out := send(t, k, config(k, "none"), message(raw)); out.State != outbox.Refused || out.Err == nil {
			t.Errorf("%s: %+v", name, out)
		}
	}
	for _, to := range [][]string{nil, {"no address"}, {"a@b\r\nRCPT TO:<x@y.example>"}, {"@"}, {"a@"}} {
		m := message(reply("x\r\n"))
		m.To = to
		if out := send(t, k, config(k, "none"), m); out.State != outbox.Refused {
			t.Errorf("%q: %+v", to, out)
		}
	}
	if len(k.Delivered()) != 0 {
		t.Fatal("something left")
	}
}

func TestProbe(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept, mailtest.Encrypt(t), mailtest.MaxBytes(5000))
	lines := outbox.Probe(t.Context(), config(k, "starttls"), mailtest.Password(t, k.User, k.Password), quiet)
	if len(lines) != 2 || !lines[0].OK || !strings.Contains(english.Say(lines[0].Text), "(encrypted)") || !strings.Contains(english.Say(lines[1].Text), "up to 5000 octets") {
		t.Errorf("%+v", lines)
	}
	lines = outbox.Probe(t.Context(), config(k, "starttls"), mailtest.Password(t, k.User, "no"), quiet)
	if len(lines) != 1 || lines[0].OK {
		t.Errorf("%+v", lines)
	}
	none, err := credential.New(credential.Config{Kind: "none"}, func(string) string { return "" }, quiet)
	if err != nil {
		t.Fatal(err)
	}
	lines = outbox.Probe(t.Context(), config(k, "starttls"), none, quiet)
	if len(lines) != 3 || !lines[1].Warn {
		t.Errorf("%+v", lines)
	}
	if len(k.Delivered()) != 0 {
		t.Error("a probe sent mail")
	}
}

func TestLogMasksAddresses(t *testing.T) {
	var log strings.Builder
	l := slog.New(slog.NewTextHandler(&log, nil))
	l.Info("send refused", "outcome", outbox.Outcome{State: outbox.Refused, Code: 550, Words: "5.1.1 <ana.brook@example.org>: no such user",
		Err: fmt.Errorf("refused ana.brook@example.org")})
	if s := log.String(); strings.Contains(s, "brook") || strings.Count(s, "a***@example.org") != 2 {
		t.Fatal(s)
	}
}
