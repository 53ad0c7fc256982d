package main

import (
	"archive/zip"
	"encoding/json"
	"fmt"
	"io"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

type forgetCmd struct {
	house
	Address string `arg:"" help:"The patron's mail address."`
	By      string `required:"" placeholder:"NAME" help:"Who does it, for the record."`
	DryRun  bool   `name:"dry-run" help:"Only tell what would go."`
}

func (c *forgetCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	if c.DryRun {
		found, err := l.ExportAddress(e.ctx, c.Address)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "on record about this address: %s and %s. Names, words and files would be removed for good; stages, times, figures and money stay. Nothing was done\n",
			tally(len(found.Letters), len(found.Jobs), len(found.Drafts)), job.Count(len(found.Agreements), "agreement", "agreements"))
		return err
	}
	done, err := l.ForgetAddress(e.ctx, c.Address, c.By)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "forgotten: %s and %s. The mailbox is not touched: remove the letters there too. Older backups still hold them; when one is restored, forgotten.log in the data folder has them forgotten again\n", tally(done.Letters, done.Jobs, done.Drafts), job.Count(done.Agreements, "agreement", "agreements"))
	return err
}

func tally(letters, jobs, drafts int) string {
	return job.Count(letters, "letter", "letters") + ", " + job.Count(jobs, "job", "jobs") + ", " + job.Count(drafts, "draft", "drafts")
}

type exportCmd struct {
	house
	Address string `arg:"" help:"The patron's mail address."`
	To      string `short:"o" name:"to" placeholder:"FILE.zip" help:"An archive of everything, files too; without it, the record as JSON on standard output."`
}

func (c *exportCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	found, err := l.ExportAddress(e.ctx, c.Address)
	if err != nil {
		return err
	}
	if len(found.Letters)+len(found.Jobs)+len(found.Drafts)+len(found.Agreements) == 0 {
		return fmt.Errorf("nothing is on record about %s", c.Address)
	}
	if c.To == "" {
		return writeJSON(e, found)
	}
	if err := writeNew(c.To, 0o600, func(w io.Writer) error { return archive(w, l, found) }); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "written: %s, with %s, %s and %s; it is confidential\n", c.To,
		tally(len(found.Letters), len(found.Jobs), len(found.Drafts)), job.Count(len(found.Agreements), "agreement", "agreements"), job.Count(len(found.Files), "file", "files"))
	return err
}

// archive packs the record and the files that belong to it.
func archive(w io.Writer, l *ledger.Ledger, found ledger.Export) error {
	z := zip.NewWriter(w)
	f, err := z.Create("record.json")
	if err != nil {
		return err
	}
	enc := json.NewEncoder(f)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(found); err != nil {
		return err
	}
	for _, file := range found.Files {
		if err := pack(z, l, file); err != nil {
			return err
		}
	}
	return z.Close()
}

func pack(z *zip.Writer, l *ledger.Ledger, file ledger.File) error {
	in, err := l.OpenBlob(file.SHA256)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := z.Create(file.Name)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return err
}
