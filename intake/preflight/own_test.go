package preflight

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// houseRules loads the built-in rules with a checks.toml of the test's own.
func houseRules(t *testing.T, checks string) *rules.Rules {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "checks.toml"), []byte(checks), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := rules.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func ownRule(when string) string {
	return "[[own]]\ncode = \"house\"\nlevel = \"ask\"\nwhen = '''" + when + "'''\n" +
		"text = \"It is {height_mm} mm high.\"\nquestion = \"Is {height_mm} mm right?\"\n"
}

func TestBuiltinChecksAreInOrder(t *testing.T) {
	r := rules.Default()
	if err := CompileOwn(r); err != nil {
		t.Error(err)
	}
	for _, code := range Codes() {
		if _, ok := r.Checks.Check[code]; !ok {
			t.Errorf("the built-in checks.toml says nothing of %s", code)
		}
	}
}

func TestOwnChecks(t *testing.T) {
	m := Measures{HeightMM: 130, WidthMM: 20, DepthMM: 15, Holes: 3, Watertight: false, Material: "PLA", Parts: 2}
	for when, want := range map[string]bool{
		"height_mm > 6 * min(width_mm, depth_mm)":                 true,
		"height_mm > 6 * max(width_mm, depth_mm)":                 true,
		"height_mm > 7 * max(width_mm, depth_mm)":                 false,
		"!watertight && holes >= 3":                               true,
		"not watertight and holes > 3":                            false,
		`material in ["PLA", "PETG"]`:                             true,
		`material == "PETG" || parts == 2`:                        true,
		"height_mm / width_mm > 6.4":                              true,
		"height_mm / parts > 64":                                  true,
		"holes % 2 == 1":                                          true,
		"round(height_mm / 7) == 19":                              true,
		"2 ** 3 == 8":                                             true,
		"height_mm > 100 ? width_mm == 20 : width_mm == depth_mm": true,
		"volume_mm3 == 0 || height_mm / volume_mm3 > 1":           true, // the second is not looked at
	} {
		checks, faults := compile(houseRules(t, ownRule(when)))
		if len(faults) > 0 {
			t.Errorf("%s: %v", when, faults)
			continue
		}
		found, advice := runOwn(checks, m)
		if got := len(found) == 1; got != want || len(advice) > 0 {
			t.Errorf("%s: found %v, advice %v, want %v", when, found, advice, want)
		}
		if want && (words(found[0].Text) != "It is 130 mm high." || words(found[0].Question) != "Is 130 mm right?" || found[0].Level != job.Ask) {
			t.Errorf("%s: %+v", when, found[0])
		}
	}
}

func TestOwnCheckThatDividesByZeroGivesNoVerdict(t *testing.T) {
	for _, when := range []string{"height_mm / volume_mm3 > 1", "holes % parts == 0", "1 / (parts - 0) > 0"} {
		checks, faults := compile(houseRules(t, ownRule(when)))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		found, advice := runOwn(checks, Measures{HeightMM: 1})
		if len(found) != 0 || len(advice) != 1 || !strings.Contains(words(advice[0].Why), "divides-by-zero") {
			t.Errorf("%s: found %v, advice %v", when, found, advice)
		}
	}
}

func TestWrongOwnChecksAreRefusedWithThePlace(t *testing.T) {
	for when, want := range map[string][]string{
		"heigth_mm > 3":                         {"checks.toml:4:", "unknown measure heigth_mm", "did you mean height_mm?"},
		"minimum(width_mm, 3) > 3":              {"unknown measure minimum"},
		"height_mm":                             {"not yes or no"},
		"height_mm > \"tall\"":                  {"mismatched types"},
		"height_mm >":                           {"checks.toml:4:"},
		"len(1..1000000000) > 3":                {"checks.toml:4:"},
		"all(1..100000000, # > 0)":              {"checks.toml:4:"},
		strings.Repeat("1 + ", 900) + "1 > 2":   {"longer than 2000 letters"},
		strings.Repeat("!", 400) + "watertight": {"checks.toml:4:"},
	} {
		err := CompileOwn(houseRules(t, ownRule(when)))
		if err == nil {
			t.Errorf("%.60s: accepted", when)
			continue
		}
		for _, w := range want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%.60s:\n%v\nwants %q", when, err, w)
			}
		}
	}
}

func TestWrongCodesAndSentencesAreRefused(t *testing.T) {
	err := CompileOwn(houseRules(t, "[check.thinwall]\nlevel = \"ask\"\nlimit = 1\nunit = \"mm\"\n"+
		"[[own]]\ncode = \"overhang\"\nlevel = \"note\"\nwhen = \"parts > 1\"\ntext = \"x\"\n"+
		"[[own]]\ncode = \"mine\"\nlevel = \"note\"\nwhen = \"parts > 1\"\ntext = \"It weighs {mass}.\"\n"))
	if err == nil {
		t.Fatal("accepted")
	}
	for _, want := range []string{"there is no check thinwall", "did you mean thin-wall?", "is the code of a built-in check", "unknown measure {mass}", "did you mean mass_g?"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v\nwants %q", err, want)
		}
	}
}

func TestChecksLeftOutAreMadeAsBuiltIn(t *testing.T) {
	r := houseRules(t, "[check.overhang]\nlevel = \"stop\"\nlimit = 1\nunit = \"mm2\"\n")
	all := thresholds(r)
	if all["overhang"].Level != "stop" || all["thin-wall"].Limit != 0.8 {
		t.Errorf("%+v", all)
	}
}

// A figure for a check that does not judge by it would change nothing: whoever wrote it
// is told, with its place and the figures that the check has.
func TestFiguresThatJudgeNothingAreRefused(t *testing.T) {
	for text, want := range map[string][]string{
		"[check.inside-out]\nlevel = \"ask\"\nlimit = 3\n":                                                           {"checks.toml:3", "inside-out does not judge by a limit", "no figure of its own"},
		"[check.long-bridge]\nlevel = \"ask\"\nlimit = 20\nunit = \"mm\"\n":                                          {"checks.toml:3", "long-bridge does not judge by a limit", "bridge_mm in printing.toml"},
		"[check.overhang]\nlevel = \"ask\"\nlimit = 5\nunit = \"mm2\"\nnote_at = 9\n":                                {"checks.toml:5", "overhang does not judge by a note_at", "limit"},
		"[check.narrow-gap]\nlevel = \"ask\"\nlimit = 0.3\nunit = \"mm\"\nstop_at = 0.1\n":                           {"checks.toml:5", "narrow-gap does not judge by a stop_at", "limit, note_at"},
		"[check.thin-wall]\nlevel = \"ask\"\nlimit = 0.8\nunit = \"mm\"\nstop_at = 0.3\n":                            nil,
		"[check.tips-over]\nlevel = \"ask\"\nlimit = 4\nunit = \"deg\"\nnote_at = 8\n":                               nil,
		"[check.already-printed]\nlevel = \"ask\"\n[check.flipped]\nlevel = \"stop\"\nlimit = 2\nunit = \"edges\"\n": nil,
	} {
		err := CompileOwn(houseRules(t, text))
		if want == nil && err != nil {
			t.Errorf("%s: %v", text, err)
		}
		for _, w := range want {
			if err == nil || !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %v\nwants %q", text, err, w)
			}
		}
	}
}
