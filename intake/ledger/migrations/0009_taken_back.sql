-- A print or a payment that was recorded by mistake is taken back, not deleted: the
-- row says when, the event of the correction by whom and why.
ALTER TABLE prints ADD COLUMN taken_back TEXT NOT NULL DEFAULT '';
ALTER TABLE payments ADD COLUMN taken_back TEXT NOT NULL DEFAULT '';
