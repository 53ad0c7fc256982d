-- The first ledger. Times are UTC text of one width (2006-01-02T15:04:05.000Z),
-- so that they sort as text and read without a tool. Flags and counts are
-- integers, money is decimal text. What another database would want otherwise:
-- numbered keys (INTEGER PRIMARY KEY), the order of drafts and approvals, which
-- refer to each other, and the triggers at the end.

CREATE TABLE meta (
  name  TEXT PRIMARY KEY,
  value TEXT NOT NULL
);

CREATE TABLE counters (
  name TEXT PRIMARY KEY,
  last BIGINT NOT NULL
);

-- A row says that the file blobs/ab/abcd… holds these bytes.
CREATE TABLE blobs (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  size   BIGINT NOT NULL,
  kind   TEXT NOT NULL,
  made   TEXT NOT NULL
);

-- sha256 identifies the letter for ever; raw is null once the bytes are removed.
CREATE TABLE letters (
  id           TEXT PRIMARY KEY,
  sha256       TEXT NOT NULL,
  raw          TEXT REFERENCES blobs (sha256),
  bytes        BIGINT NOT NULL,
  folder       TEXT NOT NULL,
  uidvalidity  BIGINT NOT NULL,
  uid          BIGINT NOT NULL,
  message_id   TEXT NOT NULL,
  received     TEXT NOT NULL,
  taken        TEXT NOT NULL,
  state        TEXT NOT NULL CHECK (state IN ('taken', 'read', 'done', 'left-alone', 'set-aside', 'duplicate')),
  why          TEXT NOT NULL DEFAULT '',
  duplicate_of TEXT REFERENCES letters (id),
  from_address TEXT NOT NULL DEFAULT '',
  from_name    TEXT NOT NULL DEFAULT '',
  subject      TEXT NOT NULL DEFAULT '',
  dated        TEXT NOT NULL DEFAULT '',
  disposition  TEXT NOT NULL DEFAULT '',
  doc          TEXT NOT NULL DEFAULT '',
  forgotten    TEXT NOT NULL DEFAULT '',
  CHECK ((state = 'duplicate') = (duplicate_of IS NOT NULL))
);
CREATE INDEX letters_by_hash ON letters (sha256, folder);
CREATE INDEX letters_by_message_id ON letters (message_id);
CREATE INDEX letters_by_sender ON letters (from_address);
CREATE INDEX letters_by_state ON letters (state, taken);
CREATE INDEX letters_by_time ON letters (taken);
CREATE INDEX letters_by_raw ON letters (raw);

-- Every place in a mailbox where a letter was seen: one more after each change of UIDVALIDITY.
CREATE TABLE letter_places (
  folder      TEXT NOT NULL,
  uidvalidity BIGINT NOT NULL,
  uid         BIGINT NOT NULL,
  letter      TEXT NOT NULL REFERENCES letters (id),
  seen        TEXT NOT NULL,
  PRIMARY KEY (folder, uidvalidity, uid)
);
CREATE INDEX letter_places_by_letter ON letter_places (letter);

-- The attachments of a letter that are kept.
CREATE TABLE letter_files (
  letter TEXT NOT NULL REFERENCES letters (id),
  blob   TEXT NOT NULL REFERENCES blobs (sha256),
  name   TEXT NOT NULL,
  kind   TEXT NOT NULL,
  PRIMARY KEY (letter, blob, name)
);
CREATE INDEX letter_files_by_blob ON letter_files (blob);

CREATE TABLE jobs (
  id              TEXT PRIMARY KEY,
  stage           TEXT NOT NULL,
  since           TEXT NOT NULL,
  thread          TEXT NOT NULL,
  made            TEXT NOT NULL,
  changed         TEXT NOT NULL,
  patron_address  TEXT NOT NULL,
  patron_name     TEXT NOT NULL,
  patron_ref      TEXT NOT NULL,
  blob            TEXT REFERENCES blobs (sha256),
  file            TEXT NOT NULL,
  printer         TEXT NOT NULL DEFAULT '',
  material        TEXT NOT NULL DEFAULT '',
  colour          TEXT NOT NULL DEFAULT '',
  copies          BIGINT NOT NULL DEFAULT 1,
  needed_by       TEXT NOT NULL DEFAULT '',
  pickup          TEXT NOT NULL DEFAULT '',
  phone           TEXT NOT NULL DEFAULT '',
  card            TEXT NOT NULL DEFAULT '',
  agreement_state TEXT NOT NULL DEFAULT '',
  auth            TEXT NOT NULL DEFAULT '',
  print_time_s    DOUBLE PRECISION NOT NULL DEFAULT 0,
  mass_g          DOUBLE PRECISION NOT NULL DEFAULT 0,
  total           TEXT NOT NULL DEFAULT '',
  currency        TEXT NOT NULL DEFAULT '',
  reason          TEXT NOT NULL DEFAULT '',
  doc             TEXT NOT NULL,
  report          TEXT NOT NULL DEFAULT '',
  forgotten       TEXT NOT NULL DEFAULT ''
);
CREATE INDEX jobs_by_stage ON jobs (stage, since);
CREATE INDEX jobs_by_thread ON jobs (thread);
CREATE INDEX jobs_by_patron ON jobs (patron_address, made);
CREATE INDEX jobs_by_time ON jobs (made);
CREATE INDEX jobs_by_printer ON jobs (printer, stage);
CREATE INDEX jobs_by_blob ON jobs (blob);

CREATE TABLE job_letters (
  job    TEXT NOT NULL REFERENCES jobs (id),
  letter TEXT NOT NULL REFERENCES letters (id),
  role   TEXT NOT NULL,
  at     TEXT NOT NULL,
  PRIMARY KEY (job, letter)
);
CREATE INDEX job_letters_by_letter ON job_letters (letter);

-- sha256 is the hash of the bytes as they stand; blob is null once the bytes are removed.
-- Promise 1 stands in the CHECK: without an approval a draft cannot be on its way.
CREATE TABLE drafts (
  id            TEXT PRIMARY KEY,
  letter        TEXT REFERENCES letters (id),
  kind          TEXT NOT NULL,
  template_hash TEXT NOT NULL,
  rules_hash    TEXT NOT NULL,
  language      TEXT NOT NULL,
  to_address    TEXT NOT NULL,
  to_name       TEXT NOT NULL,
  subject       TEXT NOT NULL,
  message_id    TEXT NOT NULL,
  sha256        TEXT NOT NULL CHECK (length(sha256) = 64),
  blob          TEXT REFERENCES blobs (sha256),
  bytes         BIGINT NOT NULL,
  revision      BIGINT NOT NULL DEFAULT 1,
  then_stage    TEXT NOT NULL DEFAULT '',
  doc           TEXT NOT NULL DEFAULT '',
  state         TEXT NOT NULL CHECK (state IN ('waiting', 'approved', 'sending', 'sent', 'uncertain', 'failed', 'set-aside', 'superseded')),
  why           TEXT NOT NULL DEFAULT '',
  made          TEXT NOT NULL,
  changed       TEXT NOT NULL,
  approval      BIGINT REFERENCES approvals (id),
  place_folder      TEXT NOT NULL DEFAULT '',
  place_uidvalidity BIGINT NOT NULL DEFAULT 0,
  place_uid         BIGINT NOT NULL DEFAULT 0,
  CHECK (state NOT IN ('approved', 'sending', 'sent', 'uncertain') OR approval IS NOT NULL)
);
CREATE INDEX drafts_by_state ON drafts (state, made);
CREATE INDEX drafts_by_letter ON drafts (letter);
CREATE INDEX drafts_by_blob ON drafts (blob);

CREATE TABLE draft_jobs (
  draft TEXT NOT NULL REFERENCES drafts (id),
  job   TEXT NOT NULL REFERENCES jobs (id),
  PRIMARY KEY (draft, job)
);
CREATE INDEX draft_jobs_by_job ON draft_jobs (job);

-- Every Message-ID a draft ever had: a mail program may give an edited draft a new one.
CREATE TABLE draft_message_ids (
  message_id TEXT PRIMARY KEY,
  draft      TEXT NOT NULL REFERENCES drafts (id)
);

CREATE TABLE approvals (
  id          INTEGER PRIMARY KEY,
  draft       TEXT NOT NULL REFERENCES drafts (id),
  sha256      TEXT NOT NULL CHECK (length(sha256) = 64),
  approved_by TEXT NOT NULL CHECK (approved_by <> ''),
  via         TEXT NOT NULL,
  at          TEXT NOT NULL
);
CREATE INDEX approvals_by_draft ON approvals (draft);

-- One row for each try. Promise 3 stands in the index: while one try is open,
-- delivered or uncertain, there is no other.
CREATE TABLE sends (
  id       INTEGER PRIMARY KEY,
  draft    TEXT NOT NULL REFERENCES drafts (id),
  approval BIGINT NOT NULL REFERENCES approvals (id),
  sha256   TEXT NOT NULL CHECK (length(sha256) = 64),
  owner    TEXT NOT NULL,
  begun    TEXT NOT NULL,
  ended    TEXT NOT NULL DEFAULT '',
  outcome  TEXT NOT NULL DEFAULT 'open' CHECK (outcome IN ('open', 'sent', 'uncertain', 'refused', 'later', 'not-sent')),
  words    TEXT NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX sends_at_most_once ON sends (draft) WHERE outcome IN ('open', 'sent', 'uncertain');
CREATE INDEX sends_by_draft ON sends (draft, begun);

-- What was found in the approved and set-aside folders and what came of it.
CREATE TABLE folder_moves (
  folder      TEXT NOT NULL,
  uidvalidity BIGINT NOT NULL,
  uid         BIGINT NOT NULL,
  draft       TEXT NOT NULL REFERENCES drafts (id),
  sha256      TEXT NOT NULL,
  moved_by    TEXT NOT NULL,
  outcome     TEXT NOT NULL,
  why         TEXT NOT NULL,
  at          TEXT NOT NULL,
  PRIMARY KEY (folder, uidvalidity, uid)
);
CREATE INDEX folder_moves_by_draft ON folder_moves (draft);

CREATE TABLE events (
  seq        INTEGER PRIMARY KEY,
  at         TEXT NOT NULL,
  who        TEXT NOT NULL,
  subject    TEXT NOT NULL,
  what       TEXT NOT NULL,
  from_state TEXT NOT NULL DEFAULT '',
  to_state   TEXT NOT NULL DEFAULT '',
  why        TEXT NOT NULL DEFAULT ''
);
CREATE INDEX events_by_subject ON events (subject, seq);
CREATE INDEX events_by_what ON events (what, at);

CREATE TABLE steps (
  id          INTEGER PRIMARY KEY,
  kind        TEXT NOT NULL,
  subject     TEXT NOT NULL,
  state       TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'leased', 'done', 'given-up')),
  due         TEXT NOT NULL,
  lease_until TEXT NOT NULL DEFAULT '',
  lease_owner TEXT NOT NULL DEFAULT '',
  lease       BIGINT NOT NULL DEFAULT 0,
  attempts    BIGINT NOT NULL DEFAULT 0,
  again       BIGINT NOT NULL DEFAULT 0,
  last_error  TEXT NOT NULL DEFAULT '',
  made        TEXT NOT NULL,
  ended       TEXT NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX steps_one_open ON steps (kind, subject) WHERE state IN ('waiting', 'leased');
CREATE INDEX steps_by_due ON steps (state, due);
CREATE INDEX steps_by_subject ON steps (subject);

CREATE TABLE agreements (
  id       INTEGER PRIMARY KEY,
  address  TEXT NOT NULL,
  name     TEXT NOT NULL,
  card     TEXT NOT NULL,
  card_key TEXT NOT NULL,
  signed   TEXT NOT NULL,
  version  TEXT NOT NULL,
  expires  TEXT NOT NULL,
  guardian TEXT NOT NULL,
  born     TEXT NOT NULL,
  minor    BIGINT NOT NULL,
  changed  TEXT NOT NULL
);
CREATE INDEX agreements_by_card ON agreements (card_key);
CREATE INDEX agreements_by_name ON agreements (name);

CREATE TABLE agreement_addresses (
  agreement BIGINT NOT NULL REFERENCES agreements (id) ON DELETE CASCADE,
  address   TEXT NOT NULL,
  place     BIGINT NOT NULL,
  PRIMARY KEY (agreement, address)
);
CREATE INDEX agreement_addresses_by_address ON agreement_addresses (address);

CREATE TABLE polls (
  folder      TEXT PRIMARY KEY,
  uidvalidity BIGINT NOT NULL,
  highest_uid BIGINT NOT NULL,
  first       TEXT NOT NULL,
  last_good   TEXT NOT NULL
);

CREATE TABLE notices (
  id      TEXT PRIMARY KEY,
  kind    TEXT NOT NULL,
  subject TEXT NOT NULL,
  text    TEXT NOT NULL,
  state   TEXT NOT NULL CHECK (state IN ('open', 'done')),
  times   BIGINT NOT NULL DEFAULT 1,
  made    TEXT NOT NULL,
  last    TEXT NOT NULL,
  done    TEXT NOT NULL DEFAULT '',
  done_by TEXT NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX notices_one_open ON notices (kind, subject) WHERE state = 'open';
CREATE INDEX notices_by_state ON notices (state, last);
CREATE INDEX notices_by_subject ON notices (subject);

-- What a print really took, beside what had been estimated for it.
CREATE TABLE prints (
  id         INTEGER PRIMARY KEY,
  job        TEXT NOT NULL REFERENCES jobs (id),
  printer    TEXT NOT NULL,
  material   TEXT NOT NULL,
  hours      DOUBLE PRECISION NOT NULL,
  grams      DOUBLE PRECISION NOT NULL,
  good       BIGINT NOT NULL,
  est_hours  DOUBLE PRECISION NOT NULL,
  est_grams  DOUBLE PRECISION NOT NULL,
  at         TEXT NOT NULL
);
CREATE INDEX prints_by_machine ON prints (printer, material, at);
CREATE INDEX prints_by_job ON prints (job);
CREATE INDEX prints_by_time ON prints (at);

CREATE TABLE payments (
  id       INTEGER PRIMARY KEY,
  job      TEXT NOT NULL REFERENCES jobs (id),
  amount   TEXT NOT NULL,
  currency TEXT NOT NULL,
  at       TEXT NOT NULL
);
CREATE INDEX payments_by_job ON payments (job);
CREATE INDEX payments_by_time ON payments (at);

-- History is only ever added to. The one change allowed takes a person's words out of it.
CREATE TRIGGER events_stay BEFORE DELETE ON events BEGIN
  SELECT RAISE(ABORT, 'the history is only added to');
END;
CREATE TRIGGER events_keep BEFORE UPDATE ON events
WHEN NEW.seq <> OLD.seq OR NEW.at <> OLD.at OR NEW.subject <> OLD.subject OR NEW.what <> OLD.what
  OR NEW.from_state <> OLD.from_state OR NEW.to_state <> OLD.to_state OR NEW.who <> OLD.who OR NEW.why <> ''
BEGIN
  SELECT RAISE(ABORT, 'the history is only added to');
END;
CREATE TRIGGER approvals_stay BEFORE DELETE ON approvals BEGIN
  SELECT RAISE(ABORT, 'an approval stays on record');
END;
CREATE TRIGGER approvals_keep BEFORE UPDATE ON approvals BEGIN
  SELECT RAISE(ABORT, 'an approval stays on record');
END;
