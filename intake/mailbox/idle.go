package mailbox

import (
	"context"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"

	"meshclerk/intake/job"
)

// longestIdle keeps below the half hour after which servers may hang up (RFC 2177, 3).
const longestIdle = 29 * time.Minute

// Idle waits for news in a folder (RFC 2177): until the server tells of a
// message, until max has passed, or until the context ends. Messages above
// the cursor that came before we listened are news too. A server without IDLE
// gives ErrNoIdle at once.
func (c *Client) Idle(ctx context.Context, folder string, known Cursor, max time.Duration) (news bool, err error) {
	if !c.caps.Has(imap.CapIdle) {
		return false, ErrNoIdle
	}
	select { // what was told before belongs to another folder
	case <-c.news:
	default:
	}
	data, err := c.open(ctx, folder, false)
	if err != nil {
		return false, err
	}
	if data.UIDValidity != known.UIDValidity || data.UIDNext != 0 && uint32(data.UIDNext) > known.LastUID+1 {
		return true, nil
	}
	err = c.listen(ctx, min(max, longestIdle), &news)
	if err != nil {
		return false, c.refused(folder, job.Say("servers.to.news", nil), err)
	}
	return news, nil
}

func (c *Client) listen(ctx context.Context, max time.Duration, news *bool) error {
	var cmd *imapclient.IdleCommand
	err := c.do(ctx, "servers.doing.listen", 1, func() (err error) {
		cmd, err = c.imap.Idle()
		return err
	})
	if err != nil {
		return err
	}
	timer := time.NewTimer(max)
	defer timer.Stop()
	select {
	case <-c.news:
		*news = true
	case <-timer.C:
	case <-ctx.Done():
	case <-c.imap.Closed():
	}
	// The context may be over: the goodbye has a bound of its own.
	err = c.do(context.WithoutCancel(ctx), "servers.doing.listening", 1, func() error {
		if err := cmd.Close(); err != nil {
			return err
		}
		return cmd.Wait()
	})
	if err == nil && ctx.Err() != nil {
		return c.config.Explain(ctx, job.Say("servers.doing.listening", nil), ctx.Err())
	}
	return err
}
