package casework

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/wishes"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Office is what every use case needs. Everything but At is required; a command
// that writes no reply may leave out the texts. An Office is safe for use by
// several goroutines, and must not be copied.
type Office struct {
	Ledger    *ledger.Ledger
	Rules     *rules.Rules
	Templates *templates.Set
	Domain    string // right side of our Message-IDs
	Log       *slog.Logger
	Now       func() time.Time

	// At is called after each durable step with its name. Tests end the process
	// there; the demo shows progress.
	At func(point string)

	// examine stands for the preflight in tests that take very many turns.
	examine func(context.Context, job.Job) (*job.Report, float64, error)

	newer  atomic.Pointer[templates.Set] // texts saved since the start
	words  sync.Once
	reader *wishes.Reader // of the house's words
}

// SetTemplates has later replies written with other texts, as saved while the
// service runs.
func (o *Office) SetTemplates(set *templates.Set) { o.newer.Store(set) }

// Texts gives the reply texts as they are now.
func (o *Office) Texts() *templates.Set {
	if set := o.newer.Load(); set != nil {
		return set
	}
	return o.Templates
}

// Say gives the words of a message for those who run the service, in English.
func (o *Office) Say(m job.Message) string { return o.english().Say(m) }

// Error gives the words of an error for those who run the service, in English.
func (o *Office) Error(err error) string { return o.english().Error(err) }

func (o *Office) english() *templates.Localizer {
	return o.Texts().Book().In("en", o.Rules.Prices.Locale, o.Rules.Prices.Currency)
}

// at marks a durable point.
func (o *Office) at(point string) {
	if o.At != nil {
		o.At(point)
	}
}
