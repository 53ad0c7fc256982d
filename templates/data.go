package templates

import "meshclerk/intake/job"

// Data is everything a reply text may show. Figures and dates are already
// written in the letter's language; what is unknown is "" or nil, so that
// {{if .Part.Total}} works. Lengths, masses and the like are Text for the same
// reason; the few plain numbers are there for {{if}} and {{plural}}.
type Data struct {
	Language string // the folder that the text stands in, e.g. "en"
	Library  Library
	Patron   Text // what to call the patron, or ""
	Subject  Text // of the patron's letter without "Re:", or a plain one when it had none
	Subjects Text // the files in question, for a subject line: "bracket.stl", or "3 files"

	Parts   []Part // the 3D files that the letter is about
	Part    Part   // the first of them; empty when there is none
	Several bool   // more than one
	// Understood is what the patron's words settle, in their own order of things:
	// "2 copies, in green, 10 cm tall, collect at Millbrook"; of a letter about several
	// parts only what holds for all of them.
	Understood Text
	SizeOpen   bool // the units of a file are in doubt, so its size is asked before anything is offered
	Printable  bool // at least one can be printed as it is
	Offered    int  // how many can be printed as they are, and are of a size that is known
	Total      Text // for all that can be printed, or ""
	Deposit    Text // to be paid before printing, or ""
	ValidTo    Text // the day until which the quote holds

	Questions []Question // open ones, numbered from 1
	SaidYes   bool       // the patron said yes already, and it is kept
	Rest      bool       // a person writes about the rest of a question
	AskPhone  bool       // a call when it is ready could be offered
	Agreement Agreement
	Files     []File // other files that came
	Unopened  []File // files that came and could not be opened, and why
	Links     int    // addresses of files kept elsewhere
	TooMany   int    // files beyond those that were looked at; they are kept
	Sent      int    // 3D files that came with the letter, those too

	GivenUp  Text     // files that the patron no longer wants, which we have taken off the list
	Arrived  bool     // of several parts: the signed agreement that was missing is here
	Changes  []Change // what is new since the last quote
	Wait     Wait
	NeededBy Text // the day the patron named
	Late     bool // the wait may be longer than that
	Pickup   Pickup
	Cautions Cautions
	Limits   Limits

	Reason   Text // why: of a failed print, a refusal; one line, may be ""
	Note     Note // staff's own words to this patron, may be ""
	QuotedOn Text // the day of the last quote
	ClosesOn Text // the day the request is closed if nothing is heard
	New      bool // the patron's first letter from us that may tell how to begin
	Learn    []Learn
	Picture  Text // Markdown of the inline picture, or ""; printed with {{picture .}}
}

// Library says who writes.
type Library struct {
	Name, Desk, Address, Phone, Hours, Website Text
}

// Learn is one line of the house for those who are new to 3D printing.
type Learn struct {
	Text, Link Text
}

// Part is one 3D file and what was found out about it.
type Part struct {
	Number  int // in this letter, from 1
	File    Text
	Outcome string // "quote", "too-long", "too-big", "cannot-print", "unreadable" or "unfinished"
	Really  Text   // of an unreadable file: what it is

	Understood Text // what the patron's words settle of this part
	SizeOpen   bool // its units are in doubt, and its size is asked

	Size     Text // width, depth and height as it would be printed
	Scale    Text // "80%", or "" when it is the size of the file
	Material Text
	Colour   Text // what was asked for, or ""
	Copies   int
	Plates   int
	Layer    Text // "0.2 mm"
	Infill   Text // "10%"
	Shells   int
	Supports string // "yes", "no", "soluble" or ""; whether supports are printed
	// SupportsOpen: supports are counted in, but the patron is still asked.
	SupportsOpen bool
	Turned       bool // it is printed another way up than it was sent
	TurnWhy      Text // what turning gains

	Pieces   Text // of a print of several files: "base.stl in black and letters.stl in red"
	Changes  int  // of the colour, where the price has the plastic laid aside at them
	LaidAway Text // that plastic: "2.4 g"

	Time      Text // "about 3 hours"
	TimeExact Text // "2 hours 50 minutes"
	TimeRange Text // "2½ to 3½ hours"
	PlateTime Text // the longest plate, to the minute
	Mass      Text // "24 g"
	Filament  Text // "8.1 m"

	Lines   []Line // without rounding; up to the least price they are one line
	Total   Text   // or "" when the rules give no price
	Rounded Text   // "rounded to $0.05" when the lines do not add up without it

	Stops   []Finding // why it cannot be printed
	Asks    []Finding // what the patron decides; of a part that can be printed, only what no question of the letter says
	Notes   []Finding // good to know; of a part that can be printed, only what changes something for the patron
	Asides  []Finding // of a part that can be printed: what we see to ourselves
	TooThin bool      // what stops it is thin: it needs more thickness
	Open    bool      // what stops it is a surface that has to be closed
	Options []Option  // other ways to print it: at most three, each cheaper, sooner or bigger

	LargestScale Text // what would fit the time limit: "70%"
	LargestSize  Text
	FitScale     Text // what would fit the printer: "80%"
	FitSize      Text
	LeastWall    Text // how thick a wall is at least that does not bend or break: "0.8 mm"
	FitsTurned   bool // it fits when it is laid down
	Printer      Text // name of the printer
	Build        Text // what that printer can build at most
	Limit        Text // the longest print the house allows, "8 hours"
}

// Line is one line of the price.
type Line struct {
	Kind   string // "job", "mass", "time", "minimum", "allowance", "rounding", "tax", "deposit"
	Label  Text   // "24.3 g of PLA at $0.10"; "" for what an earlier version kept in English
	Detail Text   // what was counted: "24.3 g PLA", or ""
	Amount Text
}

// Finding is one thing the check found, in words for the patron. Code, Amount and
// Count are there for a house that words one of them in its own way.
type Finding struct {
	Code   string
	Level  string // "stop", "ask" or "note"
	Text   Text
	Amount Text // with its unit
	Count  int  // the amount as a whole number
}

// Option is one row of the table of other ways to print. What stays as it is, is "".
type Option struct {
	Label    Text // as for a line
	Scale    Text // "70%"
	Layer    Text // "0.3 mm"
	Infill   Text
	Shells   int
	Copies   int
	Supports string
	Turned   bool
	Material Text
	Time     Text
	Mass     Text
	Total    Text
	Plates   int
	Within   bool // within the time limit
}

// Question is one open question.
type Question struct {
	Number  int
	Key     string // "colour", "copies", "supports", "size", "material", "pickup", "card" or a finding's code
	File    Text   // which file, when the letter is about several
	Text    Text   // the question of a finding, or ""
	About   Text   // what the finding says, or ""
	Choices Text   // "red, green or blue"
	Said    Text   // what the patron said that cannot be had
	OneBody bool   // of a colour: two were wished, of a file that is one body
	Instead bool   // of a colour: of a print in two, in the place of Said
	Of      Text   // what the patron calls what is to have that colour, or ""
	Amount  Text
}

// Agreement says how the signed agreement stands.
type Agreement struct {
	Needed  bool // something must be signed before we print
	State   string
	Form    Text // where the form is to be had
	Expired Text // the day it ran out
	Months  int  // how long a signature counts
	Age     int  // below it a guardian signs
}

// File is one file that is no printable 3D file.
type File struct {
	Name   Text
	Kind   string // "archive", "other-model", "document", "picture", "other"
	Ending Text   // ".obj"
	Why    string // "encrypted", "too-large", "winmail", "damaged" or ""
}

// Change is one thing that differs from the last quote.
type Change struct {
	File        Text   // which part it is of, for a letter about several
	What        string // "file", "copies", "colour", "material", "size", "supports", "layer", "infill", "shells", "time", "mass", "total"
	Before, Now Text
}

// Wait is the time until a part is ready once the patron says yes, in days on
// which the printers run.
type Wait struct {
	Low, High int // 0 and 0 when it is not known
}

// Pickup says where and until when a part can be collected.
type Pickup struct {
	Branch, Hours, Until, Paid, Due Text
	Days                            int
}

// Cautions say which warnings apply.
type Cautions struct {
	Small    bool // small enough for a child to swallow (16 CFR 1501.4)
	Softens  Text // temperature, e.g. "57 °C"
	Supports bool // stubs of supports may be sharp
	// Told are those to be told in this letter, the most pressing first: "small",
	// "supports", "heat", "food". Where the house has a page with all of them, two.
	Told []string
	Rest Text // address of the page that has them all, or ""
}

// Limits are the house's own.
type Limits struct {
	Hours      Text // longest print, "8 hours"
	Copies     int
	Files      int // looked at at once
	PickupDays int
	KeepDays   int
	Endings    Text // ".stl"
}

// Codes lists the findings that a reply text may tell.
func Codes() []string {
	return []string{job.CodeUnreadable, job.CodeNotSTL, job.CodeUnfinished, job.CodeUnitsDoubtful, job.CodeTooBig, job.CodeTooLong, job.CodeHoles, job.CodeNonmanifold, job.CodeFlipped, job.CodeInsideOut,
		job.CodeSelfCrossing, job.CodeSeveralParts, job.CodeFloatingPart, job.CodeSealedVoid, job.CodeThinWall, job.CodeFineDetail, job.CodeNarrowGap, job.CodeOverhang, job.CodeLongBridge,
		job.CodeSmallFootprint, job.CodeTipsOver, job.CodeSmallPartHazard, job.CodeCoarseFacets, job.CodeAlreadyPrinted}
}

// Situations lists the names that reply texts have: each is one reason to
// write. A text of another name would never be used.
func Situations() []string {
	return []string{
		TextQuote, TextAgreementArrived, TextChangedQuote, TextSeveral, // a price
		TextNeedsAgreement, TextAgreementExpired, // sign first
		TextTooLong, TextTooBig, TextCannotPrint, TextUnreadable, TextUnfinished, // not as it is
		TextWrongFileType, TextForgottenAttachment, TextLink, TextCannotOpen, // no 3D file
		TextAccepted, TextStillNeeded, TextQuestion, TextReminder, TextLapsed, TextWithdrawn, TextDeclined, // the talk
		TextFailed, TextReady, TextPickupReminder, TextNotCollected, TextCollected, // the print
	}
}
