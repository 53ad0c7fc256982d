package outbox

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/textproto"
	"os"
	"strconv"
	"strings"

	"github.com/emersion/go-sasl"
	"github.com/wneessen/go-mail/smtp"

	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/mailbox/wire"
)

// Source is what we sign in with.
type Source = credential.Source

// client is one signed-in connection to the sending server.
type client struct {
	config Config
	raw    *wire.Conn
	smtp   *smtp.Client
	log    *slog.Logger
}

// connect dials, encrypts and signs in. Nothing of a message has left when it fails.
func connect(ctx context.Context, config Config, source Source, log *slog.Logger) (*client, error) {
	raw, conn, err := wire.Dial(ctx, config.Config)
	if err != nil {
		return nil, err
	}
	c := &client{config: config, raw: raw, log: log}
	stop := context.AfterFunc(ctx, func() { raw.Close() })
	defer stop()
	if err = c.greet(ctx, conn); err == nil {
		err = c.signIn(ctx, source)
	}
	if err != nil {
		raw.Close()
		return nil, err
	}
	return c, nil
}

// greet waits for the server's greeting, says hello, and encrypts where it is to.
func (c *client) greet(ctx context.Context, conn net.Conn) (err error) {
	if c.smtp, err = smtp.NewClient(conn, c.config.Host); err != nil {
		return c.fault(ctx, job.Say("servers.doing.greeting", nil), err)
	}
	c.smtp.SkipSMTPUTF8(true) // only asked for where an address needs it
	if err := c.smtp.Hello(c.hello()); err != nil {
		return c.fault(ctx, job.Say("servers.doing.hello", nil), err)
	}
	if c.config.TLS != wire.StartTLS {
		return nil
	}
	if ok, _ := c.smtp.Extension("STARTTLS"); !ok {
		return c.config.Fault(job.Say("servers.smtp-no-starttls", job.Args{"server": c.config.Server()}), nil)
	}
	config, err := c.config.ClientTLS()
	if err != nil {
		return err
	}
	if err := c.smtp.StartTLS(config); err != nil {
		return c.fault(ctx, job.Say("servers.doing.encryption", nil), err)
	}
	return nil
}

// hello is the name to greet with. RFC 5321, 4.1.4: a machine without a full
// name gives its address instead.
func (c *client) hello() string {
	name := c.config.Hello
	if name == "" {
		name, _ = os.Hostname()
	}
	if strings.Contains(name, ".") && !strings.ContainsAny(name, " \t\r\n") {
		return name
	}
	if addr, ok := c.raw.LocalAddr().(*net.TCPAddr); ok && addr.IP.To4() != nil {
		return "[" + addr.IP.String() + "]"
	}
	return "localhost"
}

func (c *client) mechanisms() []string {
	_, list := c.smtp.Extension("AUTH")
	return strings.Fields(list)
}

func (c *client) signIn(ctx context.Context, source Source) error {
	if credential.Anonymous(source) {
		return nil
	}
	exchange, err := source.SASL(ctx, c.config.Host, c.config.Port, c.mechanisms())
	if err != nil {
		return &job.Fault{Message: job.Say("servers.no-proof", job.Args{"server": c.config.Server(), "why": job.Why(err)}), Err: err}
	}
	err = c.smtp.Auth(&authenticator{Client: exchange})
	answer, no := errors.AsType[*textproto.Error](err)
	if !no {
		return c.fault(ctx, job.Say("servers.doing.signing-in", nil), err)
	}
	source.Rejected()
	mend := job.Say("servers.mend.smtp-secret", nil)
	if answer.Code/100 == 4 {
		mend = job.Say("servers.mend.again", nil)
	}
	e := c.config.Fault(job.Say("servers.no-sign-in", job.Args{"server": c.config.Server(), "with": source.With(), "words": said(answer), "mend": mend}), err)
	e.Temporary = answer.Code/100 == 4
	return e
}

// authenticator lets the SMTP library drive a SASL exchange.
type authenticator struct{ sasl.Client }

func (a *authenticator) Start(*smtp.ServerInfo) (string, []byte, error) { return a.Client.Start() }

func (a *authenticator) Next(challenge []byte, more bool) ([]byte, error) {
	if !more {
		return nil, nil
	}
	return a.Client.Next(challenge)
}

// fault turns an error before the message into one for a person.
func (c *client) fault(ctx context.Context, doing job.Message, err error) error {
	if err == nil {
		return nil
	}
	if answer, ok := errors.AsType[*textproto.Error](err); ok {
		return c.refusal(doing, answer)
	}
	if ctx.Err() == nil && c.raw.Silent() {
		return c.config.Silence(doing, err)
	}
	return c.config.Explain(ctx, doing, err)
}

func (c *client) refusal(doing job.Message, answer *textproto.Error) *wire.Error {
	passing := answer.Code/100 == 4
	mend := job.Say("servers.mend.message", nil)
	switch {
	case passing:
		mend = job.Say("servers.mend.again", nil)
	case ours(answer.Code):
		mend = job.Say("servers.mend.sending", nil)
	}
	e := c.config.Fault(job.Say("servers.said-no", job.Args{"server": c.config.Server(), "doing": doing, "words": said(answer), "mend": mend}), answer)
	e.Temporary = passing
	return e
}

// ours says whether a permanent no is about how we came (RFC 4954, 6), and not
// about the message.
func ours(code int) bool {
	switch code {
	case 500, 502, 503, 530, 534, 535, 538:
		return true
	}
	return false
}

// said is the server's answer, as it came.
func said(answer *textproto.Error) string {
	return strings.TrimSpace(strconv.Itoa(answer.Code) + " " + words(answer.Msg))
}

// words are the server's own, on one line and bounded.
func words(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if len(s) > 300 {
		s = strings.ToValidUTF8(s[:300], "") + "…"
	}
	return s
}
