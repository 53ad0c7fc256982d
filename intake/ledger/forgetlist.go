package ledger

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"meshclerk/intake/job"
)

// What was forgotten must not come back with an older backup. A list of it lies
// beside the database, in a file that no backup holds and no restore replaces:
// one line for each forgetting, on disk before the ledger says that it is done.
// It holds no address and no hash of a letter, but keyed digests of them (HMAC,
// RFC 2104), which a ledger that has the same address or letter can recognise.

const (
	forgetFile = "forgotten.log"
	metaForget = "forget-list" // which list this ledger belongs with
)

// What a digest is of.
const (
	ofAddress = "address"
	ofLetter  = "letter" // by the hash of its raw bytes
	ofJob     = "job"    // by its id and when it was made
)

type forgetList struct {
	Key     []byte `json:"key"`
	entries []forgetEntry
	letters map[string]bool // digests of letters that must not be taken in again
	bad     int             // lines that cannot be read
}

// forgetEntry is one line.
type forgetEntry struct {
	ID   string    `json:"id"`
	At   time.Time `json:"at"`
	What string    `json:"what"` // "forgotten" or "expired"
	Of   []string  `json:"of"`   // digests
}

func newForgetList() *forgetList {
	f := &forgetList{Key: make([]byte, sha256.Size), letters: map[string]bool{}}
	rand.Read(f.Key) // never fails (crypto/rand)
	return f
}

// digest is of what is named by a word and a value.
func (f *forgetList) digest(of, value string) string {
	h := hmac.New(sha256.New, f.Key)
	io.WriteString(h, of+"\x00"+value)
	return hex.EncodeToString(h.Sum(nil)[:16])
}

func (f *forgetList) name() string { return f.digest("list", "") }

func (f *forgetList) add(e forgetEntry) {
	f.entries = append(f.entries, e)
	for _, d := range e.Of {
		f.letters[d] = true
	}
}

// readForgetList reads a list. A last line that a crash cut off is left out: what
// it was to tell was never said to be done.
func readForgetList(path string) (*forgetList, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	lines := bytes.Split(raw, []byte("\n"))
	lines = lines[:len(lines)-1]
	if len(lines) == 0 { // begun, and cut off
		return nil, fs.ErrNotExist
	}
	f := &forgetList{letters: map[string]bool{}}
	if err := json.Unmarshal(lines[0], f); err != nil || len(f.Key) != sha256.Size {
		return nil, fmt.Errorf("the file %s is not the list of what was forgotten; put the right one there, or move this one away", path)
	}
	for _, line := range lines[1:] {
		var e forgetEntry
		if json.Unmarshal(line, &e) != nil || e.ID == "" {
			f.bad++
			continue
		}
		f.add(e)
	}
	return f, nil
}

// openForgetList reads the list, or begins one, and carries out what this ledger
// does not know of yet.
func (l *Ledger) openForgetList(ctx context.Context) error {
	list, err := readForgetList(filepath.Join(l.dir, forgetFile))
	missing := errors.Is(err, fs.ErrNotExist)
	if missing {
		list, err = newForgetList(), nil
	}
	if err != nil {
		return err
	}
	if list.bad > 0 {
		l.log.ErrorContext(ctx, "lines of the list of what was forgotten cannot be read", "file", forgetFile, "lines", list.bad)
	}
	if err := l.root.Chmod(forgetFile, 0o600); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	l.forgets = list
	var again Forgotten
	err = l.Tx(ctx, func(tx *Tx) (err error) {
		if err := tx.knowForgetList(ctx, missing); err != nil {
			return err
		}
		again, err = tx.replay(ctx)
		return err
	})
	if err != nil || again == (Forgotten{}) {
		return err
	}
	l.log.WarnContext(ctx, "forgotten again what an older backup had brought back", "letters", again.Letters, "jobs", again.Jobs, "drafts", again.Drafts, "agreements", again.Agreements)
	return l.emptyLog(ctx)
}

// knowForgetList ties the ledger to its list. Where it had another, and now has a
// new one, it was restored without it, and staff are told.
func (tx *Tx) knowForgetList(ctx context.Context, isNew bool) error {
	list := tx.l.forgets
	had, err := tx.Meta(ctx, metaForget)
	if err != nil || had == list.name() {
		return err
	}
	if isNew {
		if err := tx.l.writeForgets(nil); err != nil {
			return err
		}
	}
	if err := tx.SetMeta(ctx, metaForget, list.name()); err != nil {
		return err
	}
	if !isNew || had == "" {
		return tx.SettleNotices(ctx, NoticeListMissing, "ledger", Robot)
	}
	return tx.AddNotice(ctx, NoticeListMissing, "ledger", job.Say("notices.forget-list-missing", job.Args{"file": forgetFile}))
}

// remember puts a forgetting on the list and into the transaction. Call it last:
// once it is on the list, it is carried out at the next start at the latest.
func (tx *Tx) remember(ctx context.Context, what, address string, g gathered) error {
	list := tx.l.forgets
	e := forgetEntry{ID: rand.Text(), At: tx.now.UTC(), What: what}
	if address != "" {
		e.Of = append(e.Of, list.digest(ofAddress, address))
	}
	for _, id := range g.letters {
		shas, err := tx.words(ctx, `SELECT sha256 FROM letters WHERE id = ?`, id)
		if err != nil {
			return err
		}
		e.Of = append(e.Of, list.digest(ofLetter, shas[0]))
	}
	for _, id := range g.jobs {
		made, err := tx.words(ctx, `SELECT made FROM jobs WHERE id = ?`, id)
		if err != nil {
			return err
		}
		e.Of = append(e.Of, list.digest(ofJob, id+" "+made[0]))
	}
	if err := tx.carriedOut(ctx, e); err != nil {
		return err
	}
	if err := tx.l.writeForgets(&e); err != nil {
		return err
	}
	list.add(e)
	return nil
}

func (tx *Tx) carriedOut(ctx context.Context, e forgetEntry) error {
	return tx.exec(ctx, `INSERT INTO forgets (id, at) VALUES (?, ?)`, e.ID, stamp(e.At))
}

// writeForgets appends a line durably, and begins the file where it must. It is
// called within a transaction only, so that one writes at a time.
func (l *Ledger) writeForgets(e *forgetEntry) error {
	f, err := l.root.OpenFile(forgetFile, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	whole, err := wholeLines(f)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	if whole == 0 {
		if err := enc.Encode(l.forgets); err != nil {
			return err
		}
	}
	if e != nil {
		if err := enc.Encode(e); err != nil {
			return err
		}
	}
	if err := f.Truncate(whole); err != nil { // a line that a crash cut off
		return err
	}
	if _, err := f.WriteAt(b.Bytes(), whole); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	return l.syncDir(".")
}

// wholeLines gives the length of a file up to the end of its last whole line.
func wholeLines(f *os.File) (int64, error) {
	info, err := f.Stat()
	if err != nil {
		return 0, err
	}
	block := make([]byte, 4096)
	for end := info.Size(); end > 0; {
		begin := max(0, end-int64(len(block)))
		n, err := f.ReadAt(block[:end-begin], begin)
		if err != nil && !errors.Is(err, io.EOF) {
			return 0, err
		}
		if i := bytes.LastIndexByte(block[:n], '\n'); i >= 0 {
			return begin + int64(i) + 1, nil
		}
		end = begin
	}
	return 0, nil
}
