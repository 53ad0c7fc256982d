// Package desk is the staff page: a person reads the letter beside the reply,
// looks at the part, and lets the reply leave, changes it or puts it aside.
//
// The pages are HTML made here, with one style sheet and small scripts of ours.
// Everything but the turning view of a part works without scripts. The desk
// keeps nothing of its own but sessions: all that it shows comes from the
// ledger, and each of its changes is a change of the ledger with a name to it.
//
// Invariants:
//
//   - What is approved is what was shown. The page is made from the bytes that
//     would leave; their SHA-256 travels in the form, and the ledger refuses an
//     approval of any others. The person is then shown what changed.
//   - Nobody overwrites anybody: an edit names the bytes it began with.
//   - Words from outside are text. A letter is shown as text only; the HTML part
//     of a reply is shown in a frame that may run and fetch nothing. Of the files
//     that came with a letter a mesh leaves only as we wrote it anew, a picture as
//     we drew it anew, a document as bytes to be saved; none is ever shown as HTML.
//   - Every change needs a signed-in person, whose name the ledger records, and
//     comes from our own pages (Sec-Fetch-Site, Origin; SameSite cookies).
//   - A page that a person must not miss to act on is reachable without a mouse
//     and without scripts.
package desk
