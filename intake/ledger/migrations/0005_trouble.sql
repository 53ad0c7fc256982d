-- Whose trouble a step waits for, and how often it has waited: the house's own
-- trouble (a full disk, a mail server that is away) is never counted as an attempt.
ALTER TABLE steps ADD COLUMN trouble TEXT NOT NULL DEFAULT '';
ALTER TABLE steps ADD COLUMN waits BIGINT NOT NULL DEFAULT 0;
