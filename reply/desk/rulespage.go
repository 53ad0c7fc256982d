package desk

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"meshclerk/rules"
)

type rulesView struct {
	Files []ruleFile
	Hash  string
	Wrong string
}

type ruleFile struct {
	Name   string
	Own    bool
	Blocks []ruleBlock
}

// ruleBlock is an explanation of a rules file with the rules that it is about.
type ruleBlock struct {
	Table string // the name of the table that begins here
	Note  string
	Drawn bool // the note is laid out by spaces
	Rules []header
}

// rulesPage shows the rules as they lie on disk, with their explanations, and
// whether they would load.
func (d *Desk) rulesPage(w http.ResponseWriter, r *http.Request, who personal) error {
	v := rulesView{Hash: d.office.Rules.Hash}
	for _, name := range rules.Files() {
		f := ruleFile{Name: name}
		b, err := os.ReadFile(filepath.Join(d.cfg.RulesDir, name))
		if f.Own = err == nil && d.cfg.RulesDir != ""; !f.Own {
			if b, err = rules.Builtin(name); err != nil {
				return err
			}
		}
		f.Blocks = ruleBlocks(string(b))
		v.Files = append(v.Files, f)
	}
	now, err := rules.Load(d.cfg.RulesDir)
	switch {
	case err != nil:
		v.Wrong = d.localizer(r).Error(err)
	case now.Hash != d.office.Rules.Hash:
		v.Wrong = d.localizer(r).Word("page.rules.changed")
	}
	d.show(w, r, http.StatusOK, "rules", "page.title.rules", who, v)
	return nil
}

// ruleBlocks splits a rules file for reading: nothing is left out, and a file
// that would not load is shown all the same.
func ruleBlocks(text string) []ruleBlock {
	var out []ruleBlock
	var b ruleBlock
	end := func() {
		if b.Table != "" || b.Note != "" || len(b.Rules) > 0 {
			b.Note = strings.TrimRight(b.Note, "\n")
			out = append(out, b)
		}
		b = ruleBlock{}
	}
	lines := strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n")
	for i := 0; i < len(lines); i++ {
		line := strings.TrimSpace(lines[i])
		switch note, isNote := strings.CutPrefix(line, "#"); {
		case line == "":
			end()
		case isNote:
			if len(b.Rules) > 0 {
				end()
			}
			note = strings.TrimPrefix(strings.TrimRight(note, "-"), " ")
			b.Note += strings.TrimPrefix(note, "--- ") + "\n"
			b.Drawn = b.Drawn || strings.Contains(strings.TrimLeft(note, " "), "   ")
		case strings.HasPrefix(line, "["):
			if len(b.Rules) > 0 {
				end()
			}
			b.Table = strings.Trim(line, "[]")
		default:
			for open(line) && i+1 < len(lines) {
				i++
				line += "\n" + strings.TrimSpace(lines[i])
			}
			key, value, _ := strings.Cut(line, "=")
			b.Rules = append(b.Rules, header{strings.TrimSpace(key), strings.TrimSpace(value)})
		}
	}
	end()
	return out
}

// open tells whether a value goes on in the next line.
func open(line string) bool {
	depth, quoted := 0, false
	for _, r := range line {
		switch {
		case r == '"':
			quoted = !quoted
		case quoted:
		case r == '[' || r == '{':
			depth++
		case r == ']' || r == '}':
			depth--
		}
	}
	return depth > 0
}
