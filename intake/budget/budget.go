// Package budget counts the work that one stranger's file may take.
//
// Work is counted in units of what is done (a node of a tree visited, a facet cut
// by a layer, a pair of edges compared), never in time, so that the same file runs
// out of it at the same point of the count on a busy machine and on an idle one. A
// unit is about ten nanoseconds of one core, in a tangle up to thirty.
//
// The meter rides in the context. When its units are used up it ends the context,
// so that whatever already stops for an ended context stops for this too; the
// cause is then ErrSpent. The count does not depend on the order in which work
// that runs side by side is done: all of it is counted, or it is not done.
//
// What ran out is unfinished. Nobody may take what was found until then for a
// verdict: preflight drops it and says so.
package budget

import (
	"context"
	"errors"
	"sync/atomic"
)

// ErrSpent is the cause of the end of a context whose units are used up.
var ErrSpent = errors.New("the work that one file may take is used up")

// Meter counts units. A nil Meter counts nothing and never runs out.
type Meter struct {
	most  int64
	spent atomic.Int64
	stop  context.CancelCauseFunc
}

type key struct{}

// With returns a context in which at most so many units may be spent. The meter of
// a context around it is not charged. cancel frees what the context holds.
func With(ctx context.Context, units int64) (_ context.Context, cancel func()) {
	inner, stop := context.WithCancelCause(ctx)
	m := &Meter{most: units, stop: stop}
	return context.WithValue(inner, key{}, m), func() { stop(nil) }
}

// From returns the meter of a context, or nil.
func From(ctx context.Context) *Meter {
	m, _ := ctx.Value(key{}).(*Meter)
	return m
}

// Spend counts units of work done or about to be done. When more than there were
// are spent, the context has ended before Spend returns.
func (m *Meter) Spend(units int) {
	if m != nil && m.spent.Add(int64(units)) > m.most {
		m.stop(ErrSpent)
	}
}

// Spent returns the units counted so far. It may be more than there were: work is
// counted in pieces.
func (m *Meter) Spent() int64 {
	if m == nil {
		return 0
	}
	return m.spent.Load()
}

// Out reports whether a context ended because its units are used up.
func Out(ctx context.Context) bool { return errors.Is(context.Cause(ctx), ErrSpent) }
