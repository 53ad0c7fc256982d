// Package ledger is the robot's memory: letters, jobs, drafts, approvals, sends
// and everything that happened to them. It is the only room with SQL.
//
// A ledger is one folder:
//
//	ledger.db        the database (SQLite; WAL, fsync at every commit)
//	blobs/ab/abcd…   letters, meshes and drafts as files, named by their SHA-256
//	incoming/        files that are still being written
//	robot.lock       held by the one running robot
//	forgotten.log    what was forgotten, as keyed digests; in no backup
//
// # Changes
//
// Every change happens in a transaction (Tx), names who made it and why, and
// leaves an event that is never changed or removed. Reading needs no
// transaction; the read methods are those of Reader, which both Ledger and Tx
// have. There is one writer at a time, also between processes: the robot and
// the subcommands may share a ledger. Never call a Ledger method that writes
// from inside a transaction: it would wait for itself.
//
// # Letters
//
//	taken -> read -> done | left-alone
//	any of these -> set-aside;  a copy of a letter: duplicate
//
// A letter row exists only when its raw bytes are on disk, fsynced. It is
// identified by folder, UIDVALIDITY, UID and the SHA-256 of the raw bytes;
// after a change of UIDVALIDITY the hash alone recognises it. Message-ID is a
// hint for threads only.
//
// # Steps
//
//	waiting -> leased -> done | given-up;  leased -> waiting (tried again)
//
// A step is one piece of work on a letter, job or draft. There is at most one
// open step of a kind for a subject. A lease is counted when it is given, so a
// letter that kills the process still runs out of attempts. Done commits in the
// same transaction as the step's results, and only while the lease holds.
//
// # Jobs
//
// Stages and lawful moves are those of package job. The stage is changed by
// Move only; Verify derives it again from the events.
//
// # Drafts
//
//	waiting -> approved -> sending -> sent
//	waiting -> superseded | set-aside;  set-aside -> waiting
//	sending -> uncertain | failed | approved (the server said later)
//	uncertain -> sent | waiting (a person settles it);  failed -> waiting | set-aside
//
// An approval is of the exact bytes: it names their SHA-256, and BeginSend
// compares it with the bytes read back from disk. `sending` is committed before
// BeginSend returns. For one draft there is at most one send that is open,
// delivered or uncertain; the schema holds both rules also against a mistake here.
package ledger
