package mailbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"

	"meshclerk/intake/credential"
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
		err := c.do(ctx, "waiting for its greeting", 1, c.imap.WaitGreeting)
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
	return c.do(ctx, "asking for encryption", 1, func() error {
		client, err := imapclient.NewStartTLS(conn, options)
		c.imap = client
		if no, ok := errors.AsType[*imap.Error](err); ok {
			return &Error{Server: c.config.Server(), Err: err,
				Text: fmt.Sprintf("the mail server %s cannot encrypt on this port (%s)", c.config.Server(), no.Text),
				Mend: `set tls = "tls" and its port (usually 993) under [imap]`}
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
		return &Error{Server: c.config.Server(), Err: err, Temporary: true,
			Text: fmt.Sprintf("the mail server %s sends us away (it says: %s)", c.config.Server(), words(no)),
			Mend: "we try again by ourselves; ask its operator if it goes on"}
	}
	if cut, ok := errors.AsType[*Error](err); ok && !c.raw.HungUp() && !c.raw.Silent() && !errors.Is(err, context.Canceled) {
		return &Error{Server: c.config.Server(), Err: cut.Err,
			Text: fmt.Sprintf("what answers at %s is no IMAP server", c.config.Server()), Mend: "mend host and port under [imap]"}
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
	err = c.do(ctx, "signing in", 1, login)
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
		return nil, fmt.Errorf("the mail server %s: %w", c.config.Server(), err)
	}
	return func() error { return c.imap.Authenticate(sasl) }, nil
}

func (c *Client) refusedLogin(source credential.Source, no *imap.Error) error {
	e := &Error{Server: c.config.Server(), Err: no,
		Text: fmt.Sprintf("the mail server %s does not let us in with the %s (it says: %s)", c.config.Server(), source.Name(), words(no)),
		Mend: "check user and secret under [imap.credential], and that the mailbox may be used over IMAP"}
	// RFC 5530: these are about the server's state, not about the password.
	switch no.Code {
	case imap.ResponseCodeUnavailable, imap.ResponseCodeServerBug, imap.ResponseCodeInUse:
		e.Temporary, e.Mend = true, "we try again by ourselves"
	case imap.ResponseCodeLimit:
		e.Temporary, e.Mend = true, "we try again by ourselves; close other programs on this mailbox if it goes on"
	}
	return e
}

func (c *Client) learnCaps(ctx context.Context) error {
	return c.do(ctx, "asking what it can do", 1, func() error {
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
		c.do(ctx, "saying goodbye", 1, func() error { return c.imap.Logout().Wait() })
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
// it within so many timeouts, and no longer than the context.
func (c *Client) do(ctx context.Context, doing string, timeouts int, command func() error) error {
	if !c.Alive() {
		return c.config.Cut(doing, io.ErrClosedPipe)
	}
	// A little more, so that silence is told from slowness by who ends first.
	bounded, cancel := context.WithTimeout(ctx, time.Duration(timeouts)*c.config.Timeout()+time.Second)
	defer cancel()
	stop := context.AfterFunc(bounded, func() { c.raw.Close() })
	defer stop()
	c.raw.Arm(0)
	err := command()
	c.raw.Rest()
	return c.explain(ctx, bounded, doing, err)
}

// explain sorts a command's error: the server's refusal and our own faults
// leave the connection in order, all others end it.
func (c *Client) explain(ctx, bounded context.Context, doing string, err error) error {
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
func (c *Client) refused(folder, what string, err error) error {
	no, ok := errors.AsType[*imap.Error](err)
	if !ok {
		return err
	}
	e := &Error{Server: c.config.Server(), Folder: folder, Err: err,
		Text: fmt.Sprintf("the mail server %s refuses to %s (it says: %s)", c.config.Server(), what, words(no))}
	e.Mend, e.Temporary = mend(no.Code, folder)
	if no.Code == imap.ResponseCodeNonExistent || no.Code == imap.ResponseCodeTryCreate {
		e.Err = errors.Join(ErrNoFolder, err)
	}
	return e
}

// mend returns what the response codes of RFC 5530 ask for.
func mend(code imap.ResponseCode, folder string) (string, bool) {
	switch code {
	case imap.ResponseCodeUnavailable, imap.ResponseCodeInUse, imap.ResponseCodeServerBug, imap.ResponseCodeLimit:
		return "we try again by ourselves", true
	case imap.ResponseCodeNoPerm:
		return fmt.Sprintf("ask its operator for the right to use the folder %q", folder), false
	case imap.ResponseCodeNonExistent, imap.ResponseCodeTryCreate:
		return fmt.Sprintf("make the folder %q, or mend its name in mailbox.toml", folder), false
	case imap.ResponseCodeOverQuota:
		return "make room in the mailbox", false
	}
	return "meshclerk doctor tries each right by itself", false
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
