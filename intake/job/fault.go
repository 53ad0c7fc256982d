package job

import "errors"

// Fault is an error that a person can understand and mend. Its words stand in the
// book of sentences; whoever shows it says them (templates.Localizer.Error).
type Fault struct {
	Message
	Err error // what caused it; may be nil
}

// Error shows the key and the arguments: for tests, and where nobody has the words.
func (f *Fault) Error() string { return f.Message.String() }

func (f *Fault) Unwrap() error { return f.Err }

// Refuse is a Fault without a cause.
func Refuse(m Message) error { return &Fault{Message: m} }

// Why is an error as a sentence says it: a Fault's own words, else the error's.
func Why(err error) Message {
	if f, ok := errors.AsType[*Fault](err); ok {
		return f.Message
	}
	return Plain(err.Error())
}
