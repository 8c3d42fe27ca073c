-- What members are limited to, links and tokens people were handed, and second
-- factors of sign-ins. Secrets themselves are kept nowhere.
-- +goose Up
ALTER TABLE memberships ADD COLUMN limits TEXT NOT NULL DEFAULT ''; -- JSON; empty: the whole farm
ALTER TABLE people ADD COLUMN rights INTEGER NOT NULL DEFAULT 0;

CREATE TABLE grants (
  id         TEXT PRIMARY KEY,
  hash       BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
  purpose    TEXT NOT NULL,
  farm       INTEGER NOT NULL REFERENCES farms ON DELETE CASCADE,
  person     TEXT REFERENCES people,
  made_by    TEXT NOT NULL REFERENCES people,
  name       TEXT NOT NULL,
  role       TEXT NOT NULL,
  limits     TEXT NOT NULL,
  writes     INTEGER NOT NULL CHECK (writes IN (0, 1)),
  created_us INTEGER NOT NULL,
  expires_us INTEGER NOT NULL,
  used_us    INTEGER,
  ended_us   INTEGER
) STRICT, WITHOUT ROWID;

CREATE INDEX grants_by_farm ON grants (farm, created_us);
CREATE INDEX grants_by_person ON grants (person, farm);

CREATE TABLE second_factors (
  person   TEXT PRIMARY KEY REFERENCES people,
  secret   BLOB NOT NULL, -- sealed by a key that is not in this file
  enabled  INTEGER NOT NULL CHECK (enabled IN (0, 1)),
  step     INTEGER NOT NULL,
  recovery TEXT NOT NULL -- hashes of the codes that are left, with blanks between
) STRICT, WITHOUT ROWID;
