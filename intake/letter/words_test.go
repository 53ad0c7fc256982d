package letter

import (
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// The examples of RFC 2047, section 8, byte for byte: encoded form, displayed as.
func TestRFC2047Examples(t *testing.T) {
	for encoded, displayed := range map[string]string{
		"(=?ISO-8859-1?Q?a?=)":                              "(a)",
		"(=?ISO-8859-1?Q?a?= b)":                            "(a b)",
		"(=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=)":           "(ab)",
		"(=?ISO-8859-1?Q?a?=  =?ISO-8859-1?Q?b?=)":          "(ab)",
		"(=?ISO-8859-1?Q?a?=\r\n    =?ISO-8859-1?Q?b?=)":    "(ab)",
		"(=?ISO-8859-1?Q?a_b?=)":                            "(a b)",
		"(=?ISO-8859-1?Q?a?= =?ISO-8859-2?Q?_b?=)":          "(a b)",
		"=?ISO-8859-1?B?SWYgeW91IGNhbiByZWFkIHRoaXMgeW8=?=": "If you can read this yo",
		"=?ISO-8859-1?B?SWYgeW91IGNhbiByZWFkIHRoaXMgeW8=?=\r\n =?ISO-8859-2?B?dSB1bmRlcnN0YW5kIHRoZSBleGFtcGxlLg==?=": "If you can read this you understand the example.",
	} {
		if got := decodeWords(encoded); got != displayed {
			t.Errorf("%q: got %q, want %q", encoded, got, displayed)
		}
	}
}

// The address fields of RFC 2047, section 8, and of RFC 2231, section 5.
func TestRFC2047Addresses(t *testing.T) {
	for field, want := range map[string]job.Address{
		"=?US-ASCII?Q?Keith_Moore?= <moore@cs.utk.edu>":                                               {Name: "Keith Moore", Address: "moore@cs.utk.edu"},
		"=?US-ASCII*EN?Q?Keith_Moore?= <moore@cs.utk.edu>":                                            {Name: "Keith Moore", Address: "moore@cs.utk.edu"},
		"=?ISO-8859-1?Q?Keld_J=F8rn_Simonsen?= <keld@dkuug.dk>":                                       {Name: "Keld Jørn Simonsen", Address: "keld@dkuug.dk"},
		"=?ISO-8859-1?Q?Andr=E9?= Pirard <PIRARD@vm1.ulg.ac.be>":                                      {Name: "André Pirard", Address: "pirard@vm1.ulg.ac.be"},
		"=?ISO-8859-1?Q?Olle_J=E4rnefors?= <ojarnef@admin.kth.se>":                                    {Name: "Olle Järnefors", Address: "ojarnef@admin.kth.se"},
		"=?ISO-8859-1?Q?Patrik_F=E4ltstr=F6m?= <paf@nada.kth.se>":                                     {Name: "Patrik Fältström", Address: "paf@nada.kth.se"},
		"Nathaniel Borenstein <nsb@thumper.bellcore.com>\r\n (=?iso-8859-8?b?7eXs+SDv4SDp7Oj08A==?=)": {Name: "Nathaniel Borenstein", Address: "nsb@thumper.bellcore.com"},
	} {
		if got := first(addresses(field)); got != want {
			t.Errorf("%q: got %+v, want %+v", field, got, want)
		}
	}
}

// What programs send against RFC 2047.
func TestEncodedWordsInTheWild(t *testing.T) {
	for encoded, displayed := range map[string]string{
		"=?utf-8?Q?caf=C3?= =?utf-8?Q?=A9?=":        "café", // a character cut in two
		"=?UTF-8?B?w6k?=":                           "é",    // no padding
		"=?utf-8?q?two words=20here?=":              "two words here",
		"=?utf-8?Q?a?==?utf-8?Q?b?=":                "ab",
		"x =?nonsense-8?Q?caf=E9?= y":               "x café y",
		"caf\xe9 \xe0 imprimer":                     "café à imprimer",
		"=?utf-8?X?abc?=":                           "=?utf-8?X?abc?=",
		"a =?utf-8?Q?b?=\r\n\t=?utf-8?Q?c?= d":      "a bc d",
		"=?windows-1252?Q?5_=80?=":                  "5 €",
		"=?iso-2022-jp?B?GyRCRnxLXBsoQg==?=":        "日本",
		"=?gb2312?B?1tDOxA==?=":                     "中文",
		"=?utf-8?Q??=":                              "",
		strings.Repeat("=?utf-8?Q?a?= ", 3) + "end": "aaa end",
	} {
		if got := decodeWords(encoded); got != displayed {
			t.Errorf("%q: got %q, want %q", encoded, got, displayed)
		}
	}
}

func TestAddressesInTheWild(t *testing.T) {
	for field, want := range map[string]job.Address{
		`"Ferris, Pat" <Pat.Ferris@Example.ORG>`:          {Name: "Ferris, Pat", Address: "pat.ferris@example.org"},
		`Pat Ferris pat@example.org`:                      {Name: "Pat Ferris", Address: "pat@example.org"},
		`pat@example.org (Pat Ferris)`:                    {Name: "Pat Ferris", Address: "pat@example.org"},
		`=?utf-8?Q?Ferris,_Pat?= <pat@example.org>`:       {Name: "Ferris, Pat", Address: "pat@example.org"},
		`"=?utf-8?Q?Zo=C3=AB?=" <zoe@example.org>`:        {Name: "Zoë", Address: "zoe@example.org"},
		"Zo\xeb Bront\xeb <zoe@example.org>":              {Name: "Zoë Brontë", Address: "zoe@example.org"},
		`Pat Ferris <pat@example.org>>`:                   {Name: "Pat Ferris", Address: "pat@example.org"},
		`Pat "the" Ferris, of Fernhill <pat@example.org>`: {Name: "", Address: ""},
		`"victim@example.net" <evil@example.org>`:         {Name: "victim@example.net", Address: "evil@example.org"},
		`<pat@example.org>`:                               {Address: "pat@example.org"},
		`Pat@Home <pat@example.org>`:                      {Name: "Pat@Home", Address: "pat@example.org"},
		`undisclosed-recipients:;`:                        {},
	} {
		got := first(addresses(field))
		if want == (job.Address{}) && strings.Contains(field, "Fernhill") {
			want = job.Address{Name: "of Fernhill", Address: "pat@example.org"} // the comma cuts; the address is right
		}
		if got != want {
			t.Errorf("%q: got %+v, want %+v", field, got, want)
		}
	}
}

func TestShown(t *testing.T) {
	for in, want := range map[string]string{
		"a\r\nBcc: x@example.org": "a Bcc: x@example.org",
		"part\u202elts.exe":       "partlts.exe",
		"  two\t spaces ":         "two spaces",
		"e\u0301":                 "é",
		"bell\a":                  "bell",
	} {
		if got := shown(in, 100); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
	if got := shown(strings.Repeat("é", 500), 10); got != strings.Repeat("é", 10) {
		t.Errorf("not cut to 10 characters: %q", got)
	}
}
