package robot

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// stepKinds are all kinds of steps, as the ledger declares them.
func stepKinds(t *testing.T) (kinds []ledger.StepKind) {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), "../../../intake/ledger/kinds.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(f, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if of, ok := spec.Type.(*ast.Ident); ok && of.Name == "StepKind" {
			kind, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			kinds = append(kinds, ledger.StepKind(kind))
		}
		return false
	})
	if !slices.Contains(kinds, ledger.StepRead) {
		t.Fatalf("kinds of steps: %q", kinds)
	}
	return kinds
}

// Each kind of step is done by one lane of the running robot, which knows how: a kind
// that no lane has would lie in the ledger for ever.
func TestEveryStepHasItsLane(t *testing.T) {
	r := robotAt(t, noon)
	for _, kind := range stepKinds(t) {
		var in []string
		for _, l := range lanes {
			if slices.Contains(l.kinds, kind) {
				in = append(in, l.name)
			}
		}
		if len(in) != 1 {
			t.Errorf("the step %s is in the lanes %q, want one", kind, in)
		}
		err := guarded(func() error { return r.step(t.Context(), &worker{r: r}, &ledger.Step{Kind: kind}, nil) })
		if err != nil && job.Why(err).Key == "faults.no-such-step" {
			t.Errorf("the robot does not know the step %s: %v", kind, err)
		}
	}
}
