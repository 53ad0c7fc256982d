package wire

import "meshclerk/intake/job"

// Check is one line of the doctor.
type Check struct {
	Area string // "mailbox" or "sending"
	OK   bool
	Warn bool        // it works, and somebody should look at it
	Text job.Message // what was found, and what to mend
}

// Passed, Doubtful and Failed make the three kinds.
func Passed(area string, text job.Message) Check { return Check{Area: area, OK: true, Text: text} }
func Doubtful(area string, text job.Message) Check {
	return Check{Area: area, OK: true, Warn: true, Text: text}
}
func Failed(area string, err error) Check { return Check{Area: area, Text: job.Why(err)} }
