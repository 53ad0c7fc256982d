// Package casework is what the library does with its letters: the use cases,
// each one transaction on the ledger. The robot, the staff page and the commands
// all call these and have none of their own.
//
//	Receive   a letter is understood; it makes or finds its jobs, or answers one
//	Check     preflight, agreement, estimate and price of a job
//	Draft     the reply for the jobs of a conversation, and Remind, Frame, Thank, AskWhatIsLeft
//	Approve, SetAside, Edit, Settle, Confirm, GoOn
//	          what a person decides about a reply or a sender
//	Decide, AskAbout, CloseLetter, Belongs
//	          what a person makes of a letter that was left to them
//	Refuse, TakeUp, Reopen, Correct
//	          declining with a reason of the house, and what undoes an act
//	Assign, Start, PutOff, Printed, PrintFailed, Collected, Close
//	          what is done at the printer and at the counter
//	TellMoved, SeeQuotes, SeePickups, ForgetOld, Resume
//	          what the calendar, or something that changed elsewhere, asks for
//	Redraft, Preview, RefusalLetter
//	          a reply as it would be; nothing is changed
//	Ahead, WaitsFor, Missing, Aside
//	          what a yes, a job, the print list and a reply wait for
//
// What holds:
//
//   - Record, commit, then act: a use case changes the ledger and asks for the
//     steps that act on the world; it opens no connection.
//   - The results of a step, and the steps that follow from it, commit with the
//     step's end, in one transaction.
//   - A letter changes a job only where it surely comes from the job's patron;
//     anything else is left to staff.
//   - Approve names a person and the hash of the exact bytes.
//
// # The order of a conversation
//
// A conversation orders the parts of its jobs, one job a part. A letter that leaves
// makes an offer for each part in it that can be printed for a price: the terms
// (job.Terms), the questions it asks, the hash of the bytes, the day. A yes is to the
// last offer.
//
//	no yes ─ the patron says yes ─→ kept ─ nothing stands in its way ─→ counts
//	                                  └─ the terms are not those of the offer ─→ void
//
// An offer ends with its job: what was declined, withdrawn or has lapsed is offered anew
// where it is taken up again. What an offer asks is the patron's to choose; where staff
// set it, that is a new offer too.
//
// A letter about several parts says of each what it says of that one alone, and a new
// offer repeats the offers of the conversation that still stand, so that one yes is to
// one letter.
//
// What stands in the way of a yes that is kept: a letter of the conversation that
// staff have not dealt with, a signed agreement, an answer to a question of the
// offer, a check that is still to come because the answer or the house rules changed
// something. Each time one of these ends, standing is looked at anew.
//
// What holds, by the schema too: a job comes onto the print list only by a yes that
// counts, at the terms of the last letter that offered any, but for what that letter
// left to the patron and the patron chose, and never at another price. There it stays
// at those terms; whoever changes them takes it off the list, and a new offer is drafted.
package casework
