package job

import "slices"

// Report is everything the preflight found out about one file. Lengths are
// millimetres, areas mm2, volumes mm3, masses grams, times seconds. What it says is
// kept as messages; scripts get them in English (cmd/meshclerk).
type Report struct {
	File        string       `json:"file"`
	Readable    bool         `json:"readable"`
	Format      string       `json:"format"` // "binary" or "ascii"
	Error       Message      `json:"error"`
	Unfinished  bool         `json:"unfinished,omitempty"` // the check did not come to its end: this is no verdict
	Mesh        *Shape       `json:"mesh,omitempty"`
	Findings    []Finding    `json:"findings"`
	Fit         *Fit         `json:"fit,omitempty"`
	Orientation *Orientation `json:"orientation,omitempty"`
	Estimate    *Estimate    `json:"estimate,omitempty"`
	Quote       *Quote       `json:"quote,omitempty"`
	Advice      []Advice     `json:"advice,omitempty"`

	// Onto is another part of the conversation that this one is drawn to stand on or in, or
	// that is drawn so on this one; nil where there is none.
	Onto *Onto `json:"onto,omitempty"`

	// Bodies are those of a file with more than one, the largest first; not all of very many.
	Bodies []Body `json:"bodies,omitempty"`
}

// Body is one body of a file, at the asked scale, the way up it was sent.
type Body struct {
	SizeMM [3]float64 `json:"size_mm"`
	AtMM   [3]float64 `json:"at_mm"` // its left, front and lower corner, from that of the file's box
}

// Onto names another part.
type Onto struct {
	Job  ID     `json:"job"`
	File string `json:"file"`
}

// Printable reports whether a part may be offered: it was checked to the end, nothing
// found stops it, and it has a time and a price. A report that lacks one of these is
// no verdict in the part's favour, whatever else it says.
func (r *Report) Printable() bool {
	return r != nil && r.Readable && !r.CutShort() && r.Estimate != nil && r.Quote != nil && !r.Stops()
}

// CutShort reports whether a check did not come to its end. Reports of earlier
// versions say so in their error alone.
func (r *Report) CutShort() bool { return r.Unfinished || r.Readable && !r.Error.IsZero() }

// Stops reports whether something that was found stops the job.
func (r *Report) Stops() bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Level == Stop })
}

// Advice is what staff should know or do that is no fault of the file.
type Advice struct {
	About string  `json:"about"` // "adhesion", "support", "rules" or "check"
	Do    Message `json:"do"`    // how to hold it to the plate, what to make the supports of, or what else to do
	Why   Message `json:"why"`   // the reason, lower case, no full stop
}

// Shape is the measured geometry. Area, size and volume follow the asked scale.
type Shape struct {
	Triangles          int        `json:"triangles"`
	Vertices           int        `json:"vertices"` // after welding
	VolumeMM3          float64    `json:"volume_mm3"`
	AreaMM2            float64    `json:"area_mm2"`
	SizeMM             [3]float64 `json:"size_mm"`
	AtMM               [3]float64 `json:"at_mm"`  // the lowest coordinates, times the scale
	Shells             int        `json:"shells"` // connected by edges
	Parts              int        `json:"parts"`  // shells that are outer bodies
	OpenEdges          int        `json:"open_edges"`
	Holes              int        `json:"holes"`
	NonmanifoldEdges   int        `json:"nonmanifold_edges"`
	FlippedEdges       int        `json:"flipped_edges"` // edges whose two facets run the same way
	DegenerateTris     int        `json:"degenerate_triangles"`
	DuplicateTris      int        `json:"duplicate_triangles"`
	SelfIntersections  int        `json:"self_intersections"`
	Watertight         bool       `json:"watertight"`
	InsideOut          bool       `json:"inside_out"`
	Genus              int        `json:"genus"`
	ConsistentlyWound  bool       `json:"consistently_wound"`
	EnclosesVolume     bool       `json:"encloses_volume"`
	CentroidMM         [3]float64 `json:"centroid_mm"`
	WeldToleranceMM    float64    `json:"weld_tolerance_mm"`           // 0 when equal coordinates were enough
	IntersectionsExact bool       `json:"self_intersections_complete"` // false when the search met its time bound
}

// Finding is one thing a careful technician would mention.
type Finding struct {
	Code     string      `json:"code"`
	Level    Level       `json:"level"`
	Text     Message     `json:"text"` // one plain sentence with the figure, for the patron
	Amount   float64     `json:"amount"`
	Unit     string      `json:"unit"`
	At       *[3]float64 `json:"at,omitempty"`      // mm, in the file's own coordinates times scale
	Question Message     `json:"question,omitzero"` // what must be asked, when the level is ask
}

// The codes of findings, the worst first. Their texts stand in findings.toml.
const (
	CodeUnreadable      = "unreadable"
	CodeNotSTL          = "not-stl"
	CodeUnitsDoubtful   = "units-doubtful"
	CodeTooBig          = "too-big"
	CodeTooLong         = "too-long"
	CodeHoles           = "holes"
	CodeNonmanifold     = "nonmanifold"
	CodeFlipped         = "flipped"
	CodeInsideOut       = "inside-out"
	CodeSelfCrossing    = "self-crossing"
	CodeSeveralParts    = "several-parts"
	CodeFloatingPart    = "floating-part"
	CodeSealedVoid      = "sealed-void"
	CodeThinWall        = "thin-wall"
	CodeFineDetail      = "fine-detail"
	CodeNarrowGap       = "narrow-gap"
	CodeOverhang        = "overhang"
	CodeLongBridge      = "long-bridge"
	CodeSmallFootprint  = "small-footprint"
	CodeTipsOver        = "tips-over"
	CodeSmallPartHazard = "small-part-hazard"
	CodeCoarseFacets    = "coarse-facets"
	CodeAlreadyPrinted  = "already-printed"
)

// CodeUnfinished is the finding of a check that did not come to its end. No rule can
// make it milder.
const CodeUnfinished = "unfinished"

// Level says what a finding means for the job.
type Level string

// The levels of a finding.
const (
	Stop Level = "stop" // cannot be printed as it is
	Ask  Level = "ask"  // the patron decides
	Note Level = "note" // good to know
)

// Fit says whether a printer's build volume holds the part.
type Fit struct {
	Printer    string  `json:"printer"`      // the first that fits, else the largest
	Fits       bool    `json:"fits"`         // as sent, turned about the upright axis at most
	FitsTurned bool    `json:"fits_turned"`  // in some rotation
	ScaleToFit float64 `json:"scale_to_fit"` // 1 when it fits; else the scale that would
}

// Orientation is the best way up that was found.
type Orientation struct {
	Rotation   [3][3]float64 `json:"rotation"` // row-major; applied to column vectors
	SupportMM3 float64       `json:"support_mm3"`
	PrintTimeS float64       `json:"print_time_s"`
	Why        Message       `json:"why"`
	HeightMM   float64       `json:"height_mm"`
	BedMM2     float64       `json:"bed_mm2"`
	AsSent     bool          `json:"as_sent"` // the way it was sent is the best one
}

// Estimate is the time and plastic a printer would spend, for the part as sent.
type Estimate struct {
	PrintTimeS   float64 `json:"print_time_s"` // all copies, all plates
	LowS         float64 `json:"low_s"`
	HighS        float64 `json:"high_s"`
	Layers       int     `json:"layers"`
	SolidMM3     float64 `json:"solid_mm3"`   // one copy, as printed solid
	ModelMM3     float64 `json:"model_mm3"`   // one copy, plastic laid for the part
	SupportMM3   float64 `json:"support_mm3"` // one copy
	MassG        float64 `json:"mass_g"`      // all copies, support and purge in
	FilamentM    float64 `json:"filament_m"`  // all copies, at the printer's filament diameter
	Plates       int     `json:"plates"`
	LargestScale float64 `json:"largest_scale_within_limit"`

	Printer      string   `json:"printer"`
	Material     string   `json:"material"`
	LayerMM      float64  `json:"layer_mm"`
	Shells       int      `json:"shells"`
	Infill       float64  `json:"infill"`
	Copies       int      `json:"copies"`
	Scale        float64  `json:"scale"`
	PlateTimeS   float64  `json:"plate_time_s"` // the longest plate, which the limit holds for
	PerPlate     int      `json:"copies_per_plate"`
	SupportMassG float64  `json:"support_mass_g"` // all copies
	PurgeMM3     float64  `json:"purge_mm3,omitempty"`
	Filament285M float64  `json:"filament_285_m"` // the same plastic as 2.85 mm filament
	Filament175M float64  `json:"filament_175_m"`
	Adhesion     string   `json:"adhesion"` // "none", "skirt", "brim" or "raft"
	WhatIf       []Choice `json:"what_if,omitempty"`

	SecondMM3       float64 `json:"second_mm3,omitempty"`       // of ModelMM3: what is laid in the second colour
	ChangeMM        float64 `json:"change_mm,omitempty"`        // height above the plate at which the colour changes; 0: it does not
	ChangeLayer     int     `json:"change_layer,omitempty"`     // the first layer, from 1, of the other colour
	ColourChanges   int     `json:"colour_changes,omitempty"`   // on all plates
	ByHand          bool    `json:"change_by_hand,omitempty"`   // a person changes the filament, as there is one nozzle
	ChangeWaitS     float64 `json:"change_wait_s,omitempty"`    // of PrintTimeS at each such change: until that person comes
	SupportMaterial string  `json:"support_material,omitempty"` // empty when supports are of the part's own material

	// What finished prints corrected the figures by: they were this times smaller. 0 is 1.
	TimeFactor float64 `json:"time_factor,omitempty"`
	MassFactor float64 `json:"mass_factor,omitempty"`
}

// Choice is one row of the what-if table: a change and what it would give.
type Choice struct {
	Label      Message  `json:"label"`
	Settings   Settings `json:"settings"`
	PrintTimeS float64  `json:"print_time_s"`
	MassG      float64  `json:"mass_g"`
	Plates     int      `json:"plates"`
	Within     bool     `json:"within_limit"`

	SupportMassG    float64 `json:"support_mass_g,omitempty"`   // of MassG
	SupportMaterial string  `json:"support_material,omitempty"` // where supports are of another material than the part
	Total           string  `json:"total,omitempty"`            // decimal money, filled in by the quote
}

// Quote is the price, exact and itemised.
type Quote struct {
	Currency   string `json:"currency"` // ISO 4217
	Lines      []Line `json:"lines"`
	Total      string `json:"total"`                 // decimal, the sum of the lines
	ValidUntil string `json:"valid_until,omitempty"` // YYYY-MM-DD
	Deposit    string `json:"deposit,omitempty"`
}

// Line is one line of a quote. Amounts may be negative (allowance).
type Line struct {
	Label  Message `json:"label"`
	Amount string  `json:"amount"`
	Kind   string  `json:"kind,omitempty"` // rule that made it: "job", "mass", "time", "minimum", "allowance", "rounding", "tax"
}

// FitsAt returns the share of its present size at which a part satisfies every limit at
// once, the printers' and the time's, in whole hundredths and never above; 0 where it does
// already, or where no share is known.
func (r *Report) FitsAt() float64 {
	share := 1.0
	if r.Fit != nil && r.Fit.ScaleToFit > 0 {
		share = min(share, r.Fit.ScaleToFit)
	}
	if e := r.Estimate; e != nil && e.LargestScale > 0 {
		now := e.Scale
		if now <= 0 {
			now = 1
		}
		share = min(share, e.LargestScale/now)
	}
	if share >= 1 {
		return 0
	}
	return float64(int(share*100+1e-9)) / 100
}
