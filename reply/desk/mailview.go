package desk

import (
	"bytes"
	"encoding/base64"
	"io"
	"meshclerk/intake/job"
	"strings"

	"github.com/emersion/go-message"
	_ "github.com/emersion/go-message/charset" // so that older character sets are read too
	"github.com/emersion/go-message/mail"
)

// mailView is a reply as it would leave, taken apart to be shown.
type mailView struct {
	Headers []header
	Plain   string
	HTML    string
	Pieces  []piece     // what else is in it
	Fault   job.Message // why it cannot be shown
}

type header struct{ Name, Value string }

type piece struct {
	CID, Media, Name string
	Body             []byte
}

// shownHeaders are those a person reads before a reply leaves, in this order.
var shownHeaders = []string{"From", "To", "Cc", "Bcc", "Reply-To", "Subject", "Date"}

// Bounds on what is taken apart. Replies are ours, but a mail program may have
// been at them.
const (
	maxParts     = 50
	maxDepth     = 8
	maxShownText = 512 << 10
	maxPiece     = 2 << 20
)

// recipients are those of To and Cc, as they are shown.
func (v mailView) recipients() string {
	var out []string
	for _, h := range v.Headers {
		if h.Name == "To" || h.Name == "Cc" {
			out = append(out, h.Value)
		}
	}
	return strings.Join(out, ", ")
}

func readMail(raw []byte) mailView {
	var v mailView
	e, err := message.Read(bytes.NewReader(raw))
	if err != nil && !message.IsUnknownCharset(err) {
		v.Fault = job.Why(err)
		return v
	}
	for _, name := range shownHeaders {
		f := e.Header.FieldsByKey(name)
		for f.Next() {
			text, err := f.Text()
			if err != nil {
				text = f.Value()
			}
			v.Headers = append(v.Headers, header{name, oneLine(text, 500)})
		}
	}
	left := maxParts
	if err := v.walk(e, 0, &left); err != nil {
		v.Fault = job.Why(err)
	}
	return v
}

func (v *mailView) walk(e *message.Entity, depth int, left *int) error {
	if *left--; *left < 0 || depth > maxDepth {
		return job.Refuse(job.Say("page.wrong.too-many-parts", nil))
	}
	if parts := e.MultipartReader(); parts != nil {
		for {
			p, err := parts.NextPart()
			if err == io.EOF {
				return nil
			}
			if err != nil && !message.IsUnknownCharset(err) {
				return err
			}
			if err := v.walk(p, depth+1, left); err != nil {
				return err
			}
		}
	}
	return v.take(e)
}

func (v *mailView) take(e *message.Entity) error {
	media, _, err := e.Header.ContentType()
	if err != nil {
		media = "application/octet-stream"
	}
	disposition, params, _ := e.Header.ContentDisposition() // none is as good as inline
	text := disposition != "attachment" && strings.HasPrefix(media, "text/")
	limit := int64(maxPiece)
	if text {
		limit = maxShownText
	}
	body, err := io.ReadAll(io.LimitReader(e.Body, limit))
	if err != nil {
		return err
	}
	switch {
	case text && media == "text/html" && v.HTML == "":
		v.HTML = string(body)
	case text && media == "text/plain" && v.Plain == "":
		v.Plain = visible(string(body))
	default:
		h := mail.AttachmentHeader{Header: e.Header}
		name, err := h.Filename()
		if err != nil || name == "" {
			name = params["filename"]
		}
		v.Pieces = append(v.Pieces, piece{strings.Trim(e.Header.Get("Content-Id"), "<> "), media, oneLine(name, 80), body})
	}
	return nil
}

// framed is the HTML part with its pictures inside, to be shown in a frame that
// may fetch nothing.
func (v mailView) framed() string {
	html := v.HTML
	for _, p := range v.Pieces {
		if p.CID != "" && (p.Media == "image/png" || p.Media == "image/jpeg") {
			html = strings.ReplaceAll(html, "cid:"+p.CID, "data:"+p.Media+";base64,"+base64.StdEncoding.EncodeToString(p.Body))
		}
	}
	return html
}
