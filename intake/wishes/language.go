package wishes

var languages = []string{"en", "fr", "es"}

const shortText = 12 // tokens; a shorter text may have none of the common words

// language is the language the words are in: as given, unless they clearly
// speak another.
func (r *Reader) language(in *Input) string {
	toks := tokens(clean(in.Text), 600)
	score := map[string]int{}
	for _, lang := range languages {
		for i := range toks {
			if r.common[lang][toks[i].fold] {
				score[lang]++
			}
		}
		if len(toks) <= shortText {
			score[lang] += covered(toks, r.lex[lang])
		}
	}
	return likeliest(in.Language, score)
}

// likeliest is the language with the best score; the given one stays unless
// another is ahead by more than one word.
func likeliest(given string, score map[string]int) string {
	best, lead := given, 1
	if given != "fr" && given != "es" && given != "en" {
		best, lead = "en", 0
	}
	for _, lang := range languages {
		if score[lang] > score[best]+lead {
			best, lead = lang, 0
		}
	}
	return best
}

// covered counts the tokens that a language's phrases cover.
func covered(toks []token, lex *lexicon) int {
	n := 0
	for i := 0; i < len(toks); {
		longest := 0
		for _, t := range lex.match(nil, toks, i) {
			longest = max(longest, t.n)
		}
		n += longest
		i += max(1, longest)
	}
	return n
}
