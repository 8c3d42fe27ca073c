-- What a farm has exactly one of, such as its counting programmes: every
-- revision, each with a hash over the one before it of the same name.
-- +goose Up
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

-- +goose StatementBegin
CREATE TRIGGER documents_are_not_changed BEFORE UPDATE ON documents
BEGIN SELECT raise(ABORT, 'a document''s revision is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER documents_are_not_removed BEFORE DELETE ON documents
BEGIN SELECT raise(ABORT, 'a document''s revision is never removed'); END;
-- +goose StatementEnd
