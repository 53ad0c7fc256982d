package desk

import (
	"net/http"
	"net/url"
	"testing"

	"meshclerk/intake/job"
)

// What cannot be joined or parted is said, and nothing is done.
func TestJoinAndPartAreRefused(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	b := h.browser("marisol")
	for path, want := range map[string]string{
		"/job/" + string(id) + "/join": "Choose at least two parts",
		"/job/" + string(id) + "/part": "no print of several files",
	} {
		code, page := b.post(path, url.Values{})
		if code == http.StatusOK {
			t.Errorf("%s: %d", path, code)
		}
		holds(t, page, want)
	}
	if j := h.job(id); j.Stage != job.Quoted || len(j.Pieces) > 0 {
		t.Errorf("%s is %s with %d pieces", id, j.Stage, len(j.Pieces))
	}
	_, page := b.get("/job/" + string(id))
	lacks(t, page, "Print as one with another file", "Print each file for itself")
}
