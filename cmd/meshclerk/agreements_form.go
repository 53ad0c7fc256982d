package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
)

// agreementsFormCmd hands out what may be a signed agreement, so that a person
// can look at it before it is recorded.
type agreementsFormCmd struct {
	house
	Job string `arg:"" help:"The job, e.g. LP-000042."`
	To  string `short:"o" name:"to" default:"." placeholder:"DIR" help:"Folder for the files."`
}

func (c *agreementsFormCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	id := jobID(c.Job)
	if _, err := l.Job(e.ctx, id); err != nil {
		return err
	}
	letters, err := l.LettersOf(e.ctx, id)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(c.To, 0o700); err != nil {
		return fmt.Errorf("the folder %s cannot be made: %w", c.To, err)
	}
	written := 0
	for _, letter := range letters {
		n, err := c.write(e, l, letter)
		if err != nil {
			return err
		}
		written += n
	}
	if written == 0 {
		return fmt.Errorf("no document or picture came with the letters of job %s", id)
	}
	_, err = fmt.Fprintf(e.out, "strangers made these files: open them with care. If one is the signed agreement: meshclerk agreements add --job %s --signed YYYY-MM-DD\n", id)
	return err
}

// write puts down the documents and pictures of one letter, under its number.
func (c *agreementsFormCmd) write(e *env, l *ledger.Ledger, from ledger.Letter) (written int, err error) {
	if from.Parsed == nil {
		return 0, nil
	}
	for i, a := range from.Parsed.Attachments {
		if a.SHA256 == "" || a.Kind != job.KindDocument && a.Kind != job.KindPicture {
			continue
		}
		path := filepath.Join(c.To, fmt.Sprintf("%s-%d%s", from.ID, i+1, safeEnding(a.Name)))
		in, err := l.OpenBlob(a.SHA256)
		if err != nil {
			return written, err
		}
		err = writeOver(path, 0o600, func(w io.Writer) error {
			_, err := io.Copy(w, in)
			return err
		})
		in.Close()
		if err != nil {
			return written, err
		}
		written++
		fmt.Fprintf(e.out, "written: %s (%s of %s)\n", path, plain.OneLine(a.Name), plain.OneLine(from.Parsed.From.Address))
	}
	return written, nil
}

// safeEnding keeps the ending of a stranger's file name when it is a plain one.
func safeEnding(name string) string {
	switch end := filepath.Ext(name); end {
	case ".pdf", ".png", ".jpg", ".jpeg", ".gif", ".tif", ".tiff", ".heic", ".docx", ".odt", ".txt", ".PDF", ".JPG", ".PNG":
		return end
	}
	return ".file"
}
