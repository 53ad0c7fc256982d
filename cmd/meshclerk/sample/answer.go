package sample

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"github.com/emersion/go-message/mail"
)

// Answering makes a letter an answer to a message that was delivered to its
// writer, as a mail program does: in its thread (RFC 5322, 3.6.4), with its
// subject, and with its words quoted below one's own.
func (l Letter) Answering(delivered []byte) (Letter, error) {
	r, err := mail.CreateReader(bytes.NewReader(delivered))
	if err != nil {
		return l, fmt.Errorf("sample letter %s answers what is no message: %w", l.Key, err)
	}
	id, err := r.Header.MessageID()
	if err != nil || id == "" {
		return l, fmt.Errorf("sample letter %s answers a message without a Message-ID", l.Key)
	}
	earlier, err := r.Header.MsgIDList("References")
	if err != nil {
		return l, err
	}
	subject, err := r.Header.Subject()
	if err != nil {
		return l, err
	}
	if !strings.HasPrefix(subject, "Re: ") {
		subject = "Re: " + subject
	}
	text, err := PlainText(delivered)
	if err != nil {
		return l, err
	}
	quoted := "> " + strings.ReplaceAll(text, "\n", "\n> ") + "\n"
	l.Subject = subject
	l.Headers = map[string]string{"In-Reply-To": "<" + id + ">", "References": "<" + strings.Join(append(earlier, id), "> <") + ">"}
	l.Text = strings.TrimRight(l.Text, "\n") + "\n\nOn another day, the 3D print desk <" + Mailbox + "> wrote:\n" + quoted
	return l, nil
}

// PlainText gives the text part of a message, as its reader sees it.
func PlainText(raw []byte) (string, error) {
	r, err := mail.CreateReader(bytes.NewReader(raw))
	if err != nil {
		return "", err
	}
	for {
		p, err := r.NextPart()
		if err == io.EOF {
			return "", nil
		}
		if err != nil {
			return "", err
		}
		head, ok := p.Header.(*mail.InlineHeader)
		if !ok {
			continue
		}
		if kind, _, err := head.ContentType(); err != nil || kind != "text/plain" {
			continue
		}
		text, err := io.ReadAll(io.LimitReader(p.Body, 1<<20))
		return strings.TrimRight(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n"), err
	}
}
