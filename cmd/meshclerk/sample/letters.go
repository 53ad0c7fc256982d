// Package sample makes the letters that the demo puts into its mailbox: real
// MIME messages with real meshes, written by invented patrons of the invented
// Larkfield Public Library.
package sample

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
)

// Letter is one letter to be delivered, as its writer would compose it.
type Letter struct {
	Key         string // names the case, e.g. "holes"
	FromName    string
	FromAddress string
	Subject     string
	Text        string
	Files       []File
	Headers     map[string]string // further headers, e.g. Auto-Submitted
	DMARC       string            // what the library's mail server found: "pass", "fail" or "none"
	HTML        bool              // also has an HTML part, as most mail programs send
}

// File is an attachment.
type File struct {
	Name, MediaType string
	Data            []byte
}

// Mailbox is where the letters go.
const Mailbox = "print@larkfield.example"

// Compose writes the letter as it would lie in the mailbox: with the
// Authentication-Results line of the library's own mail server on top
// (RFC 8601).
func (l Letter) Compose(date time.Time) ([]byte, error) {
	m := mail.NewMsg(mail.WithNoDefaultUserAgent())
	if err := m.FromFormat(l.FromName, l.FromAddress); err != nil {
		return nil, fmt.Errorf("sample letter %s: %w", l.Key, err)
	}
	if err := m.To(Mailbox); err != nil {
		return nil, fmt.Errorf("sample letter %s: %w", l.Key, err)
	}
	m.Subject(l.Subject)
	m.SetDateWithValue(date)
	m.SetMessageIDWithValue(fmt.Sprintf("%s.%d@%s", l.Key, date.Unix(), domain(l.FromAddress)))
	for name, value := range l.Headers {
		m.SetGenHeader(mail.Header(name), value)
	}
	m.SetBodyString(mail.TypeTextPlain, l.Text)
	if l.HTML {
		m.AddAlternativeString(mail.TypeTextHTML, "<html><body><p>"+strings.ReplaceAll(l.Text, "\n\n", "</p><p>")+"</p></body></html>")
	}
	for _, f := range l.Files {
		err := m.AttachReader(f.Name, bytes.NewReader(f.Data), mail.WithFileContentType(mail.ContentType(f.MediaType)))
		if err != nil {
			return nil, fmt.Errorf("sample letter %s: %w", l.Key, err)
		}
	}
	var out bytes.Buffer
	fmt.Fprintf(&out, "Return-Path: <%s>\r\n", l.returnPath())
	fmt.Fprintf(&out, "Authentication-Results: mx.larkfield.example;\r\n dmarc=%s header.from=%s\r\n", l.DMARC, domain(l.FromAddress))
	if _, err := m.WriteTo(&out); err != nil {
		return nil, fmt.Errorf("sample letter %s: %w", l.Key, err)
	}
	return out.Bytes(), nil
}

func (l Letter) returnPath() string {
	if l.Headers["Auto-Submitted"] != "" {
		return "" // RFC 3834, 3.3: an automatic answer leaves with a null return path
	}
	return l.FromAddress
}

func domain(address string) string {
	return address[strings.LastIndexByte(address, '@')+1:]
}
