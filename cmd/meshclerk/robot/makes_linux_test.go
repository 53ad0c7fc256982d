package robot

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/reply/outbox"
)

// box is a shared mailbox on a server of any make.
type box interface {
	Config(tls string) mailbox.Config
	Source() credential.Source
	Deliver(raw []byte)
	Messages(folder string) []mailtest.Message
	MoveAs(from, holding, to string) int
}

// The whole path, from a letter to the third reply, on servers of other makes:
// real delivery, staff who move drafts in a mail program, sending with STARTTLS
// and a password, and the patron's answers to what really arrived.
func TestThreeRepliesOverOtherServers(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts six servers")
	}
	for name, make := range map[string]struct {
		box func(testing.TB) box
		mta func(testing.TB) *mailtest.MTA
	}{
		"dovecot and postfix": {func(t testing.TB) box { return mailtest.Dovecot(t) }, mailtest.Postfix},
		"cyrus and exim":      {func(t testing.TB) box { return mailtest.Cyrus(t) }, mailtest.Exim},
		"courier and postfix": {func(t testing.TB) box { return mailtest.Courier(t) }, mailtest.Postfix},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			v := &visit{house: newBareHouse(t), box: make.box(t), mta: make.mta(t)}
			v.connect()
			v.agree()
			v.probe()
			v.box.Deliver(request(t, "clip"))
			v.once()
			v.replies("quote", job.Quoted)
			v.says("Thank you. Could I have two of them instead of one?")
			v.replies("changed-quote", job.Quoted)
			v.says("Yes please, go ahead.")
			v.replies("accepted", job.Agreed)
			v.looks(2)
			v.mta.Await(3)
			v.leftInOrder()
			v.whole()
		})
	}
}

// visit is one conversation on other servers.
type visit struct {
	*house
	box  box
	mta  *mailtest.MTA
	sent [][]byte // as they arrived
	said int
}

func newBareHouse(t *testing.T) *house {
	t.Helper()
	h := &house{t: t, log: &bytes.Buffer{}}
	l, err := ledger.Open(t.Context(), t.TempDir(), nil, h.now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	h.Robot = underDefaults(l, slog.New(slog.NewTextHandler(h.log, nil)), h.now)
	return h
}

func (v *visit) connect() {
	quiet := slog.New(slog.DiscardHandler)
	config, source := v.box.Config("starttls"), v.box.Source()
	v.Dial = func(ctx context.Context) (Mail, error) { return mailbox.Dial(ctx, config, source, quiet) }
	smtp, word := outbox.Config{Config: v.mta.Config()}, v.mta.Source()
	v.Send = func(ctx context.Context, m outbox.Message) outbox.Outcome {
		return outbox.Send(ctx, smtp, word, m, quiet)
	}
}

// probe proves that the doctor finds nothing to mend, with all rights tried.
func (v *visit) probe() {
	v.t.Helper()
	b := v.Rules.Mailbox
	want := mailbox.Wanted{Inbox: b.Inbox, Folders: []string{b.ToApprove, b.SetAside, b.Approved[0].Folder}, Sent: b.Sent}
	for _, c := range mailbox.Probe(v.t.Context(), v.box.Config("starttls"), v.box.Source(), want, slog.New(slog.DiscardHandler)) {
		if !c.OK {
			v.t.Errorf("the doctor wants mended: %s", c.Text)
		}
	}
}

// replies has a member of staff move the only draft that waits into an approved
// folder, and proves that its very octets arrive.
func (v *visit) replies(kind string, then job.Stage) {
	v.t.Helper()
	d := v.waiting()
	if d.Kind != kind {
		v.t.Fatalf("a letter of the kind %q waits, want %q\n%s", d.Kind, kind, v.log)
	}
	raw, err := v.Ledger.DraftBytes(v.t.Context(), d.ID)
	if err != nil {
		v.t.Fatal(err)
	}
	b := v.Rules.Mailbox
	if n := v.box.MoveAs(b.ToApprove, d.MessageID, b.Approved[0].Folder); n != 1 {
		v.t.Fatalf("%d drafts lay in the to-approve folder, want one\n%s", n, v.log)
	}
	v.once()
	v.sent = v.mta.Await(len(v.sent) + 1)
	if got := v.sent[len(v.sent)-1]; !bytes.HasSuffix(got, raw) {
		v.t.Errorf("what arrived does not end with what was approved:\n%s", got)
	}
	v.wantStage(then)
}

// says has the patron answer what arrived last.
func (v *visit) says(text string) {
	v.t.Helper()
	v.forward(time.Second)
	v.said++
	l, err := sample.Letter{Key: fmt.Sprintf("answer-%d", v.said), FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: "pass", Text: text}.
		Answering(v.sent[len(v.sent)-1])
	if err != nil {
		v.t.Fatal(err)
	}
	raw, err := l.Compose(v.now())
	if err != nil {
		v.t.Fatal(err)
	}
	v.box.Deliver(raw)
	v.once()
}

// leftInOrder proves that Sent has a copy of each reply, that no draft is left
// elsewhere, and that the patron's letters were not touched.
func (v *visit) leftInOrder() {
	v.t.Helper()
	b := v.Rules.Mailbox
	if n := len(v.box.Messages(b.Sent)); n != len(v.sent) {
		v.t.Errorf("%d copies lie in Sent, want %d", n, len(v.sent))
	}
	for _, folder := range []string{b.ToApprove, b.Approved[0].Folder} {
		for _, m := range v.box.Messages(folder) {
			if !m.Has(`\Deleted`) {
				v.t.Errorf("a draft is left in %s: %s", folder, header(m.Raw, "Subject"))
			}
		}
	}
	letters := v.box.Messages(b.Inbox)
	for _, m := range letters {
		if m.Has(`\Seen`) || m.Has(`\Deleted`) {
			v.t.Errorf("a patron's letter was touched: %v", m.Flags)
		}
	}
	if want := v.said + 1; len(letters) != want {
		v.t.Errorf("%d letters lie in the inbox, want %d", len(letters), want)
	}
	if n := v.notices(); len(n) > 0 {
		v.t.Errorf("notices: %s", strings.Join(n, "\n"))
	}
}
