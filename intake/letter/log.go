package letter

import "slices"

// log collects what was mended and what staff should know, each once.
type log struct {
	repairs, notes []string
	unclosed       bool // the message ended inside a part
}

// logged bounds how much a hostile letter may have us say.
const logged = 40

func (l *log) repair(text string) { l.repairs = once(l.repairs, text) }
func (l *log) note(text string)   { l.notes = once(l.notes, text) }

func once(list []string, text string) []string {
	if len(list) >= logged || slices.Contains(list, text) {
		return list
	}
	return append(list, text)
}
