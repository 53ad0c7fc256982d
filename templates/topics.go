package templates

import (
	"slices"
	"strings"
)

// Groups of letters that have something in common.
var (
	offers   = []string{TextQuote, TextAgreementArrived, TextChangedQuote, TextSeveral, TextNeedsAgreement, TextAgreementExpired}
	refusals = []string{TextTooLong, TextTooBig, TextCannotPrint, TextUnreadable, TextUnfinished}
	fileless = []string{TextWrongFileType, TextForgottenAttachment, TextLink, TextCannotOpen}
	closed   = []string{TextReady, TextPickupReminder, TextNotCollected, TextCollected, TextLapsed, TextWithdrawn, TextDeclined}

	aboutFiles   = without(fileless)
	unprinted    = without(fileless, closed)
	withQuestion = without(closed)
	unsigned     = without(closed, []string{TextAccepted, TextFailed, TextQuestion})
	cautioned    = slices.Concat(offers, []string{TextAccepted, TextReady, TextPickupReminder, TextCollected})
	checked      = slices.Concat(offers, refusals)
	refused      = append(slices.Clone(refusals), TextSeveral)
	priced       = append(slices.Clone(offers), TextAccepted)
	several      = []string{TextSeveral}
)

func without(groups ...[]string) []string {
	return slices.DeleteFunc(Situations(), func(text string) bool { return slices.Contains(slices.Concat(groups...), text) })
}

// topics are the names that not every letter can have anything for, and the letters that
// can. They are listed for those only; nothing hinders writing them elsewhere.
var topics = []struct {
	letters []string
	names   string // of fields, of conditions with "when " and of lists with "each " before them
}{
	{aboutFiles, "price, deposit, valid-to, wishes, prices, branch, branch-hours, files-count, when several-files, when one-file, when some-priced, when file-known, each files"},
	{unprinted, "days, shortest, longest, needed-by, when late, when days-known, when exact"},
	{append(slices.Clone(offers), TextAccepted), "given-up, given-up-sentence"},
	{checked, "picture, findings, other-ways, each findings, each stops, each notes, each asides, each other-ways"},
	{[]string{TextReady, TextPickupReminder, TextNotCollected}, "due"},
	{[]string{TextCollected}, "paid"},
	{unsigned, "form, expired, months, age, agreement, when sign, when agreement-expired, when agreement-old, when guardian-missing"},
	{withQuestion, "questions-count, questions, questions-section, when questions, when several-questions, each questions, when no-phone"},
	{several, "offered-count, sent-count, later-count, outcome, when arrived, when some-offered, when one-offered, when both-offered, when any-offered, when first-price, when several-later"},
	{several, "when part-printable, when part-too-long, when part-too-big, when part-cannot-print, when part-unreadable, when part-unfinished, when part-size-open, when part-size-known"},
	{fileless, "links-count, other-files, when several-links, when other-files, each other-files, when no-file"},
	{slices.Concat(checked, fileless), "unopened, each unopened"},
	{slices.Concat(refusals, fileless), "export, endings, most-files"},
	{cautioned, "softens, cautions-page, cautions, when small, each cautions"},
	{offers, "details, offer, go-ahead, when size-open, when size-open-of-one"},
	{append(slices.Clone(offers), TextStillNeeded), "say-yes, when printable, when not-printable"},
	{[]string{TextStillNeeded, TextQuestion, TextSeveral}, "when said-yes, when not-said-yes"},
	{refused, "really, largest-scale, largest-size, fit-scale, fit-size, printer, build, limit, least-wall, cannot-print, too-big, too-long, unreadable, unfinished, when fits-turned, when too-thin, when open"},
	{priced, "rounded, when price-lines, each price-lines"},
	{[]string{TextChangedQuote, TextSeveral}, "when changed, each changes"},
	{[]string{TextQuestion}, "when rest, when answered"},
}

// canHave reports whether something can come of a name in one of the letters.
func canHave(letters []string, kind, id, of string) bool {
	if of == "part" && !slices.ContainsFunc(letters, func(l string) bool { return slices.Contains(aboutFiles, l) }) {
		return false
	}
	for _, t := range topics {
		if (of == "letter" || of == "part") && slices.Contains(strings.Split(t.names, ", "), kind+id) {
			return slices.ContainsFunc(letters, func(l string) bool { return slices.Contains(t.letters, l) })
		}
	}
	return true
}
