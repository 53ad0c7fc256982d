package main

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"net/mail"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/reply/outbox"
)

type sayer struct{ who string }

func (s sayer) LogValue() slog.Value {
	return slog.GroupValue(slog.String("who", s.who), slog.Any("why", errors.New("no "+s.who)))
}

// TestLogMasksWhatever: no address reaches the log, whatever it comes in: a text, an
// error, an error within errors, a value of its own, a group, the message itself.
func TestLogMasksWhatever(t *testing.T) {
	for _, address := range []string{
		"amara.okafor@example.org", "AMARA.Okafor+print@Example.org", "o'neil@example.org", "a/b=c!d#e{f}@example.org",
		"éva.körös@exämple.org", "andre\u0301@example.org", `"amara. okafor"@example.org`, `"amara \"x\" okafor"@example.org`, "amara@[192.0.2.1]", "amara_okafor@localhost",
	} {
		cause := fmt.Errorf("the server says: 550 <%s> is unknown", address)
		var b bytes.Buffer
		log := newLog(&b).With("of", address).WithGroup("deep")
		log.Info("taken from "+address, "from", address, "why", cause, "all", errors.Join(cause, errors.New("and again")), "quoted", fmt.Errorf("%q is no address", address),
			"list", []string{"x", address}, "struct", struct{ A mail.Address }{mail.Address{Name: "Pat", Address: address}}, "group", sayer{address},
			slog.Group("more", "to", address, "when", time.Unix(0, 0), "n", 3), "pointer", &mail.Address{Address: address}, "map", map[string]string{address: address})
		local := strings.Trim(address[:strings.LastIndexByte(address, '@')], `"`)
		for _, word := range []string{local, "kafor", "neil", "körös", "okafor"} {
			if strings.Contains(address, word) && strings.Contains(strings.ToLower(b.String()), strings.ToLower(word)) {
				t.Errorf("%s: the log says %q:\n%s", address, word, b.String())
			}
		}
		if got := (maskedError{cause}).Error(); strings.Contains(got, local) || !errors.Is(maskedError{cause}, cause) {
			t.Errorf("the last error says %s", got)
		}
	}
	var b bytes.Buffer
	newLog(&b).Info("job checked", "job", "LP-000001", "at", "127.0.0.1:8080", "why", errors.New("disk full"), "n", 3)
	if got := b.String(); !strings.Contains(got, `msg="job checked" job=LP-000001 at=127.0.0.1:8080 why="disk full" n=3`) {
		t.Errorf("what is no address was changed: %s", got)
	}
}

// A fault is in words in the log too, and what is filled into it is masked.
func TestLogSaysFaults(t *testing.T) {
	var b bytes.Buffer
	newLog(&b).Warn("refused", "why", fmt.Errorf("D-000001: %w", job.Refuse(job.Say("faults.not-an-address", job.Args{"given": "ana.brook@example"}))),
		"outcome", outbox.Outcome{State: outbox.Refused, Err: job.Refuse(job.Say("faults.no-header", nil))})
	for _, want := range []string{`D-000001: \"a***@example\" is not an address; mend it`, `outcome.why="the message has no header; it may have been saved empty"`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the log lacks %s:\n%s", want, b.String())
		}
	}
}
