package casework

import (
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// How parts are called
//
// A patron calls a part by its file's name or by a word of it, in one or in several,
// with the accents that the file's name has not, or the other way round. Every
// comparison of names is one of those below.

func sameFileName(a, b string) bool { return plain.Fold(a) == plain.Fold(b) }

// calls are the words of a text, for looking whether they are those of a name.
func calls(text string) []string { return strings.FieldsFunc(plain.Fold(text), notLetter) }

// joined are the words of a text and any two that follow each other as one: a patron's
// "hose clip" is hoseclip.stl.
func joined(text string) []string {
	words := calls(text)
	out := slices.Clone(words)
	for i := 1; i < len(words); i++ {
		out = append(out, words[i-1]+words[i])
	}
	return out
}

func notLetter(r rune) bool { return !unicode.IsLetter(r) }

// sameWord reports whether two folded words are one, or one its plural: lids, boxes,
// gâteaux, botones.
func sameWord(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	end, begins := strings.CutPrefix(b, a)
	return begins && slices.Contains([]string{"", "s", "es", "x"}, end)
}

// nameWords are the words of a file's name, without its ending: "hook_large-v2.stl"
// has hook and large.
func nameWords(file string) []string {
	words := calls(strings.TrimSuffix(file, filepath.Ext(file)))
	return slices.DeleteFunc(words, func(w string) bool { return len([]rune(w)) < 3 })
}

func hasWord(words []string, word string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return sameWord(w, word) })
}

// partOf reports whether a patron's word for a part is that of a file: one of the
// words of its name.
func partOf(file, part string) bool {
	stem := nameWords(file)
	for _, w := range joined(part) {
		if len([]rune(w)) > 2 && hasWord(stem, w) {
			return true
		}
	}
	return sameFileName(filepath.Base(file), part)
}

// namesFile reports whether a letter's own words name one of several files: by its
// whole name, or by a word of it that no other file of the conversation has.
func namesFile(text, file string, jobs []job.Job) bool {
	if file == "" || len(jobs) < 2 {
		return false
	}
	if strings.Contains(plain.Fold(text), plain.Fold(file)) {
		return true
	}
	own := nameWords(file)
	return slices.ContainsFunc(joined(text), func(w string) bool { return hasWord(own, w) && onlyOneHas(w, file, jobs) })
}

// onlyOneHas reports whether a word that a file has is no other file's: not as it is
// written, and where none has it so, not in the plural or singular either.
func onlyOneHas(word, file string, jobs []job.Job) bool {
	like, exact, own := 0, 0, slices.Contains(nameWords(file), word)
	for _, j := range jobs {
		words := nameWords(j.File)
		if slices.Contains(words, word) {
			exact++
		}
		if hasWord(words, word) {
			like++
		}
	}
	return own && exact == 1 || exact == 0 && like == 1
}

// everyday are words of file names that say nothing of which part it is.
var everyday = []string{"part", "file", "model", "print", "final", "version", "test", "copy", "untitled", "object"}

// speaksOf reports whether a letter names a file, or has a word of its name.
func speaksOf(l *job.Letter, file string) bool {
	if file == "" {
		return false
	}
	text := l.Subject + "\n" + l.Text
	if strings.Contains(plain.Fold(text), plain.Fold(file)) {
		return true
	}
	said := joined(text)
	return slices.ContainsFunc(nameWords(file), func(w string) bool { return !slices.Contains(everyday, w) && hasWord(said, w) })
}
