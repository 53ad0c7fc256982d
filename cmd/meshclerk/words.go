package main

import (
	"sync"

	"meshclerk/intake/job"
	"meshclerk/templates"
)

// english is the language of the command line and of what scripts read.
var english = sync.OnceValue(func() *templates.Localizer { return templates.DefaultBook().In("en", "en", "") })

// said gives the words of a message.
func said(m job.Message) string { return english().Say(m) }

// inWords puts the words of messages in their place, for what scripts read.
func inWords(messages ...*job.Message) {
	for _, m := range messages {
		*m = job.Plain(said(*m))
	}
}
