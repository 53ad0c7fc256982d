-- Which lines of forgotten.log this ledger has carried out. A ledger restored
-- from a backup lacks the latest, and carries them out again.
CREATE TABLE forgets (
  id TEXT PRIMARY KEY,
  at TEXT NOT NULL
);
