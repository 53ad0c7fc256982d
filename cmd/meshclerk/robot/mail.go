package robot

import (
	"context"
	"io"
	"time"

	"meshclerk/intake/mailbox"
)

// Mail is what the robot does with a mailbox; *mailbox.Client is one.
type Mail interface {
	Ensure(ctx context.Context, folders ...string) ([]string, error)
	New(ctx context.Context, folder string, from mailbox.Cursor, since time.Time) (*mailbox.Batch, error)
	Headers(ctx context.Context, folder string, refs ...mailbox.Ref) ([]mailbox.Head, error)
	Fetch(ctx context.Context, ref mailbox.Ref, w io.Writer, limit int64) (int64, error)
	AppendOnce(ctx context.Context, folder string, flags []string, date time.Time, raw []byte, messageID string) (mailbox.Ref, error)
	FindMessageID(ctx context.Context, folder, id string) ([]mailbox.Ref, error)
	Move(ctx context.Context, ref mailbox.Ref, to string) (mailbox.Ref, error)
	RemoveOwn(ctx context.Context, ref mailbox.Ref, messageID string) error
	Idle(ctx context.Context, folder string, known mailbox.Cursor, max time.Duration) (news bool, err error)
	Alive() bool
	Close() error
}
