package letter

import (
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Each case is a reply as some mail program writes it; the writer's own words are
// "Yes please." unless it says otherwise.
func TestOwnCutsQuotedMail(t *testing.T) {
	for name, c := range map[string]struct{ in, want string }{
		"english attribution":       {"Yes please.\n\nOn Mon, 2 Nov 2026 at 16:01, Desk <d@larkfield.example> wrote:\n\n> Hello\n> Shall we?\n", ""},
		"folded attribution":        {"Yes please.\n\nOn Mon, 2 Nov 2026 at 16:01, Larkfield 3D print desk <\nprint@larkfield.example> wrote:\n> Hello\n", ""},
		"unmarked quotation":        {"Yes please.\n\nOn Nov 2, 2026, at 4:01 PM, Desk <d@larkfield.example> wrote:\n\nHello\nShall we?\n", ""},
		"writer first":              {"Yes please.\n\nDesk <d@larkfield.example> wrote:\n> Hello\n", ""},
		"writer then date":          {"Yes please.\n\nDesk <d@larkfield.example> wrote (Mon, 2 Nov 2026 16:01):\n> Hello\n", ""},
		"iso date":                  {"Yes please.\n\n2026-11-02 16:01 GMT-05:00 Desk <d@larkfield.example>:\n> Hello\n", ""},
		"you wrote, quoted":         {"Yes please.\n\nOn Monday you wrote:\n> Hello\n", ""},
		"you wrote, not quoted":     {"On Monday you wrote:\nplease bring the form\n", "On Monday you wrote:\nplease bring the form"},
		"french":                    {"Yes please.\n\nLe lun. 2 nov. 2026 à 16:01, Bureau <d@larkfield.example> a écrit :\n\n> Bonjour\n", ""},
		"french, no-break space":    {"Yes please.\n\nLe 2 nov. 2026 à 16:01, Bureau a écrit\u00a0:\n> Bonjour\n", ""},
		"french, unmarked":          {"Yes please.\n\nLe 2 novembre 2026 16:01, Bureau <d@larkfield.example> a écrit :\nBonjour\n", ""},
		"spanish":                   {"Yes please.\n\nEl lun, 2 nov 2026 a las 16:01, Mesa (<d@larkfield.example>) escribió:\n> Hola\n", ""},
		"original message":          {"Yes please.\n\n-----Original Message-----\nFrom: Desk\nHello\n", ""},
		"message d'origine":         {"Yes please.\n\n-----Message d'origine-----\nDe : Bureau\nBonjour\n", ""},
		"mensaje original":          {"Yes please.\n\n-----Mensaje original-----\nDe: Mesa\nHola\n", ""},
		"header block":              {"Yes please.\n\nFrom: Desk <d@larkfield.example>\nSent: Monday, November 2, 2026 4:01 PM\nTo: Pat\nSubject: Your print\n\nHello\n", ""},
		"header block, starred":     {"Yes please.\n\n*From:* Desk <d@larkfield.example>\n*Sent:* Monday\n*To:* Pat\n*Subject:* Your print\n\nHello\n", ""},
		"header block, with rule":   {"Yes please.\n________________________________\nFrom: Desk <d@larkfield.example>\nSent: Monday\nTo: Pat\nSubject: Your print\n\nHello\n", ""},
		"header block, french":      {"Yes please.\n\nDe : Bureau <d@larkfield.example>\nEnvoyé : lundi 2 novembre 2026 16:01\nÀ : Pat\nObjet : Votre impression\n\nBonjour\n", ""},
		"header block, spanish":     {"Yes please.\n\nDe: Mesa <d@larkfield.example>\nEnviado el: lunes, 2 de noviembre de 2026 16:01\nPara: Pat\nAsunto: Su impresión\n\nHola\n", ""},
		"from without more":         {"From: the desk of Pat\n\nYes please.\n", "From: the desk of Pat\n\nYes please."},
		"bars":                      {"Yes please.\n\nOn 2 Nov 2026 Desk <d@larkfield.example> wrote:\n| Hello\n| Shall we?\n", ""},
		"original, then marked":     {"-------- Original Message --------\nOn Monday, 2 Nov 2026, Desk <d@larkfield.example> wrote:\n\n> Shall we?\n\nYes please.\n", ""},
		"header block, then marked": {"From: Desk <d@larkfield.example>\nSent: Monday\nTo: Pat\nSubject: Your print\n\n> Shall we?\n\nYes please.\n", ""},
		"initials":                  {"Yes please.\n\nPF> Hello\nPF> Shall we?\n", ""},
		"nested":                    {"Yes please.\n\n> > Hello\n>> you\n> Shall we?\n", ""},
		"bottom":                    {"> Hello\n> Shall we?\n\nYes please.\n", ""},
		"signature":                 {"Yes please.\n\n-- \nPat Ferris\n555-0199\n12 Mill Lane\n", ""},
		"signature, bare":           {"Yes please.\n--\nPat Ferris\n", ""},
		"signature above quotation": {"Yes please.\n-- \nPat\n\nOn 2 Nov 2026, Desk <d@larkfield.example> wrote:\n> Hello\n", ""},
		"long text below a dash":    {"First.\n--\n" + strings.Repeat("More.\n", 30), "First.\n--\n" + strings.TrimSpace(strings.Repeat("More.\n", 30))},
		"telephone":                 {"Yes please.\n\nSent from my phone\n", ""},
		"telephone, chatty":         {"Yes please.\n\nSent from my mobile, please excuse typos.\n", ""},
		"mail program":              {"Yes please.\n\nSent from Mail for Desktop\n", ""},
		"get program":               {"Yes please.\n\nGet Mailer for Phones<https://example.com/x>\n", ""},
		"telephone, french":         {"Yes please.\n\nEnvoyé de mon téléphone\n", ""},
		"telephone, french 2":       {"Yes please.\n\nEnvoyé à partir de mon appareil\n", ""},
		"telephone, spanish":        {"Yes please.\n\nEnviado desde mi teléfono\n", ""},
		"not a telephone":           {"Get two for Sam\n", "Get two for Sam"},
		"sent from in a sentence":   {"The file was sent from my old address yesterday, did you get it and can you print it in red for me, in two pieces?\n", "The file was sent from my old address yesterday, did you get it and can you print it in red for me, in two pieces?"},
		"a colon of one's own":      {"I need:\n- two hooks\n- one lid\n", "I need:\n- two hooks\n- one lid"},
		"le without quotation":      {"Le support doit être solide :\nsinon il casse.\n", "Le support doit être solide :\nsinon il casse."},
		"nothing":                   {"", "" + "\x00"},
	} {
		want := c.want
		if want == "" {
			want = "Yes please."
		}
		if got := Own(tidy(c.in)).Text; got != strings.Trim(want, "\x00") {
			t.Errorf("%s:\ngot  %q\nwant %q", name, got, want)
		}
	}
}

func TestOwnKeepsInlineAnswers(t *testing.T) {
	got := Own("Hi,\n\nOn Mon, 2 Nov 2026, Desk <d@larkfield.example> wrote:\n\n> Hello Pat,\n>\n> 1. How many copies?\n2\n> 2. Which colour?\n\ngreen, if you have it\nelse black\n\n> 3. Pickup?\n> Central or Fernhill\nFernhill\n\nThanks\nPat\n")
	want := []job.Inline{
		{Quoted: "Hello Pat,\n\n1. How many copies?", Text: "2"},
		{Quoted: "2. Which colour?", Text: "green, if you have it\nelse black"},
		{Quoted: "3. Pickup?\nCentral or Fernhill", Text: "Fernhill\n\nThanks\nPat"},
	}
	if len(got.Inline) != len(want) {
		t.Fatalf("got %d answers: %+v", len(got.Inline), got.Inline)
	}
	for i := range want {
		if got.Inline[i] != want[i] {
			t.Errorf("answer %d: got %+v, want %+v", i, got.Inline[i], want[i])
		}
	}
	if text := "Hi,\n\n2\n\ngreen, if you have it\nelse black\n\nFernhill\n\nThanks\nPat"; got.Text != text {
		t.Errorf("text: got %q, want %q", got.Text, text)
	}
}

func TestOwnKeepsWhatIsQuoted(t *testing.T) {
	for in, want := range map[string]string{
		"Yes.\n\nOn 2 Nov 2026, D <d@larkfield.example> wrote:\n> 1. Colour?\n> > old\n": "1. Colour?\nold",
		"Yes.\n\nOn 2 Nov 2026, D <d@larkfield.example> wrote:\n\n1. Colour?\n":          "1. Colour?",
		"Yes.\n\nFrom: D\nSent: Monday\nTo: Pat\nSubject: x\n\n1. Colour?\n2. Copies?\n": "1. Colour?\n2. Copies?",
		"Yes.\n\n-----Original Message-----\nFrom: D\n1. Colour?\n":                      "From: D\n1. Colour?",
		"Yes.\n": "",
	} {
		if got := Own(in).Quoted; got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
	if got := Own("> " + strings.Repeat("é", 20000)).Quoted; len(got) > quotedBytes {
		t.Errorf("%d bytes were kept", len(got))
	}
}

// A mail program wraps a quoted line and forgets the mark on what it wrapped.
func TestOwnLostWrap(t *testing.T) {
	got := Own("> the part has two walls that are thinner than the nozzle can print and so\nthey\n> would be left out\n\nThicken them please.\n")
	if got.Text != "Thicken them please." {
		t.Errorf("got %q", got.Text)
	}
}

func TestUnflow(t *testing.T) {
	// RFC 3676, 4.2 to 4.5: soft breaks, quote depth, stuffing, the signature line
	got := unflow("one \ntwo\n> quoted \n> more\n From here\n-- \nPat", false)
	if want := "one two\n> quoted more\nFrom here\n-- \nPat"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := unflow("ab \ncd", true); got != "abcd" {
		t.Errorf("delsp: got %q", got)
	}
	// RFC 3676, 4.5: a line of another depth begins a paragraph, whatever the one before ends in
	for in, want := range map[string]string{
		"> shall I print it? \nYes, please.":  "> shall I print it? \nYes, please.",
		"Yes, please. \n> shall I print it?":  "Yes, please. \n> shall I print it?",
		"> shall I \n> print it?":             "> shall I print it?",
		">> deeper \n> quoted \n> to its end": ">> deeper \n> quoted to its end",
	} {
		if got := unflow(in, false); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

func TestRenderHTML(t *testing.T) {
	for name, c := range map[string]struct{ in, want string }{
		"paragraphs":       {"<p>One</p><p>Two<br>Three</p>", "One\n\nTwo\nThree"},
		"spaces":           {"<div> a\n  b <b>c</b>d </div>", "a b cd"},
		"script and style": {"<style>x{}</style><script>alert(1)</script>a", "a"},
		"head not closed":  {"<head><title>x</title><body>text", "text"},
		"hidden":           {"<div style='DISPLAY: none'>secret <div>more</div></div>shown", "shown"},
		"entities":         {"&lt;b&gt; &eacute;&nbsp;&#8364;", "<b> é €"},
		"link":             {`<a href="https://example.org/a">model</a>`, "model <https://example.org/a>"},
		"link as text":     {`<a href="https://example.org/a">https://example.org/a</a>`, "https://example.org/a"},
		"script link":      {`<a href="javascript:alert(1)">model</a>`, "model"},
		"numbered":         {"<ol start=3><li>a</li><li>b</li></ol>", "3. a\n4. b"},
		"bullets":          {"<ul><li>a<li>b</ul>", "- a\n- b"},
		"quote":            {"yes<blockquote type=cite>q1<div>q2</div></blockquote>more", "yes\n\n> q1\n> q2\n\nmore"},
		"indent":           {`<blockquote style="margin: 0 0 0 40px; border: none">own</blockquote>`, "own"},
		"signature":        {`hi<div id="Signature"><div>Pat</div></div>`, "hi"},
		"table":            {"<table><tr><td>a</td><td>b</td></tr><tr><td>c</td></tr></table>", "a b\nc"},
		"pre":              {"<pre>a\n  b</pre>", "a\n  b"},
		"broken":           {"<p>a<b<i>c</", "a"},
	} {
		got, _ := renderHTML(c.in, 1000, signatureNames)
		if got = strings.TrimSpace(tidy(got)); got != c.want && name != "broken" {
			t.Errorf("%s: got %q, want %q", name, got, c.want)
		}
	}
	long, _ := renderHTML(strings.Repeat("<div>", 200_000)+"deep"+strings.Repeat("<p>x", 1000), 500, signatureNames)
	if len(long) > 500 || !strings.Contains(long, "deep") {
		t.Errorf("deep nesting: %d bytes %q", len(long), long)
	}
}

func TestLanguage(t *testing.T) {
	words := rules.Default().Words.Cues
	for text, want := range map[string]string{
		"Hello, could you print this part in red for me?":        "en",
		"Bonjour, pourriez-vous imprimer cette pièce en rouge ?": "fr",
		"Hola, ¿podrían imprimir esta pieza en rojo?":            "es",
		"Yes, go ahead":                  "en",
		"Oui, d'accord":                  "fr",
		"Sí, de acuerdo":                 "es",
		"D'accord pour le prix":          "fr",
		"Gracias":                        "es",
		"Merci":                          "fr",
		"Thanks":                         "en",
		"It's fine, I'm happy with that": "en",
		"Bonjour, voici le fichier pour le support. Je passerai a Central.":   "fr",
		"Buenos dias, les mando el archivo del soporte, lo recojo en Central": "es",
		"PLA 0.2": "en",
		"https://example.org/le/la/les/des Please look at the link":               "en",
		"J’ai besoin d’une pièce":                                                 "fr",
		"Please print for Señor Núñez, he will pick it up at the Fernhill branch": "en",
	} {
		if got := language(text, "", []string{"en", "fr", "es"}, words); got != want {
			t.Errorf("%q: got %s, want %s", text, got, want)
		}
	}
	for text, want := range map[string]string{"Ok": "fr", "Vert": "fr", "Yes please": "en", "Sí": "es", "": "fr"} {
		if got := Language(text, "fr", rules.Default().Words); got != want {
			t.Errorf("%q in a French conversation: got %s, want %s", text, got, want)
		}
	}
	for text, want := range map[string]string{"de acuerdo": "es", "c'est d'accord": "fr", "sounds good": "en", "Merci, je voudrais deux copies": "fr", "ok": "en"} {
		if got := Language(text, "en", rules.Default().Words); got != want {
			t.Errorf("%q in an English conversation: got %s, want %s", text, got, want)
		}
	}
	own := rules.Words{Cues: rules.Lexicon{"pt": {"common": {"olá", "obrigado", "eu", "peça", "você", "não", "por favor"}}}}
	if got := Language("Olá, eu gostaria desta peça. Obrigado!", "en", own); got != "pt" {
		t.Errorf("a language that only the house's words know: got %s", got)
	}
	if got := language("", "Impression 3D de ma pièce", nil, words); got != "fr" {
		t.Errorf("from the subject: got %s", got)
	}
	if got := language("12345", "", []string{"es", "en"}, words); got != "es" {
		t.Errorf("nothing to go by: got %s, want the house's first language", got)
	}
}

// Below a bare "--" twelve lines are a signature; what is longer was written to be
// read. RFC 3676, 4.3: below "-- " all of it is the signature.
func TestSignatureLines(t *testing.T) {
	below := func(mark string, n int) string {
		return Own("Yes please.\n" + mark + "\n" + strings.Repeat("Pat Ferris\n", n)).Text
	}
	for _, c := range []struct {
		mark string
		n    int
		cut  bool
	}{{"--", 12, true}, {"--", 13, false}, {"-- ", 13, true}} {
		if got := below(c.mark, c.n); (got == "Yes please.") != c.cut {
			t.Errorf("%d lines below %q: cut is not %v, %q is left", c.n, c.mark, c.cut, got)
		}
	}
}

// A plain part that only says that there is an HTML part gives way to it; one of 250
// characters is a letter in which the word occurs.
func TestNoticeOfHTML(t *testing.T) {
	const notice = "Your mail program does not support HTML mail."
	for n, gives := range map[int]bool{249: true, 250: false} {
		b := body{plain: notice + strings.Repeat("x", n-len(notice)), html: "Please print the bracket."}
		if got := b.text() == b.html; got != gives {
			t.Errorf("a plain part of %d characters gives way to the HTML: %v", n, got)
		}
	}
}
