package letter

import (
	"path"
	"regexp"
	"strings"

	"meshclerk/intake/job"
)

// The words by which people ask for a print, in English, French and Spanish. A
// sentence counts when it asks for a thing, not when it asks how things are in
// general: "can you print this" does, "what does a print cost" does not.
var (
	wishes = []*regexp.Regexp{
		// English
		regexp.MustCompile(`\b(could|can|would|will) (you|u|someone|somebody|the library|i|we)( guys| folks)?( please| possibly| maybe| kindly| also)*( be able to| like to| get| have)? ?(3-?d[ -]?)?print(ed)? (` + thing + `)`),
		regexp.MustCompile(`\b(please|pls|kindly|go ahead and) (just |also )?(3-?d[ -]?)?print\b`),
		regexp.MustCompile(`\b(i|we)( would|['’]d)? (really |just |also )?(like|love|want|need|wish|hope|request|am looking|are looking)( to| for)?( have| get| order| request| make| you to| a| an| one| two| some| my| our| this| it| these)*( [\w-]+){0,6} ?(3-?d[ -]?)?print(ed)?\b`),
		regexp.MustCompile(`\b(have|get|getting|having) (` + thing + `)( [\w'’-]+){0,6} (3-?d[ -]?)?printed\b`),
		regexp.MustCompile(`\bprint(ed)? (this|it|them|these|the attached|attached|my|our|one|two|three|\d+) ?(copies|copy|of|part|piece|model|file|design)?`),
		regexp.MustCompile(`\b(print|printing) (request|job|order)\b.{0,40}\b(attached|for|is|below)`),
		regexp.MustCompile(`\b(attached|enclosed|here|sending you|included)( you will find)?( is| are|['’]s)? (the|my|our|an?|his|her) ([\w-]+ ){0,4}(stl|3-?d (model|file|object|design|part|print)|mesh|model)\b`),
		regexp.MustCompile(`\b(stl|model|mesh|3-?d file)( file)? (is|are)( now)? (attached|below|at|here)\b`),
		regexp.MustCompile(`\b(forgot|forgotten|forget)( to attach| to include)?( the| my)? (attachment|file|stl|model)|\bforgot to attach\b`),
		regexp.MustCompile(`\b(is|would) it (be )?possible to (have |get )?(3-?d[ -]?)?print(ed)? (` + thing + `)`),
		// French
		regexp.MustCompile(`(pourriez|pouvez|pourrait|peux|pourrais|peut)[- ](vous|tu|on)( s['’]il vous pla[iî]t| svp)?,?( me| m['’]| nous)? ?imprimer (` + chose + `)`),
		regexp.MustCompile(`(voudrais|voudrions|aimerais|aimerions|souhaite|souhaiterais|souhaitons|désire|besoin)( bien)?( de| d['’])? ?(faire |d['’])?imprimer`),
		regexp.MustCompile(`(voudrais|aimerais|souhaite|souhaiterais|besoin d['’]une?|demande)( [\wéèàêîô'’-]+){0,3} impression (3d |en 3d |de |d['’]|du |en )`),
		regexp.MustCompile(`(merci d['’]|veuillez |svp |prière d['’])imprimer|imprimez[- ](le|la|les|moi|ce|cet|cette)`),
		regexp.MustCompile(`(ci-joint|en pièce jointe|ci-jointe|vous trouverez)( le| la| mon| ma| un| une| votre)? ([\wéèàêîô-]+ ){0,4}(fichier|modèle|stl|pièce|objet)`),
		regexp.MustCompile(`(oublié)( de joindre| d['’]ajouter| d['’]attacher)?( la| le| mon| ma)? (pièce jointe|fichier|stl|modèle)`),
		regexp.MustCompile(`(serait-il|est-il|est-ce) (que c['’]est )?possible d['’]imprimer (` + chose + `)`),
		// Spanish
		regexp.MustCompile(`(pueden|puede|podrían|podría|puedes|podrías|podéis|me|nos)( por favor)?( imprimirme| imprimirnos| imprimir(lo|la|los|las)?| imprimen?) ?(` + cosa + `)?`),
		regexp.MustCompile(`(quiero|quisiera|querría|necesito|me gustaría|deseo|quisiéramos|necesitamos|queremos)( que)?( me| nos)?( poder| mandar a)? ?(imprimir|imprimieran|impriman|una impresión|la impresión)`),
		regexp.MustCompile(`(por favor,? )?(impriman|imprima|imprímanme|imprime) (` + cosa + `)`),
		regexp.MustCompile(`(adjunto|les envío|le envío|envío|adjunté|va adjunto|mando)( el| la| mi| un| una)? ([\wáéíóúñ-]+ ){0,4}(archivo|modelo|stl|pieza|diseño)`),
		regexp.MustCompile(`(olvidé|olvidado|olvidó)( de)?( adjuntar| incluir)?( el| la| mi)? (archivo|adjunto|stl|modelo)`),
		regexp.MustCompile(`(sería|es) posible imprimir (` + cosa + `)`),
	}
	// general is a question about how things are.
	general = regexp.MustCompile(`^[^a-zà-ÿ¿]*¿?\s*((hi|hello|hola|bonjour)[,!]? )?(how (much|long|many|do|does|can i|would|big|large)|what|when|where|which|who|do (you|i|we)|does|are (you|there)|is there|have you|` +
		`combien|quel|quelle|quels|quelles|quand|où|est-ce que vous|avez-vous|faites-vous|faut-il|comment|` +
		`cuánto|cuánta|cuántos|cuál|cuáles|cuándo|dónde|qué|cómo|tienen|hacen|hay|ofrecen)\b`)
	// paper is what other printers print.
	paper = regexp.MustCompile(`\b(pages?|documents?|pdfs?|docx?|résumé|resume|cv|curriculum|boarding pass|tickets?|essay|homework|tax|forms?|formulaires?|formularios?|` +
		`letterhead|labels?|poster|photos?|double[- ]sided|recto[- ]verso|doble cara|black and white|noir et blanc|blanco y negro|páginas?|documentos?|billets?|boletos?|` +
		`affiche|photocopies?|fotocopias?|receipts?|invoice|facture|factura)\b`)
	solid = regexp.MustCompile(`\b(3-?d|stl|\w+\.stl|filament|pla|petg|plastic|plastique|plástico|mesh|layer|infill|3mf|obj)\b`)
	// refused is a wish that is none: "do not print it yet", "no need to print".
	refused = regexp.MustCompile(`\b(do not|don['’]t|please don['’]t|no need to|not yet|never mind|instead of|without having to) (\w+ ){0,2}print|ne (l['’]|le |la |les )?imprimez pas|no (lo |la |los |las )?impriman?\b`)
)

const (
	thing = `this|that|these|those|it|them|my|our|his|her|their|the|a|an|one|two|three|some|me|us|something|\d+`
	chose = `ce|cet|cette|ces|ceci|cela|ça|mon|ma|mes|notre|nos|le|la|les|l['’]|un|une|deux|trois|\d+|quelque`
	cosa  = `este|esta|esto|estos|estas|ese|esa|eso|mi|mis|nuestro|nuestra|el|la|los|las|lo|un|una|uno|dos|tres|\d+|algo`
)

const wishBytes = 20000 // of a text are looked at

// wishToPrint tells whether the words clearly ask for something to be printed.
func wishToPrint(l *job.Letter) (bool, string) {
	text := strings.ToLower(l.Text[:min(len(l.Text), wishBytes)])
	whole := text + "\n" + strings.ToLower(l.Subject)
	if paper.MatchString(whole) && !solid.MatchString(whole) {
		return false, ""
	}
	for _, sentence := range sentences(text) {
		if general.MatchString(sentence) || refused.MatchString(sentence) {
			continue
		}
		for _, form := range wishes {
			if form.MatchString(sentence) {
				return true, "no model is attached, but the words ask for a print"
			}
		}
	}
	for _, link := range l.Links {
		if modelLink(link) {
			return true, "a link to a model is given in place of a file"
		}
	}
	return false, ""
}

// modelLink tells whether a link ends in a model or an archive.
func modelLink(link string) bool {
	link, _, _ = strings.Cut(link, "?")
	k := kindByEnding[strings.ToLower(path.Ext(link))]
	return strings.HasSuffix(strings.ToLower(link), ".stl") || k == job.KindModel || k == job.KindArchive
}

var sentenceEnd = regexp.MustCompile(`[.!?]+(\s+|$)|\n\s*\n`)

// sentences cuts a text; lines within a sentence are joined.
func sentences(text string) []string {
	var out []string
	for _, s := range sentenceEnd.Split(text, -1) {
		if s = strings.Join(strings.Fields(s), " "); s != "" {
			out = append(out, s)
		}
	}
	return out
}
