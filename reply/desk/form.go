package desk

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
)

// A signed form comes as a picture or a document. A picture is drawn anew by us
// and shown; a document is handed out to be saved, under a name of ours and with
// a type that no browser opens.

var formEndings = []string{".pdf", ".png", ".jpg", ".jpeg", ".gif", ".tif", ".tiff", ".heic", ".docx", ".odt", ".txt"}

// attached is a file of a letter that may be a signed form, and a name for it.
func (d *Desk) attached(r *http.Request) (job.Attachment, string, error) {
	l, err := d.office.Ledger.Letter(r.Context(), r.PathValue("id"))
	if err != nil {
		return job.Attachment{}, "", err
	}
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil || l.Parsed == nil || n < 1 || n > len(l.Parsed.Attachments) {
		return job.Attachment{}, "", job.Refuse(job.Say("page.wrong.no-file", nil))
	}
	a := l.Parsed.Attachments[n-1]
	if a.SHA256 == "" || a.Kind != job.KindDocument && a.Kind != job.KindPicture {
		return a, "", job.Refuse(job.Say("page.wrong.not-handed-out", nil))
	}
	end := strings.ToLower(path.Ext(a.Name))
	if !slices.Contains(formEndings, end) {
		end = ".file"
	}
	return a, fmt.Sprintf("%s-%d%s", l.ID, n, end), nil
}

// saveForm hands a stranger's file out, to be saved and never to be shown here.
func (d *Desk) saveForm(w http.ResponseWriter, r *http.Request, who personal) error {
	a, name, err := d.attached(r)
	if err != nil {
		return err
	}
	f, err := d.office.Ledger.OpenBlob(a.SHA256)
	if err != nil {
		return err
	}
	defer f.Close()
	d.cfg.Log.Info("a file was handed out", "letter", r.PathValue("id"), "to", who.Name)
	h := w.Header()
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'")
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Disposition", `attachment; filename="`+name+`"`)
	_, err = io.Copy(w, f)
	return err
}

// showForm shows a picture of a letter as we read it: what else its file holds
// stays behind.
func (d *Desk) showForm(w http.ResponseWriter, r *http.Request, _ personal) error {
	a, _, err := d.attached(r)
	if err != nil {
		return err
	}
	body, err := d.pictures.get(r.Context(), d.pictures.scans, "form-"+a.SHA256, func(ctx context.Context) ([]byte, error) { return d.redrawn(ctx, a.SHA256) })
	if err != nil {
		return err
	}
	w.Header().Set("Content-Security-Policy", "sandbox; default-src 'none'")
	w.Header().Set("Content-Type", "image/jpeg")
	_, err = w.Write(body)
	return err
}

func (d *Desk) redrawn(ctx context.Context, sha string) ([]byte, error) {
	f, err := d.office.Ledger.OpenBlob(sha)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	raw, err := io.ReadAll(io.LimitReader(f, maxForms))
	if err != nil {
		return nil, err
	}
	return redraw(ctx, raw)
}
