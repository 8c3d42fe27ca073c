-- Farms that come with a history, farms that are to be erased, and who saw or
-- changed what. A farm whose id begins with ~ is on its way in or out: nobody
-- reaches it, and its rows alone may be removed.
-- +goose Up
ALTER TABLE farms ADD COLUMN chain TEXT; -- the id its chain began under, where that is not its own
ALTER TABLE farms ADD COLUMN brought_us INTEGER; -- when its history was brought in
ALTER TABLE farms ADD COLUMN brought INTEGER; -- the newest sequence that was brought in
ALTER TABLE farms ADD COLUMN leaving_us INTEGER; -- when it is to be erased
ALTER TABLE farms ADD COLUMN leaving_by TEXT;

DROP TRIGGER revisions_are_not_removed;
-- +goose StatementBegin
CREATE TRIGGER revisions_are_not_removed BEFORE DELETE ON revisions
WHEN NOT EXISTS (SELECT 1 FROM farms WHERE number = old.farm AND id LIKE '~%')
BEGIN SELECT raise(ABORT, 'a revision is never removed'); END;
-- +goose StatementEnd

DROP TRIGGER documents_are_not_removed;
-- +goose StatementBegin
CREATE TRIGGER documents_are_not_removed BEFORE DELETE ON documents
WHEN NOT EXISTS (SELECT 1 FROM farms WHERE number = old.farm AND id LIKE '~%')
BEGIN SELECT raise(ABORT, 'a document''s revision is never removed'); END;
-- +goose StatementEnd

DROP TRIGGER photos_are_not_removed;
-- +goose StatementBegin
CREATE TRIGGER photos_are_not_removed BEFORE DELETE ON photos
WHEN NOT EXISTS (SELECT 1 FROM farms WHERE number = old.farm AND id LIKE '~%')
BEGIN SELECT raise(ABORT, 'a photo is never removed'); END;
-- +goose StatementEnd

-- Over all that is kept of a photo; hash is over its bytes alone.
ALTER TABLE photos ADD COLUMN seal BLOB CHECK (length(seal) = 32);

-- So that an older copy that is restored does not bring an erased farm back.
CREATE TABLE erasures (
  farm       TEXT NOT NULL,
  created_us INTEGER NOT NULL,
  erased_us  INTEGER NOT NULL,
  PRIMARY KEY (farm, created_us)
) STRICT, WITHOUT ROWID;

-- One row for an hour, a person, an address and how it ended.
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
