package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

// talks plays conversations to the end: a patron answers what really arrived,
// staff approve, print and hand over.
func (d *demo) talks(w io.Writer) error {
	for _, play := range []func(*talk) error{changesHerMind, signsFirst} {
		if err := play(&talk{demo: d, w: w}); err != nil {
			return err
		}
	}
	return d.ctx.Err()
}

// talk is one conversation that is played.
type talk struct {
	*demo
	w                  io.Writer
	key, name, address string
	turns              int
}

// The demo's staff, of the built-in rules.
const (
	demoClerk   = "Marisol Teague"
	demoPrinter = "Owen Dufresne"
)

// changesHerMind goes from a quote to two instead of one, a yes, and the pickup.
func changesHerMind(t *talk) error {
	t.begin("good", "Amara Okafor", "amara.okafor@example.org")
	for _, turn := range []func() error{
		t.letter,
		func() error { return t.patron("Thank you. Could I have two of them instead of one?") },
		t.letter,
		func() error { return t.patron("Yes please, go ahead.") },
		t.letter,
		func() error { return t.print(1.08) },
		t.letter,
		t.call,
		t.handOver,
	} {
		if err := turn(); err != nil {
			return err
		}
	}
	return nil
}

// signsFirst goes through a missing agreement, a failed print and a second try.
func signsFirst(t *talk) error {
	t.begin("no-agreement", "Tomas Lindgren", "tomas.lindgren@example.net")
	for _, turn := range []func() error{
		t.letter,
		func() error {
			return t.patron("Here is the signed agreement. I will pick them up at Central.", sample.File{Name: "agreement.pdf", MediaType: "application/pdf", Data: []byte("%PDF-1.4\n% a signed form\n%%EOF\n")})
		},
		t.sign,
		t.letter,
		func() error { return t.patron("Yes, please print them.") },
		t.letter,
		t.spoil,
		t.letter,
		func() error { return t.print(0.97) },
		t.letter,
		t.handOver,
	} {
		if err := turn(); err != nil {
			return err
		}
	}
	return nil
}

func (t *talk) begin(key, name, address string) {
	t.key, t.name, t.address = key, name, address
	fmt.Fprintf(t.w, "\nA whole conversation: %s\n", name)
}

// say writes one line of the conversation.
func (t *talk) say(who, format string, args ...any) {
	t.show.done()
	t.turns++
	fmt.Fprintf(t.w, "  %-8s %s\n", who, plain.OneLine(fmt.Sprintf(format, args...)))
}

// job is the patron's job that is not at its end.
func (t *talk) job() (job.Job, error) {
	rows, err := t.ledger.Jobs(t.ctx, ledger.Filter{Patron: t.address, Open: true})
	if err != nil {
		return job.Job{}, err
	}
	for _, row := range rows {
		if row.Auth == job.Pass { // not the letter that somebody sent in the patron's name
			return t.ledger.Job(t.ctx, row.ID)
		}
	}
	return job.Job{}, fmt.Errorf("the demo's conversation with %s has lost its job", t.name)
}

// letter lets a person approve the reply that waits for this patron, and has it sent.
func (t *talk) letter() error {
	j, err := t.job()
	if err != nil {
		return err
	}
	waiting, err := t.ledger.Drafts(t.ctx, ledger.DraftFilter{Job: j.ID, States: []ledger.DraftState{ledger.DraftWaiting}})
	if err != nil {
		return err
	}
	if len(waiting) != 1 {
		return fmt.Errorf("%d replies wait for %s in the demo's conversation, not one; the job is %s", len(waiting), t.name, j.Stage)
	}
	d := waiting[0]
	if err := t.bot.Approve(t.ctx, d.ID, d.SHA256, demoClerk, ledger.ViaCommand); err != nil {
		return err
	}
	if err := t.bot.Once(t.ctx); err != nil {
		return err
	}
	t.say("library", "%s (%s, %s; approved by %s)", d.Subject, d.Kind, price(j.Report), demoClerk)
	return nil
}

// patron answers the last message that reached this patron.
func (t *talk) patron(text string, files ...sample.File) error {
	got := t.servers.Delivered()
	i := len(got) - 1
	for i >= 0 && !slices.Contains(got[i].To, t.address) {
		i--
	}
	if i < 0 {
		return fmt.Errorf("no message has reached %s in the demo's conversation", t.name)
	}
	l, err := sample.Letter{Key: fmt.Sprintf("%s-answer-%d", t.key, t.turns), FromName: t.name, FromAddress: t.address, DMARC: "pass", Text: text, Files: files}.Answering(got[i].Raw)
	if err != nil {
		return err
	}
	raw, err := l.Compose(time.Now())
	if err != nil {
		return err
	}
	if err := t.servers.Deliver(raw); err != nil {
		return err
	}
	t.say("patron", "%s", strings.TrimSpace(text+attached(files)))
	return t.bot.Once(t.ctx)
}

func attached(files []sample.File) string {
	var names []string
	for _, f := range files {
		names = append(names, "["+f.Name+"]")
	}
	return " " + strings.Join(names, " ")
}

// sign records the agreement that came as a file.
func (t *talk) sign() error {
	entry := agreement.Entry{Address: t.address, Name: t.name, Card: "2900 3310 7745 2", Signed: time.Now().Format(time.DateOnly), Version: t.rules.Agreement.Current}
	if _, err := t.ledger.UpsertAgreements(t.ctx, []agreement.Entry{entry}, demoClerk, "the form came by mail"); err != nil {
		return err
	}
	t.say("staff", "%s looks at the form and records the agreement", demoClerk)
	return t.bot.Once(t.ctx)
}

// print prints the job; it takes that many times what was estimated.
func (t *talk) print(times float64) error {
	j, err := t.job()
	if err != nil {
		return err
	}
	if j.Report == nil || j.Report.Estimate == nil {
		return fmt.Errorf("%s has no estimate in the demo's conversation", j.ID)
	}
	e := j.Report.Estimate
	if err := t.bot.Assign(t.ctx, j.ID, e.Printer, demoPrinter); err != nil {
		return err
	}
	if err := t.bot.Start(t.ctx, j.ID, demoPrinter); err != nil {
		return err
	}
	took := casework.Spent{Hours: times * e.PrintTimeS / 3600, Grams: e.MassG}
	if err := t.bot.Printed(t.ctx, j.ID, took, demoPrinter); err != nil {
		return err
	}
	t.say("staff", "%s prints %s on %s: %.1f hours, %.0f g", demoPrinter, j.ID, e.Printer, took.Hours, took.Grams)
	return t.bot.Once(t.ctx)
}

// spoil lets a print fail.
func (t *talk) spoil() error {
	j, err := t.job()
	if err != nil {
		return err
	}
	why := "it came loose from the plate"
	if err := t.bot.PrintFailed(t.ctx, j.ID, casework.Spent{Hours: 0.5, Grams: 3}, demoPrinter, why); err != nil {
		return err
	}
	t.say("staff", "the print of %s failed: %s", j.ID, why)
	return t.bot.Once(t.ctx)
}

// call tells that a patron who gave a number is called.
func (t *talk) call() error {
	calls, err := callsOf(t.env, t.ledger)
	if err != nil {
		return err
	}
	for _, c := range calls {
		t.say("staff", "calls %s about %s", c.Phone, c.Job)
	}
	return nil
}

// handOver ends the conversation at the counter.
func (t *talk) handOver() error {
	j, err := t.job()
	if err != nil {
		return err
	}
	paid := "0"
	if j.Report != nil && j.Report.Quote != nil {
		paid = j.Report.Quote.Total
	}
	quoted, err := t.bot.Collected(t.ctx, j.ID, paid, demoClerk)
	if err != nil {
		return err
	}
	t.say("staff", "%s is collected; %s %s was paid to %s", j.ID, paid, quoted.Currency, demoClerk)
	return nil
}
