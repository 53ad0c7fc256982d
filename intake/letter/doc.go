// Package letter turns one mail message, exactly as it came, into a job.Letter:
// who wrote it, what they wrote themselves, which files came with it, and what
// the letter is to us.
//
// A letter passes through these steps, each in its own file, and is never held
// in memory as a whole:
//
//	repair       rewrites the stream into MIME that a strict parser accepts
//	walk         goes through the parts; text is kept, files are written to disk
//	file,archive decode, hash and classify a file; zip archives are opened
//	html,own     HTML becomes text; quoted mail and signatures are cut away
//	forward      a patron's letter that a member of staff passed on
//	authres      what the trusted mail server found out about the sender
//	disposition  request, answer, enquiry or automatic, and why
//
// Everything in a letter is hostile. The invariants are:
//
//   - Read answers for every input with a letter or one plain error. The error
//     means that nothing at all can be made of the bytes; the caller keeps them.
//   - What was mended is said in Letter.Repairs; what was left out, and every cap
//     that was met, is said in Letter.Notes or in the attachment's Note.
//   - Memory is bounded by the caps on header, text and archive directory, and
//     the disk by the caps on letter and archive. Nothing is fetched.
//   - A file is written under a name of ours. The patron's name for it is only
//     ever shown, and never holds a path or a control character.
//   - The sender is proven only by the trusted server's own record.
package letter
