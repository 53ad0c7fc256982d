// Package mailbox is the shared mailbox, over IMAP (RFC 3501, RFC 9051).
//
// What holds, whatever happens:
//
//   - A letter in the inbox is never changed: folders are opened with EXAMINE,
//     bodies are read with BODY.PEEK, and nothing here sets \Seen or \Deleted
//     on a letter that is not our own draft.
//   - A message is named by Ref: folder, UIDVALIDITY, UID (RFC 9051, 2.3.1.1).
//     When the server has numbered the folder anew, ErrRenumbered says so
//     before anything is read or moved under an old number.
//   - Every command is bounded: a silent server, a cut connection and a
//     cancelled context each end it with an *Error. After that the Client is
//     no longer Alive, and the caller dials again. A refusal (NO) leaves it alive.
//   - Letters are streamed; nothing here holds one in memory.
//
// Folders are named as in the rules, with "/" between levels. The client maps
// them to the server's own delimiter and to its personal namespace (RFC 2342).
//
// A Client is one connection and belongs to one goroutine.
package mailbox

import (
	"errors"
	"fmt"
	"time"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox/wire"
)

// Config says where the IMAP server is.
type Config = wire.Config

// Error is what went wrong with the server, as a person can understand and mend it; it
// wraps the cause.
type Error = wire.Error

// Temporary reports whether the error may go away by itself, also one of a token
// server that was asked on the way.
func Temporary(err error) bool { return wire.Temporary(err) || credential.Temporary(err) }

// What a caller handles by itself. All but ErrNoIdle come wrapped in an *Error.
var (
	ErrGone       = errors.New("the message is no longer in the folder")
	ErrRenumbered = errors.New("the server has numbered the folder's messages anew")
	ErrNoFolder   = errors.New("the folder does not exist")
	ErrTooLarge   = errors.New("the message is larger than the limit")
	ErrNotOurs    = errors.New("the message is not our own draft")
	ErrNoIdle     = errors.New("the server cannot tell of new mail by itself")
)

// Ref names one message for as long as its folder keeps its numbers.
type Ref struct {
	Folder      string
	UIDValidity uint32 // 0 for whatever it is now
	UID         uint32
}

func (r Ref) String() string { return fmt.Sprintf("%s/%d/%d", r.Folder, r.UIDValidity, r.UID) }

// Cursor says up to where a folder is known. The zero Cursor knows nothing.
type Cursor struct {
	UIDValidity uint32
	LastUID     uint32
}

// Item is what the server tells of a message without its words.
type Item struct {
	Ref      Ref
	Size     int64 // octets
	Received time.Time
	Flags    []string // as the server writes them, e.g. `\Seen`
}

// Batch is what New found, in the order of UIDs.
type Batch struct {
	Items  []Item
	Cursor Cursor // to go on from, once every item is safe
	Reset  bool   // the given cursor was not of this numbering: items may be known under other numbers
	More   bool   // ask again: this was not all
}

// Status is a folder's counters (STATUS).
type Status struct {
	Messages, Unseen     uint32
	UIDNext, UIDValidity uint32
}

// Head is the part of a header that threads are made of. Values are as in the
// message, unfolded but not decoded; bounded at headBytes altogether.
type Head struct {
	Item
	MessageID  string // with its angle brackets, or empty
	InReplyTo  string
	References []string
	From, To   string
	Subject    string
}

const (
	batchItems = 500      // items of one Batch
	headBytes  = 64 << 10 // octets of one message's head
	streamed   = 60       // a streaming command may take this many timeouts in all
)
