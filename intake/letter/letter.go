package letter

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/emersion/go-message/textproto"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Options say how a letter is read.
type Options struct {
	Dir          string      // where decoded files are written, under names of ours; empty: only counted and hashed
	Caps         rules.Caps  // what one letter may cost; the zero value means the embedded defaults
	AuthservID   string      // RFC 8601, 2.5: the only server whose results are believed
	OwnAddresses []string    // our mailbox: what it sent is never answered
	Staff        []string    // people whose forwards stand for the patron's letter
	Accepted     []string    // endings of files that count as meshes, beside ".stl"
	Languages    []string    // the first is taken for a letter in no language that is known
	Words        rules.Words // their cue "common" are words by which a language is known
	Now          time.Time   // stands in for a missing Date; the zero value leaves it missing
}

// OptionsFrom takes from the house rules what they say about letters.
func OptionsFrom(r *rules.Rules, dir string, now time.Time) Options {
	o := Options{Dir: dir, Caps: r.Caps, AuthservID: r.Library.AuthservID, OwnAddresses: []string{r.Library.Address},
		Accepted: r.Limits.Accepted, Languages: r.Library.Languages, Words: r.Words, Now: now}
	for _, p := range r.Library.Staff {
		o.Staff = append(o.Staff, p.Address)
	}
	return o
}

// ErrNotMail is returned for bytes that are no mail message at all.
var ErrNotMail = errors.New("this is not a mail message: it has no header; keep the file and look at it by hand")

// Read reads one message, as it came; what is over a cap may stay unread. An error means that nothing at
// all could be made of it (ErrNotMail), that the source failed, or that a file
// could not be written; everything else is a letter with notes.
func Read(ctx context.Context, in io.Reader, opts Options) (*job.Letter, error) {
	if opts.Caps == (rules.Caps{}) {
		opts.Caps = rules.Default().Caps
	}
	s, err := openStore(opts.Dir)
	if err != nil {
		return nil, err
	}
	defer s.close()
	r := &reader{ctx: ctx, opts: opts, caps: opts.Caps, store: s, shown: map[string]bool{},
		headerLeft: opts.Caps.HeaderBytes, textLeft: opts.Caps.TextBytes, left: opts.Caps.LetterBytes}
	m, err := r.message(&source{r: r, in: in}, 0)
	switch {
	case r.failed() != nil:
		return nil, fmt.Errorf("the letter could not be read to its end: %w", r.failed())
	case err != nil:
		return nil, err
	case m.header.Len() == 0:
		return nil, ErrNotMail
	}
	return r.letter(m), nil
}

// reader is the state of reading one letter.
type reader struct {
	ctx   context.Context
	opts  Options
	caps  rules.Caps
	store *store
	log
	files    []job.Attachment
	pictures []picture       // files that may only be decoration
	shown    map[string]bool // Content-IDs that the HTML text shows
	external []string        // links of parts that lie elsewhere
	last     int             // index of the file that was read last, -1 after a text

	parts      int
	left       int64 // bytes of the letter that may still be read
	headerLeft int64
	textLeft   int64
	archived   int   // files listed from archives
	unpacked   int64 // bytes unpacked from archives
	sourceErr  error
}

// failed is why reading must stop at once, or nil.
func (r *reader) failed() error { return firstError(r.ctx.Err(), r.sourceErr) }

// source bounds what is read of the letter, and remembers when its reader fails.
type source struct {
	r  *reader
	in io.Reader
}

func (s *source) Read(p []byte) (int, error) {
	if err := s.r.failed(); err != nil {
		return 0, err
	}
	if s.r.left <= 0 {
		var one [1]byte
		if n, _ := s.in.Read(one[:]); n > 0 {
			s.r.note(job.Say("reading.letter-large", job.Args{"size": bytesOf(s.r.caps.LetterBytes)}))
		}
		return 0, io.EOF
	}
	n, err := s.in.Read(p[:min(int64(len(p)), s.r.left)])
	s.r.left -= int64(n)
	if err != nil && !errors.Is(err, io.EOF) {
		s.r.sourceErr = err
	}
	return n, err
}

// message is one message of the letter: the letter itself or one inside it.
type message struct {
	header   textproto.Header
	body     body
	inner    []*message
	delivery bool // has a part that reports on a delivery or a reading
}

// letter puts together what was read.
func (r *reader) letter(m *message) *job.Letter {
	patron, l := r.patronOf(m)
	h := patron.header
	l.Subject = shown(decodeWords(h.Get("Subject")), subjectLen)
	l.MessageID, l.References = ownID(h.Get("Message-Id")), messageIDs(h.Get("References"))
	if ids := messageIDs(h.Get("In-Reply-To")); len(ids) > 0 {
		l.InReplyTo = ids[0]
	}
	l.ReplyTo = first(addresses(h.Get("Reply-To"))).Address
	l.To = append(addresses(h.Get("To")), addresses(h.Get("Cc"))...)
	if l.Date = written(h); l.Date.IsZero() {
		l.Date = r.opts.Now
	}
	r.endedEarly()
	l.Attachments = r.listed()
	r.words(l, patron)
	l.Language = language(l.Text, l.Subject, r.opts.Languages, r.opts.Words.Cues)
	l.Wishes.Colours = []string{}
	what, why := r.disposition(m, patron, l)
	l.Disposition, l.Why = what, job.Say(why, nil)
	l.Repairs, l.Notes = r.repairs, r.notes
	return l
}
