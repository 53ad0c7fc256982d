package main

import (
	"strings"
	"sync"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// english is the built-in English, which the log is written in.
var english = sync.OnceValue(func() *templates.Localizer { return templates.DefaultBook().In("en", "en", "") })

// words say messages as the command line does: in English, by the sentences, the
// figures and the currency of the installation.
type words struct{ *templates.Localizer }

// said gives the words of a message. A space at which no line is broken is a plain
// one to a terminal or a script.
func (w words) said(m job.Message) string { return strings.ReplaceAll(w.Say(m), "\u00a0", " ") }

// AfterApply tells which installation the command is about (kong calls it).
func (h *house) AfterApply(e *env) error { e.config = h.Config; return nil }

// AfterApply tells which installation the command is about (kong calls it).
func (f *rulesFrom) AfterApply(e *env) error { e.config, e.rules = f.Config, f.Rules; return nil }

// words are those of the installation that the command is about; the built-in ones
// where there is none, or where its files are wrong, which the command itself tells.
func (e *env) words() words {
	if e.said == nil {
		e.said = e.localizer()
	}
	return words{e.said}
}

func (e *env) localizer() *templates.Localizer {
	c := &config{Rules: e.rules}
	if e.config != "" {
		if own, err := loadConfig(e.config); err == nil {
			c = own
		}
	}
	r, err := rules.Load(c.Rules)
	if err != nil {
		return english()
	}
	b, err := templates.LoadBook(c.Templates)
	if err != nil {
		b = templates.DefaultBook()
	}
	return b.In("en", r.Prices.Locale, r.Prices.Currency)
}

// wordedError is an error in the words of the installation.
type wordedError struct {
	error
	words string
}

func (e wordedError) Error() string { return e.words }
func (e wordedError) Unwrap() error { return e.error }
