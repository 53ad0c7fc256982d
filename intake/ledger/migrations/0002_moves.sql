-- Approval by folder is a person's act: up to where each folder that approves or
-- sets aside is known, what was seen there and was no such act, and to whom a
-- draft was addressed before somebody changed that in a mail program.

CREATE TABLE watched_folders (
  folder      TEXT PRIMARY KEY,
  uidvalidity BIGINT NOT NULL,
  highest_uid BIGINT NOT NULL
);

CREATE TABLE passed_over (
  folder      TEXT NOT NULL,
  uidvalidity BIGINT NOT NULL,
  uid         BIGINT NOT NULL,
  why         TEXT NOT NULL,
  at          TEXT NOT NULL,
  PRIMARY KEY (folder, uidvalidity, uid)
);

ALTER TABLE drafts ADD COLUMN addressed_before TEXT NOT NULL DEFAULT '';
