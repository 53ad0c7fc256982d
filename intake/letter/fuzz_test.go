package letter

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzRead: every input gives a letter whose promises hold, or ErrNotMail.
func FuzzRead(f *testing.F) {
	cases, err := filepath.Glob("../../testdata/letters/*/in.eml")
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range cases {
		raw, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Add([]byte(mixed(textPart("begin 644 a.stl\n#86)C\n`\nend\n"), filePart("a.zip", zipped(f, member{"a.stl", binarySTL(1)})))))
	f.Fuzz(func(t *testing.T, raw []byte) {
		opts := house(t.TempDir())
		opts.Caps = small()
		l, err := Read(t.Context(), bytes.NewReader(raw), opts)
		if err != nil {
			if !errors.Is(err, ErrNotMail) {
				t.Fatal(err)
			}
			return
		}
		checkFiles(t, opts.Dir, l)
		checkWhole(t, l)
		if int64(len(l.Text)) > 4*opts.Caps.TextBytes || !utf8.ValidString(l.Text) || !utf8.ValidString(l.Subject) {
			t.Errorf("text of %d bytes, valid %v", len(l.Text), utf8.ValidString(l.Text))
		}
		if strings.ContainsAny(l.Subject+l.From.Address+l.From.Name+l.MessageID+l.ReplyTo, "\r\n") {
			t.Error("a header field holds a line end")
		}
	})
}

// FuzzResults: the parser ends, and nothing in a comment or quote makes a result.
func FuzzResults(f *testing.F) {
	for _, s := range []string{" example.org 1; none", " a; spf=pass (x) smtp.mailfrom=b; dmarc=fail", "a;b=c reason=\"d\" e.f=\"g\"@h", "(((", "\"", "a/1=b"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		_, plain, ok := ParseResults(s)
		if !ok && plain != nil {
			t.Error("results of a value that breaks the grammar")
		}
		if !ok || strings.ContainsAny(s, `()"\`) {
			return
		}
		_, with, ok := ParseResults("(; dmarc=pass) " + s)
		if !ok || len(with) != len(plain) {
			t.Errorf("a comment in front changed %d results to %d (%v)", len(plain), len(with), ok)
		}
	})
}

// FuzzHeaderValues: names and words come out bounded and safe to show.
func FuzzHeaderValues(f *testing.F) {
	for _, s := range []string{`attachment; filename*0*=utf-8''a%20; filename*1="b"`, `"a" <b@c>, d@e (f)`, "=?utf-8?Q?a=20b?= =?x?B?!?=", "a;b=\"c\\\"d\";e*=f"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		_, params := parseMedia(s)
		for _, v := range params {
			if name := fileName(v); strings.ContainsAny(name, "/\\\r\n\x00") || utf8.RuneCountInString(name) > fileNameLen {
				t.Errorf("file name %q", name)
			}
		}
		for _, a := range addresses(s) {
			if len(a.Address) > 4*addressLen || strings.ContainsAny(a.Address+a.Name, "\r\n\x00") {
				t.Errorf("address %+v", a)
			}
		}
		if got := decodeWords(s); !utf8.ValidString(got) {
			t.Errorf("not UTF-8: %q", got)
		}
	})
}

// FuzzOwn: own text is never longer than the letter, and the cut ends.
func FuzzOwn(f *testing.F) {
	f.Add("Yes.\n\nOn 2 Nov 2026, a@b wrote:\n> x\n-- \nPat")
	f.Add("De : a@b\nEnvoyé : x\nÀ : y\n\nz")
	f.Fuzz(func(t *testing.T, s string) {
		got := Own(s)
		if len(got.Text) > len(s)+2 {
			t.Errorf("%d bytes became %d", len(s), len(got.Text))
		}
		for _, i := range got.Inline {
			if i.Text == "" || len(i.Quoted) > inlineBytes {
				t.Errorf("inline %q below %d bytes", i.Text, len(i.Quoted))
			}
		}
	})
}
