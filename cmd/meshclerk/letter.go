package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/letter"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

type letterCmd struct {
	rulesFrom
	File string `arg:"" help:"The letter as it lies in the mailbox (.eml); - for standard input."`
	JSON bool   `name:"json" help:"As one JSON object on one line."`
}

func (c *letterCmd) Run(e *env) error {
	r, err := c.load()
	if err != nil {
		return err
	}
	in := e.in
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return wrongUse("%s cannot be opened: %w", c.File, err)
		}
		defer f.Close()
		in = f
	}
	ctx, cancel := context.WithTimeout(e.ctx, 5*time.Minute)
	defer cancel()
	l, err := letter.Read(ctx, in, letter.OptionsFrom(r, "", time.Now()))
	if err != nil {
		return fmt.Errorf("%s: %w", c.File, err)
	}
	l.Wishes = casework.Understand(l, r)
	if c.JSON {
		return writeJSON(e, publishLetter(l))
	}
	return writeLetter(e.out, e.words(), l)
}

// writeLetter writes a letter as a person reads it.
func writeLetter(w io.Writer, in words, l *job.Letter) error {
	fmt.Fprintf(w, "from      %s <%s>\nsubject   %s\n", plain.OneLine(l.From.Name), plain.OneLine(l.From.Address), plain.OneLine(l.Subject))
	fmt.Fprintf(w, "is        %s: %s\nsender    %s\n", l.Disposition, in.said(l.Why), proof(l.Authenticated))
	for _, a := range l.Attachments {
		fmt.Fprintf(w, "file      %s (%s, %d bytes) %s\n", plain.OneLine(a.Name), a.Kind, a.Bytes, plain.OneLine(in.said(a.Note)))
	}
	for field, words := range l.Wishes.Words {
		fmt.Fprintf(w, "wish      %s, from %q\n", field, words)
	}
	for _, n := range l.Notes {
		fmt.Fprintf(w, "note      %s\n", plain.OneLine(in.said(n)))
	}
	_, err := fmt.Fprintf(w, "\n%s\n", l.Text)
	return err
}

// proof says what is known of the sender's address.
func proof(v job.Verdict) string {
	switch v {
	case job.Pass:
		return "proven by the library's mail server"
	case job.Fail:
		return "NOT proven: the mail server found that the address may be forged"
	}
	return "not proven: the mail server says nothing about it"
}
