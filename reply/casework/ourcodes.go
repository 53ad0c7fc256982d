package casework

import (
	"regexp"

	"meshclerk/intake/job"
)

// ours are the numbers of the ledger: a job, a draft, a letter, a notice.
var ours = regexp.MustCompile(`\b[A-Z]{1,5}-[0-9]{6,}\b`)

// forPatron refuses words to a patron that hold a number of ours: it means nothing to
// them, and belongs into no letter.
func forPatron(words string) error {
	if code := ours.FindString(words); code != "" {
		return job.Refuse(job.Say("faults.number-for-patron", job.Args{"number": code}))
	}
	return nil
}
