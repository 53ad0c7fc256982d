// Package draft makes the exact bytes of a reply: a reply text filled in with
// what is known about the jobs and the letter, as a MIME message with a plain
// and an HTML part of the same words.
//
// A draft is a pure function of its Input: the same jobs, letter, clock and
// identity give the same bytes, so that the hash a person approves is the hash
// of what leaves. Nothing here decides to send.
//
// Invariants:
//   - A patron is asked only what neither the letter nor the rules settle (Questions).
//   - A price appears only as the quote of a job gives it.
//   - Words of a stranger stay words: in headers, Markdown and HTML.
//   - The message is CRLF throughout, no line over 998 bytes (RFC 5322, 2.1.1),
//     with its own Message-ID fixed and in the thread of the letter it answers.
package draft

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Input is everything a draft is made of. Rules, Templates, ID, Domain and Now
// are needed always, and a letter or a job, so that there is somebody to write to.
type Input struct {
	Rules     *rules.Rules
	Templates *templates.Set

	Letter   *job.Letter // the letter that is answered; nil when we write first (a reminder)
	Jobs     []*job.Job  // what the letter is about, in the order of its files
	Template string      // the situation; "" lets Choose decide

	ID     string    // of the draft, unique; the left side of the Message-ID
	Domain string    // the right side of the Message-ID
	Now    time.Time // the Date of the message; shown in the library's time zone
	Thread []string  // without a Letter: Message-IDs of the conversation, oldest first
	Token  string    // ties answers to the conversation; "" takes the first job's thread

	GivenUp     []string   // files of the conversation that the patron no longer wants
	Before      []*job.Job // the jobs as they were last quoted, to say what changed
	Arrived     bool       // the signed agreement that the last letter about several parts asked for is here
	QuotedOn    time.Time
	ClosesOn    time.Time
	PickupUntil time.Time
	Paid        string // decimal money
	Wait        templates.Wait
	New         bool   // the patron is new, and this letter may tell how to begin
	SaidYes     bool   // the patron said yes to the offer already
	Rest        bool   // a person writes about the rest of a question
	Proposes    bool   // the note speaks of something beside the last offer, which a yes might be to
	Reason      string // one line: why a print failed, why a request is declined
	Note        string // staff's own words
	Picture     *Picture

	// A person's own version, instead of the template's. Both or only one.
	Subject  string
	Markdown string
}

// Picture is shown inside the letter.
type Picture struct {
	PNG []byte
	Alt string // what it shows, for those who cannot see it
}

// Message is a finished draft.
type Message struct {
	Raw       []byte // what will leave, CRLF, from the first header to the last line
	SHA256    string // of Raw, hex
	Subject   string
	From      job.Address
	To        job.Address
	MessageID string // with its angle brackets

	Template     string
	TemplateHash string
	Language     string
	Markdown     string // the one source of both parts; a person may edit it
	Plain        string
	HTML         string
	Questions    []Question    // as numbered in the text
	Begins       bool          // it tells somebody new how to begin
	Notes        []job.Message // what staff should know before they approve
}

// Compose makes the draft. The error says what is missing or wrong in plain words.
func Compose(in Input) (Message, error) {
	if err := in.complete(); err != nil {
		return Message{}, notDrafted(err)
	}
	m := Message{Language: in.Language(), Template: in.Template}
	if m.Template == "" {
		m.Template = Choose(in.Letter, in.Jobs, in.Rules)
	}
	if err := in.write(&m); err != nil {
		return Message{}, notDrafted(err)
	}
	if err := in.address(&m); err != nil {
		return Message{}, notDrafted(err)
	}
	if err := in.pack(&m); err != nil {
		return Message{}, notDrafted(err)
	}
	sum := sha256.Sum256(m.Raw)
	m.SHA256 = hex.EncodeToString(sum[:])
	return m, nil
}

// Data gives what the reply text of an input may show.
func Data(in Input) (*templates.Data, error) {
	if err := in.complete(); err != nil {
		return nil, notDrafted(err)
	}
	lang := in.Language()
	f := &filler{&in, in.Templates.Book().In(lang, in.Rules.Prices.Locale, in.Rules.Prices.Currency)}
	return f.data(), nil
}

// notDrafted says that there is no reply, and why.
func notDrafted(err error) error {
	return &job.Fault{Message: job.Say("faults.not-drafted", job.Args{"why": job.Why(err)}), Err: err}
}

// complete checks what cannot be done without.
func (in *Input) complete() error {
	switch {
	case in.Rules == nil || in.Templates == nil:
		return errors.New("the house rules and reply texts are not loaded")
	case in.Letter == nil && len(in.Jobs) == 0:
		return errors.New("there is neither a letter nor a job to write about")
	case in.Now.IsZero():
		return errors.New("there is no date")
	case !plainID(in.ID) || !plainID(in.Domain):
		return fmt.Errorf("%q at %q makes no Message-ID; use letters, digits, dots and hyphens", in.ID, in.Domain)
	case in.token() != "" && !plainID(in.token()):
		return fmt.Errorf("the thread token %q has characters other than letters, digits, dots and hyphens", in.token())
	}
	return nil
}

// plainID reports whether s is a dot-atom of letters, digits and hyphens (RFC 5322, 3.2.3).
func plainID(s string) bool {
	if s == "" || len(s) > 120 || strings.HasPrefix(s, ".") || strings.HasSuffix(s, ".") || strings.Contains(s, "..") {
		return false
	}
	return !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '.' || r == '_')
	})
}

func (in *Input) token() string {
	if in.Token == "" && len(in.Jobs) > 0 {
		return in.Jobs[0].Thread
	}
	return in.Token
}

// Language is that of the letter, if the house writes it, and what the reply is written in.
func (in *Input) Language() string {
	lang := ""
	if in.Letter != nil {
		lang = in.Letter.Language
	}
	if lang == "" && len(in.Jobs) > 0 {
		lang = in.Jobs[0].Language
	}
	for _, l := range in.Templates.Languages() {
		if l == lang {
			return l
		}
	}
	return in.Templates.Languages()[0]
}

// write fills in the text and makes both parts of it.
func (in *Input) write(m *Message) error {
	t, err := in.Templates.Get(m.Language, m.Template)
	if err != nil {
		return err
	}
	f := filler{in: in, locale: in.Templates.Book().In(m.Language, in.Rules.Prices.Locale, in.Rules.Prices.Currency)}
	data := f.data()
	subject, markdown, err := t.Render(data)
	if err != nil {
		return err
	}
	m.TemplateHash = t.Hash
	if in.Subject != "" {
		subject = in.Subject
	}
	if in.Markdown != "" {
		markdown = in.Markdown
	}
	if m.Questions, err = in.asked(m.Language, data, markdown); err != nil {
		return err
	}
	m.Begins = data.New && len(data.Learn) > 0 && strings.Contains(markdown, data.Learn[0].Text.String())
	m.Subject = withToken(subject, in.token())
	m.Markdown = markdown
	if in.Reason != "" && m.Language != in.Templates.Languages()[0] && !in.ownReason(m.Language) {
		m.Notes = append(m.Notes, job.Say("remarks.reason-as-typed", nil))
	}
	m.Plain, m.HTML = Render(markdown, m.Language, m.Subject)
	return nil
}

// ownReason reports whether the reason is a sentence of the house's in that language, and
// not one that a person typed in another.
func (in *Input) ownReason(language string) bool {
	return slices.ContainsFunc(in.Rules.Refusals, func(r rules.Refusal) bool { return r.Say[language] == in.Reason })
}

// asked gives the questions that stand in the text, in its own words.
func (in *Input) asked(lang string, data *templates.Data, markdown string) ([]Question, error) {
	var asked []Question
	markdown = plain.OneLine(markdown)
	for i, q := range Questions(in.Jobs, in.Rules) {
		text, err := in.Templates.Piece(lang, "_question", data.Questions[i])
		if err != nil {
			return nil, err
		}
		if strings.Contains(markdown, plain.OneLine(text)) { // a text that asks nothing leaves the piece out
			q.Text = plainInline(text)
			asked = append(asked, q)
		}
	}
	return asked, nil
}
