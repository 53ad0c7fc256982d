package desk

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/casework"
	"meshclerk/reply/draft"
	"meshclerk/reply/outbox"
	"meshclerk/reply/quote"
	"meshclerk/rules"
	"meshclerk/templates"
)

// house is a library with a ledger, a desk and a few letters.
type house struct {
	t      testing.TB
	ledger *ledger.Ledger
	rules  *rules.Rules
	desk   *Desk
	server *httptest.Server
	texts  string
	clock  *clock
	n      uint32
}

type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// The passwords of the test's people; hashing is made cheap for tests only.
const password = "five green lamps on a shelf"

func cheapHash(t testing.TB) string {
	t.Helper()
	h, err := argon2id.CreateHash(password, &argon2id.Params{Memory: 1024, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func accounts(t testing.TB) []Account {
	h := cheapHash(t)
	return []Account{
		{"marisol", "Marisol Teague", RoleStaff, h},
		{"owen", "Owen Dufresne", RoleAdmin, h},
	}
}

// newHouse opens an empty library; change may alter the desk's configuration.
func newHouse(t testing.TB, change func(*Config)) *house {
	t.Helper()
	h := &house{t: t, rules: rules.Default(), clock: &clock{now: time.Date(2026, 11, 25, 15, 0, 0, 0, time.UTC)}, texts: t.TempDir()}
	var err error
	if h.ledger, err = ledger.Open(t.Context(), filepath.Join(t.TempDir(), "data"), nil, h.clock.Now); err != nil {
		t.Fatal(err)
	}
	office := &casework.Office{Ledger: h.ledger, Rules: h.rules, Templates: templates.Default(), Domain: "larkfield.example", Log: slog.New(slog.DiscardHandler), Now: h.clock.Now}
	cfg := Config{Office: office, TemplatesDir: h.texts, VersionsDir: t.TempDir(), Auth: Auth{Accounts: accounts(t)}}
	if change != nil {
		change(&cfg)
	}
	if h.desk, err = New(cfg); err != nil {
		t.Fatal(err)
	}
	h.server = httptest.NewServer(h.desk)
	t.Cleanup(func() {
		h.server.Close()
		h.desk.Close()
		h.ledger.Close()
	})
	h.do(func(tx *ledger.Tx) error { return tx.SavePoll(t.Context(), h.rules.Mailbox.Inbox, 1, 1) })
	return h
}

func (h *house) do(fn func(tx *ledger.Tx) error) {
	h.t.Helper()
	if err := h.ledger.Tx(h.t.Context(), fn); err != nil {
		h.t.Fatal(err)
	}
}

// canonical puts a message into the form in which mail travels, as the robot does before it is recorded.
func canonical(m *draft.Message) error {
	raw, err := outbox.Canonical(m.Raw)
	sum := sha256.Sum256(raw)
	m.Raw, m.SHA256 = raw, hex.EncodeToString(sum[:])
	return err
}

// asked is a letter to be put in.
type asked struct {
	Name, Address, Subject, Text, File, Language string
	Auth                                         job.Verdict
	Agreement                                    job.Agreement
	Mesh                                         *mesh.Mesh
	Findings                                     []job.Finding
}

func okafor() asked {
	return asked{Name: "Amara Okafor", Address: "amara.okafor@example.org", Subject: "Shelf bracket", File: "bracket.stl", Language: "en", Auth: job.Pass,
		Text:      "Hello,\n\nplease print two of the attached shelf bracket, in blue PLA. I would collect it at Millbrook. My number is 555-0142.\n\nThank you,\nAmara",
		Agreement: job.Agreement{State: job.AgreementGood, Why: job.Say("agreement.good", job.Args{"agreement": job.Say("agreement.of-signed", job.Args{"version": "2026", "name": "Amara Okafor", "signed": "2026-08-25"})}), Address: "amara.okafor@example.org", Name: "Amara Okafor", Version: "2026"},
		Mesh:      shapes.OnBed(shapes.Bracket(60, 30)),
		Findings:  []job.Finding{{Code: "overhang", Level: job.Ask, Text: job.Say("findings.overhang", job.Args{"area": job.Figure{Amount: 300, Unit: "mm2"}}), Amount: 300, Unit: "mm2", At: &[3]float64{0, 0, 10}, Question: job.Say("findings.ask.overhang", nil)}},
	}
}

// letter puts in a letter with its job and a waiting reply, and gives their ids.
func (h *house) letter(a asked) (jobID job.ID, draftID string) {
	h.t.Helper()
	ctx := h.t.Context()
	h.n++
	blob := ""
	size := [3]float64{60, 30, 60}
	if a.Mesh != nil {
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, a.Mesh); err != nil {
			h.t.Fatal(err)
		}
		var err error
		if blob, _, err = h.ledger.PutBlob(ctx, ledger.KindMesh, &b, 0); err != nil {
			h.t.Fatal(err)
		}
		size = [3]float64(a.Mesh.Bounds().Size())
	}
	raw := fmt.Sprintf("From: %s\r\nSubject: %d\r\n\r\n%s", a.Address, h.n, a.Text)
	sha, n, err := h.ledger.PutBlob(ctx, ledger.KindLetter, strings.NewReader(raw), 0)
	if err != nil {
		h.t.Fatal(err)
	}
	two := 2
	l := job.Letter{From: job.Address{Name: a.Name, Address: a.Address}, Subject: a.Subject, Text: a.Text, Disposition: job.Request, Language: a.Language,
		Authenticated: a.Auth, MessageID: fmt.Sprintf("<%d@example.org>", h.n), Date: h.clock.Now(),
		Attachments: []job.Attachment{{Name: a.File, Kind: job.KindMesh, Bytes: 100, SHA256: blob}}, Links: []string{"https://files.example.net/a?b=<script>"}}
	var id string
	j := job.Job{Patron: l.From, Language: a.Language, Auth: a.Auth, File: a.File, Blob: blob, Agreement: &a.Agreement,
		Settings: job.Settings{Copies: 2, Colour: "blue", Material: "PLA"},
		Wishes: job.Wishes{Copies: &two, Colours: []string{"blue"}, Material: "PLA", Pickup: "Millbrook", Phone: "555-0142",
			Words: map[string]string{"copies": "print two of the attached", "colours": "in blue PLA", "pickup": "collect it at Millbrook"}}}
	estimate := job.Estimate{PrintTimeS: 10800, LowS: 9900, HighS: 12400, Layers: 300, MassG: 24, Plates: 1, Printer: h.rules.Printers[0].Name, Material: "PLA",
		LayerMM: 0.2, Shells: 2, Infill: 0.1, Copies: 2, Scale: 1,
		WhatIf: []job.Choice{{Label: job.Say("choices.layers", job.Args{"now": 0.3, "before": 0.2}), Settings: job.Settings{LayerMM: 0.3}, PrintTimeS: 7200, MassG: 24, Plates: 1, Within: true}}}
	q, err := quote.Price(estimate, h.rules.Prices, h.clock.Now())
	if err != nil {
		h.t.Fatal(err)
	}
	j.Report = &job.Report{File: a.File, Readable: true, Format: "binary", Mesh: &job.Shape{SizeMM: size, Watertight: true}, Findings: a.Findings, Estimate: &estimate, Quote: &q,
		Orientation: &job.Orientation{Rotation: [3][3]float64{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}, PrintTimeS: 9000, Why: job.Say("findings.way.better", job.Args{"tilt": job.Say("findings.way.on-its-side", nil), "gains": []job.Message{job.Say("findings.way.supports-none", job.Args{"before": job.Figure{Amount: 300, Unit: "mm3"}})}})}}
	h.do(func(tx *ledger.Tx) (err error) {
		if id, _, err = tx.Take(ctx, ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: h.n, SHA256: sha, Bytes: n, ReceivedAt: h.clock.Now()}); err != nil {
			return err
		}
		if err = tx.SaveParsed(ctx, id, l, ledger.Robot); err != nil {
			return err
		}
		if j, err = tx.NewJob(ctx, j, id, ledger.Robot, job.Say("history.by-letter", job.Args{"letter": id})); err != nil {
			return err
		}
		if err = tx.Move(ctx, j.ID, job.Checked, ledger.Robot, job.Plain("")); err != nil {
			return err
		}
		return tx.Move(ctx, j.ID, job.Drafted, ledger.Robot, job.Plain(""))
	})
	draftID, err = h.ledger.NextDraftID(ctx)
	if err != nil {
		h.t.Fatal(err)
	}
	m, err := draft.Compose(draft.Input{Rules: h.rules, Templates: templates.Default(), Letter: &l, Jobs: []*job.Job{&j}, ID: draftID, Domain: "larkfield.example", Now: h.clock.Now()})
	if err != nil {
		h.t.Fatal(err)
	}
	if err := canonical(&m); err != nil {
		h.t.Fatal(err)
	}
	doc, err := json.Marshal(casework.Written{Markdown: m.Markdown, Questions: m.Questions, Notes: m.Notes})
	if err != nil {
		h.t.Fatal(err)
	}
	h.do(func(tx *ledger.Tx) error {
		_, _, err := tx.NewDraft(ctx, ledger.Draft{ID: draftID, Jobs: []job.ID{j.ID}, Letter: id, Kind: m.Template, TemplateHash: m.TemplateHash, RulesHash: h.rules.Hash,
			Language: m.Language, To: m.To, Subject: m.Subject, MessageID: m.MessageID, Doc: doc}, m.Raw, ledger.Robot, job.Plain(""))
		return err
	})
	return j.ID, draftID
}

func (h *house) register() {
	h.t.Helper()
	_, err := h.ledger.UpsertAgreements(h.t.Context(), []agreement.Entry{
		{Address: "amara.okafor@example.org", Name: "Amara Okafor", Card: "2900 1138 4402 7", Signed: "2026-08-25", Version: h.rules.Agreement.Current},
		{Address: "priya.raman@example.com", Name: "Priya Raman", Card: "2900 1502 4486 3", Signed: "2024-05-25", Version: h.rules.Agreement.Current, Expires: "2026-05-25"},
	}, "Owen Dufresne", "test")
	if err != nil {
		h.t.Fatal(err)
	}
}

// browser is a signed-in person without scripts.
type browser struct {
	h *house
	http.Client
}

func (h *house) browser(signIn string) *browser {
	h.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		h.t.Fatal(err)
	}
	b := &browser{h: h}
	b.Jar = jar
	if signIn != "" {
		if code, page := b.post("/sign-in", url.Values{"sign-in": {signIn}, "password": {password}}); code != http.StatusOK {
			h.t.Fatalf("sign-in of %s: %d\n%s", signIn, code, page)
		}
	}
	return b
}

func (b *browser) get(path string) (int, string) {
	b.h.t.Helper()
	r, err := b.Get(b.h.server.URL + path)
	if err != nil {
		b.h.t.Fatal(err)
	}
	return read(b.h.t, r)
}

func (b *browser) post(path string, form url.Values) (int, string) {
	b.h.t.Helper()
	r, err := b.PostForm(b.h.server.URL+path, form)
	if err != nil {
		b.h.t.Fatal(err)
	}
	return read(b.h.t, r)
}

func read(t testing.TB, r *http.Response) (int, string) {
	t.Helper()
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body)
}

// sha is the hash that the approval form of a page holds.
func sha(t testing.TB, page string) string {
	t.Helper()
	m := regexp.MustCompile(`name="sha" value="([0-9a-f]{64})"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("no hash in the page:\n%s", page)
	}
	return m[1]
}

func holds(t testing.TB, page string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(page, w) {
			t.Errorf("the page lacks %q", w)
		}
	}
	if t.Failed() && os.Getenv("MESHCLERK_PAGES") != "" {
		t.Log(page)
	}
}

func lacks(t testing.TB, page string, words ...string) {
	t.Helper()
	for _, w := range words {
		if strings.Contains(page, w) {
			t.Errorf("the page holds %q", w)
		}
	}
}
