-- Replies of ours that the Sent folder holds and this ledger does not know as
-- sent: it was restored from an older backup. answers is the SHA-256 of the
-- Message-ID of the letter that was answered.
CREATE TABLE found_sent (
  message_id  TEXT PRIMARY KEY,
  draft       TEXT NOT NULL,
  answers     TEXT NOT NULL,
  folder      TEXT NOT NULL,
  uidvalidity BIGINT NOT NULL,
  uid         BIGINT NOT NULL,
  sent        TEXT NOT NULL,
  found       TEXT NOT NULL
);
CREATE INDEX found_sent_by_answers ON found_sent (answers);
