package templates

// The names of the reply texts, one for each situation.
const (
	TextQuote            = "quote"
	TextAgreementArrived = "agreement-arrived"
	TextChangedQuote     = "changed-quote"
	TextSeveral          = "several"

	TextNeedsAgreement   = "needs-agreement"
	TextAgreementExpired = "agreement-expired"

	TextTooLong     = "too-long"
	TextTooBig      = "too-big"
	TextCannotPrint = "cannot-print"
	TextUnreadable  = "unreadable"
	TextUnfinished  = "unfinished"
	TextCannotOpen  = "cannot-open"

	TextWrongFileType       = "wrong-file-type"
	TextForgottenAttachment = "forgotten-attachment"
	TextLink                = "link"

	TextAccepted    = "accepted"
	TextQuestion    = "question"
	TextStillNeeded = "still-needed"
	TextReminder    = "reminder"
	TextLapsed      = "lapsed"
	TextWithdrawn   = "withdrawn"
	TextDeclined    = "declined"

	TextFailed         = "failed"
	TextReady          = "ready"
	TextPickupReminder = "pickup-reminder"
	TextNotCollected   = "not-collected"
	TextCollected      = "collected"
)
