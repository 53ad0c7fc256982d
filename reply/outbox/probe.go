package outbox

import (
	"context"
	"log/slog"

	"meshclerk/intake/credential"
	"meshclerk/intake/job"
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
	out := []wire.Check{wire.Passed("sending", job.Say("doctor.sending.lets-in", job.Args{"server": server, "with": source.With(), "encrypted": c.encryption()}))}
	if credential.Anonymous(source) && len(c.mechanisms()) > 0 {
		out = append(out, wire.Doubtful("sending", job.Say("doctor.sending.not-signed-in", job.Args{"server": server, "offers": c.mechanisms()})))
	}
	if _, limit := c.smtp.Extension("SIZE"); limit != "" && limit != "0" {
		out = append(out, wire.Passed("sending", job.Say("doctor.sending.limit", job.Args{"server": server, "octets": limit})))
	}
	if ok, _ := c.smtp.Extension("8BITMIME"); !ok {
		out = append(out, wire.Doubtful("sending", job.Say("doctor.sending.plain-text", job.Args{"server": server})))
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
		return c.fault(ctx, job.Say("servers.doing.noop", nil), err)
	}
	c.smtp.Quit() // how it says goodbye does not matter
	return nil
}

func (c *client) encryption() job.Message {
	if _, ok := c.smtp.TLSConnectionState(); ok {
		return job.Say("doctor.sending.encrypted", nil)
	}
	return job.Say("doctor.sending.in-the-clear", nil)
}
