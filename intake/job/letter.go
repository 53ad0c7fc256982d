package job

import "time"

// Letter is one mail message as a person would see it.
type Letter struct {
	From          Address      `json:"from"`
	ReplyTo       string       `json:"reply_to"`
	Subject       string       `json:"subject"`
	MessageID     string       `json:"message_id"`  // with its angle brackets, or empty
	InReplyTo     string       `json:"in_reply_to"` // with its angle brackets, or empty
	References    []string     `json:"references"`
	Disposition   Disposition  `json:"disposition"`
	Why           Message      `json:"why"` // why it has that disposition
	Authenticated Verdict      `json:"authenticated"`
	Language      string       `json:"language"` // as its reply texts are named, e.g. "en"
	Text          string       `json:"text"`     // what the writer wrote, no quoted mail
	Attachments   []Attachment `json:"attachments"`
	Links         []string     `json:"links"`
	Wishes        Wishes       `json:"wishes"`

	Date      time.Time `json:"date,omitzero"`
	To        []Address `json:"to,omitempty"`
	Forwarder *Address  `json:"forwarder,omitempty"` // the staff member who forwarded a patron's letter
	Repairs   []Message `json:"repairs,omitempty"`   // what was mended before the letter could be read
	Notes     []Message `json:"notes,omitempty"`     // what staff should know: caps met, parts left out
	Inline    []Inline  `json:"inline,omitempty"`    // own passages that stand below quoted lines, in order
	Quoted    string    `json:"quoted,omitempty"`    // the mail that the letter quotes, without its marks, its beginning
}

// Inline is an answer between quoted lines, with what it answers.
type Inline struct {
	Quoted string `json:"quoted"` // the last quoted lines above it, without their marks
	Text   string `json:"text"`   // the writer's own words; also part of Letter.Text
}

// Disposition is what a letter is to us.
type Disposition string

// The dispositions. Automatic beats all others.
const (
	Request   Disposition = "request"   // wants something printed
	Answer    Disposition = "answer"    // a person's letter in a thread
	Enquiry   Disposition = "enquiry"   // a person's letter about something else: left alone
	Automatic Disposition = "automatic" // RFC 3834: never answered
)

// Verdict is the outcome of DMARC as the trusted mail server recorded it.
type Verdict string

// The verdicts of RFC 8601 that matter here.
const (
	Pass Verdict = "pass"
	Fail Verdict = "fail"
	None Verdict = "none"
)

// Attachment is one file that came with a letter, also one inside an archive
// or a forwarded letter.
type Attachment struct {
	Name   string `json:"name"` // never contains a path
	Kind   Kind   `json:"kind"`
	Bytes  int64  `json:"bytes"`
	Inside string `json:"inside"` // name of the zip it came in, or empty

	MediaType string  `json:"media_type,omitempty"`
	SHA256    string  `json:"sha256,omitempty"` // hex, of the decoded bytes
	Path      string  `json:"-"`                // where the decoded bytes lie on disk, or empty if not kept
	Note      Message `json:"note,omitzero"`    // why it was not unpacked or kept
}

// Kind is the sort of file an attachment is, by its content first and its name second.
type Kind string

// The kinds of attachment.
const (
	KindMesh     Kind = "mesh"        // .stl
	KindArchive  Kind = "archive"     // zip and the like
	KindModel    Kind = "other-model" // a 3D model in another format
	KindDocument Kind = "document"    // PDF, word processor: perhaps a signed agreement
	KindPicture  Kind = "picture"
	KindOther    Kind = "other"
)

// Wishes are what the patron's own words already settle. Unsaid is nil, "" or empty.
type Wishes struct {
	Copies   *int     `json:"copies"`
	Colours  []string `json:"colours"` // stock words, in order of preference
	Size     *Size    `json:"size"`
	Scale    *float64 `json:"scale"`
	Material string   `json:"material"`
	Supports string   `json:"supports"`  // "yes", "no", "soluble" or ""
	Infill   *float64 `json:"infill"`    // 0..1
	NeededBy string   `json:"needed_by"` // YYYY-MM-DD
	Phone    string   `json:"phone"`
	Card     string   `json:"card"`
	Pickup   string   `json:"pickup"` // a branch of the rules
	Answer   Reply    `json:"answer"`

	Items      []Item   `json:"items,omitempty"`       // only where parts or colours differ
	NotColours []string `json:"not_colours,omitempty"` // stock words that are refused
	Unread     []Unread `json:"unread,omitempty"`      // passages that speak of such things and that nothing used

	ChangeMM *float64 `json:"change_mm,omitempty"` // height above the plate at which the colour changes, of one print in two
	FromTop  bool     `json:"from_top,omitempty"`  // ChangeMM is measured from the top of the part down

	Together string `json:"together,omitempty"` // "yes": several files are one print; "no": they are not; or ""

	Strong bool `json:"strong,omitempty"` // wished strong, with no infill named

	Courtesy bool `json:"courtesy,omitempty"` // of an answer: it only thanks and greets
	Agrees   bool `json:"agrees,omitempty"`   // of an answer: it agrees to the offer as it is, and asks something beside that

	Words map[string]string `json:"words,omitempty"` // field -> the patron's words it came from
}

// Item is what is wished of one part, or of some of its copies.
type Item struct {
	Part     string   `json:"part"`    // as the patron calls it; "" is the one file
	Copies   int      `json:"copies"`  // 0 is unsaid
	Colours  []string `json:"colours"` // stock words, in order of preference
	Size     *Size    `json:"size"`
	Scale    *float64 `json:"scale"`
	Material string   `json:"material"`

	Other string `json:"other_colour,omitempty"` // a colour that is no stock word, in the patron's word; Colours is empty then
}

// Unread is a passage of the patron's own words that nothing used.
type Unread struct {
	Text  string `json:"text"`
	About string `json:"about"` // "number", "colour", "size", "date", "answer" or "other"
}

// Size is a wished length along one axis.
type Size struct {
	Axis string  `json:"axis"` // "height", "width", "depth" or "longest"
	MM   float64 `json:"mm"`
}

// Reply is what an answer says to a quote.
type Reply string

// What an answer may say. Unsure is Question or "".
const (
	Accept   Reply = "accept" // only when nothing is changed
	Decline  Reply = "decline"
	Change   Reply = "change"
	Question Reply = "question"
)
