package desk

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"net/http"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// withFiles is a letter with files; their bytes by name.
func (h *house) withFiles(files map[string][]byte, kinds map[string]job.Kind, order ...string) string {
	h.t.Helper()
	_, d := h.letter(okafor())
	dr, err := h.ledger.Draft(h.t.Context(), d)
	if err != nil {
		h.t.Fatal(err)
	}
	l, err := h.ledger.Letter(h.t.Context(), dr.Letter)
	if err != nil {
		h.t.Fatal(err)
	}
	parsed := *l.Parsed
	parsed.Attachments = nil
	for _, name := range order {
		sha, n, err := h.ledger.PutBlob(h.t.Context(), ledger.KindFile, bytes.NewReader(files[name]), 0)
		if err != nil {
			h.t.Fatal(err)
		}
		parsed.Attachments = append(parsed.Attachments, job.Attachment{Name: name, Kind: kinds[name], Bytes: n, SHA256: sha})
	}
	h.do(func(tx *ledger.Tx) error { return tx.SaveParsed(h.t.Context(), l.ID, parsed, ledger.Robot) })
	return l.ID
}

// A mailed form can be looked at before it is put on file: a picture as we draw
// it, without what hides in its file, a document to be saved. No browser takes
// either for a page, whatever it is called.
func TestMailedFormIsLookedAt(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	scan := image.NewRGBA(image.Rect(0, 0, 60, 40))
	scan.Set(5, 5, color.RGBA{200, 30, 30, 255})
	var b bytes.Buffer
	if err := png.Encode(&b, scan); err != nil {
		t.Fatal(err)
	}
	b.WriteString("<script>alert(1)</script>")
	page := []byte("<!DOCTYPE html><script>alert(1)</script>")
	id := h.withFiles(map[string][]byte{"scan.png": b.Bytes(), "form.html": page, "part.stl": []byte("solid"), "torn.jpg": []byte("\xff\xd8\xff")},
		map[string]job.Kind{"scan.png": job.KindPicture, "form.html": job.KindDocument, "part.stl": job.KindMesh, "torn.jpg": job.KindPicture}, "scan.png", "form.html", "part.stl", "torn.jpg")
	staff := h.browser("marisol")
	_, shown := staff.get("/letter/" + id)
	holds(t, shown, `href="/letter/`+id+`/picture/1"`, `href="/letter/`+id+`/file/2"`)
	lacks(t, shown, "/file/3", "/picture/2")

	get := func(path string) (http.Header, string) {
		r, err := staff.Get(h.server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		_, body := read(t, r)
		return r.Header, body
	}
	head, body := get("/letter/" + id + "/picture/1")
	img, err := jpeg.Decode(strings.NewReader(body))
	if err != nil || img.Bounds().Dx() != 60 || head.Get("Content-Type") != "image/jpeg" || strings.Contains(body, "script") {
		t.Errorf("the picture: %v, %v", head, err)
	}
	head, body = get("/letter/" + id + "/file/2")
	if body != string(page) || head.Get("Content-Type") != "application/octet-stream" || head.Get("X-Content-Type-Options") != "nosniff" ||
		head.Get("Content-Disposition") != `attachment; filename="`+id+`-2.file"` || !strings.HasPrefix(head.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("the document: %v", head)
	}
	for path, want := range map[string]string{"file/3": "Only documents and pictures", "file/9": "no such file", "file/x": "no such file", "picture/2": "cannot be shown here", "picture/4": "cannot be shown here"} {
		code, page := staff.get("/letter/" + id + "/" + path)
		if code != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", path, code)
		}
		holds(t, page, want)
	}
	nobody := h.browser("")
	nobody.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	if code, _ := nobody.get("/letter/" + id + "/file/2"); code != http.StatusSeeOther {
		t.Errorf("without signing in: %d", code)
	}
}
