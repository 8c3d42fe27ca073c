-- What all migrations together make; go test -run TestSchema -update rewrites it.

CREATE TABLE goose_db_version (
		id INTEGER PRIMARY KEY AUTOINCREMENT,
		version_id INTEGER NOT NULL,
		is_applied INTEGER NOT NULL,
		tstamp TIMESTAMP DEFAULT (datetime('now'))
	);

CREATE TABLE kinds (
  number INTEGER PRIMARY KEY,
  name   TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE farms (
  number     INTEGER PRIMARY KEY,
  id         TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  zone       TEXT NOT NULL,
  invented   INTEGER NOT NULL CHECK (invented IN (0, 1)),
  created_us INTEGER NOT NULL,
  sequence   INTEGER NOT NULL DEFAULT 0,
  head       BLOB CHECK (length(head) = 32)
, chain TEXT, brought_us INTEGER, brought INTEGER, leaving_us INTEGER, leaving_by TEXT) STRICT;

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

CREATE TRIGGER revisions_are_not_changed BEFORE UPDATE ON revisions
BEGIN SELECT raise(ABORT, 'a revision is never changed'); END;

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

CREATE VIRTUAL TABLE places USING rtree (revision, west, east, south, north, shelf_from, shelf_to);

CREATE TABLE "places_rowid"(rowid INTEGER PRIMARY KEY,nodeno);

CREATE TABLE "places_node"(nodeno INTEGER PRIMARY KEY,data);

CREATE TABLE "places_parent"(nodeno INTEGER PRIMARY KEY,parentnode);

CREATE TABLE people (
  id         TEXT PRIMARY KEY,
  name       TEXT NOT NULL UNIQUE,
  display    TEXT NOT NULL,
  password   TEXT NOT NULL, -- PHC string
  created_us INTEGER NOT NULL
, rights INTEGER NOT NULL DEFAULT 0) STRICT, WITHOUT ROWID;

CREATE TABLE memberships (
  person TEXT NOT NULL REFERENCES people,
  farm   INTEGER NOT NULL REFERENCES farms,
  role   TEXT NOT NULL, limits TEXT NOT NULL DEFAULT '',
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

CREATE TABLE documents (
  farm     INTEGER NOT NULL REFERENCES farms,
  document TEXT NOT NULL,
  number   INTEGER NOT NULL,
  person   TEXT NOT NULL,
  name     TEXT NOT NULL,
  role     TEXT NOT NULL,
  why      TEXT NOT NULL,
  at_us    INTEGER NOT NULL,
  content  TEXT NOT NULL, -- canonical JSON
  hash     BLOB NOT NULL CHECK (length(hash) = 32),
  PRIMARY KEY (farm, document, number)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER documents_are_not_changed BEFORE UPDATE ON documents
BEGIN SELECT raise(ABORT, 'a document''s revision is never changed'); END;

CREATE TABLE photos (
  farm   INTEGER NOT NULL REFERENCES farms,
  id     BLOB NOT NULL CHECK (length(id) = 16),
  type   TEXT NOT NULL,
  person TEXT NOT NULL,
  name   TEXT NOT NULL,
  role   TEXT NOT NULL,
  at_us  INTEGER NOT NULL,
  hash   BLOB NOT NULL CHECK (length(hash) = 32),
  data   BLOB NOT NULL, seal BLOB CHECK (length(seal) = 32),
  PRIMARY KEY (farm, id)
) STRICT;

CREATE TRIGGER photos_are_not_changed BEFORE UPDATE ON photos
BEGIN SELECT raise(ABORT, 'a photo is never changed'); END;

CREATE TABLE document_heads (
  farm     INTEGER NOT NULL REFERENCES farms,
  document TEXT NOT NULL,
  number   INTEGER NOT NULL,
  head     BLOB NOT NULL CHECK (length(head) = 32),
  PRIMARY KEY (farm, document)
) STRICT;

CREATE TRIGGER revisions_are_not_removed BEFORE DELETE ON revisions
WHEN NOT EXISTS (SELECT 1 FROM farms WHERE number = old.farm AND id LIKE '~%')
BEGIN SELECT raise(ABORT, 'a revision is never removed'); END;

CREATE TRIGGER documents_are_not_removed BEFORE DELETE ON documents
WHEN NOT EXISTS (SELECT 1 FROM farms WHERE number = old.farm AND id LIKE '~%')
BEGIN SELECT raise(ABORT, 'a document''s revision is never removed'); END;

CREATE TRIGGER photos_are_not_removed BEFORE DELETE ON photos
WHEN NOT EXISTS (SELECT 1 FROM farms WHERE number = old.farm AND id LIKE '~%')
BEGIN SELECT raise(ABORT, 'a photo is never removed'); END;

CREATE TABLE erasures (
  farm       TEXT NOT NULL,
  created_us INTEGER NOT NULL,
  erased_us  INTEGER NOT NULL,
  PRIMARY KEY (farm, created_us)
) STRICT, WITHOUT ROWID;

CREATE TABLE audit (
  farm     INTEGER NOT NULL REFERENCES farms,
  hour_us  INTEGER NOT NULL,
  person   TEXT NOT NULL,
  token    TEXT NOT NULL,
  what     TEXT NOT NULL,
  kind     TEXT NOT NULL,
  refused  INTEGER NOT NULL CHECK (refused IN (0, 1)),
  name     TEXT NOT NULL,
  role     TEXT NOT NULL,
  changes  INTEGER NOT NULL CHECK (changes IN (0, 1)),
  first_us INTEGER NOT NULL,
  last_us  INTEGER NOT NULL,
  times    INTEGER NOT NULL,
  records  INTEGER NOT NULL,
  PRIMARY KEY (farm, hour_us, person, token, what, kind, refused)
) STRICT, WITHOUT ROWID;

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
