package preflight

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/vm"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Measures are the figures that a check of the house may name, in the order
// that checks.toml explains them. Those that could not be taken are 0.
type Measures struct {
	WidthMM    float64 `expr:"width_mm"`
	DepthMM    float64 `expr:"depth_mm"`
	HeightMM   float64 `expr:"height_mm"`
	LongestMM  float64 `expr:"longest_mm"`
	ShortestMM float64 `expr:"shortest_mm"`

	VolumeMM3    float64 `expr:"volume_mm3"`
	AreaMM2      float64 `expr:"area_mm2"`
	FootprintMM2 float64 `expr:"footprint_mm2"`
	BedMM2       float64 `expr:"bed_mm2"`

	Triangles      float64 `expr:"triangles"`
	Shells         float64 `expr:"shells"`
	Parts          float64 `expr:"parts"`
	Genus          float64 `expr:"genus"`
	Holes          float64 `expr:"holes"`
	OpenEdges      float64 `expr:"open_edges"`
	Nonmanifold    float64 `expr:"nonmanifold_edges"`
	Flipped        float64 `expr:"flipped_edges"`
	Crossings      float64 `expr:"self_intersections"`
	DegenerateTris float64 `expr:"degenerate_triangles"`
	DuplicateTris  float64 `expr:"duplicate_triangles"`
	Watertight     bool    `expr:"watertight"`
	InsideOut      bool    `expr:"inside_out"`
	Fits           bool    `expr:"fits"`

	ThinMM2     float64 `expr:"thin_mm2"`
	ThinnestMM  float64 `expr:"thinnest_mm"`
	GapMM       float64 `expr:"gap_mm"`
	VoidMM3     float64 `expr:"void_mm3"`
	OverhangMM2 float64 `expr:"overhang_mm2"`
	BridgeMM    float64 `expr:"bridge_mm"`
	TipDeg      float64 `expr:"tip_deg"`

	PrintTimeH float64 `expr:"print_time_h"`
	PlateTimeH float64 `expr:"plate_time_h"`
	MassG      float64 `expr:"mass_g"`
	FilamentM  float64 `expr:"filament_m"`
	SupportMM3 float64 `expr:"support_mm3"`
	SupportG   float64 `expr:"support_g"`
	Layers     float64 `expr:"layers"`
	Plates     float64 `expr:"plates"`
	Copies     float64 `expr:"copies"`
	Scale      float64 `expr:"scale"`
	LayerMM    float64 `expr:"layer_mm"`
	ShellsLaid float64 `expr:"shells_laid"`
	Infill     float64 `expr:"infill"`
	Printer    string  `expr:"printer"`
	Material   string  `expr:"material"`
}

// functions are all that an expression may call; each is bounded.
var functions = []string{"min", "max", "abs", "ceil", "floor", "round"}

// CompileOwn checks what only this room understands of checks.toml: that every
// check has a code that is looked for and figures that it judges by, and that the house's own expressions and
// sentences name known measures. The error shows file, line and place.
func CompileOwn(r *rules.Rules) error {
	var faults []error
	for _, code := range slices.Sorted(maps.Keys(r.Checks.Check)) {
		if !slices.Contains(Codes(), code) {
			faults = append(faults, r.Fault("checks.toml", "check."+code, "there is no check "+code, hint(code, Codes())))
		}
	}
	faults = append(faults, idleFigures(r)...)
	_, wrong := compile(r)
	return errors.Join(append(faults, wrong...)...)
}

// idleFigures tells of figures that are set for a check and judge nothing.
func idleFigures(r *rules.Rules) (faults []error) {
	for _, e := range catalogue() {
		c := r.Checks.Check[e.code]
		for _, f := range []struct {
			key   string
			value float64
		}{{"limit", c.Limit}, {"note_at", c.NoteAt}, {"stop_at", c.StopAt}} {
			judged := slices.ContainsFunc(e.bounds, func(b bound) bool { return b.file == "checks.toml" && b.key == e.code+"."+f.key })
			if f.value != 0 && !judged {
				faults = append(faults, r.Fault("checks.toml", "check."+e.code+"."+f.key, fmt.Sprintf("%s does not judge by a %s", e.code, f.key), e.figuresHint()))
			}
		}
	}
	return faults
}

// figuresHint says by which figures a check judges.
func (e row) figuresHint() string {
	var own, others []string
	for _, b := range e.bounds {
		switch key, ok := strings.CutPrefix(b.key, e.code+"."); {
		case ok:
			own = append(own, key)
		case b.file != "":
			others = append(others, b.key+" in "+b.file)
		}
	}
	switch {
	case len(own) > 0:
		return "take it out; the figures here are: " + strings.Join(own, ", ")
	case len(others) > 0:
		return "take it out; it judges by " + strings.Join(others, ", ")
	}
	return "take it out; this check has no figure of its own, only a level"
}

// ownCheck is a check of the house, ready to run.
type ownCheck struct {
	rules.OwnCheck
	program *vm.Program
}

// compile makes the house's checks ready; those that are wrong are left out and told of.
func compile(r *rules.Rules) (checks []ownCheck, faults []error) {
	for i, c := range r.Checks.Own {
		fault := func(key, text, hint string) {
			faults = append(faults, r.Fault("checks.toml", fmt.Sprintf("own[%d].%s", i, key), text, hint))
		}
		if slices.Contains(Codes(), c.Code) {
			fault("code", fmt.Sprintf("%q is the code of a built-in check", c.Code), "choose another code")
			continue
		}
		program, err := compileOne(c.When)
		if err != nil {
			text, hint := explain(c.When, err)
			fault("when", text, hint)
			continue
		}
		if name := unknownIn(c.Text + c.Question); name != "" {
			fault("text", "unknown measure {"+name+"}", hint(name, measureNames()))
			continue
		}
		checks = append(checks, ownCheck{c, program})
	}
	return checks, faults
}

func compileOne(when string) (*vm.Program, error) {
	if len(when) > 2000 {
		return nil, errors.New("the expression is longer than 2000 letters")
	}
	watch := &guard{}
	options := []expr.Option{
		expr.Env(Measures{}), expr.AsBool(), expr.MaxNodes(300), expr.DisableAllBuiltins(),
		expr.Function("divided", divided, new(func(float64, float64) float64)),
		expr.Function("remainder", remainder, new(func(float64, float64) float64)),
		expr.Patch(watch),
	}
	for _, name := range functions {
		options = append(options, expr.EnableBuiltin(name))
	}
	program, err := expr.Compile(when, options...)
	if err == nil && watch.refused != "" {
		err = fmt.Errorf("%s is not known here", watch.refused)
	}
	return program, err
}

// guard replaces division, which would silently give infinity, and refuses
// what goes through lists, which could cost time without bound.
type guard struct{ refused string }

// Visit implements ast.Visitor.
func (g *guard) Visit(node *ast.Node) {
	switch n := (*node).(type) {
	case *ast.BuiltinNode:
		if !slices.Contains(functions, n.Name) {
			g.refused = n.Name
		}
	case *ast.BinaryNode:
		switch n.Operator {
		case "/":
			ast.Patch(node, call("divided", n))
		case "%":
			ast.Patch(node, call("remainder", n))
		case "..":
			g.refused = ".."
		}
	}
}

// call makes both sides numbers with a point, since counts and lengths mix.
func call(name string, b *ast.BinaryNode) ast.Node {
	float := func(n ast.Node) ast.Node {
		return &ast.BinaryNode{Operator: "*", Left: n, Right: &ast.FloatNode{Value: 1}}
	}
	return &ast.CallNode{Callee: &ast.IdentifierNode{Value: name}, Arguments: []ast.Node{float(b.Left), float(b.Right)}}
}

var errZero = errors.New("it divides by zero")

func divided(v ...any) (any, error) {
	a, b := v[0].(float64), v[1].(float64)
	if b == 0 {
		return nil, errZero
	}
	return a / b, nil
}

func remainder(v ...any) (any, error) {
	a, b := int64(v[0].(float64)), int64(v[1].(float64))
	if b == 0 {
		return nil, errZero
	}
	return float64(a % b), nil
}

var (
	quoted  = regexp.MustCompile(`unknown name (\w+)|undefined: (\w+)`)
	braces  = regexp.MustCompile(`\{(\w+)\}`)
	trouble = regexp.MustCompile(`\s*\(\d+:\d+\)[\s\S]*$`)
)

// explain turns a compiler's error into words for an admin, with the nearest known name.
func explain(when string, err error) (text, help string) {
	text = trouble.ReplaceAllString(err.Error(), "")
	if m := quoted.FindStringSubmatch(text); m != nil {
		name := m[1] + m[2]
		return "unknown measure " + name, hint(name, append(measureNames(), functions...))
	}
	if at, ok := errors.AsType[*file.Error](err); ok && at.Column > 0 {
		text = fmt.Sprintf("%s, at letter %d of the expression", text, at.Column+1)
	}
	switch {
	case strings.Contains(text, "expected bool"):
		return "the expression gives a number or text, not yes or no", `compare with something, e.g. height_mm > 100`
	case strings.Contains(text, "mismatched types"):
		return text, "numbers compare with numbers; names stand in quotes"
	}
	return text, "an expression reads like height_mm > 6 * min(width_mm, depth_mm)"
}

func hint(name string, known []string) string {
	if near := rules.Nearest(name, known); near != "" {
		return "did you mean " + near + "?"
	}
	return "known are: " + strings.Join(known, ", ")
}

// unknownIn gives the first {name} of a sentence that is no measure.
func unknownIn(text string) string {
	for _, m := range braces.FindAllStringSubmatch(text, -1) {
		if !slices.Contains(measureNames(), m[1]) {
			return m[1]
		}
	}
	return ""
}

// runOwn decides the house's checks; staff are told of those that gave no verdict.
func runOwn(checks []ownCheck, m Measures) (found []job.Finding, advice []job.Advice) {
	for _, c := range checks {
		if job.Level(c.Level) == levelOff {
			continue
		}
		yes, err := expr.Run(c.program, m)
		if err != nil {
			why := job.Say("findings.why.expression-failed", nil)
			if errors.Is(err, errZero) || strings.Contains(err.Error(), errZero.Error()) {
				why = job.Say("findings.why.divides-by-zero", nil)
			}
			advice = append(advice, job.Advice{About: "rules", Do: job.Say("findings.do.look-check", job.Args{"check": c.Code}),
				Why: job.Say("findings.why.no-verdict", job.Args{"why": why})})
			continue
		}
		if yes == true {
			found = append(found, c.finding(m))
		}
	}
	return found, advice
}

func (c ownCheck) finding(m Measures) job.Finding {
	f := job.Finding{Code: c.Code, Level: job.Level(c.Level), Text: job.Plain(m.fill(c.Text))}
	if f.Level == job.Ask {
		f.Question = job.Plain(m.fill(c.Question))
	}
	return f
}
