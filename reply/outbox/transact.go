package outbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/textproto"
	"os"
	"strconv"
	"time"

	"meshclerk/intake/mailbox/wire"
)

// transact is one mail transaction (RFC 5321, 3.3).
func (c *client) transact(ctx context.Context, e envelope, m Message) Outcome {
	if err := c.able(e, len(m.Raw)); err != nil {
		return Outcome{State: Refused, Err: err}
	}
	stop := context.AfterFunc(ctx, func() { c.raw.Close() })
	defer stop()
	if out := c.address(ctx, e, len(m.Raw)); out != nil {
		return *out
	}
	if m.Commit != nil {
		if err := m.Commit(ctx); err != nil {
			return later(fmt.Errorf("nothing was sent, since the attempt could not be written down: %w", err))
		}
	}
	data, out := c.body(ctx, m.Raw)
	if out != nil {
		return *out
	}
	stop()
	return c.finish(ctx, data)
}

// able says what of the message this server cannot carry.
func (c *client) able(e envelope, size int) error {
	cannot := func(text, mend string) error {
		return &wire.Error{Server: c.config.Server(), Text: text, Mend: mend}
	}
	_, limit := c.smtp.Extension("SIZE") // RFC 1870
	if n, err := strconv.Atoi(limit); err == nil && n > 0 && size > n {
		return cannot(fmt.Sprintf("the message has %d octets and the mail server %s takes at most %d", size, c.config.Server(), n), "make its pictures smaller, and approve it again")
	}
	if ok, _ := c.smtp.Extension("SMTPUTF8"); e.utf8 && !ok { // RFC 6531
		return cannot(fmt.Sprintf("the mail server %s takes no addresses with other than plain letters", c.config.Server()), "ask the patron for another address")
	}
	if ok, _ := c.smtp.Extension("8BITMIME"); e.bit8 && !ok { // RFC 6152
		return cannot(fmt.Sprintf("the mail server %s takes no 8-bit text", c.config.Server()), "save the draft with quoted-printable text, and approve it again")
	}
	return nil
}

// address gives sender and recipients: all are accepted, or nothing is sent.
func (c *client) address(ctx context.Context, e envelope, size int) *Outcome {
	c.smtp.SkipSMTPUTF8(!e.utf8)
	from := e.from
	if ok, _ := c.smtp.Extension("SIZE"); ok {
		from += fmt.Sprintf(" SIZE=%d", size) // RFC 1870, 6
	}
	if err := c.smtp.Mail(from); err != nil {
		return c.before(ctx, "being given the sender", err)
	}
	for i, to := range e.to {
		if err := c.smtp.Rcpt(to); err != nil {
			return c.before(ctx, fmt.Sprintf("being given recipient %d of %d", i+1, len(e.to)), err)
		}
	}
	return nil
}

// body writes the message, without the final dot. However it fails, nothing has left.
func (c *client) body(ctx context.Context, raw []byte) (io.WriteCloser, *Outcome) {
	data, err := c.smtp.Data()
	if err != nil {
		return nil, c.before(ctx, "being offered the message", err)
	}
	_, err = data.Write(raw)
	if err == nil {
		err = c.smtp.Text.W.Flush()
	}
	if err == nil {
		err = c.early()
	}
	if err != nil {
		return nil, c.before(ctx, "being given the message", err)
	}
	return data, nil
}

// glance is how long we look for a hang-up before the final dot is written.
const glance = 20 * time.Millisecond

// early says whether the server has hung up, or said no, before the end of the
// message: then the dot is never written, and there is no doubt.
func (c *client) early() error {
	c.raw.ArmFor(glance)
	_, err := c.smtp.Text.R.Peek(1)
	c.raw.Arm(0)
	if err == nil {
		_, _, err = c.smtp.Text.ReadResponse(250)
		if err == nil {
			err = errors.New("an answer before the end of the message")
		}
		return err
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		c.raw.Forgive()
		return nil
	}
	return err
}

// before is the outcome of a failure with no final dot written.
func (c *client) before(ctx context.Context, doing string, err error) *Outcome {
	fault := c.fault(ctx, doing, err)
	answer, ok := errors.AsType[*textproto.Error](err)
	if !ok {
		out := later(fault)
		return &out
	}
	out := Outcome{State: Refused, Code: answer.Code, Words: words(answer.Msg), Err: fault}
	if answer.Code/100 != 5 || ours(answer.Code) {
		out.State = Later
	}
	return &out
}

func later(err error) Outcome {
	out := Outcome{State: Later, Err: err}
	if answer, ok := errors.AsType[*textproto.Error](err); ok {
		out.Code, out.Words = answer.Code, words(answer.Msg)
	}
	return out
}

// finish writes the final dot and waits for the answer. From here on only the
// server's own words make it anything else than uncertain.
func (c *client) finish(ctx context.Context, data io.WriteCloser) Outcome {
	c.raw.ArmFor(c.config.AnswerTimeout)
	stop := context.AfterFunc(ctx, func() { c.raw.ArmFor(min(c.config.Grace, c.config.AnswerTimeout)) })
	defer stop()
	err := data.Close()
	if err == nil {
		said := ""
		if d, ok := data.(interface{ ServerResponse() string }); ok {
			said = words(d.ServerResponse())
		}
		c.raw.ArmFor(min(c.config.Timeout(), 5*time.Second))
		c.smtp.Quit() // it has the message; how it says goodbye does not matter
		return Outcome{State: Sent, Code: 250, Words: said}
	}
	answer, ok := errors.AsType[*textproto.Error](err)
	if !ok {
		return Outcome{State: Uncertain, Err: &wire.Error{Server: c.config.Server(), Err: err,
			Text: fmt.Sprintf("the mail server %s was given the whole message and did not answer, so it may have left", c.config.Server()),
			Mend: "look for it in the Sent folder and settle it by hand"}}
	}
	out := Outcome{Code: answer.Code, Words: words(answer.Msg), Err: c.refusal("taking the message", answer)}
	switch answer.Code / 100 {
	case 2: // RFC 5321, 4.2.1: any 2yz is a yes
		return Outcome{State: Sent, Code: answer.Code, Words: out.Words}
	case 4:
		out.State = Later
	case 5:
		out.State = Refused
	default:
		out.State = Uncertain
	}
	return out
}
