// Package job holds the words of the domain: what a letter, a job, a finding,
// an estimate and a quote are, and which stages a job passes through.
//
// It imports nothing of ours, so every room may speak these words. Values here are
// plain data. The json tags are the form in which the ledger keeps them: a tag may be
// added, and none changes (package ledger, TestStoredForms). What scripts read is a
// form of its own, made by the commands.
package job

import (
	"cmp"
	"reflect"
	"slices"
	"time"
)

// ID names a job in the ledger. It is short enough to read out over the
// telephone, e.g. "LP-000042".
type ID string

// Job is one print request: one part (a mesh) that one patron asked for.
// A letter with two meshes makes two jobs in one thread.
type Job struct {
	ID     ID        `json:"id"`
	Stage  Stage     `json:"stage"`
	Thread string    `json:"thread"` // unguessable token that ties letters to the conversation
	Made   time.Time `json:"made"`

	Patron   Address  `json:"patron"`
	Language string   `json:"language"` // as its reply texts are named, e.g. "en"
	Auth     Verdict  `json:"authenticated"`
	File     string   `json:"file"`   // the patron's name for the mesh; never a path
	Blob     string   `json:"blob"`   // SHA-256 of the mesh bytes, hex
	Wishes   Wishes   `json:"wishes"` // merged over the whole conversation, newest word wins
	Settings Settings `json:"settings"`

	// Pieces are the patron's files that this one was joined from, placed as they are
	// drawn; a file that came as it is has none.
	Pieces []Piece `json:"pieces,omitempty"`
	// JoinedTo is the job that has this one's file as a piece. What is joined to another
	// is no job of its conversation any more.
	JoinedTo ID `json:"joined_to,omitempty"`

	Report    *Report    `json:"report,omitempty"` // nil until checked
	Agreement *Agreement `json:"agreement,omitempty"`
}

// Piece is a patron's file that is printed with others as one.
type Piece struct {
	File   string `json:"file"`
	Blob   string `json:"blob"`   // SHA-256 of its bytes, hex
	Bodies []int  `json:"bodies"` // its bodies in the joined file, by their volume; the largest is 1
}

// Address is a mailbox: a display name, and an address in lower case.
type Address struct {
	Name    string `json:"name"`
	Address string `json:"address"`
}

// Settings are what a part is printed with. The zero value of a field means
// "as the house rules say".
type Settings struct {
	Printer  string `json:"printer,omitempty"`
	Material string `json:"material,omitempty"`
	Colour   string `json:"colour,omitempty"`
	// Colours are how many copies are of which colour, where they are not all of one;
	// they add up to Copies, and Colour is the first.
	Colours   []ColourCopies `json:"colours,omitempty"`
	LayerMM   float64        `json:"layer_mm,omitempty"`
	Shells    int            `json:"shells,omitempty"`
	Infill    float64        `json:"infill,omitempty"` // 0..1; InfillSet tells a wished 0 from an unsaid one
	InfillSet bool           `json:"infill_set,omitempty"`
	// Second is what a second nozzle lays in another colour; nil is one colour.
	Second     *SecondColour `json:"second,omitempty"`
	Scale      float64       `json:"scale,omitempty"`
	Copies     int           `json:"copies,omitempty"`
	Supports   string        `json:"supports,omitempty"`   // "yes", "no", "soluble" or "" for where needed
	Reoriented bool          `json:"reoriented,omitempty"` // print in the advised orientation, not as sent
}

// SecondColour is what of a part is printed in another colour than the rest of it.
type SecondColour struct {
	Colour string `json:"colour"`
	// Bodies are the bodies of the file by their volume, the largest is 1. None is all
	// but the largest; or, of a single body, what stands on its widest flat face.
	Bodies []int `json:"bodies,omitempty"`
	// FromMM is the height above the plate, as printed, from which on all of it is in
	// this colour, instead of bodies; 0 is none.
	FromMM float64 `json:"from_mm,omitempty"`
	// TopMM is FromMM measured from the top of the part down; 0 is none.
	TopMM float64 `json:"top_mm,omitempty"`
}

// ByHeight reports whether it begins at a height that somebody said.
func (c SecondColour) ByHeight() bool { return c.FromMM > 0 || c.TopMM > 0 }

// InTwo is the second colour of a job as it was planned: with the height at which it
// begins, where the check found that. It is nil for one colour.
func (j Job) InTwo() *SecondColour {
	two := j.Settings.Second
	if two == nil || j.Report == nil || j.Report.Estimate == nil || j.Report.Estimate.ChangeMM <= 0 {
		return two
	}
	at := *two
	at.FromMM, at.Bodies = j.Report.Estimate.ChangeMM, nil
	return &at
}

// Equal reports whether two settings ask for the same.
func (s Settings) Equal(t Settings) bool {
	same := slices.Equal(s.Colours, t.Colours)
	s.Colours, t.Colours = nil, nil
	return same && reflect.DeepEqual(s, t)
}

// Asked gives the settings that are asked for: as settled, else as the patron
// wishes. What nobody said stays empty, but for one copy.
func (j Job) Asked() Settings {
	s, w := j.Settings, j.Wishes
	if s.Copies <= 0 {
		s.Copies = 1
		if w.Copies != nil && *w.Copies > 0 {
			s.Copies = *w.Copies
		}
	}
	if !s.InfillSet && s.Infill <= 0 && w.Infill != nil {
		s.Infill, s.InfillSet = *w.Infill, true
	}
	s.Supports = cmp.Or(s.Supports, w.Supports)
	s.Material = cmp.Or(s.Material, w.Material)
	return s
}

// Agreement is the outcome of looking a sender up in the register.
type Agreement struct {
	State   AgreementState `json:"state"`
	Why     Message        `json:"why"` // for staff
	Address string         `json:"address,omitempty"`
	Name    string         `json:"name,omitempty"`
	Card    string         `json:"card,omitempty"`
	Version string         `json:"version,omitempty"`
	Signed  string         `json:"signed,omitempty"`  // YYYY-MM-DD
	Expires string         `json:"expires,omitempty"` // YYYY-MM-DD, or empty for never
}

// AgreementState says whether a signed agreement covers a sender.
type AgreementState string

// The states of an agreement, seen from a job.
const (
	AgreementGood     AgreementState = "good"
	AgreementNone     AgreementState = "none"
	AgreementExpired  AgreementState = "expired"
	AgreementOld      AgreementState = "old-version"
	AgreementGuardian AgreementState = "guardian-missing"
	AgreementUnproven AgreementState = "unproven" // the sender's address is not proven; a person decides
)
