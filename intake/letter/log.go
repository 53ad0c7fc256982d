package letter

import (
	"fmt"
	"slices"

	"meshclerk/intake/job"
)

// log collects what was mended and what staff should know, each once.
type log struct {
	repairs, notes []job.Message
	unclosed       bool // the message ended inside a part
}

// logged bounds how much a hostile letter may have us say.
const logged = 40

func (l *log) repair(what job.Message) { l.repairs = once(l.repairs, what) }
func (l *log) note(what job.Message)   { l.notes = once(l.notes, what) }

// once adds to a list what does not stand in it yet, up to a bound.
func once[T any](list []T, what T) []T {
	shown := fmt.Sprint(what)
	same := func(o T) bool { return fmt.Sprint(o) == shown }
	if len(list) >= logged || slices.ContainsFunc(list, same) {
		return list
	}
	return append(list, what)
}

// bytesOf is a size as a message is given it.
func bytesOf(n int64) job.Quantity { return job.Quantity{Amount: float64(n), Unit: "bytes"} }
