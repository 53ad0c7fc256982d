package desk

import (
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// request is one way to come to a page.
type request struct {
	h    *house
	who  string
	path string
	form url.Values // nil to read
	want string
}

func (r request) ask(b *browser) (int, string) {
	if r.form == nil {
		return b.get(r.path)
	}
	return b.post(r.path, r.form)
}

// states are three ways to each page: with nothing to show, with plenty, and
// with something that is wrong.
func states(t *testing.T, also func(*Config)) map[string][3]request {
	t.Helper()
	empty := newHouse(t, func(c *Config) { c.TemplatesDir, c.VersionsDir = "", ""; also(c) })
	rulesDir := t.TempDir()
	full := newHouse(t, func(c *Config) { c.RulesDir = rulesDir; also(c) })
	id, d := rich(t, full)
	wrong := newHouse(t, func(c *Config) { c.RulesDir = rulesDir; also(c) })
	wrong.letter(okafor())
	bare, unread := withoutReply(empty)
	if _, page := full.browser("owen").post("/texts/en/reminder", url.Values{"source": {"Subject: Hello\n\nHello.\n"}, "do": {"save"}}); !strings.Contains(page, "Saved") {
		t.Fatal(page)
	}
	wrong.do(func(tx *ledger.Tx) error {
		return tx.SetLetter(t.Context(), "L-000001", ledger.LetterSetAside, ledger.Robot, job.Say("history.stray", nil))
	})
	wrong.clock.pass(3 * time.Hour) // the mailbox was not looked at: an alarm on every page
	const alarm = `class="strip alarm" role="alert">The mailbox`
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(rulesDir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("limits.toml", "job_hours = \"many\"\n")
	move := "/job/" + string(id) + "/move"
	return map[string][3]request{
		"waiting":    {{empty, "marisol", "/", nil, "Nothing waits."}, {full, "marisol", "/", nil, "Needs you now"}, {wrong, "marisol", "/", nil, alarm}},
		"sign-in":    {{empty, "", "/sign-in", nil, "Password"}, {full, "", "/sign-in?back=/jobs", nil, `value="/jobs"`}, {wrong, "", "/sign-in", url.Values{"sign-in": {"marisol"}}, "do not belong together"}},
		"reply":      {{empty, "marisol", "/job/" + string(bare), nil, "No reply was written"}, {full, "marisol", "/reply/" + d, nil, "Approve and send"}, {full, "marisol", "/reply/" + d + "/approve", url.Values{"sha": {"0"}}, "Not done"}},
		"letter":     {{empty, "marisol", "/letter/" + unread, nil, "not read yet"}, {full, "marisol", "/letter/L-000001", nil, "bracket.stl"}, {wrong, "marisol", "/letter/L-000001", nil, "An answer in a conversation that is not ours"}},
		"decline":    {{empty, "marisol", "/job/" + string(bare) + "/decline", nil, "Show the letter"}, {full, "marisol", "/job/" + string(id) + "/decline", url.Values{"as": {"weapon"}, "do": {"show"}}, "Decline with this letter"}, {full, "marisol", "/job/" + string(id) + "/decline", url.Values{"as": {"other"}, "do": {"decline"}}, "Say why it is declined"}},
		"jobs":       {{empty, "marisol", "/jobs?text=nothing", nil, "No job is like that"}, {full, "marisol", "/jobs", nil, "gear.stl"}, {wrong, "marisol", "/jobs?stage=none&from=x", nil, alarm}},
		"prints":     {{empty, "marisol", "/prints", nil, "Nothing lies ready"}, {full, "marisol", "/prints", nil, "vase.stl"}, {full, "marisol", move, url.Values{"to": {"failed"}, "back": {"prints"}}, `class="wrong" role="alert"`}},
		"agreements": {{empty, "marisol", "/agreements", nil, "Nobody on file"}, {full, "marisol", "/agreements", nil, "Amara Okafor"}, {full, "marisol", "/agreements", url.Values{"address": {"x"}}, "not a mail address"}},
		"texts":      {{empty, "marisol", "/texts", nil, "You can read and try them"}, {full, "owen", "/texts", nil, "Closing"}, {wrong, "owen", "/texts", nil, alarm}},
		"text":       {{empty, "marisol", "/texts/en/quote", nil, "readonly"}, {full, "owen", "/texts/en/reminder", nil, "changed by Owen Dufresne"}, {full, "owen", "/texts/en/_closing", url.Values{"source": {"{{.No"}, "do": {"check"}}, "Nothing was saved"}},
		"rules":      {{empty, "marisol", "/rules", nil, "in order"}, {full, "marisol", "/rules", nil, "your own"}, {wrong, "marisol", "/rules", nil, "job_hours"}},
		"report":     {{empty, "marisol", "/report?month=2026-01", nil, "Nothing in this month"}, {full, "marisol", "/report", nil, "3.2"}, {wrong, "marisol", "/report?month=soon", nil, alarm}},
		"record":     {{empty, "marisol", "/record", nil, "Nothing was done yet"}, {full, "marisol", "/record", nil, "approved"}, {wrong, "marisol", "/record?since=soon&before=x", nil, alarm}},
		"keys":       {{empty, "marisol", "/keys", nil, "single keys"}, {full, "marisol", "/keys", nil, "Approve"}, {wrong, "marisol", "/keys", nil, alarm}},
		"failure":    {{empty, "", "/nowhere", nil, "no such page"}, {full, "marisol", "/job/LP-999999", nil, "nothing of this number"}, {wrong, "marisol", "/job/LP-999999/move", url.Values{"to": {"printing"}}, "nothing of this number"}},
	}
}

// withoutReply puts in a job that nobody wrote about and a letter that is not read yet.
func withoutReply(h *house) (job.ID, string) {
	var j job.Job
	letter := ""
	sha, n, err := h.ledger.PutBlob(h.t.Context(), ledger.KindLetter, strings.NewReader("From: a@example.org\r\n\r\nhello"), 0)
	if err != nil {
		h.t.Fatal(err)
	}
	h.do(func(tx *ledger.Tx) (err error) {
		letter, _, err = tx.Take(h.t.Context(), ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: 900, SHA256: sha, Bytes: n, ReceivedAt: h.clock.Now()})
		if err != nil {
			return err
		}
		j, err = tx.NewJob(h.t.Context(), job.Job{Patron: job.Address{Address: "ada@example.org"}}, "", ledger.Robot, job.Plain(""))
		return err
	})
	return j.ID, letter
}

// Every template is executed with nothing, with plenty and with something wrong,
// in both languages, and is whole each time.
func TestEveryPageEmptyFullAndWrong(t *testing.T) {
	ways := states(t, func(*Config) {})
	names, err := fs.Glob(files, "pages/*.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range names {
		name := strings.TrimSuffix(path.Base(file), ".html")
		if strings.HasPrefix(name, "_") {
			continue
		}
		if _, ok := ways[name]; !ok {
			t.Errorf("nothing leads to the page %s", name)
		}
		for i, r := range ways[name] {
			for _, lang := range []string{"fr", "en"} {
				b := r.h.browser(r.who)
				b.post("/language", url.Values{"language": {lang}})
				code, page := r.ask(b)
				what := []string{"empty", "full", "wrong"}[i]
				if code >= http.StatusInternalServerError || !strings.Contains(page, `<body class="page-`+name+`">`) {
					t.Errorf("%s, %s, %s: %d\n%s", name, what, lang, code, page)
				}
				if lang == "en" && !strings.Contains(page, r.want) {
					t.Errorf("%s, %s: the page lacks %q", name, what, r.want)
				}
				readable(t, name+", "+what, lang, page)
			}
		}
	}
}
