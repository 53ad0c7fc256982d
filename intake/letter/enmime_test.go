package letter

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// awkward is the module whose test data holds 115 awkward messages (MIT). It is data
// only, fetched by `go mod download github.com/jhillyerd/enmime@v1.3.0`.
const awkward = "github.com/jhillyerd/enmime@v1.3.0"

func awkwardDir(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("go", "mod", "download", "-json", awkward).Output()
	var module struct{ Dir string }
	if err == nil {
		err = json.Unmarshal(out, &module)
	}
	if err != nil || module.Dir == "" {
		if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
			t.Fatalf("the messages of %s are not there: %v", awkward, err)
		}
		t.Skipf("the messages of %s are not there (%v); fetch them with: go mod download %s", awkward, err, awkward)
	}
	return module.Dir
}

// seen is what a person sees as attachments, read off the messages by hand. Small
// pictures that the text shows, and signatures, are none. Other messages have none.
var seen = map[string][]string{
	"low-quality/bad-final-boundary.raw":                {"foo_9E5D72.zip"},
	"low-quality/bad-header-wrap.raw":                   {"7DDA4_foo_9E5D72.zip"},
	"low-quality/malformed-base64-attach.raw":           {"some.doc"},
	"low-quality/unk-charset-part.raw":                  {"foo_9E5D72.zip"},
	"low-quality/unk-encoding-part.raw":                 {"foo_9E5D72.zip"},
	"mail/attachment-application.raw":                   {"some.doc"},
	"mail/attachment-octet.raw":                         {"unnamed"},
	"mail/attachment-only-inline.raw":                   {"favicon.jpg"},
	"mail/attachment-only-no-disposition.raw":           {"favicon.jpg"},
	"mail/attachment-only-text-attachment.raw":          {"test.csv"},
	"mail/attachment-only.raw":                          {"favicon.jpg"},
	"mail/attachment.raw":                               {"test.html"},
	"mail/epilogue-sample.raw":                          {"test.html"},
	"mail/inlinemultipart.raw":                          {"test.pdf", "test.txt"},
	"mail/malformed-multiple-address-header-values.raw": {"test.pdf", "test.txt"},
	"mail/mime-bad-8bit-filename.raw":                   {"管理.doc"},
	"mail/mime-bad-content-type.raw":                    {"Invoice_302232133150612.pdf"},
	"mail/mime-blank-media-name.raw":                    {"Invoice_302232133150612.pdf"},
	"mail/mime-duplicate-param.raw":                     {"Invoice_302232133150612.pdf"},
	"mail/mime-unquoted-tspecials-param.raw":            {"Invoice_(302232133150612).pdf"},
	"mail/other-multi-related.raw":                      {"image001.png", "image002.png"}, // the text does not show them
	"mail/other-parts.raw":                              {"B05.gif"},
	"mail/unknown-part-type.raw":                        {"B05.gif"},
	"parts/bin-attach.raw":                              {"test.bin"},
	"parts/chardet-fail-non-txt.raw":                    {"rzkly.gif"},
	"parts/chardet-fail.raw":                            {"rzkly.txt"}, // a picture under a text's name
	"parts/multibase64.raw":                             {"test.html"},
	"parts/nestedmulti.raw":                             {"attach.txt", "attach2.txt"},
	"parts/unquoted-ctype-param-special.raw":            {"calendar.ics"},
}

func TestAwkwardMessages(t *testing.T) {
	root := awkwardDir(t)
	count := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.Contains(path, "testdata") {
			return err
		}
		count++
		name, _ := filepath.Rel(filepath.Join(root, "testdata"), path)
		raw, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		// with the line ends that they were stored with, and with those of mail
		for _, raw := range [][]byte{raw, bytes.ReplaceAll(bytes.ReplaceAll(raw, []byte("\r\n"), []byte("\n")), []byte("\n"), []byte("\r\n"))} {
			judgeAwkward(t, name, raw)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if count != 115 {
		t.Errorf("%d messages were found, want 115", count)
	}
}

func judgeAwkward(t *testing.T, name string, raw []byte) {
	t.Helper()
	dir := t.TempDir()
	l, err := Read(t.Context(), bytes.NewReader(raw), house(dir))
	if err != nil {
		if !errors.Is(err, ErrNotMail) {
			t.Errorf("%s: %v", name, err)
		}
		if seen[name] != nil {
			t.Errorf("%s: not read, though a person sees %q", name, seen[name])
		}
		return
	}
	checkFiles(t, dir, l)
	checkWhole(t, l)
	if !strings.HasSuffix(name, ".raw") {
		return
	}
	if strings.Contains(name, "dsn/") {
		if l.Disposition != job.Automatic {
			t.Errorf("%s: a delivery report is %s", name, l.Disposition)
		}
		return
	}
	var got []string
	for _, a := range l.Attachments {
		got = append(got, a.Name)
	}
	if !slices.Equal(got, seen[name]) {
		t.Errorf("%s: attachments %q, a person sees %q", name, got, seen[name])
	}
}
