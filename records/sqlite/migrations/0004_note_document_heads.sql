-- The newest revision of each document, so that its loss shows.
-- +goose Up
CREATE TABLE document_heads (
  farm     INTEGER NOT NULL REFERENCES farms,
  document TEXT NOT NULL,
  number   INTEGER NOT NULL,
  head     BLOB NOT NULL CHECK (length(head) = 32),
  PRIMARY KEY (farm, document)
) STRICT;

INSERT INTO document_heads (farm, document, number, head)
SELECT farm, document, number, hash FROM documents d
WHERE number = (SELECT max(number) FROM documents WHERE farm = d.farm AND document = d.document);
