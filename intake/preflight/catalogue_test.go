package preflight

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// near is a pair of meshes for one bound of the catalogue: what is made for a figure
// a little on the one side of the bound and on the other, and the level of the
// finding there ("" where there must be none).
type near struct {
	of    string // code and key
	below job.Level
	above job.Level
	made  func(t testing.TB, r *rules.Rules, figure float64) *mesh.Mesh
	set   func(r *rules.Rules, figure float64) // moves the bound
	moved float64                              // a second figure for it; 0: a quarter more
	only  bool                                 // only the moved bound can be met with a mesh
	whole bool                                 // it is a count: "below" is the bound itself, "above" one more
}

// pairs has both sides of every bound.
func pairs() []near {
	check := func(code string, put func(c *rules.Check, v float64)) func(*rules.Rules, float64) {
		return func(r *rules.Rules, v float64) {
			c := r.Checks.Check[code]
			put(&c, v)
			r.Checks.Check[code] = c
		}
	}
	limit := func(code string) func(*rules.Rules, float64) {
		return check(code, func(c *rules.Check, v float64) { c.Limit = v })
	}
	noteAt := func(code string) func(*rules.Rules, float64) {
		return check(code, func(c *rules.Check, v float64) { c.NoteAt = v })
	}
	build := func(times float64) func(r *rules.Rules, v float64) {
		return func(r *rules.Rules, v float64) {
			for i := range r.Printers {
				r.Printers[i].BuildMM = [3]float64{v / times / 2, v / times / 2, v / times}
			}
		}
	}
	plain := func(made func(v float64) *mesh.Mesh) func(testing.TB, *rules.Rules, float64) *mesh.Mesh {
		return func(_ testing.TB, _ *rules.Rules, v float64) *mesh.Mesh { return made(v) }
	}
	layer := func(r *rules.Rules, v float64) { r.Printing.LayerMM = v }
	bar := plain(func(deg float64) *mesh.Mesh {
		wide := 60 * math.Tan(deg*math.Pi/180) // its middle is half its height up
		return shapes.Box(wide, wide, 60)
	})
	return []near{
		{of: "too-big build_mm", below: "", above: job.Stop, set: build(1), made: plain(func(v float64) *mesh.Mesh { return shapes.Box(v/2.2, v/2.2, v) })},
		{of: "too-long job_hours", below: "", above: job.Stop, moved: 1.5, only: true, set: func(r *rules.Rules, v float64) { r.Limits.JobHours = v }, made: lasting},
		{of: "units-doubtful units-doubtful.limit", below: job.Ask, above: "", set: limit("units-doubtful"),
			made: plain(func(v float64) *mesh.Mesh { return shapes.Box(v, v/2, v/2) })},
		{of: "units-doubtful build_mm", below: "", above: job.Ask, set: build(oddlyLarge), made: plain(func(v float64) *mesh.Mesh { return shapes.Box(v, v/2, v/2) })},
		{of: "holes holes.limit", below: job.Note, above: job.Ask, set: limit("holes"),
			made: plain(func(v float64) *mesh.Mesh { return shapes.Without(cube(v/(2+math.Sqrt2)), 0) })}, // two edges and a diagonal
		{of: "thin-wall thin-wall.limit", below: job.Ask, above: "", set: limit("thin-wall"), made: plain(func(v float64) *mesh.Mesh { return shapes.Box(30, v, 20) })},
		{of: "thin-wall thin-wall.stop_at", below: job.Stop, above: job.Ask, set: check("thin-wall", func(c *rules.Check, v float64) { c.StopAt = v }),
			made: plain(func(v float64) *mesh.Mesh { return shapes.Box(30, v, 20) })},
		{of: "thin-wall layer_mm", below: job.Stop, above: job.Ask, set: layer, made: plain(func(v float64) *mesh.Mesh { return shapes.Box(40, 30, v) })},
		{of: "narrow-gap narrow-gap.limit", below: job.Ask, above: job.Note, set: limit("narrow-gap"), made: plain(pair)},
		{of: "narrow-gap narrow-gap.note_at", below: job.Note, above: "", set: noteAt("narrow-gap"), made: plain(pair)},
		{of: "several-parts several-parts.limit", below: "", above: job.Ask, set: limit("several-parts"), moved: 3, whole: true,
			made: many(func() *mesh.Mesh { return cube(10) })},
		{of: "floating-part floating-part.limit", below: "", above: job.Ask, set: limit("floating-part"),
			made: plain(func(v float64) *mesh.Mesh { return shapes.Merge(cube(10), shapes.Moved(cube(10), 20, 0, v)) })},
		{of: "sealed-void sealed-void.limit", below: "", above: job.Note, set: limit("sealed-void"),
			made: plain(func(v float64) *mesh.Mesh { s := math.Cbrt(v) + 10; return shapes.BoxWithVoid(s, s, s, 5) })},
		{of: "sealed-void overhang.limit", below: job.Note, above: job.Ask, set: limit("overhang"), moved: 400, only: true, // a smaller roof is bridged
			made: plain(func(v float64) *mesh.Mesh { s := math.Sqrt(v) + 10; return shapes.BoxWithVoid(s, s, s, 5) })},
		{of: "tips-over tips-over.limit", below: job.Ask, above: job.Note, set: limit("tips-over"), made: bar},
		{of: "tips-over tips-over.note_at", below: job.Note, above: "", set: noteAt("tips-over"), made: bar},
		{of: "small-footprint small-footprint.limit", below: job.Note, above: "", set: limit("small-footprint"),
			made: plain(func(v float64) *mesh.Mesh { return shapes.Mushroom(64, 20*math.Sqrt(v/100), 20, 20) })},
		{of: "overhang overhang.limit", below: "", above: job.Note, set: limit("overhang"),
			made: plain(func(v float64) *mesh.Mesh { return shapes.T(6, 20, 8, v/2) })}, // a ledge of 1 mm on either side
		{of: "overhang support_angle_deg", below: "", above: job.Note, moved: 35, set: func(r *rules.Rules, v float64) { r.Printing.SupportAngleDeg = v },
			made: plain(func(v float64) *mesh.Mesh { return leaning(40 * math.Tan(v*math.Pi/180)) })},
		{of: "long-bridge bridge_mm", below: "", above: job.Note, set: func(r *rules.Rules, v float64) { r.Printing.BridgeMM = v },
			made: plain(func(v float64) *mesh.Mesh { return portal(v, 12) })},
		{of: "fine-detail fine-detail.limit", below: job.Note, above: "", set: limit("fine-detail"), made: plain(func(v float64) *mesh.Mesh { return ribbed(v, 0.8) })},
		{of: "fine-detail layer_mm", below: job.Note, above: "", set: layer, made: plain(func(v float64) *mesh.Mesh { return ribbed(5, v) })},
		{of: "self-crossing self-crossing.limit", below: "", above: job.Note, whole: true, set: limit("self-crossing"), moved: 8,
			made: func(t testing.TB, r *rules.Rules, v float64) *mesh.Mesh { return many(pierced)(t, r, math.Ceil(v/8)) }}, // eight places each,
		{of: "nonmanifold nonmanifold.limit", below: "", above: job.Note, whole: true, set: limit("nonmanifold"), moved: 2, made: many(edgeToEdge)},
		{of: "flipped flipped.limit", below: "", above: job.Note, whole: true, set: limit("flipped"), moved: 3,
			made: func(t testing.TB, r *rules.Rules, v float64) *mesh.Mesh { // three edges each
				return many(func() *mesh.Mesh { return shapes.Flipped(cube(20), 0) })(t, r, math.Ceil(v/3))
			}},
		{of: "coarse-facets coarse-facets.limit", below: "", above: job.Note, set: limit("coarse-facets"), made: plain(func(v float64) *mesh.Mesh {
			const n = 24 // a chord lies w2/8r off its circle
			return seamedDisc(n, v*8/(2*math.Sin(math.Pi/n)*2*math.Pi/n))
		})},
		{of: "small-part-hazard 16 CFR 1501.4", below: job.Note, above: "", made: plain(func(v float64) *mesh.Mesh { return shapes.UVSphere(v/2, 48, 48) })},
	}
}

// many makes so many of a thing side by side, or a plain cube for none.
func many(one func() *mesh.Mesh) func(testing.TB, *rules.Rules, float64) *mesh.Mesh {
	return func(_ testing.TB, _ *rules.Rules, n float64) *mesh.Mesh {
		var all []*mesh.Mesh
		for i := range int(n) {
			all = append(all, shapes.Moved(one(), 60*float64(i), 0, 0))
		}
		if len(all) == 0 {
			return cube(20)
		}
		return shapes.Merge(all...)
	}
}

// pierced is a plate and a needle of three sides whose tip goes through it.
func pierced() *mesh.Mesh {
	return shapes.Merge(shapes.Box(30, 20, 10), shapes.Moved(shapes.Box(10, 10, 30), 10, 5, 5))
}

// lasting is a block that takes about so many hours: time grows evenly with height.
func lasting(t testing.TB, r *rules.Rules, hours float64) *mesh.Mesh {
	at := func(height float64) float64 {
		report := Check(t.Context(), saved(t, shapes.Box(40, 40, height)), r, job.Settings{}, Options{})
		return report.Estimate.PlateTimeS / 3600
	}
	low, high := at(20), at(40)
	return shapes.Box(40, 40, 20+20*(hours-low)/(high-low))
}

// Each bound decides: a few per cent on the one side of it and on the other give
// different findings, and so they do when the house moves the bound.
func TestBothSidesOfEveryBound(t *testing.T) {
	all := pairs()
	for _, e := range catalogue() {
		for _, b := range e.bounds {
			i := slices.IndexFunc(all, func(n near) bool { return n.of == e.code+" "+b.key })
			if i < 0 {
				t.Errorf("%s %s has no pair of meshes", e.code, b.key)
				continue
			}
			t.Run(all[i].of, func(t *testing.T) { t.Parallel(); all[i].try(t, e, b) })
		}
	}
}

func (n near) try(t *testing.T, e row, b bound) {
	if !n.only {
		r := rules.Default()
		n.sides(t, e, r, b.value(r))
	}
	if n.set != nil {
		r := rules.Default()
		if n.moved == 0 {
			n.moved = 1.25 * b.value(r)
		}
		n.set(r, n.moved)
		if got := b.value(r); math.Abs(got-n.moved) > 1e-9 {
			t.Fatalf("the bound was moved to %g, and is %g", n.moved, got)
		}
		n.sides(t, e, r, n.moved)
	}
}

func (n near) sides(t *testing.T, e row, r *rules.Rules, at float64) {
	const apart = 0.03
	low, high := at*(1-apart), at*(1+apart)
	if n.whole {
		low, high = at, at+1
	}
	for _, side := range []struct {
		figure float64
		want   job.Level
	}{{low, n.below}, {high, n.above}} {
		report := Check(t.Context(), saved(t, n.made(t, r, side.figure)), r, job.Settings{}, Options{})
		kept(t, report)
		f := find(report, e.code)
		switch {
		case f == nil && side.want != "":
			t.Errorf("%.4g, the bound is %.4g: none, want %s; found %s", side.figure, at, side.want, tell(report))
		case f != nil && f.Level != side.want:
			t.Errorf("%.4g, the bound is %.4g: %s, want %q: %s", side.figure, at, f.Level, side.want, words(f.Text))
		case f != nil && !slices.Contains(e.levels, f.Level):
			t.Errorf("the catalogue does not know %s of level %s", e.code, f.Level)
		}
	}
}

// The catalogue has every code that texts are there for, and no other; every figure
// of checks.toml is judged by a row, under its unit; every pair is of a row.
func TestCatalogueHasNoGap(t *testing.T) {
	known, bounds := map[string]bool{}, map[string]bound{}
	var names []string
	for _, e := range catalogue() {
		known[e.code] = true
		for _, b := range e.bounds {
			bounds[b.key] = b
			names = append(names, e.code+" "+b.key)
			if b.measure == "" || b.key == "" || b.unit == "" {
				t.Errorf("%s: a bound without measure, key or unit", e.code)
			}
		}
	}
	if len(known) != len(catalogue()) {
		t.Errorf("%d codes in %d rows", len(known), len(catalogue()))
	}
	for _, p := range pairs() {
		if !slices.Contains(names, p.of) {
			t.Errorf("there is a pair for %s, which is no bound", p.of)
		}
	}
	checks := rules.Default().Checks.Check
	for _, code := range Codes() {
		if _, ok := checks[code]; !ok {
			t.Errorf("checks.toml has no %s", code)
		}
	}
	for code, c := range checks {
		if !known[code] {
			t.Errorf("checks.toml: %s is not in the catalogue", code)
		}
		for key, v := range map[string]float64{"limit": c.Limit, "note_at": c.NoteAt, "stop_at": c.StopAt} {
			b, judged := bounds[code+"."+key]
			if v != 0 && !judged {
				t.Errorf("checks.toml: %s.%s judges nothing", code, key)
			}
			if judged && key == "limit" && b.unit != "mm2" && b.unit != c.Unit {
				t.Errorf("checks.toml: %s is in %q, in the catalogue in %q", code, c.Unit, b.unit)
			}
		}
	}
}

// Which sentence a finding has, one function chooses. The sentences have their words
// in every language: a test of the command and the book itself hold that.
func TestEveryFindingIsWordedOnce(t *testing.T) {
	places := wordedIn(t)
	for _, e := range catalogue() {
		if len(places[e.code]) != 1 {
			t.Errorf("the sentence of %s is chosen in %v", e.code, places[e.code])
		}
	}
}

// wordedIn gives the functions that file a finding of each code.
func wordedIn(t *testing.T) map[string][]string {
	t.Helper()
	places, codes := map[string][]string{job.CodeUnfinished: {"unfinishedFinding"}}, codeNames(t)
	sources, err := fs.Glob(os.DirFS("."), "*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range sources {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				code := filed(codes, n)
				if code != "" && !slices.Contains(places[code], f.Name.Name) {
					places[code] = append(places[code], f.Name.Name)
				}
				return true
			})
		}
	}
	return places
}

// filed gives the code of a call add(job.CodeHoles, …).
func filed(codes map[string]string, n ast.Node) string {
	call, ok := n.(*ast.CallExpr)
	if !ok || len(call.Args) != 2 {
		return ""
	}
	if sel, ok := call.Fun.(*ast.SelectorExpr); !ok || sel.Sel.Name != "add" {
		return ""
	}
	code, ok := call.Args[0].(*ast.SelectorExpr)
	if !ok {
		return ""
	}
	return codes[code.Sel.Name]
}

// codeNames gives the codes of findings by the names that package job has for them.
func codeNames(t *testing.T) map[string]string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "../job/report.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	codes := map[string]string{}
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok && len(v.Values) == 1 && strings.HasPrefix(v.Names[0].Name, "Code") {
			if lit, ok := v.Values[0].(*ast.BasicLit); ok {
				codes[v.Names[0].Name], _ = strconv.Unquote(lit.Value)
			}
		}
		return true
	})
	if len(codes) < 20 {
		t.Fatalf("only %d codes are named", len(codes))
	}
	return codes
}
