// Package robot walks each letter through the rooms, from the mailbox to the
// sent reply, and is the only place that knows both intake and reply.
//
// It is three loops over one ledger. The watch looks at the mailbox and takes new
// letters. Another looks every few seconds at the folders into which a person
// moves drafts. The work carries out the steps that lie in the ledger, one after
// another:
//
//	read   letter  understand it; make or find its jobs
//	check  job     preflight, agreement, estimate, price
//	draft  thread  write the reply for the jobs of a conversation
//	reminder, pickup-reminder
//	       thread  write once to a patron of whom nothing is heard
//	question
//	       thread  draft the frame of an answer, for staff's own words
//	collected
//	       job     write a receipt, where one is asked for
//	post   draft   lay it into the to-approve folder
//	send   draft   hand an approved draft to the mail server
//	file   draft   copy what was sent into Sent, clear the to-approve folder
//
// Invariants:
//
//   - Record, commit, then act. A letter is fsynced and in the ledger before its
//     first step; a send is recorded before the connection is dialled.
//   - A step's results and the next steps commit with the end of the step, in one
//     transaction. A step that is cut short is begun again, and every act of a
//     step on the mailbox looks first whether it was done already.
//   - Letters are acted on in the order they came, one at a time. Only the parsing
//     of the next one runs beside the step in hand.
//   - Nothing is sent that no named person approved, byte for byte.
//   - One bad letter never stops the others: a step that failed too often is set
//     aside, with a notice for staff.
//   - The robot never marks a patron's letter read, never moves and never deletes one.
package robot
