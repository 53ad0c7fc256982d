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

	"meshclerk/intake/job"
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
			return later(&job.Fault{Message: job.Say("servers.not-recorded", job.Args{"why": job.Why(err)}), Err: err})
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
	server := c.config.Server()
	_, limit := c.smtp.Extension("SIZE") // RFC 1870
	if n, err := strconv.Atoi(limit); err == nil && n > 0 && size > n {
		return c.config.Fault(job.Say("servers.too-large", job.Args{"octets": size, "server": server, "most": n}), nil)
	}
	if ok, _ := c.smtp.Extension("SMTPUTF8"); e.utf8 && !ok { // RFC 6531
		return c.config.Fault(job.Say("servers.plain-addresses", job.Args{"server": server}), nil)
	}
	if ok, _ := c.smtp.Extension("8BITMIME"); e.bit8 && !ok { // RFC 6152
		return c.config.Fault(job.Say("servers.plain-text", job.Args{"server": server}), nil)
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
		return c.before(ctx, job.Say("servers.doing.sender", nil), err)
	}
	for i, to := range e.to {
		if err := c.smtp.Rcpt(to); err != nil {
			return c.before(ctx, job.Say("servers.doing.recipient", job.Args{"which": i + 1, "of": len(e.to)}), err)
		}
	}
	return nil
}

// body writes the message, without the final dot. However it fails, nothing has left.
func (c *client) body(ctx context.Context, raw []byte) (io.WriteCloser, *Outcome) {
	data, err := c.smtp.Data()
	if err != nil {
		return nil, c.before(ctx, job.Say("servers.doing.offered", nil), err)
	}
	_, err = data.Write(raw)
	if err == nil {
		err = c.smtp.Text.W.Flush()
	}
	if err == nil {
		err = c.early()
	}
	if err != nil {
		return nil, c.before(ctx, job.Say("servers.doing.message", nil), err)
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
func (c *client) before(ctx context.Context, doing job.Message, err error) *Outcome {
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
		return Outcome{State: Uncertain, Err: c.config.Fault(job.Say("servers.no-answer", job.Args{"server": c.config.Server()}), err)}
	}
	out := Outcome{Code: answer.Code, Words: words(answer.Msg), Err: c.refusal(job.Say("servers.doing.taking", nil), answer)}
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
