-- Pictures, never changed and never removed.
-- +goose Up
CREATE TABLE photos (
  farm   INTEGER NOT NULL REFERENCES farms,
  id     BLOB NOT NULL CHECK (length(id) = 16),
  type   TEXT NOT NULL,
  person TEXT NOT NULL,
  name   TEXT NOT NULL,
  role   TEXT NOT NULL,
  at_us  INTEGER NOT NULL,
  hash   BLOB NOT NULL CHECK (length(hash) = 32),
  data   BLOB NOT NULL,
  PRIMARY KEY (farm, id)
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER photos_are_not_changed BEFORE UPDATE ON photos
BEGIN SELECT raise(ABORT, 'a photo is never changed'); END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER photos_are_not_removed BEFORE DELETE ON photos
BEGIN SELECT raise(ABORT, 'a photo is never removed'); END;
-- +goose StatementEnd
