-- What a letter that left said of each part in it that can be said yes to, bound
-- to the bytes that left. Terms are JSON (package job, Terms), '' where an earlier
-- version sent the letter; asked are the questions that it put, one word each.
CREATE TABLE offers (
  id         INTEGER PRIMARY KEY,
  draft      TEXT NOT NULL REFERENCES drafts (id),
  job        TEXT NOT NULL REFERENCES jobs (id),
  sha256     TEXT NOT NULL CHECK (length(sha256) = 64),
  terms      TEXT NOT NULL,
  asked      TEXT NOT NULL DEFAULT '',
  rules_hash TEXT NOT NULL,
  at         TEXT NOT NULL,
  UNIQUE (draft, job)
);
CREATE INDEX offers_by_job ON offers (job, id);

-- A yes is to one offer. It is kept until nothing stands in its way, then it counts;
-- or it is void. Terms are those that it agreed to once it counts: the offer's, with
-- what the offer left the patron to choose.
CREATE TABLE yeses (
  id     INTEGER PRIMARY KEY,
  offer  BIGINT NOT NULL REFERENCES offers (id),
  job    TEXT NOT NULL REFERENCES jobs (id),
  letter TEXT REFERENCES letters (id), -- null where a person took it over the telephone
  who    TEXT NOT NULL,
  state  TEXT NOT NULL CHECK (state IN ('kept', 'counts', 'void')),
  terms  TEXT NOT NULL DEFAULT '',
  why    TEXT NOT NULL DEFAULT '',
  at     TEXT NOT NULL,
  ended  TEXT NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX yeses_one_open ON yeses (job) WHERE state IN ('kept', 'counts');
CREATE INDEX yeses_by_offer ON yeses (offer);
CREATE INDEX yeses_by_letter ON yeses (letter);

ALTER TABLE jobs ADD COLUMN terms TEXT NOT NULL DEFAULT '';

-- What was quoted and agreed before this version: its letters are the offers.
INSERT INTO offers (draft, job, sha256, terms, rules_hash, at)
  SELECT d.id, j.id, d.sha256, '', d.rules_hash, d.changed FROM jobs j JOIN drafts d ON d.id = (
    SELECT MAX(s.id) FROM drafts s JOIN draft_jobs dj ON dj.draft = s.id WHERE dj.job = j.id AND s.state = 'sent'
      AND s.kind IN ('quote', 'changed-quote', 'several', 'needs-agreement', 'agreement-expired', 'agreement-arrived'))
  WHERE j.stage IN ('quoted', 'needs-agreement', 'agreed', 'printing', 'failed', 'ready', 'collected');
INSERT INTO yeses (offer, job, letter, who, state, at)
  SELECT o.id, o.job, NULL, 'an earlier version', 'counts', j.since FROM offers o JOIN jobs j ON j.id = o.job
  WHERE j.stage IN ('agreed', 'printing', 'failed', 'ready', 'collected');

-- A job comes onto the print list only at the terms that its patron said yes to, in
-- the last letter that offered any.
CREATE TRIGGER jobs_as_agreed BEFORE UPDATE OF stage ON jobs
WHEN NEW.stage = 'agreed' AND OLD.stage NOT IN ('agreed', 'printing', 'failed') AND NOT EXISTS (
  SELECT 1 FROM yeses y JOIN offers o ON o.id = y.offer
  WHERE y.job = NEW.id AND y.state = 'counts' AND y.terms IN (NEW.terms, '')
    AND (y.terms <> '' OR o.terms = '') AND o.id = (SELECT MAX(id) FROM offers WHERE job = NEW.id))
BEGIN
  SELECT RAISE(ABORT, 'nothing is printed but what its patron said yes to');
END;

-- There it stays as it was agreed to.
CREATE TRIGGER jobs_stay_as_agreed BEFORE UPDATE OF terms ON jobs
WHEN OLD.stage IN ('agreed', 'printing', 'failed') AND NEW.stage = OLD.stage AND OLD.terms <> '' AND NEW.terms <> OLD.terms
BEGIN
  SELECT RAISE(ABORT, 'what its patron agreed to cannot change while it is on the print list');
END;

CREATE TRIGGER offers_stay BEFORE DELETE ON offers BEGIN
  SELECT RAISE(ABORT, 'an offer stays on record');
END;
CREATE TRIGGER offers_keep BEFORE UPDATE ON offers BEGIN
  SELECT RAISE(ABORT, 'an offer stays on record');
END;
