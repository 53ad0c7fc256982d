package outbox

import (
	"context"
	"fmt"
	"log/slog"
	"strings"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox/wire"
)

// Probe tries the sending server as far as one can without sending: connect,
// encrypt, sign in. Each line says what was found, and what to mend.
func Probe(ctx context.Context, config Config, source Source, log *slog.Logger) []wire.Check {
	config.defaults()
	server := config.Server()
	c, err := connect(ctx, config, source, log)
	if err != nil {
		return []wire.Check{wire.Failed("sending", err)}
	}
	defer c.raw.Close()
	out := []wire.Check{wire.Passed("sending", fmt.Sprintf("%s lets us in with the %s (%s)", server, source.Name(), c.encryption()))}
	if credential.Anonymous(source) && len(c.mechanisms()) > 0 {
		out = append(out, wire.Doubtful("sending", fmt.Sprintf("%s offers to sign in (%s) and we do not; it may refuse mail to the outside", server, strings.Join(c.mechanisms(), ", "))))
	}
	if _, limit := c.smtp.Extension("SIZE"); limit != "" && limit != "0" {
		out = append(out, wire.Passed("sending", fmt.Sprintf("%s takes messages of up to %s octets", server, limit)))
	}
	if ok, _ := c.smtp.Extension("8BITMIME"); !ok {
		out = append(out, wire.Doubtful("sending", fmt.Sprintf("%s takes no 8-bit text; drafts edited in some mail programs will be refused", server)))
	}
	c.smtp.Quit()
	return out
}

// Reach tries whether the sending server answers at all: connect, encrypt, sign
// in, and a NOOP (RFC 5321, 4.1.1.9). Nothing is sent.
func Reach(ctx context.Context, config Config, source Source, log *slog.Logger) error {
	config.defaults()
	c, err := connect(ctx, config, source, log)
	if err != nil {
		return err
	}
	defer c.raw.Close()
	stop := context.AfterFunc(ctx, func() { c.raw.Close() })
	defer stop()
	if err := c.smtp.Noop(); err != nil {
		return c.fault(ctx, "being asked whether it is there", err)
	}
	c.smtp.Quit() // how it says goodbye does not matter
	return nil
}

func (c *client) encryption() string {
	if _, ok := c.smtp.TLSConnectionState(); ok {
		return "encrypted"
	}
	return "not encrypted, on this machine"
}
