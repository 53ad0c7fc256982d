package mailbox

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"

	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/mailbox/wire"
)

// Client is one signed-in connection.
type Client struct {
	config Config
	log    *slog.Logger
	raw    *wire.Conn
	imap   *imapclient.Client
	caps   imap.CapSet
	names  names
	news   chan struct{} // holds one token when the server told of new mail

	selected string // wire name of the open folder, or empty
	validity uint32 // its UIDVALIDITY
	writable bool
	broken   bool
}

// Dial connects and signs in. The context bounds the dialling only.
func Dial(ctx context.Context, config Config, source credential.Source, log *slog.Logger) (*Client, error) {
	if config.Table == "" {
		config.Table = "imap"
	}
	raw, conn, err := wire.Dial(ctx, config)
	if err != nil {
		return nil, err
	}
	c := &Client{config: config, log: log, raw: raw, news: make(chan struct{}, 1)}
	for _, step := range []func(context.Context) error{
		func(ctx context.Context) error { return c.greet(ctx, conn) },
		func(ctx context.Context) error { return c.signIn(ctx, source) },
		c.learnNames,
	} {
		if err := step(ctx); err != nil {
			c.drop()
			return nil, err
		}
	}
	return c, nil
}

// greet waits for the server's first words, and encrypts where it is to.
func (c *Client) greet(ctx context.Context, conn net.Conn) error {
	options := &imapclient.Options{UnilateralDataHandler: &imapclient.UnilateralDataHandler{
		Mailbox: func(data *imapclient.UnilateralDataMailbox) {
			if data.NumMessages != nil {
				c.signalNews()
			}
		},
	}}
	if c.config.TLS != wire.StartTLS {
		c.imap = imapclient.New(conn, options)
		err := c.do(ctx, "servers.doing.greeting", 1, c.imap.WaitGreeting)
		if err != nil && !c.Alive() {
			err = c.byeOr(err)
		}
		return c.explainGreeting(err)
	}
	config, err := c.config.ClientTLS()
	if err != nil {
		return err
	}
	options.TLSConfig = config
	return c.do(ctx, "servers.doing.encryption", 1, func() error {
		client, err := imapclient.NewStartTLS(conn, options)
		c.imap = client
		if no, ok := errors.AsType[*imap.Error](err); ok {
			return c.config.Fault(job.Say("servers.imap-no-starttls", job.Args{"server": c.config.Server(), "words": words(no)}), err)
		}
		return err
	})
}

// byeOr returns the server's BYE where that ended a new connection, else err. It
// may have ended before we asked; and go-imap v2.0.0-beta.8 picks by chance
// whether it reports the BYE or of the end, so it is asked until it does.
func (c *Client) byeOr(err error) error {
	for range 32 {
		if bye, ok := asNo(c.imap.WaitGreeting()); ok {
			return bye
		}
	}
	return err
}

// explainGreeting explains what it means that a server greeted in its own way.
func (c *Client) explainGreeting(err error) error {
	if no, ok := asNo(err); ok { // BYE (RFC 9051, 7.1.5)
		return c.config.Passing(job.Say("servers.sent-away", job.Args{"server": c.config.Server(), "words": words(no)}), err)
	}
	if cut, ok := errors.AsType[*Error](err); ok && !c.raw.HungUp() && !c.raw.Silent() && !errors.Is(err, context.Canceled) {
		return c.config.Fault(job.Say("servers.no-imap", job.Args{"server": c.config.Server()}), cut.Err)
	}
	return err
}

func (c *Client) signalNews() {
	select {
	case c.news <- struct{}{}:
	default:
	}
}

// signIn proves who we are and learns what the server can do.
func (c *Client) signIn(ctx context.Context, source credential.Source) error {
	if err := c.learnCaps(ctx); err != nil {
		return err
	}
	if c.imap.State() == imap.ConnStateAuthenticated { // PREAUTH
		return nil
	}
	login, err := c.exchange(ctx, source)
	if err != nil {
		return err
	}
	err = c.do(ctx, "servers.doing.signing-in", 1, login)
	if no, ok := errors.AsType[*imap.Error](err); ok {
		source.Rejected()
		return c.refusedLogin(source, no)
	}
	if err != nil {
		return err
	}
	return c.learnCaps(ctx)
}

// exchange picks the way to sign in. RFC 9051, 6.2.3: LOGIN is for servers
// that offer no SASL mechanism for passwords, and only when it is allowed.
func (c *Client) exchange(ctx context.Context, source credential.Source) (func() error, error) {
	mechanisms := c.caps.AuthMechanisms()
	slices.Sort(mechanisms)
	words, plain := source.(credential.Passworder)
	if plain && len(mechanisms) == 0 && !c.caps.Has(imap.CapLoginDisabled) {
		user, password, err := words.Password()
		if err != nil {
			return nil, err
		}
		return func() error { return c.imap.Login(user, password).Wait() }, nil
	}
	sasl, err := source.SASL(ctx, c.config.Host, c.config.Port, mechanisms)
	if err != nil {
		return nil, &job.Fault{Message: job.Say("servers.no-proof", job.Args{"server": c.config.Server(), "why": job.Why(err)}), Err: err}
	}
	return func() error { return c.imap.Authenticate(sasl) }, nil
}

func (c *Client) refusedLogin(source credential.Source, no *imap.Error) error {
	mend, passing := job.Say("servers.mend.imap-secret", nil), true
	// RFC 5530: these are about the server's state, not about the password.
	switch no.Code {
	case imap.ResponseCodeUnavailable, imap.ResponseCodeServerBug, imap.ResponseCodeInUse:
		mend = job.Say("servers.mend.again", nil)
	case imap.ResponseCodeLimit:
		mend = job.Say("servers.mend.fewer", nil)
	default:
		passing = false
	}
	e := c.config.Fault(job.Say("servers.no-sign-in", job.Args{"server": c.config.Server(), "with": source.With(), "words": words(no), "mend": mend}), no)
	e.Temporary = passing
	return e
}

func (c *Client) learnCaps(ctx context.Context) error {
	return c.do(ctx, "servers.doing.abilities", 1, func() error {
		if c.caps = c.imap.Caps(); c.caps == nil {
			return io.ErrUnexpectedEOF
		}
		return nil
	})
}

// Alive reports whether the connection may still be used.
func (c *Client) Alive() bool { return !c.broken && !c.raw.Closed() }

// Close says goodbye and closes the connection.
func (c *Client) Close() error {
	if c.Alive() {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		c.do(ctx, "servers.doing.goodbye", 1, func() error { return c.imap.Logout().Wait() })
	}
	c.drop()
	return nil
}

// drop closes the connection without a word.
func (c *Client) drop() {
	c.broken = true
	c.raw.Close()
	if c.imap != nil {
		c.imap.Close() // waits for the reader to end
	}
}

// do runs one command under its bounds: progress within the timeout, all of
// it within so many timeouts, and no longer than the context. doing is the key of
// what we are at.
func (c *Client) do(ctx context.Context, doing string, timeouts int, command func() error) error {
	if !c.Alive() {
		return c.config.Cut(job.Say(doing, nil), io.ErrClosedPipe)
	}
	// A little more, so that silence is told from slowness by who ends first.
	bounded, cancel := context.WithTimeout(ctx, time.Duration(timeouts)*c.config.Timeout()+time.Second)
	defer cancel()
	stop := context.AfterFunc(bounded, func() { c.raw.Close() })
	defer stop()
	c.raw.Arm(0)
	err := command()
	c.raw.Rest()
	return c.explain(ctx, bounded, job.Say(doing, nil), err)
}

// explain sorts a command's error: the server's refusal and our own faults
// leave the connection in order, all others end it.
func (c *Client) explain(ctx, bounded context.Context, doing job.Message, err error) error {
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*imap.Error](err); ok {
		return err
	}
	if _, ok := errors.AsType[*Error](err); ok {
		return err
	}
	c.drop()
	switch {
	case ctx.Err() != nil:
		return c.config.Explain(ctx, doing, ctx.Err())
	case bounded.Err() != nil, c.raw.Silent():
		return c.config.Silence(doing, err)
	}
	return c.config.Explain(ctx, doing, err)
}

// refused turns the server's NO into an Error; other errors pass.
func (c *Client) refused(folder string, what job.Message, err error) error {
	no, ok := errors.AsType[*imap.Error](err)
	if !ok {
		return err
	}
	mend, passing := mend(no.Code, folder)
	e := c.wrong(folder, job.Say("servers.refuses", job.Args{"server": c.config.Server(), "what": what, "words": words(no), "mend": mend}), err)
	e.Temporary = passing
	if no.Code == imap.ResponseCodeNonExistent || no.Code == imap.ResponseCodeTryCreate {
		e.Err = errors.Join(ErrNoFolder, err)
	}
	return e
}

// wrong is an Error about a folder.
func (c *Client) wrong(folder string, m job.Message, err error) *Error {
	e := c.config.Fault(m, err)
	e.Folder = folder
	return e
}

// mend returns what the response codes of RFC 5530 ask for.
func mend(code imap.ResponseCode, folder string) (do job.Message, passing bool) {
	switch code {
	case imap.ResponseCodeUnavailable, imap.ResponseCodeInUse, imap.ResponseCodeServerBug, imap.ResponseCodeLimit:
		return job.Say("servers.mend.again", nil), true
	case imap.ResponseCodeNoPerm:
		return job.Say("servers.mend.right", job.Args{"folder": folder}), false
	case imap.ResponseCodeNonExistent, imap.ResponseCodeTryCreate:
		return job.Say("servers.mend.folder", job.Args{"folder": folder}), false
	case imap.ResponseCodeOverQuota:
		return job.Say("servers.mend.room", nil), false
	}
	return job.Say("servers.mend.try", nil), false
}

// words are the server's own, on one line and bounded.
func words(no *imap.Error) string {
	s := strings.Join(strings.Fields(no.Text), " ")
	if len(s) > 200 {
		s = strings.ToValidUTF8(s[:200], "") + "…"
	}
	if s == "" {
		s = string(no.Type)
	}
	return s
}
