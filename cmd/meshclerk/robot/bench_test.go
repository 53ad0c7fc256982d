//go:build unix

package robot

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
)

// BenchmarkThousandLetters takes and reads 1,000 letters of 50 KB without meshes
// from a real IMAP server, the way the running robot does.
func BenchmarkThousandLetters(b *testing.B) {
	for range b.N {
		b.StopTimer()
		imap := mailtest.Dovecot(b)
		filler := strings.Repeat("The quick brown fox asks about opening hours, at length. ", 850)
		for i := range 1000 {
			l := sample.Letter{Key: fmt.Sprintf("n%d", i), FromName: "Rosa Vidal", FromAddress: "rosa.vidal@example.net", DMARC: "pass", Subject: "Opening hours", Text: "Hello,\n\n" + filler + fmt.Sprint(i)}
			raw, err := l.Compose(time.Now())
			if err != nil {
				b.Fatal(err)
			}
			imap.Deliver(raw)
		}
		l, err := ledger.Open(b.Context(), b.TempDir(), nil, nil)
		if err != nil {
			b.Fatal(err)
		}
		r := underDefaults(l, slog.New(slog.DiscardHandler), time.Now)
		c := mortal{IMAPPort: imap.Port, IMAPUser: imap.User, IMAPPassword: imap.Password, SMTPUser: "nobody"}
		if err := c.connect(r, r.Log); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		if err := r.Once(b.Context()); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		letters, err := l.Letters(b.Context(), 2000)
		if err != nil || len(letters) != 1000 {
			b.Fatalf("%d letters, %v", len(letters), err)
		}
		l.Close()
		b.StartTimer()
	}
}
