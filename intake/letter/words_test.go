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

// TestNoAddressBecomesAnother: what resembles a patron's address, by quoting
// (RFC 5322, 3.4.1), comments (3.2.2), invisible or look-alike characters (RFC 6532),
// encoded words or a field that breaks the grammar, is never that address.
func TestNoAddressBecomesAnother(t *testing.T) {
	const amara = "amara.okafor@example.org"
	for _, field := range []string{
		`"amara. okafor"@example.org`, `"amara.okafor "@example.org`, `" amara.okafor"@example.org`, `"amara.okafor"@example.org`,
		`<"amara.okafor"@example.org>`, `Amara <"amara\.okafor"@example.org>`, `"<amara.okafor@example.org>" <"amara.okafor"@example.org>`,
		`amara.okafor(a comment)@example.org`, `amara.(x)okafor@example.org`, `Amara <amara.okafor(x)@example.org>`, `amara.okafor@(x)example.org`,
		"amara.okafor\u200b@example.org", "amara\u200d.okafor@example.org", "amara.okafor@example.org\u200b", "\ufeffamara.okafor@example.org",
		"Amara <amara.oka\u00adfor@example.org>", "amara.okafor@exam\u2060ple.org", "\u202eamara.okafor@example.org",
		"amara.o\u212aafor@example.org", "amara.okafor@example.org\u0301", "amara.oka\ufb00or@example.org", "\uff41mara.okafor@example.org",
		`=?utf-8?q?amara=2Eokafor?=@example.org`, `=?utf-8?q?amara.okafor=40example.org?=`, `<=?utf-8?b?YW1hcmEub2thZm9y?=@example.org>`,
		`Amara <=?utf-8?q?amara.okafor=40example.org?=>`,
		`<x amara.okafor@example.org>`, `<"x"amara.okafor@example.org>`, `x@example.org <y amara.okafor@example.org>`, `"x"amara.okafor@example.org`,
		`x\ amara.okafor@example.org`, `<x@y@amara.okafor@example.org>`, "amara.\tokafor@example.org", "amara.okafor @example.org", "amara.okafor@example. org",
		`<mallory@example.org> <amara.okafor@example.org>`, `amara.okafor@example.org.`, `amara..okafor@example.org`, `.amara.okafor@example.org`,
		strings.Repeat("x", 400) + amara, amara + strings.Repeat("x", 400), `<"` + strings.Repeat("x", 330) + `" ` + amara + `>`,
	} {
		if got := first(addresses(field)); got.Address == amara || job.SameAddress(got.Address, amara) {
			t.Errorf("%q becomes %s", field, got.Address)
		}
	}
	// Composed and decomposed letters are two addresses.
	for _, pair := range [][2]string{{"andr\u00e9@example.org", "andre\u0301@example.org"}, {"k@example.org", "\u212a@example.org"}, {"s@example.org", "\u017f@example.org"}} {
		a, b := first(addresses(pair[0])).Address, first(addresses(pair[1])).Address
		if a == "" || job.SameAddress(a, b) {
			t.Errorf("%+q and %+q are one: %q and %q", pair[0], pair[1], a, b)
		}
	}
	for field, want := range map[string]string{
		"Amara.Okafor@Example.ORG": amara, "Amara Okafor <amara.okafor@example.org>": amara, `"Okafor, Amara" <amara.okafor@example.org>`: amara,
		"amara.okafor@example.org (Amara Okafor)": amara, "<amara.okafor@example.org>": amara, "Amara (home) <amara.okafor@example.org>": amara,
		"=?utf-8?q?Amara?= <amara.okafor@example.org>": amara, "Amara@Home <amara.okafor@example.org>": amara,
		"Andr\u00e9 <andr\u00e9.roy@example.org>": "andr\u00e9.roy@example.org", "\u00c9va@ex\u00e4mple.org": "\u00e9va@ex\u00e4mple.org", "o'neil+print@example.org": "o'neil+print@example.org",
	} {
		if got := first(addresses(field)).Address; got != want {
			t.Errorf("%q becomes %q, want %q", field, got, want)
		}
	}
}

// A sender check speaks for the From field's own words: where a field breaks the
// grammar, holds several addresses or none, or another field had to name the writer, a
// pass proves nothing.
func TestPassIsForAPlainFrom(t *testing.T) {
	for from, want := range map[string]job.Verdict{
		"From: Amara <amara.okafor@example.org>\r\n":                                             job.Pass,
		"From: Amara <AMARA.Okafor@Example.org>\r\n":                                             job.Pass,
		"From: Amara amara.okafor@example.org\r\n":                                               job.None,
		"From: \"amara. okafor\"@example.org\r\n":                                                job.None,
		"From: mallory@example.org, amara.okafor@example.org\r\n":                                job.None,
		"From: amara.okafor@example.org, mallory@example.org\r\n":                                job.None,
		"From: nobody\r\nSender: amara.okafor@example.org\r\n":                                   job.None,
		"From: mallory@example.org\r\nFrom: amara.okafor@example.org\r\n":                        job.None,
		"From: =?utf-8?q?amara.okafor=40example.org?=\r\nReply-To: amara.okafor@example.org\r\n": job.None,
		"From: <>\r\nReturn-Path: <amara.okafor@example.org>\r\n":                                job.None,
	} {
		raw := "Authentication-Results: mx.larkfield.example; dmarc=pass header.from=example.org\r\n" + from + "Subject: print\r\nMessage-ID: <1@example.org>\r\n\r\nPlease print this.\r\n"
		l, err := Read(t.Context(), strings.NewReader(raw), Options{AuthservID: "mx.larkfield.example"})
		if err != nil {
			t.Fatal(err)
		}
		if l.Authenticated != want {
			t.Errorf("%q: %s (%s), want %s", from, l.Authenticated, l.From.Address, want)
		}
	}
}
