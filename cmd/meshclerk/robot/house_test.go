package robot

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/casework"
	"meshclerk/reply/outbox"
	"meshclerk/rules"
	"meshclerk/templates"
)

// house is one whole installation on real servers, with a clock that a test
// can put forward.
type house struct {
	*Robot
	t    *testing.T
	imap *mailtest.Server
	smtp *mailtest.Sink
	log  *bytes.Buffer

	mu    sync.Mutex
	ahead time.Duration
	wrong time.Duration // how far the machine's clock is off
}

const marisol = "Marisol Teague" // of the built-in rules' staff

func newHouse(t *testing.T) *house {
	t.Helper()
	return newHouseIn(t, t.TempDir())
}

// newHouseIn is a house whose ledger lies in a given folder.
func newHouseIn(t *testing.T, dir string, opts ...mailtest.Option) *house {
	t.Helper()
	h := &house{t: t, imap: mailtest.Dovecot(t, opts...), smtp: mailtest.SMTP(t, mailtest.Accept), log: &bytes.Buffer{}}
	l, err := ledger.Open(t.Context(), dir, nil, h.now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	h.Robot = underDefaults(l, slog.New(slog.NewTextHandler(h.log, nil)), h.now)
	h.Dial = h.dialAt(h.imap.Config("none"))
	h.Send = sender(t, h.smtp)
	h.Elapsed = h.ran
	return h
}

// texts are the built-in reply texts, read once.
var texts = sync.OnceValue(templates.Default)

// underDefaults makes a robot under the built-in rules, without its servers yet.
func underDefaults(l *ledger.Ledger, log *slog.Logger, now func() time.Time) *Robot {
	return &Robot{Office: &casework.Office{Ledger: l, Rules: rules.Default(), Templates: texts(), Domain: "larkfield.example", Log: log, Now: now}}
}

func (h *house) now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return time.Now().Add(h.ahead + h.wrong)
}

// ran is how long the program has run, whatever its clock says.
func (h *house) ran() time.Duration {
	h.mu.Lock()
	defer h.mu.Unlock()
	return time.Since(started) + h.ahead
}

// misset puts the machine's clock off by d, while no time goes by.
func (h *house) misset(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.wrong = d
}

// forward puts the clock ahead, past every wait before a next try.
func (h *house) forward(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.ahead += d
}

func (h *house) dialAt(c mailbox.Config) func(context.Context) (Mail, error) {
	source := mailtest.Password(h.t, h.imap.User, h.imap.Password)
	return func(ctx context.Context) (Mail, error) {
		return mailbox.Dial(ctx, c, source, slog.New(slog.DiscardHandler))
	}
}

func sender(t testing.TB, sink *mailtest.Sink) func(context.Context, outbox.Message) outbox.Outcome {
	c := outbox.Config{Config: mailbox.Config{Host: sink.Host, Port: sink.Port, TLS: "none", CommandTimeout: 5 * time.Second, Table: "smtp"}, AnswerTimeout: 5 * time.Second}
	source := mailtest.Password(t, sink.User, sink.Password)
	return func(ctx context.Context, m outbox.Message) outbox.Outcome {
		return outbox.Send(ctx, c, source, m, slog.New(slog.DiscardHandler))
	}
}

// once polls and works until nothing is due.
func (h *house) once() {
	h.t.Helper()
	if err := h.Once(h.t.Context()); err != nil {
		h.t.Fatal(err)
	}
}

// agree puts the sample register on file.
func (h *house) agree(entries ...agreement.Entry) {
	h.t.Helper()
	if len(entries) == 0 {
		entries = sample.Agreements(h.now(), h.Rules.Agreement)
	}
	if _, err := h.Ledger.UpsertAgreements(h.t.Context(), entries, "test", ""); err != nil {
		h.t.Fatal(err)
	}
}

// request is a letter that can be quoted, from a patron with an agreement.
func request(t testing.TB, key string) []byte {
	t.Helper()
	var stl bytes.Buffer
	if err := mesh.WriteSTL(&stl, shapes.Box(20, 20, 10)); err != nil {
		t.Fatal(err)
	}
	l := sample.Letter{Key: key, FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: "pass",
		Subject: "Please print " + key, Text: "Hello,\n\nplease print one in blue. I collect it at Millbrook.\n\nAmara\n",
		Files: []sample.File{{Name: key + ".stl", MediaType: "model/stl", Data: stl.Bytes()}}}
	raw, err := l.Compose(time.Now().Add(-time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func (h *house) jobs() []job.Job {
	h.t.Helper()
	rows, err := h.Ledger.Jobs(h.t.Context(), ledger.Filter{})
	if err != nil {
		h.t.Fatal(err)
	}
	var out []job.Job
	for _, row := range rows {
		j, err := h.Ledger.Job(h.t.Context(), row.ID)
		if err != nil {
			h.t.Fatal(err)
		}
		out = append(out, j)
	}
	return out
}

// oneJob gives the only job there is.
func (h *house) oneJob() job.Job {
	h.t.Helper()
	all := h.jobs()
	if len(all) != 1 {
		h.t.Fatalf("%d jobs, want one\n%s", len(all), h.log)
	}
	return all[0]
}

func (h *house) drafts(states ...ledger.DraftState) []ledger.Draft {
	h.t.Helper()
	list, err := h.Ledger.Drafts(h.t.Context(), ledger.DraftFilter{States: states})
	if err != nil {
		h.t.Fatal(err)
	}
	return list
}

// waiting gives the only draft that waits.
func (h *house) waiting() ledger.Draft {
	h.t.Helper()
	list := h.drafts(ledger.DraftWaiting)
	if len(list) != 1 {
		h.t.Fatalf("%d drafts wait, want one\n%s", len(list), h.log)
	}
	return list[0]
}

func (h *house) notices() []string {
	h.t.Helper()
	all, err := h.Ledger.Notices(h.t.Context(), false)
	if err != nil {
		h.t.Fatal(err)
	}
	var out []string
	for _, n := range all {
		out = append(out, string(n.Kind)+": "+h.Say(n.Text))
	}
	return out
}

// whole proves the ledger.
func (h *house) whole() {
	h.t.Helper()
	problems, err := h.Ledger.Verify(h.t.Context())
	if err != nil || len(problems) > 0 {
		h.t.Errorf("the ledger is not whole: %v %v", problems, err)
	}
}

func (h *house) wantStage(want job.Stage) {
	h.t.Helper()
	if got := h.oneJob().Stage; got != want {
		h.t.Errorf("the job is %s, want %s\n%s", got, want, h.log)
	}
}

func (h *house) wantDelivered(n int) []mailtest.Delivery {
	h.t.Helper()
	got := h.smtp.Delivered()
	if len(got) != n {
		h.t.Fatalf("%d messages left, want %d\n%s", len(got), n, h.log)
	}
	return got
}

// folders tells how many messages lie in each folder that is not empty.
func (h *house) folders() string {
	var out []string
	b := h.Rules.Mailbox
	for _, f := range []string{b.Inbox, b.ToApprove, b.Approved[0].Folder, b.SetAside, b.Sent} {
		if n := len(h.imap.Messages(f)); n > 0 {
			out = append(out, fmt.Sprintf("%s:%d", f, n))
		}
	}
	return strings.Join(out, " ")
}
