package letter

import (
	"maps"
	"strings"
	"testing"
)

// The examples of RFC 2231, sections 3, 4 and 4.1, byte for byte.
func TestRFC2231Examples(t *testing.T) {
	for _, c := range []struct {
		field, word string
		params      map[string]string
	}{
		{"message/external-body; access-type=URL;\r\n URL*0=\"ftp://\";\r\n URL*1=\"cs.utk.edu/pub/moore/bulk-mailer/bulk-mailer.tar\"",
			"message/external-body", map[string]string{"access-type": "URL", "url": "ftp://cs.utk.edu/pub/moore/bulk-mailer/bulk-mailer.tar"}},
		{"message/external-body; access-type=URL;\r\n URL=\"ftp://cs.utk.edu/pub/moore/bulk-mailer/bulk-mailer.tar\"",
			"message/external-body", map[string]string{"access-type": "URL", "url": "ftp://cs.utk.edu/pub/moore/bulk-mailer/bulk-mailer.tar"}},
		{"application/x-stuff;\r\n title*=us-ascii'en-us'This%20is%20%2A%2A%2Afun%2A%2A%2A",
			"application/x-stuff", map[string]string{"title": "This is ***fun***"}},
		{"application/x-stuff;\r\n title*0*=us-ascii'en'This%20is%20even%20more%20;\r\n title*1*=%2A%2A%2Afun%2A%2A%2A%20;\r\n title*2=\"isn't it!\"",
			"application/x-stuff", map[string]string{"title": "This is even more ***fun*** isn't it!"}},
	} {
		word, params := parseMedia(c.field)
		if word != c.word || !maps.Equal(params, c.params) {
			t.Errorf("%q:\ngot  %q %q\nwant %q %q", c.field, word, params, c.word, c.params)
		}
	}
}

// What programs send against RFC 2045, 2183 and 2231.
func TestParametersInTheWild(t *testing.T) {
	for field, name := range map[string]string{
		`attachment; filename=my part (2).stl`:                        "my part (2).stl",
		`attachment; filename="a;b.stl"; size=3`:                      "a;b.stl",
		`attachment; filename="a \"quoted\" part.stl"`:                `a "quoted" part.stl`,
		`attachment; filename="C:\temp\part.stl"`:                     `C:\temp\part.stl`,
		`attachment; filename="open.stl`:                              "open.stl",
		`attachment; filename=""; filename="second.stl"`:              "second.stl",
		`attachment; filename="first.stl"; filename="second.stl"`:     "first.stl",
		`attachment; filename=plain.stl; filename*=utf-8''%C3%A9.stl`: "é.stl",
		`attachment; filename*=utf-8''%C3%A9.stl; filename=plain.stl`: "é.stl",
		`attachment; filename*="utf-8''%C3%A9.stl"`:                   "é.stl",
		`attachment; filename*=iso-8859-1''pi%E8ce.stl`:               "pièce.stl",
		`attachment; filename*=ISO-8859-15'fr'5%20%A4.stl`:            "5 €.stl",
		`attachment; filename*=''pi%E8ce.stl`:                         "pièce.stl",
		`attachment; filename*=pi%C3%A8ce.stl`:                        "pièce.stl",
		`attachment; filename="pi%E8ce.stl"`:                          "pièce.stl",
		`attachment; filename="pi%C3%A8ce%20une.stl"`:                 "pièce une.stl",
		`attachment; filename="scaled 50%.stl"`:                       "scaled 50%.stl",
		`attachment; filename="=?iso-8859-1?Q?pi=E8ce=2Estl?="`:       "pièce.stl",
		`attachment; filename==?utf-8?B?w6kuc3Rs?=`:                   "é.stl",
		"attachment; filename=\"pi\xe8ce.stl\"":                       "pièce.stl",
		"attachment; filename=\"pi\xc3\xa8ce.stl\"":                   "pièce.stl",
		`attachment; filename*1="b.stl"; filename*0="a-"`:             "a-b.stl",
		`attachment; filename*0="a-"; filename*2="c.stl"`:             "a-",
		`attachment; filename*0*=utf-8''%C3; filename*1*=%A9.stl`:     "é.stl",
		`attachment; filename*x=1; filename=good.stl`:                 "good.stl",
		`attachment filename="nosemicolon.stl"`:                       "nosemicolon.stl",
		`ATTACHMENT; FILENAME=UP.STL`:                                 "UP.STL",
		"attachment;\r\n\tfilename=\"folded\r\n name.stl\"":           "folded name.stl",
	} {
		if word, params := parseMedia(field); word != "attachment" || params["filename"] != name {
			t.Errorf("%q: got %q, %q, want %q", field, word, params["filename"], name)
		}
	}
}

func TestParametersAreBounded(t *testing.T) {
	_, params := parseMedia("text/plain" + strings.Repeat("; a=b; c*0=d", 100_000))
	if len(params) > maxParams {
		t.Errorf("%d parameters were read", len(params))
	}
}

func TestFileName(t *testing.T) {
	for in, want := range map[string]string{
		"part.stl":                        "part.stl",
		"/etc/passwd":                     "passwd",
		`..\..\boot.ini`:                  "boot.ini",
		"..":                              "",
		"a/..":                            "",
		"":                                "",
		"a\x00b\n.stl":                    "ab .stl",
		strings.Repeat("x", 300) + ".stl": strings.Repeat("x", 116) + ".stl",
	} {
		if got := fileName(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}
