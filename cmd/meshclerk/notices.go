package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/emersion/go-message"
	"github.com/emersion/go-message/mail"

	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

type noticesCmd struct {
	List noticesListCmd `cmd:"" default:"withargs" help:"List what waits for a person."`
	Done noticesDoneCmd `cmd:"" help:"Record that a person dealt with one."`
}

type noticesListCmd struct {
	house
	All  bool `help:"Also those that were dealt with."`
	JSON bool `name:"json" help:"One JSON object per line, for scripts."`
}

func (c *noticesListCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	all, err := l.Notices(e.ctx, c.All)
	if err != nil {
		return err
	}
	var rows [][]string
	for _, n := range all {
		if c.JSON {
			if err := writeJSON(e, n); err != nil {
				return err
			}
			continue
		}
		words, err := wordsOf(e, l, n)
		if err != nil {
			return err
		}
		rows = append(rows, []string{n.ID, day(n.Last), e.words().said(n.Text) + lettersOf(n) + words})
	}
	if c.JSON {
		return nil
	}
	if len(rows) == 0 {
		_, err = fmt.Fprintln(e.out, "nothing waits for a person")
		return err
	}
	return table(e.out, []string{"ID", "SINCE", "WHAT"}, rows)
}

// wordsOf quotes the latest letter of a notice that asks what a letter means.
func wordsOf(e *env, l *ledger.Ledger, n ledger.Notice) (string, error) {
	if !slices.Contains(casework.AboutLetter, n.Kind) {
		return "", nil
	}
	rec, err := l.Letter(e.ctx, n.Subject)
	if errors.Is(err, ledger.ErrNotFound) || err == nil && rec.Parsed == nil {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	text := plain.OneLine(strings.Join(strings.Fields(rec.Parsed.Text), " "))
	if text == "" {
		return "", nil
	}
	return fmt.Sprintf(". It says: %q", plain.Shorten(text, 200)), nil
}

// lettersOf names the letters of a notice that stands for several: the latest of
// many, since --json has them all.
func lettersOf(n ledger.Notice) string {
	const most = 10
	if len(n.Letters) < 2 {
		return ""
	}
	which, more := n.Letters, ""
	if over := len(which) - most; over > 0 {
		which, more = which[over:], fmt.Sprintf("; --json also names the %d before them", over)
	}
	return fmt.Sprintf(" (%d letters: %s%s)", len(n.Letters), strings.Join(which, ", "), more)
}

type noticesDoneCmd struct {
	house
	ID string `arg:"" help:"The notice, e.g. N-000003."`
	By string `required:"" placeholder:"NAME" help:"Who dealt with it."`
}

func (c *noticesDoneCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	return o.CloseNotice(e.ctx, c.ID, 0, c.By)
}

// plainText is the text part of a message of ours, as its reader sees it.
func plainText(raw []byte) (string, error) {
	r, err := mail.CreateReader(bytes.NewReader(raw))
	if err != nil && !message.IsUnknownCharset(err) {
		return "", fmt.Errorf("the draft is no mail message: %w", err)
	}
	for {
		p, err := r.NextPart()
		if err == io.EOF {
			return "(no text)", nil
		}
		if err != nil {
			return "", err
		}
		head, ok := p.Header.(*mail.InlineHeader)
		if !ok {
			continue
		}
		if kind, _, err := head.ContentType(); err == nil && kind != "text/plain" {
			continue
		}
		text, err := io.ReadAll(io.LimitReader(p.Body, 1<<20))
		return string(text), err
	}
}
