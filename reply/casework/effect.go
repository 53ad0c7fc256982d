package casework

import (
	"meshclerk/intake/job"
)

// Effect is what other settings of a job do to what its patron was told.
type Effect string

// The effects.
const (
	EffectRewritten Effect = "rewritten" // the reply that waits is written anew
	EffectOffered   Effect = "offered"   // a new offer is drafted; a yes to the old one does not count for it
	EffectOffList   Effect = "off-list"  // the same, and the job leaves the print list
	EffectLater     Effect = "later"     // the reply that is still to be written tells of it
	EffectNone      Effect = "none"      // nothing changes for the patron
)

// Effect gives what TakeOver would do to what the patron was told.
func (n NewSettings) Effect() Effect {
	j := n.Seen
	was, offeredBefore := j.Terms()
	j.Settings, j.Report = n.Settings, &n.Report
	terms, _ := j.Terms()
	differ := !offeredBefore || len(terms.Differ(was)) > 0
	switch {
	case n.Draft != "":
		return EffectRewritten
	case !differ:
		return EffectNone
	case offeredBefore && (j.Stage == job.Agreed || j.Stage == job.Failed):
		return EffectOffList
	case offeredBefore && offerStands[j.Stage]:
		return EffectOffered
	}
	return EffectLater
}
