-- Times are microseconds since 1970 UTC. Ids are the sixteen bytes of a UUID.
-- +goose Up
PRAGMA application_id = 0x436e7764; -- "Cnwd"

CREATE TABLE kinds (
  number INTEGER PRIMARY KEY,
  name   TEXT NOT NULL UNIQUE
) STRICT;

INSERT INTO kinds (number, name) VALUES
  (1, 'blocks'), (2, 'rows'), (3, 'surroundings'), (4, 'stages'), (5, 'visits'), (6, 'finds'),
  (7, 'samples'), (8, 'removals'), (9, 'reviews'), (10, 'products'), (11, 'passes'), (12, 'tracks');

-- sequence and head are those of the farm's newest revision: 0 and NULL before it.
CREATE TABLE farms (
  number     INTEGER PRIMARY KEY,
  id         TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  zone       TEXT NOT NULL,
  invented   INTEGER NOT NULL CHECK (invented IN (0, 1)),
  created_us INTEGER NOT NULL,
  sequence   INTEGER NOT NULL DEFAULT 0,
  head       BLOB CHECK (length(head) = 32)
) STRICT;

-- Every revision there ever was, in the order they came. The properties stand
-- here and nowhere else, and rows are only ever appended, so no stale copy of
-- them lies about in the file.
CREATE TABLE revisions (
  row        INTEGER PRIMARY KEY,
  farm       INTEGER NOT NULL REFERENCES farms,
  sequence   INTEGER NOT NULL,
  kind       INTEGER NOT NULL REFERENCES kinds,
  id         BLOB NOT NULL CHECK (length(id) = 16),
  number     INTEGER NOT NULL,
  deleted    INTEGER NOT NULL CHECK (deleted IN (0, 1)),
  person     TEXT NOT NULL,
  name       TEXT NOT NULL,
  role       TEXT NOT NULL,
  why        TEXT NOT NULL,
  at_us      INTEGER NOT NULL,
  shape      BLOB, -- EWKB
  properties TEXT, -- canonical JSON; NULL when deleted
  hash       BLOB NOT NULL CHECK (length(hash) = 32),
  CHECK ((properties IS NULL) = (deleted = 1))
) STRICT;

CREATE UNIQUE INDEX revisions_by_sequence ON revisions (farm, sequence);
CREATE UNIQUE INDEX revisions_by_record ON revisions (farm, kind, id, number);

-- +goose StatementBegin
CREATE TRIGGER revisions_are_not_changed BEFORE UPDATE ON revisions
BEGIN SELECT raise(ABORT, 'a revision is never changed'); END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER revisions_are_not_removed BEFORE DELETE ON revisions
BEGIN SELECT raise(ABORT, 'a revision is never removed'); END;
-- +goose StatementEnd

-- The newest revision of each record with its facets. All of it follows from
-- the revisions.
CREATE TABLE current (
  farm     INTEGER NOT NULL REFERENCES farms,
  kind     INTEGER NOT NULL REFERENCES kinds,
  id       BLOB NOT NULL,
  revision INTEGER NOT NULL REFERENCES revisions,
  number   INTEGER NOT NULL,
  deleted  INTEGER NOT NULL,
  west     REAL,
  south    REAL,
  east     REAL,
  north    REAL,
  from_us  INTEGER,
  to_us    INTEGER,
  block    BLOB,
  PRIMARY KEY (farm, kind, id)
) STRICT, WITHOUT ROWID;

CREATE INDEX current_by_block ON current (farm, kind, block, id) WHERE block IS NOT NULL;

-- Boxes of the current shapes, widened to 32-bit numbers by the R*Tree. The
-- third extent keeps farms and kinds apart: a farm's kind is a shelf from
-- 2 (16 farm + kind) to one more. It is one thick, not flat, so that volumes
-- stay above nought and the tree's way of choosing nodes works.
CREATE VIRTUAL TABLE places USING rtree (revision, west, east, south, north, shelf_from, shelf_to);

CREATE TABLE people (
  id         TEXT PRIMARY KEY,
  name       TEXT NOT NULL UNIQUE,
  display    TEXT NOT NULL,
  password   TEXT NOT NULL, -- PHC string
  created_us INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE memberships (
  person TEXT NOT NULL REFERENCES people,
  farm   INTEGER NOT NULL REFERENCES farms,
  role   TEXT NOT NULL,
  PRIMARY KEY (person, farm)
) STRICT, WITHOUT ROWID;

CREATE INDEX memberships_by_farm ON memberships (farm);

CREATE TABLE sessions (
  token_hash BLOB PRIMARY KEY CHECK (length(token_hash) = 32),
  person     TEXT REFERENCES people,
  data       BLOB NOT NULL,
  expires_us INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX sessions_by_person ON sessions (person);
CREATE INDEX sessions_by_end ON sessions (expires_us);

-- +goose Down
-- There is no way back from the first.
SELECT 1;
