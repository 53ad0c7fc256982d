// Package robot is the daemon: it connects to the mail servers, leases steps from
// the ledger, and has them carried out. What is decided about a job, a reply or a
// patron is decided in casework; the robot has no opinion.
//
// It is four loops over one ledger. The watch looks at the mailbox and takes new
// letters. Another looks every few seconds at the folders into which a person
// moves drafts. Two lanes carry out the steps that lie in the ledger, one after
// another: sends in a lane of their own, since a sending server that does not
// answer must hold up nothing else.
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
//   - Nothing is sent that no named person approved, byte for byte; and nothing
//     that lies in the Sent folder already, which is asked before each send.
//   - A ledger that is older than its mailbox was restored from a backup: it is
//     held, and nothing is posted or sent until a person says go on.
//   - One bad letter never stops the others: a step that failed too often is set
//     aside, with a notice for staff. The house's trouble (a full disk, a server
//     that is away) is not the letter's: such a step waits, and is not counted.
//   - What the calendar asks for is done only while the clock is believed.
//   - The robot never marks a patron's letter read, never moves and never deletes one.
package robot
