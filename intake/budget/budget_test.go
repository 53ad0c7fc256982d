package budget_test

import (
	"context"
	"errors"
	"sync"
	"testing"

	"meshclerk/intake/budget"
)

// The last unit may be spent; one more ends the context, at once.
func TestSpend(t *testing.T) {
	ctx, cancel := budget.With(t.Context(), 10)
	defer cancel()
	m := budget.From(ctx)
	m.Spend(10)
	if ctx.Err() != nil || budget.Out(ctx) {
		t.Fatal("out of units with all of them just used")
	}
	m.Spend(1)
	if ctx.Err() == nil || !budget.Out(ctx) || !errors.Is(context.Cause(ctx), budget.ErrSpent) {
		t.Errorf("one unit too many: %v, %v", ctx.Err(), context.Cause(ctx))
	}
	if m.Spent() != 11 {
		t.Errorf("%d spent, want 11", m.Spent())
	}
}

// What runs side by side is counted whole.
func TestSpendSideBySide(t *testing.T) {
	ctx, cancel := budget.With(t.Context(), 4000)
	defer cancel()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 1000 {
				budget.From(ctx).Spend(1)
			}
		})
	}
	wg.Wait()
	if n := budget.From(ctx).Spent(); n != 4000 || ctx.Err() != nil {
		t.Errorf("%d spent, %v", n, ctx.Err())
	}
}

// A context that ends for another cause is not out of units, and one without a
// meter never is.
func TestOtherEnds(t *testing.T) {
	outer, stop := context.WithCancel(t.Context())
	ctx, cancel := budget.With(outer, 10)
	defer cancel()
	stop()
	if ctx.Err() == nil || budget.Out(ctx) {
		t.Errorf("stopped from outside: %v, out %v", ctx.Err(), budget.Out(ctx))
	}
	none := budget.From(t.Context())
	none.Spend(1 << 40)
	if none.Spent() != 0 || budget.Out(t.Context()) {
		t.Error("a context without a meter ran out")
	}
}
