package ledger

// StepKind is what a step does. Its subject is a letter, a job, a conversation or
// a draft.
type StepKind string

// The kinds of steps, in the order a letter meets them. The last of a
// conversation's are named as their reply texts are.
const (
	StepRead           StepKind = "read"            // letter: understand it; make or find its jobs
	StepCheck          StepKind = "check"           // job: preflight, agreement, estimate, price
	StepDraft          StepKind = "draft"           // conversation: write the reply for its jobs
	StepReminder       StepKind = "reminder"        // conversation: write once to a patron of whom nothing is heard
	StepPickupReminder StepKind = "pickup-reminder" // conversation: write once about a part that waits
	StepQuestion       StepKind = "question"        // conversation: draft the frame of an answer, for staff's own words
	StepReceipt        StepKind = "collected"       // job: write a receipt, where one is asked for
	StepStillNeeded    StepKind = "still-needed"    // conversation: ask for what a yes still waits for
	StepPost           StepKind = "post"            // draft: lay it into the to-approve folder
	StepSend           StepKind = "send"            // draft: hand it to the mail server
	StepFile           StepKind = "file"            // draft: copy what was sent into Sent, clear the other folders
)

// NoticeKind is what a notice is about.
type NoticeKind string

// The kinds of notices.
const (
	NoticeTrouble      NoticeKind = "house-trouble"       // a full disk, a server that refuses …
	NoticeClock        NoticeKind = "clock-doubtful"      // the machine's clock is not believed
	NoticeRestored     NoticeKind = "restored"            // the ledger is older than its mailbox
	NoticeStepFailed   NoticeKind = "step-failed"         // a step was given up
	NoticeNumberReused NoticeKind = "number-reused"       // the mail server gave a number twice
	NoticeListMissing  NoticeKind = "forget-list-missing" // forgotten.log was not brought along
	NoticeSendDoubt    NoticeKind = "send-uncertain"      // nobody knows whether it was sent
	NoticeSendRefused  NoticeKind = "send-refused"        // the mail server refused a reply
	NoticeMoveRefused  NoticeKind = "move-refused"        // a moved message is no approval
	NoticeNotDraft     NoticeKind = "not-a-draft"         // a message in an approved folder is none of ours
	NoticeDraftUnfit   NoticeKind = "draft-unfit"         // an edited draft cannot be sent
	NoticeOvertaken    NoticeKind = "overtaken"           // an approved letter offered what is not so any more
	NoticeReaddressed  NoticeKind = "readdressed"         // somebody changed the recipients of a draft
	NoticeSentBefore   NoticeKind = "sent-before"         // a draft may be a second answer
	NoticeTooLarge     NoticeKind = "letter-too-large"    // a letter over the cap lies unread
	NoticeStray        NoticeKind = "stray-answer"        // an answer to something that is not surely ours
	NoticeUnproven     NoticeKind = "answer-unproven"     // an answer from who is not surely the patron
	NoticeQuestion     NoticeKind = "question"            // a patron asks something
	NoticeYesToWhat    NoticeKind = "yes-to-what"         // a yes with no quote open
	NoticeTooLate      NoticeKind = "too-late"            // a letter that comes when the job has gone on
	NoticeUnfinished   NoticeKind = "unfinished-check"    // a check ran out of its budget
	NoticeColleague    NoticeKind = "colleague-note"      // a colleague's remark on a reply
	NoticeForm         NoticeKind = "agreement-form"      // a file that may be a signed agreement
)
