// Package rules holds the house rules: what the library prints on, with what,
// for how much, for whom and within which limits.
//
// The rules are plain TOML files that an admin edits. A set of defaults is
// embedded; a folder given by the operator replaces them file by file. Loading
// is strict: an unknown key, a missing value or one out of range is an error
// that shows file, line and a caret under the place. Nothing here decides; the
// rooms that check, price and write read their thresholds from here.
package rules

import (
	"cmp"
	"slices"
	"time"

	"meshclerk/intake/job"
)

// Rules is one complete, validated set of house rules. It is read-only after Load.
type Rules struct {
	Library   Library    // library.toml
	Printers  []Printer  // printers.toml
	Materials []Material // materials.toml
	Printing  Printing   // printing.toml
	Prices    Prices     // prices.toml
	Limits    Limits     // limits.toml
	Agreement Agreement  // agreement.toml
	Mailbox   Mailbox    // mailbox.toml
	Caps      Caps       // caps.toml
	Checks    Checks     // checks.toml
	Words     Words      // words.toml
	Refusals  []Refusal  // refusals.toml
	Hash      string     // SHA-256 over all files, so that a job can say which rules it was judged by

	sources map[string]*source // the files as read, so that Fault can show a place
}

// Library says who we are.
type Library struct {
	Name       string   `toml:"name"`
	Desk       string   `toml:"desk"`    // the name replies are signed with
	Address    string   `toml:"address"` // the shared mailbox
	Phone      string   `toml:"phone" rule:"optional"`
	Hours      string   `toml:"hours" rule:"optional"`
	Website    string   `toml:"website" rule:"optional"`
	Safety     string   `toml:"safety" rule:"optional"` // page with all cautions about printed parts
	Branches   []Branch `toml:"branch"`
	Languages  []string `toml:"languages"`   // languages replies are written in; the first is the fallback
	Staff      []Person `toml:"staff"`       // people who may approve, and whose forwards stand for the patron's letter
	Timezone   string   `toml:"timezone"`    // IANA name
	AuthservID string   `toml:"authserv_id"` // RFC 8601: the only server whose results are believed

	Newcomers    []Newcomer             `toml:"newcomer" rule:"optional"`    // told to those who are new to it
	Translations map[string]Translation `toml:"translation" rule:"optional"` // by language
}

// Newcomer is one line that the house tells those who are new to 3D printing.
type Newcomer struct {
	Say  map[string]string `toml:"say"`                  // by language; left out in the others
	Link string            `toml:"link" rule:"optional"` // a web address
}

// Branch is a place where parts are collected.
type Branch struct {
	Name  string   `toml:"name"`
	Words []string `toml:"words" rule:"optional"` // other ways patrons write it
	Hours string   `toml:"hours" rule:"optional"`
}

// Translation is what the library is called and says of itself in another
// language. What is empty stays as in the first.
type Translation struct {
	Desk        string            `toml:"desk" rule:"optional"`
	Hours       string            `toml:"hours" rule:"optional"`
	Website     string            `toml:"website" rule:"optional"`
	Safety      string            `toml:"safety" rule:"optional"`
	Form        string            `toml:"form" rule:"optional"`         // of the agreement
	BranchHours map[string]string `toml:"branch_hours" rule:"optional"` // by branch name
}

// In returns the library as it presents itself in a language.
func (l Library) In(language string) Library {
	t := l.Translations[language]
	l.Desk, l.Hours, l.Website, l.Safety = cmp.Or(t.Desk, l.Desk), cmp.Or(t.Hours, l.Hours), cmp.Or(t.Website, l.Website), cmp.Or(t.Safety, l.Safety)
	l.Branches = slices.Clone(l.Branches)
	for i, b := range l.Branches {
		l.Branches[i].Hours = cmp.Or(t.BranchHours[b.Name], b.Hours)
	}
	return l
}

// Person is a member of staff.
type Person struct {
	Name    string `toml:"name"`
	Address string `toml:"address"`
}

// Printer is one machine or a group of the same kind.
type Printer struct {
	Name       string     `toml:"name"`
	Count      int        `toml:"count"`       // machines of this kind
	BuildMM    [3]float64 `toml:"build_mm"`    // usable width, depth, height
	NozzleMM   []float64  `toml:"nozzle_mm"`   // one entry per nozzle
	FilamentMM float64    `toml:"filament_mm"` // 1.75 or 2.85
	Materials  []string   `toml:"materials"`   // names from materials.toml

	Speed                 Speed   `toml:"speed"`
	Acceleration          float64 `toml:"acceleration_mm_s2"`
	TravelAcceleration    float64 `toml:"travel_acceleration_mm_s2"`
	CornerSpeed           float64 `toml:"corner_speed_mm_s"` // square-corner velocity
	MaxFlow               float64 `toml:"max_flow_mm3_s"`
	RetractMM             float64 `toml:"retract_mm"`
	RetractSpeed          float64 `toml:"retract_speed_mm_s"`
	MinTravelForRetractMM float64 `toml:"retract_after_travel_mm"`
	ZSpeed                float64 `toml:"z_speed_mm_s"`
	WarmUpS               float64 `toml:"warm_up_s"`          // heating and homing, once a plate
	MinLayerS             float64 `toml:"min_layer_s"`        // cooling: no layer is printed faster
	SlowestSpeed          float64 `toml:"slowest_speed_mm_s"` // the floor when slowing for cooling
	SwitchS               float64 `toml:"nozzle_switch_s" rule:"optional"`
	PurgeMM3              float64 `toml:"purge_mm3" rule:"optional"`           // laid aside at each switch
	ChangeWaitS           float64 `toml:"filament_wait_s" rule:"optional"`     // the print stands still until that person comes
	ChangeS               float64 `toml:"filament_change_s" rule:"optional"`   // a person changes the filament of a nozzle in the middle of a print
	ChangeMM3             float64 `toml:"filament_change_mm3" rule:"optional"` // pushed out until the new colour is clean
}

// Speed is mm/s by what is laid, in the order of printers.toml: with the most
// care first.
type Speed struct {
	FirstLayer float64 `toml:"first_layer"`
	Bridge     float64 `toml:"bridge"`
	Outside    float64 `toml:"outside"` // the outermost shell
	Solid      float64 `toml:"solid"`   // solid bottom and top
	Shells     float64 `toml:"shells"`  // all but the outermost
	Support    float64 `toml:"support"`
	Infill     float64 `toml:"infill"`
	Travel     float64 `toml:"travel"`
}

// Material is a filament in stock.
type Material struct {
	Name     string   `toml:"name"`
	Density  float64  `toml:"density_g_cm3"`
	SoftensC float64  `toml:"softens_c"`
	Colours  []string `toml:"colours"` // stock words
	Soluble  bool     `toml:"soluble"` // support only
	Words    []string `toml:"words" rule:"optional"`
}

// Printing is how parts are printed when nobody says otherwise.
type Printing struct {
	Material     string    `toml:"material"`
	LayerMM      float64   `toml:"layer_mm"`
	FirstLayerMM float64   `toml:"first_layer_mm"`
	LineWidthMM  float64   `toml:"line_width_mm"` // for a 0.4 mm nozzle
	Shells       int       `toml:"shells"`
	Infill       float64   `toml:"infill"`       // 0..1
	SolidLayers  int       `toml:"solid_layers"` // solid layers at top and at bottom
	SolidTop     bool      `toml:"solid_top"`
	LayerChoices []float64 `toml:"layer_choices_mm" rule:"optional"` // what may be offered instead
	StrongInfill float64   `toml:"strong_infill"`                    // what "strong" means
	StrongShells int       `toml:"strong_shells"`

	SupportAngleDeg float64 `toml:"support_angle_deg"` // from vertical; steeper overhangs are supported
	SupportGapMM    float64 `toml:"support_gap_mm"`
	SupportDensity  float64 `toml:"support_density"` // 0..1
	BridgeMM        float64 `toml:"bridge_mm"`       // longest span that needs no support
	Adhesion        string  `toml:"adhesion"`        // "none", "skirt", "brim", "raft"
	SkirtLoops      int     `toml:"skirt_loops"`
	SkirtGapMM      float64 `toml:"skirt_gap_mm"`
	BrimMM          float64 `toml:"brim_mm"`
	RaftLayers      int     `toml:"raft_layers"`
	SpacingMM       float64 `toml:"spacing_mm"`  // between copies on a plate
	SpreadLow       float64 `toml:"spread_low"`  // 0.92: low = time x this, until calibrated
	SpreadHigh      float64 `toml:"spread_high"` // 1.15
}

// Fill returns settings with what they leave unsaid as the house prints otherwise.
// Values that no printer could follow stay, for whoever refuses them.
func (p Printing) Fill(s job.Settings) job.Settings {
	s.Material = cmp.Or(s.Material, p.Material)
	if s.LayerMM == 0 {
		s.LayerMM = p.LayerMM
	}
	if s.Shells == 0 {
		s.Shells = p.Shells
	}
	if !s.InfillSet && s.Infill == 0 {
		s.Infill = p.Infill
	}
	return s
}

// Stock lists the colours of all materials, each once, sorted.
func (r *Rules) Stock() (colours []string) {
	for _, m := range r.Materials {
		colours = append(colours, m.Colours...)
	}
	slices.Sort(colours)
	return slices.Compact(colours)
}

// Settings returns how a job is printed: as settled, else as its patron wishes,
// else as the house does.
func (r *Rules) Settings(j job.Job) job.Settings { return r.Printing.Fill(j.Asked()) }

// Prices are decimal strings, so that money is exact.
type Prices struct {
	Currency       string            `toml:"currency"` // ISO 4217
	Locale         string            `toml:"locale"`   // for writing amounts, e.g. "en-CA"
	PerJob         string            `toml:"per_job"`
	PerGram        map[string]string `toml:"per_gram"` // by material
	PerHour        string            `toml:"per_hour"`
	HourStep       float64           `toml:"hour_step"` // time is charged in started steps of this many hours; 0 means exactly
	Minimum        string            `toml:"minimum"`
	RoundTo        string            `toml:"round_to"` // "0.05"; "0.01" for none
	FreeGrams      float64           `toml:"free_grams" rule:"optional"`
	FreeAmount     string            `toml:"free_amount" rule:"optional"`
	WeighSupports  bool              `toml:"weigh_supports"`
	TaxPercent     string            `toml:"tax_percent" rule:"optional"`
	TaxLabel       string            `toml:"tax_label" rule:"optional"`
	DepositPercent string            `toml:"deposit_percent" rule:"optional"`
	DepositOver    string            `toml:"deposit_over" rule:"optional"` // a deposit is asked above this total
	ValidDays      int               `toml:"valid_days"`
}

// Limits bound what one patron may ask.
type Limits struct {
	JobHours            float64  `toml:"job_hours"` // longest plate
	MaxCopies           int      `toml:"max_copies"`
	FilesPerLetter      int      `toml:"files_per_letter"` // looked at at once; more are kept
	Accepted            []string `toml:"accepted"`         // file name endings: [".stl"]
	PickupDays          int      `toml:"pickup_days"`
	ReminderDays        int      `toml:"reminder_days"` // silence after a quote
	LapseDays           int      `toml:"lapse_days"`
	PickupReminderDays  int      `toml:"pickup_reminder_days"`
	KeepDays            int      `toml:"keep_days"` // letters and meshes, after the job's end
	PrintingHoursPerDay float64  `toml:"printing_hours_per_day"`
}

// Agreement is the rule that says whether a signed agreement covers a sender.
type Agreement struct {
	Required      bool     `toml:"required"`
	Current       string   `toml:"current_version"`
	Accept        []string `toml:"accept_versions" rule:"optional"` // older versions that still count
	ValidMonths   int      `toml:"valid_months"`                    // 0: no end unless the register gives one
	GuardianBelow int      `toml:"guardian_below_age"`
	MatchCard     bool     `toml:"match_card"`           // a card number in the letter may match, shown to staff
	TrustUnproven bool     `toml:"trust_unproven"`       // match a sender whose DMARC result is not pass (not advised)
	Form          string   `toml:"form" rule:"optional"` // where the form is to be had
}

// Mailbox names folders and times.
type Mailbox struct {
	Inbox       string          `toml:"inbox"`
	ToApprove   string          `toml:"to_approve"`
	Approved    []ApproveFolder `toml:"approved"`
	SetAside    string          `toml:"set_aside"`
	Sent        string          `toml:"sent"`
	Poll        time.Duration   `toml:"-"`
	PollText    string          `toml:"poll"` // "60s"
	Command     time.Duration   `toml:"-"`
	CommandText string          `toml:"command_timeout"` // "60s"
	FirstDays   int             `toml:"first_days"`      // on the very first poll, letters older than this are left alone
}

// ApproveFolder is a folder whose drafts count as approved by the person named.
type ApproveFolder struct {
	Folder string `toml:"folder"`
	By     string `toml:"by"`
}

// Caps bound what a hostile letter may cost.
type Caps struct {
	LetterBytes  int64   `toml:"letter_bytes"`
	HeaderBytes  int64   `toml:"header_bytes"`
	Parts        int     `toml:"parts"`
	Depth        int     `toml:"depth"`
	TextBytes    int64   `toml:"text_bytes"` // of the letter's own words
	ArchiveFiles int     `toml:"archive_files"`
	ArchiveBytes int64   `toml:"archive_bytes"` // unpacked, all together
	ArchiveRatio float64 `toml:"archive_ratio"` // unpacked to packed, of one file
	ArchiveDepth int     `toml:"archive_depth"`
	MeshBytes    int64   `toml:"mesh_bytes"`
	Facets       int     `toml:"facets"`
	CoordinateMM float64 `toml:"coordinate_mm"` // largest absolute coordinate
	CheckWork    float64 `toml:"check_work"`    // for one preflight, in millions of units of work (package budget)
	Attempts     int     `toml:"attempts"`      // before a letter is set aside
}

// Checks are the preflight's thresholds, each with its level ("stop", "ask", "note" or "off").
type Checks struct {
	Check map[string]Check `toml:"check"` // by finding code
	Own   []OwnCheck       `toml:"own"`   // checks the house added
}

// Check is one built-in check. Beyond Limit it is reported at Level; some checks
// have a milder and a harder bound too, where 0 means there is none.
type Check struct {
	Level  string  `toml:"level"`
	Limit  float64 `toml:"limit"` // in Unit; what it means is said in checks.toml
	Unit   string  `toml:"unit"`
	NoteAt float64 `toml:"note_at" rule:"optional"` // between this and Limit: a note only
	StopAt float64 `toml:"stop_at" rule:"optional"` // beyond this: a stop, whatever Level says
}

// OwnCheck is an expression over named measures, e.g. "height_mm > 6 * min(width_mm, depth_mm)".
type OwnCheck struct {
	Code     string `toml:"code"`
	Level    string `toml:"level"`
	When     string `toml:"when"`
	Text     string `toml:"text"`
	Question string `toml:"question"`
}

// Words is the lexicon by which letters are understood. What it may hold is
// said in words.toml, where an admin adds to it.
type Words struct {
	Colours   Lexicon `toml:"colours"`
	Materials Lexicon `toml:"materials"`
	Numbers   Lexicon `toml:"numbers"`  // "2": ways of writing two
	Times     Lexicon `toml:"times"`    // "2": twice
	Units     Lexicon `toml:"units"`    // mm, cm, m, in, ft
	Axes      Lexicon `toml:"axes"`     // height, width, depth, longest
	Scales    Lexicon `toml:"scales"`   // "0.5": ways of saying half as large
	Supports  Lexicon `toml:"supports"` // yes, no, soluble
	Days      Lexicon `toml:"days"`     // mon … sun
	Months    Lexicon `toml:"months"`   // "1" … "12"
	Feasts    Lexicon `toml:"feasts"`   // "12-25": names of days that fall on a fixed date
	Topics    Lexicon `toml:"topics"`   // field: words by which a question about it is known
	Replies   Lexicon `toml:"replies"`  // kind of reply: phrases
	Cues      Lexicon `toml:"cues"`     // part of a sentence: phrases
	Asks      Lexicon `toml:"asks"`     // what a patron asks: words of such a question
	Guards    Lexicon `toml:"guards"`   // words beside which what was learned is not believed by itself
	Signs     Lexicon `toml:"signs"`    // comma, stop …: how a sign is dictated
}

// Lexicon is language -> stock word -> ways of writing it. The language "any"
// holds for all.
type Lexicon map[string]map[string][]string
