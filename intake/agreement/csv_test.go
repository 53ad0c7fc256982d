package agreement

import (
	"encoding/csv"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

const plain = `address,name,card number,signed on,version,expires,guardian
ada@example.org,Ada Example,2 1234,2026-03-02,2026-1,,
kim@example.org,"Example, Kim",2 9999,2026-03-03,2026-1,2028-03-03,Ada Example
`

var wantPlain = []Entry{
	{Address: "ada@example.org", Name: "Ada Example", Card: "2 1234", Signed: "2026-03-02", Version: "2026-1"},
	{Address: "kim@example.org", Name: "Example, Kim", Card: "2 9999", Signed: "2026-03-03", Version: "2026-1", Expires: "2028-03-03", Guardian: "Ada Example"},
}

func TestParseCSV(t *testing.T) {
	utf16le, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(tabs(plain))
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"plain":                       plain,
		"byte order mark":             "\ufeff" + plain,
		"CRLF":                        strings.ReplaceAll(plain, "\n", "\r\n"),
		"semicolons":                  semicolons(plain),
		"tabs":                        tabs(plain),
		"UTF-16 with tabs":            utf16le,
		"sep= line":                   "sep=;\r\n" + semicolons(plain),
		"no newline at the end":       strings.TrimSuffix(plain, "\n"),
		"empty lines":                 strings.ReplaceAll(plain, "\n", "\n,,,,,,\n\n"),
		"free headers":                strings.Replace(plain, "address,name,card number,signed on,version,expires,guardian", " E-Mail , NAME,Card_Number,Signed-On,Agreement Version,Valid until,Parent / Guardian", 1),
		"a column that is not ours":   strings.NewReplacer("guardian\n", "guardian,notes\n", ",,\n", ",,,pays in coins\n").Replace(plain),
		"dates with slashes":          strings.ReplaceAll(plain, "2026-03-02", "2026/3/2"),
		"dates with a time":           strings.ReplaceAll(plain, "2026-03-02", "2026-03-02 00:00:00"),
		"dates in words":              strings.ReplaceAll(plain, "2026-03-02", "2 March 2026"),
		"address in capitals":         strings.ReplaceAll(plain, "ada@example.org", " Ada@Example.ORG "),
		"address with a display name": strings.ReplaceAll(plain, "ada@example.org", "Ada Example <ada@example.org>"),
	} {
		got, err := ParseCSV(strings.NewReader(text))
		if err != nil || !reflect.DeepEqual(got, wantPlain) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

func recut(text string, comma rune) string {
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		return "the test's own text is wrong: " + err.Error()
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Comma = comma
	w.WriteAll(rows)
	return b.String()
}

func semicolons(text string) string { return recut(text, ';') }
func tabs(text string) string       { return recut(text, '\t') }

func TestParseCSVOtherColumns(t *testing.T) {
	text := "Guardian;Version;Name;Birth date;Address;Other addresses;Card number;Signed on;Expires;Minor\n" +
		";2026-1;Ümit Example;2012-05-06;\"a@example.org; b@example.net|A@example.org\";c@example.com;9;2026-03-02;;yes\n"
	want := []Entry{{Address: "a@example.org", Others: []string{"b@example.net", "c@example.com"}, Name: "Ümit Example", Card: "9", Signed: "2026-03-02", Version: "2026-1", Born: "2012-05-06", Minor: true}}
	latin, err := charmap.Windows1252.NewEncoder().String(text)
	if err != nil {
		t.Fatal(err)
	}
	for _, in := range []string{text, latin} {
		got, err := ParseCSV(strings.NewReader(in))
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%+v, %v\nwant %+v", got, err, want)
		}
	}
}

// The smallest register: who, from which address, and when it was signed.
func TestParseCSVFewColumns(t *testing.T) {
	got, err := ParseCSV(strings.NewReader("Signed on;Name;E-mail;Postcode;Branch;Notes;Phone\n2026-03-02;Ada Example;ada@example.org;B2;;;\n"))
	want := []Entry{{Address: "ada@example.org", Name: "Ada Example", Signed: "2026-03-02"}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v\nwant %+v", got, err, want)
	}
}

// Golden texts: what a person reads when a file is wrong.
func TestParseCSVErrors(t *testing.T) {
	const head = "address,name,card number,signed on,version,expires,guardian\n"
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", "line 1: the file is empty; its first line must name the columns: address, name, signed on; and it may have: other addresses, card number, version, expires, guardian, birth date, minor"},
		{"no header", "ada@example.org,Ada,1,2026-03-02,2026-1,,\n", `line 1: the first line must name the columns, and these are missing: address, name, signed on; there are: ada@example.org, Ada, 1, 2026-03-02, 2026-1, , `},
		{"one missing", "address,name,card,signed,version,exipres,guardian\n", `line 1: the column "exipres" looks like "expires" misspelt; write it so, or give it quite another name`},
		{"required missing", "address,name,card,version\n", `line 1: the first line must name the columns, and these are missing: signed on; there are: address, name, card, version`},
		{"two of a kind", "e-mail,address,name,card,signed,version,expires,guardian\n", `line 1: the columns "e-mail" and "address" both mean "address"; take one away`},
		{"everything at once", head + "ada,Ada,,02/03/2026,2026-1,,\n,,,,,,\nkim@example.org,Kim,,2026-03-02,,2026-02-30,\n",
			"line 2: address: \"ada\" is not a mail address; write it as name@example.org, and several with ; between them\n" +
				"line 2: signed on: \"02/03/2026\" is no day that can be read without doubt; write it as 2026-03-02\n" +
				"line 4: expires: \"2026-02-30\" is no day that can be read without doubt; write it as 2026-03-02\n" +
				"line 4: version is empty; write which version of the agreement was signed"},
		{"expires before signed", head + "a@example.org,A,,2026-03-02,1,2026-03-01,\n", "line 2: it expires on 2026-03-01, before it was signed on 2026-03-02; look at both dates"},
		{"twice", head + "a@example.org,A,1,2026-03-02,v1,,\nA@example.org,a,1,2026-03-03,V1,,\n", "line 3: the same person and version stand on line 2 already; keep one of the two"},
		{"line numbers over a cell of two lines", head + "a@example.org,\"A\nB\",1,2026-03-02,v1,,\nb@example.org,B,1,,v1,,\n", "line 4: signed on is empty; write the day as 2026-03-02"},
		{"line numbers with sep=", "sep=,\n" + head + "b@example.org,B,1,,v1,,\n", "line 3: signed on is empty; write the day as 2026-03-02"},
		{"a comma too many", head + "a@example.org,Example, A,1,2026-03-02,v1,,\n", "line 2: there are 8 cells, but the first line names 7 columns; put a cell that holds a comma in double quotes"},
		{"a broken quote", head + "a@example.org,\"A,1,2026-03-02,v1,,\nb@example.org,B,1,2026-03-02,v1,,\n", "line 2: a quote mark stands where it should not, or its partner is missing; put cells with commas, quotes or line breaks in double quotes, and double each quote inside"},
		{"neither yes nor no", strings.TrimSuffix(head, "\n") + ",minor\na@example.org,A,1,2026-03-02,v1,,,perhaps\n", `line 2: minor: "perhaps" is neither yes nor no`},
		{"a spreadsheet", "PK\x03\x04whatever", "this is a spreadsheet file, not CSV; open it and save it as CSV (UTF-8)"},
		{"not text", "a\x00b", "the file is not text; save it as CSV (UTF-8)"},
		{"an odd year", head + "a@example.org,A,1,0026-03-02,v1,,\n", "line 2: signed on: the year of \"0026-03-02\" cannot be right; write the day as 2026-03-02"},
	} {
		got, err := ParseCSV(strings.NewReader(c.in))
		if err == nil || err.Error() != c.want || got != nil {
			t.Errorf("%s: %+v\n got %v\nwant %s", c.name, got, err, c.want)
		}
	}
}

func TestParseCSVCutsLongErrors(t *testing.T) {
	var b strings.Builder
	b.WriteString("address,name,card number,signed on,version,expires,guardian\n")
	for i := range 50 {
		fmt.Fprintf(&b, "p%d@example.org,P,,,1,,\n", i)
	}
	_, err := ParseCSV(strings.NewReader(b.String()))
	wrong, ok := errors.AsType[*CSVError](err)
	if !ok || len(wrong.Problems) != 50 || !strings.HasSuffix(err.Error(), "\nand 30 more") {
		t.Errorf("%v", err)
	}
}

func TestParseCSVReadError(t *testing.T) {
	broken := errors.New("disk error")
	if _, err := ParseCSV(iotest.ErrReader(broken)); !errors.Is(err, broken) {
		t.Error(err)
	}
}

// FuzzParseCSV: no input crashes it, and what it accepts is fit for the register.
func FuzzParseCSV(f *testing.F) {
	f.Add([]byte(plain))
	f.Add([]byte("sep=;\n" + semicolons(plain)))
	f.Add([]byte("address;name;card;signed;version;expires;guardian\n\"a@example.org|b@example.org\";;1;20260302;1;;"))
	f.Add([]byte("address,name,signed\n;,,20260302\n"))
	f.Add([]byte("address,name,signed\n\"\"\"a. b\"\"@example.org\",,20260302\n"))
	f.Fuzz(func(t *testing.T, in []byte) {
		entries, err := ParseCSV(strings.NewReader(string(in)))
		if err != nil && (entries != nil || err.Error() == "") {
			t.Fatalf("%v with %v", entries, err)
		}
		for _, e := range entries {
			if e.Signed == "" || e.Address == "" && e.Card == "" { // without a column for it, the version is empty
				t.Fatalf("%+v", e)
			}
			for _, d := range []string{e.Signed, e.Expires, e.Born} {
				if again, err := ParseDay(d); d != "" && (err != nil || again != d) {
					t.Fatalf("day %q: %q, %v", d, again, err)
				}
			}
			for _, a := range e.Addresses() {
				if a != Normal(a) {
					t.Fatalf("address %q", a)
				}
			}
		}
	})
}

func BenchmarkParseCSV(b *testing.B) {
	var s strings.Builder
	s.WriteString("address,name,card number,signed on,version,expires,guardian\n")
	for i := range 10000 {
		fmt.Fprintf(&s, "p%d@example.org,Patron %d,2 %05d,2026-03-02,2026-1,,\n", i, i, i)
	}
	b.SetBytes(int64(s.Len()))
	for b.Loop() {
		if list, err := ParseCSV(strings.NewReader(s.String())); err != nil || len(list) != 10000 {
			b.Fatal(len(list), err)
		}
	}
}
