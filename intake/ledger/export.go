package ledger

import (
	"context"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// Export is everything on record about one address.
type Export struct {
	Address    string            `json:"address"`
	Made       time.Time         `json:"made"`
	Agreements []agreement.Entry `json:"agreements"`
	Letters    []Letter          `json:"letters"`
	Jobs       []job.Job         `json:"jobs"`
	Drafts     []Draft           `json:"drafts"`
	Prints     []Print           `json:"prints"`
	Payments   []Payment         `json:"payments"`
	History    []Event           `json:"history"`
	Files      []File            `json:"files"`
}

// File is one stored file about somebody; OpenBlob gives its bytes.
type File struct {
	SHA256 string `json:"sha256"`
	Kind   string `json:"kind"`
	Name   string `json:"name"` // a name of ours to save it under, safe on any disk
	Bytes  int64  `json:"bytes"`
}

// ExportAddress gives everything on record about an address.
func (r Reader) ExportAddress(ctx context.Context, address string) (Export, error) {
	address = agreement.Normal(address)
	out := Export{Address: address, Made: r.l.clock()}
	g, err := r.gather(ctx, address)
	if err != nil {
		return Export{}, err
	}
	if out.Agreements, err = r.FindAgreements(ctx, address, ""); err != nil {
		return Export{}, err
	}
	for _, id := range g.letters {
		if err := r.exportLetter(ctx, &out, id); err != nil {
			return Export{}, err
		}
	}
	for _, id := range g.jobs {
		if err := r.exportJob(ctx, &out, job.ID(id)); err != nil {
			return Export{}, err
		}
	}
	for _, id := range g.drafts {
		if err := r.exportDraft(ctx, &out, id); err != nil {
			return Export{}, err
		}
	}
	return out, nil
}

func (r Reader) exportLetter(ctx context.Context, out *Export, id string) error {
	l, err := r.Letter(ctx, id)
	if err != nil {
		return err
	}
	out.Letters = append(out.Letters, l)
	if l.Raw {
		out.Files = append(out.Files, File{l.SHA256, KindLetter, id + ".eml", l.Bytes})
	}
	if l.Parsed != nil {
		for _, a := range l.Parsed.Attachments {
			if err := r.exportFile(ctx, out, a.SHA256, id+"-"+short(a.SHA256)+".bin"); err != nil {
				return err
			}
		}
	}
	return r.exportEvents(ctx, out, id)
}

func (r Reader) exportJob(ctx context.Context, out *Export, id job.ID) error {
	j, err := r.Job(ctx, id)
	if err != nil {
		return err
	}
	out.Jobs = append(out.Jobs, j)
	prints, err := r.PrintsOf(ctx, id)
	if err != nil {
		return err
	}
	paid, err := r.PaymentsOf(ctx, id)
	if err != nil {
		return err
	}
	out.Prints, out.Payments = append(out.Prints, prints...), append(out.Payments, paid...)
	if err := r.exportFile(ctx, out, j.Blob, string(id)+".stl"); err != nil {
		return err
	}
	return r.exportEvents(ctx, out, string(id))
}

func (r Reader) exportDraft(ctx context.Context, out *Export, id string) error {
	d, err := r.Draft(ctx, id)
	if err != nil {
		return err
	}
	out.Drafts = append(out.Drafts, d)
	if err := r.exportFile(ctx, out, d.SHA256, id+".eml"); err != nil {
		return err
	}
	return r.exportEvents(ctx, out, id)
}

func (r Reader) exportEvents(ctx context.Context, out *Export, subject string) error {
	events, err := r.Events(ctx, subject)
	out.History = append(out.History, events...)
	return err
}

// exportFile names a stored file once; one that is not kept is left out.
func (r Reader) exportFile(ctx context.Context, out *Export, sha, name string) error {
	for _, f := range out.Files {
		if f.SHA256 == sha {
			return nil
		}
	}
	f, found, err := r.blob(ctx, sha)
	if err != nil || !found {
		return err
	}
	f.Name = name
	out.Files = append(out.Files, f)
	return nil
}

func (r Reader) blob(ctx context.Context, sha string) (f File, found bool, err error) {
	rows, err := r.q.QueryContext(ctx, `SELECT sha256, kind, size FROM blobs WHERE sha256 = ?`, sha)
	if err != nil {
		return File{}, false, r.l.plain(err)
	}
	defer rows.Close()
	if rows.Next() {
		found = true
		err = rows.Scan(&f.SHA256, &f.Kind, &f.Bytes)
	}
	return f, found, err
}

func short(sha string) string { return sha[:min(8, len(sha))] }
