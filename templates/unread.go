package templates

import (
	"io/fs"
	"maps"
	"os"
	"path"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Unread tells of what lies in the house's folder and is read by nothing: a piece that
// no text takes in, texts in a language that the house does not write, a folder that
// is of no language, a word for a colour that the house has not got. Letters are written all the same; whoever put it there expects
// otherwise.
func (s *Set) Unread() rules.Problems { return slices.Clone(s.unread) }

// Own lists the texts and pieces that stand in the house's folder, as a person would
// find them, sorted.
func (s *Set) Own() (paths []string) {
	for _, lang := range s.languages {
		for _, t := range s.texts[lang] {
			if t.own {
				paths = append(paths, t.Path)
			}
		}
		for _, p := range s.pieces[lang] {
			if p.own {
				paths = append(paths, p.Path)
			}
		}
	}
	slices.Sort(paths)
	return paths
}

// unreadIn finds them in the house's folder.
func unreadIn(dir string, s *Set) (out rules.Problems) {
	for _, lang := range s.languages {
		out = append(out, s.unreadPieces(lang)...)
	}
	own := os.DirFS(dir)
	entries, err := fs.ReadDir(own, ".")
	if err != nil {
		return out // told before
	}
	for _, e := range entries {
		name := e.Name()
		if ignored(name) || !e.IsDir() || slices.Contains(s.languages, name) {
			continue
		}
		switch file := path.Join(dir, name); {
		case hasTexts(own, name):
			out = append(out, rules.Problem{File: file, Text: job.Say("mistakes.unread-language", job.Args{"language": name}), Hint: job.Say("mistakes.hint.unread-language", nil)})
		case len(bookFiles(own, name)) == 0 && holdsFiles(own, name):
			out = append(out, rules.Problem{File: file, Text: job.Say("mistakes.unread-folder", nil), Hint: job.Say("mistakes.hint.unread-folder", job.Args{"languages": s.languages})})
		}
	}
	return out
}

// unreadPieces are the house's own ones that no text of their language takes in. An
// untouched copy of a built-in one is nobody's wording.
func (s *Set) unreadPieces(lang string) (out rules.Problems) {
	for _, name := range s.Pieces() {
		p := s.pieces[lang][name]
		if p == nil || !p.own || len(p.UsedBy) > 0 {
			continue
		}
		if came, err := Builtin(lang + "/" + name + ".md"); err == nil && strings.TrimSpace(string(came)) == strings.TrimSpace(p.Source) {
			continue
		}
		out = append(out, rules.Problem{File: p.Path, Text: job.Say("mistakes.unread-piece", job.Args{"language": lang}), Hint: s.hintPiece(lang, name)})
	}
	return out
}

// unreadColours are the house's own words for colours of which it has no filament: a
// slip in the colour's name leaves the letters with the word of the stock.
func (b *Book) unreadColours(stock []string) (out rules.Problems) {
	for _, lang := range slices.Sorted(maps.Keys(b.languages)) {
		for _, key := range slices.Sorted(maps.Keys(b.languages[lang])) {
			colour, is := strings.CutPrefix(key, coloursFile+".")
			if !is || DefaultBook().languages[english][key] != nil || slices.Contains(stock, colour) {
				continue
			}
			hint := job.Say("mistakes.hint.unread-colour", nil)
			if near := closest(colour, stock); near != "" {
				hint = job.Say("rules.hint.near", job.Args{"word": near})
			}
			out = append(out, b.languages[lang][key].at.problem(job.Say("mistakes.unread-colour", job.Args{"colour": colour}), hint))
		}
	}
	return out
}

// hintPiece is the name that was perhaps meant, or how a text takes the piece in.
func (s *Set) hintPiece(lang, name string) job.Message {
	for _, f := range fieldList {
		if piece, is := f.piece(); is && piece == name {
			return job.Say("mistakes.hint.unread-piece", job.Args{"name": s.book.In(lang, lang, "").Word("fields.name." + f.id)})
		}
	}
	var used []string
	for other, p := range s.pieces[lang] {
		if len(p.UsedBy) > 0 {
			used = append(used, other)
		}
	}
	if near := closest(name, used); near != "" {
		return job.Say("rules.hint.near", job.Args{"word": near + ".md"})
	}
	return job.Say("mistakes.hint.unread-piece", job.Args{"name": strings.TrimPrefix(name, "_")})
}

// holdsFiles reports whether anything lies in a folder, or in one within it.
func holdsFiles(from fs.FS, dir string) bool {
	for _, pattern := range []string{dir + "/*.*", dir + "/*/*.*"} {
		if found, err := fs.Glob(from, pattern); err != nil || len(found) > 0 {
			return true
		}
	}
	return false
}
