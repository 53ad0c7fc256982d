package letter

import (
	"path"
	"regexp"
	"slices"
	"strings"

	"meshclerk/intake/job"
)

// A sentence asks for a print when a word of wishing stands before a word of
// printing, with nothing between them that turns the wish to something else
// ("could you send me the form for a print"); or when it hands over a model; or
// when it is sorry for a file that is missing. Questions how things are in general
// ("what does a print cost") ask for nothing. English, French and Spanish; \b is of
// no use beside accented letters and stands only beside others.
var (
	wishing = regexp.MustCompile(`\b(?:could|can|would|will|might) (?:you|u|someone|somebody|anyone|the library|i|we)\b|\bi['’]?m after\b` +
		`|\b(?:would|will|might|is) it (?:be )?possible\b|\b(?:you|u) (?:would|could|can|might|will)\b|\b(?:please|pls|plz|kindly|requesting|looking|hoping|grateful|appreciate|wondering|any chance|mind)\b` +
		`|\b(?:like|love|wish|hope|request|order|wants?|needs?|needed|require)\b` +
		`|\b(?:pourriez|pouvez|pourrais|peux|pourrait|peut)[- ](?:vous|tu|on)\b|\b(?:vous|tu|je|nous|on) (?:pourriez|pouvez|peux|pourrais|pourrions|pourrait)\b|\bcherche` +
		`|voudrai[st]|voudrions|aimerai[st]|aimerions|souhait|désir|\bbesoin|\bmerci d|\bsvp\b|pla[iî]t\b|veuillez|prière|\bpossible d|command` +
		`|auriez|gentillesse|faudrait|\bil me faut|\bil nous faut|podr[íi]a|\bpued|amable|hace falta|\bhar[íi]an?\b|el favor|har[íi]a falta|podéis|\bqui(?:er|si)|\bquer|necesit|gustar[íi]a|\bpor favor|\bposible|\bdeseo|\bpedir|encargar|solicit`)
	printing = regexp.MustCompile(`\b(?:3-?d[ -]?)?print(?:ed)?\b|\b(?:3-?d[ -]?)?printing (?:a|an|this|it|my|our|one|two|three|the|some|these|\d+)\b` +
		`|\bimprim(?:er|ez|e\b|é|i|a\b|an\b)|\bimpression\b|\bimpresi[óo]n\b|\bimpres[oa]s?\b`)
	// otherwise turns a wish away from printing.
	otherwise = regexp.MustCompile(`\b(?:know|learn|understand|tell|explain|send|call|ask|book|join|sign|attend|recommend|show|find|check|remove|change|renew|cancel|question|information|info|` +
		`workshop|class|course|form|agreement|price|cost|volunteer|visit|see|use|for the)\b|savoir|appren|renseign|information|envoyer|expliquer|atelier|\bcours|formulaire|` +
		`\bprix|tarif|utiliser|\bvoir|saber|aprender|informaci|enviar|explicar|taller|\bcurso|formulario|precio|\busar`)
	// aside follows a word of printing that is about the service, or about how one prints.
	aside    = regexp.MustCompile(`^(?:ante|or|ora|\s+(?:services?|shop|desk|room|lab|list|evening|workshop|class|club|quality|policy|form|queue|in|on|with|from|at|larger|bigger|using|out|anything|things|stuff|jobs for)\b)`)
	definite = regexp.MustCompile(`\b(?:it|this|them|these|that|my|our|one|me)\b`)
	polite   = regexp.MustCompile(`\bplease\b|\bpls\b|\bthx\b|\bsvp\b|pla[iî]t\b|por favor`)
	titled   = regexp.MustCompile(`\bprint(?:ing)? (?:request|order)\b|\bdemande d['’]impression\b|\bsolicitud de impresión\b|\b(?:to|for) (?:3-?d[ -]?)?print(?:ing)?:`)

	model = regexp.MustCompile(`\bstls?\b|\bmesh\b|\bmodel\b|\b3-?d (?:file|design|object|part|print)\b|\b(?:file|part|design)s? (?:for|to) (?:be )?(?:3-?d[ -]?)?print` +
		`|modèle|fichier|\bpièces? à imprimer|\bobjet à imprimer|\bmodelo|\barchivo|\bpieza|\bdiseño`)
	handing = regexp.MustCompile(`\battach(?:ed|ing)?\b|\benclosed\b|\bhere(?:['’]s| is| are| comes)\b|\bsending\b|\bincluded\b|\bbelow\b|ci-joint|pièces? jointe|\bjoins\b|\bvoici\b|\benvoie|` +
		`\btrouverez|adjunt|\benvío|\benvio\b|\bmando\b|\baquí (?:está|va|tiene)`)
	missing = regexp.MustCompile(`\bforg[eo]t(?:ten)?\b|\bmissing\b|\bleft out\b|oublié|manqu|olvid|faltaba|se me pas`)
	file    = regexp.MustCompile(`\battach|\bfile\b|\bstl\b|\bmodel\b|pièce jointe|fichier|joindre|adjunt|archivo`)
	formal  = regexp.MustCompile(`\b(?:form|agreement|card|id|formulaire|accord|carte|formulario|acuerdo|carné)\b`)

	// general is a question about how things are.
	general = regexp.MustCompile(`^[^a-zà-ÿ¿]*¿?\s*(?:(?:hi|hello|hey|hola|bonjour|buenos días|buenas tardes|good (?:morning|afternoon))[,!]? )?(?:and |but |so |et |y )?(?:how (?:much|long|many|big|large|do|does|can i|would)|what|when|where|which|who|does|do (?:you|i|we)|` +
		`are (?:you|there|prints?)|is (?:there|a|the|3-?d)|have you|combien|quel|quand|où|comment|est-ce que (?:le|la|les|l['’]|vous (?:faites|avez|acceptez|proposez))|avez-vous|faites-vous|faut-il|y a-t-il|` +
		`cuánt|cuál|cuándo|dónde|qué|cómo|tienen|hacen|hay|ofrecen|es gratis|la impresora)`)
	// courteous is a wish in the form of a general question.
	courteous = regexp.MustCompile(`\bdo you (?:think|mind|suppose)\b|\bwhat are the chances\b`)
	// paper is what other printers print.
	paper = regexp.MustCompile(`\b(?:pages?|documents?|pdfs?|docx?|résumé|resume|cv|curriculum|boarding pass|tickets?|essay|homework|tax|forms?|formulaires?|formularios?|` +
		`my name|letterhead|labels?|posters?|flyers?|photos?|double[- ]sided|recto[- ]verso|doble cara|black and white|noir et blanc|blanco y negro|páginas?|documentos?|billets?|boletos?|` +
		`affiches?|photocopies?|fotocopias?|receipts?|invoice|facture|factura|newsletter)\b|currículum`)
	solid = regexp.MustCompile(`\b(?:3-?d|stl|\w+\.stl|filament|pla|petg|plastic|plastique|plástico|mesh|infill|3mf|obj)\b`)
	// refused is a wish that is none: "do not print it yet", "cancel my print".
	refused = regexp.MustCompile(`\bcancel|\bannul|\b(?:do not|don['’]t|no need to|never mind|without having to|not) (?:\w+ ){0,2}print|n(?:e |['’])(?:l['’]|le |la |les )?imprimez pas|\bno (?:me )?(?:lo |la |los |las )?impriman?\b`)
)

const (
	wishBytes = 8000 // of a text are looked at
	reach     = 90   // bytes from a word of wishing to the word of printing
)

// wishToPrint reports whether the words clearly ask for something to be printed.
func wishToPrint(l *job.Letter) (bool, string) {
	text := strings.ToLower(l.Text[:min(len(l.Text), wishBytes)])
	subject := strings.ToLower(l.Subject)
	all := sentences(text)
	for i, s := range all {
		why := wishIn(s)
		if why == "" {
			continue
		}
		near := strings.Join(all[i:min(i+2, len(all))], " ") + " " + subject
		if !paper.MatchString(near) || solid.MatchString(text) || solid.MatchString(subject) {
			return true, why
		}
	}
	if slices.ContainsFunc(l.Links, modelLink) {
		return true, "letters.link"
	}
	return false, ""
}

// telling are the beginnings of words of which a sentence that asks for a print has one.
var telling = []string{"print", "impr", "stl", "mesh", "model", "modèle", "3d", "3-d", "file", "part", "design", "attach",
	"fichier", "pièce", "objet", "joindre", "adjunt", "archivo", "pieza", "diseño"}

// wishIn returns what wish a sentence holds, or nothing.
func wishIn(s string) string {
	holds := func(word string) bool { return strings.Contains(s, word) }
	switch {
	case !slices.ContainsFunc(telling, holds):
	case general.MatchString(s) && !courteous.MatchString(s) || refused.MatchString(s):
	case wishesPrint(s):
		return "letters.asks"
	case model.MatchString(s) && handing.MatchString(s) && !formal.MatchString(s):
		return "letters.comes-with"
	case missing.MatchString(s) && file.MatchString(s):
		return "letters.forgotten"
	}
	return ""
}

// wishesPrint reports whether a word of wishing reaches a word of printing.
func wishesPrint(s string) bool {
	if titled.MatchString(s) {
		return true
	}
	wishes := wishing.FindAllStringIndex(s, 50)
	for _, p := range printing.FindAllStringIndex(s, 50) {
		if !strings.HasSuffix(s[:p[1]], "ed") && aside.MatchString(s[p[1]:]) && !definite.MatchString(s[max(0, p[0]-30):p[0]]) {
			continue
		}
		for _, w := range wishes {
			gap := p[0] - w[1]
			if gap >= 0 && gap <= reach && !otherwise.MatchString(s[w[1]:p[0]]) {
				return true
			}
		}
		if behind := s[p[1]:]; polite.MatchString(behind) && !otherwise.MatchString(behind) {
			return true
		}
	}
	return false
}

// modelLink reports whether a link ends in a model or an archive.
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
