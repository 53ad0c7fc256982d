package job

import "slices"

// Stage is where a job stands on its way from letter to collected part.
type Stage string

// The stages of a job, in their usual order, then those beside the way.
const (
	Taken     Stage = "taken"     // the letter is durably ours
	Checked   Stage = "checked"   // preflight and estimate are done
	Drafted   Stage = "drafted"   // a reply waits for a person
	Quoted    Stage = "quoted"    // the reply has been sent
	Agreed    Stage = "agreed"    // the patron said yes to the quote
	Printing  Stage = "printing"  // on a printer
	Ready     Stage = "ready"     // printed, waiting to be collected
	Collected Stage = "collected" // handed over

	NeedsAgreement Stage = "needs-agreement" // checked, but no signed agreement covers the sender
	Declined       Stage = "declined"        // staff or house rules said no
	Withdrawn      Stage = "withdrawn"       // the patron said no
	Lapsed         Stage = "lapsed"          // nobody answered, or nobody came
	Failed         Stage = "failed"          // the print failed; may be printed again
)

// transitions is the one table of lawful moves.
var transitions = map[Stage][]Stage{
	Taken:          {Checked, NeedsAgreement, Declined, Withdrawn},
	Checked:        {Drafted, Agreed, NeedsAgreement, Declined, Withdrawn, Taken},
	NeedsAgreement: {Checked, Drafted, Agreed, Declined, Withdrawn, Lapsed, Taken},
	Drafted:        {Quoted, Agreed, Checked, NeedsAgreement, Declined, Withdrawn, Taken},
	Quoted:         {Agreed, Checked, NeedsAgreement, Declined, Withdrawn, Lapsed, Taken},
	Agreed:         {Printing, Checked, Declined, Withdrawn, Taken},
	Printing:       {Ready, Failed, Agreed},
	Failed:         {Agreed, Printing, Checked, Declined, Withdrawn, Lapsed, Taken},
	Collected:      {Ready},                       // taken back: it was recorded by mistake
	Ready:          {Collected, Lapsed, Printing}, // to Printing: the same
	Declined:       {Taken},
	Withdrawn:      {Taken},
	Lapsed:         {Taken, Collected},
}

// Stages lists every stage in the order a person would read them.
func Stages() []Stage {
	return []Stage{Taken, Checked, NeedsAgreement, Drafted, Quoted, Agreed, Printing, Failed,
		Ready, Collected, Declined, Withdrawn, Lapsed}
}

// MayGo tells whether a job may move from one stage to another.
func MayGo(from, to Stage) bool { return slices.Contains(transitions[from], to) }

// Over tells whether a job in this stage has come to its end.
func (s Stage) Over() bool {
	return s == Collected || s == Declined || s == Withdrawn || s == Lapsed
}

// Word is the stage as a sentence says it.
func (s Stage) Word() Message { return Say("codes.stage."+string(s), nil) }
