package main

import (
	"strings"
	"sync"

	"meshclerk/intake/job"
	"meshclerk/templates"
)

// english is the language of the command line and of what scripts read.
var english = sync.OnceValue(func() *templates.Localizer { return templates.DefaultBook().In("en", "en", "") })

// said gives the words of a message. A space at which no line is broken is a plain
// one to a terminal or a script.
func said(m job.Message) string { return strings.ReplaceAll(english().Say(m), "\u00a0", " ") }

// inWords puts the words of messages in their place, for what scripts read.
func inWords(messages ...*job.Message) {
	for _, m := range messages {
		*m = job.Plain(said(*m))
	}
}

// words says sentences as the installation does: its own ones from its folder of reply
// texts, its country's figures, its currency. The command line speaks English.
func (h *house) words() (*templates.Localizer, error) {
	r, err := h.rules()
	if err != nil {
		return nil, err
	}
	dir := ""
	if h.Config != "" {
		c, err := loadConfig(h.Config)
		if err != nil {
			return nil, err
		}
		dir = c.Templates
	}
	b, err := templates.LoadBook(dir)
	if err != nil {
		return nil, err
	}
	return b.In("en", r.Prices.Locale, r.Prices.Currency), nil
}
