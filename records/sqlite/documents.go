package sqlite

import (
	stdbytes "bytes"
	"context"
	"database/sql/driver"
	"encoding/json"
	"time"

	"caneward/blocks/words"
	"caneward/records"
)

var (
	documentGap = words.New("sqlite-document-gap",
		"Revision {want} of the document “{name}” should stand here.",
		"Aquí debería estar la revisión {want} del documento «{name}».")
	documentHash = words.New("sqlite-document-hash",
		"This revision of the document “{name}” is not what was stored: its hash does not fit.",
		"Esta revisión del documento «{name}» no es la que se guardó: su huella no concuerda.")
	documentHeadWrong = words.New("sqlite-document-head-wrong",
		"The newest revision of the document “{name}” should be {want}, with the hash noted for it.",
		"La revisión más nueva del documento «{name}» debería ser la {want}, con la huella anotada para ella.")
)

const documentColumns = `d.document, d.number, d.person, d.name, d.role, d.why, d.at_us, d.content, d.hash`

func readDocument(farm records.FarmID, row []driver.Value) records.Document {
	d := records.Document{
		Farm: farm, Name: records.DocumentName(text(row[0])), Number: int(integer(row[1])),
		By: records.Author{Person: records.PersonID(text(row[2])), Name: text(row[3]), Role: records.Role(text(row[4])), Why: text(row[5])},
		At: time.UnixMicro(integer(row[6])).UTC(), Content: json.RawMessage(text(row[7])),
	}
	copy(d.Hash[:], bytes(row[8]))
	return d
}

// PutDocument implements records.Documents.
func (s *Store) PutDocument(ctx context.Context, farm records.FarmID, name records.DocumentName, base int, content json.RawMessage, by records.Author) (stored records.Document, repeated bool, err error) {
	content, err = records.DocumentContent(name, base, content)
	if err != nil {
		return records.Document{}, false, err
	}
	err = s.writer.submit(ctx, 1, func(t *transaction) error {
		stored, repeated, err = t.putDocument(farm, name, base, content, by, t.now())
		return err
	})
	if err != nil {
		return records.Document{}, false, err
	}
	return stored, repeated, nil
}

func (t *transaction) putDocument(farm records.FarmID, name records.DocumentName, base int, content json.RawMessage, by records.Author, at time.Time) (records.Document, bool, error) {
	f, err := t.conn.row(background, `SELECT number, chain FROM farms WHERE id = ?`, string(farm))
	if err != nil {
		return records.Document{}, false, err
	}
	if f == nil {
		return records.Document{}, false, records.FarmMissing()
	}
	revision := func(number int) (records.Document, bool, error) {
		row, err := t.conn.row(background, `SELECT `+documentColumns+` FROM documents d WHERE d.farm = ? AND d.document = ? AND d.number = ?`,
			f[0], string(name), int64(number))
		if err != nil || row == nil {
			return records.Document{}, false, err
		}
		return readDocument(farm, row), true, nil
	}
	next, there, err := revision(base + 1)
	if err != nil {
		return records.Document{}, false, err
	}
	if there && stdbytes.Equal(next.Content, content) {
		return next, true, nil
	}
	current, err := t.conn.number(background, `SELECT coalesce(max(number), 0) FROM documents WHERE farm = ? AND document = ?`, f[0], string(name))
	if err != nil {
		return records.Document{}, false, err
	}
	if int(current) != base {
		return records.Document{}, false, records.DocumentStale(base, int(current))
	}
	before, _, err := revision(base)
	if err != nil {
		return records.Document{}, false, err
	}
	d := records.Document{Farm: farm, Name: name, Number: base + 1, By: by, At: records.WholeMicroseconds(at), Content: content}
	d.Hash = d.Link(before.Hash, chainOf(farm, f[1]))
	err = t.conn.exec(`INSERT INTO documents (farm, document, number, person, name, role, why, at_us, content, hash)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, f[0], string(name), int64(d.Number), string(by.Person), by.Name, string(by.Role), by.Why,
		d.At.UnixMicro(), string(content), d.Hash[:])
	if err != nil {
		return records.Document{}, false, err
	}
	return d, false, t.conn.exec(`INSERT INTO document_heads (farm, document, number, head) VALUES (?, ?, ?, ?)
		ON CONFLICT (farm, document) DO UPDATE SET number = excluded.number, head = excluded.head`, f[0], string(name), int64(d.Number), d.Hash[:])
}

// Document implements records.Documents.
func (s *Store) Document(ctx context.Context, farm records.FarmID, name records.DocumentName) (records.Document, error) {
	all, err := s.documents(ctx, farm, name, `DESC LIMIT 1`)
	if err != nil {
		return records.Document{}, err
	}
	return all[0], nil
}

// DocumentRevisions implements records.Documents.
func (s *Store) DocumentRevisions(ctx context.Context, farm records.FarmID, name records.DocumentName) ([]records.Document, error) {
	return s.documents(ctx, farm, name, `ASC`)
}

// EachDocument implements records.Documents.
func (s *Store) EachDocument(ctx context.Context, farm records.FarmID, f func(records.Document) error) error {
	return s.readers.with(ctx, func(c *conn) error {
		r, err := newReader(ctx, c, farm)
		if err != nil {
			return err
		}
		return c.rows(ctx, `SELECT `+documentColumns+` FROM documents d WHERE d.farm = ? ORDER BY d.document, d.number`, []driver.Value{r.number}, func(row []driver.Value) error {
			return f(readDocument(farm, row))
		})
	})
}

func (s *Store) documents(ctx context.Context, farm records.FarmID, name records.DocumentName, order string) (all []records.Document, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		if _, err := newReader(ctx, c, farm); err != nil {
			return err
		}
		return c.rows(ctx, `SELECT `+documentColumns+` FROM documents d JOIN farms f ON f.number = d.farm
			WHERE f.id = ? AND d.document = ? ORDER BY d.number `+order, []driver.Value{string(farm), string(name)}, func(row []driver.Value) error {
			all = append(all, readDocument(farm, row))
			return nil
		})
	})
	if err == nil && len(all) == 0 {
		err = records.DocumentMissing()
	}
	return all, err
}

// documents recomputes every document's chain and holds its end against the
// head that is noted apart from it.
func (v *verifier) documents() error {
	type key struct {
		farm records.FarmID
		name records.DocumentName
	}
	ends := map[key]records.Document{}
	err := v.conn.rows(v.ctx, `SELECT `+documentColumns+`, f.id, f.chain FROM documents d JOIN farms f ON f.number = d.farm
		WHERE f.id NOT LIKE '~%' ORDER BY d.farm, d.document, d.number`, nil, func(row []driver.Value) error {
		d := readDocument(records.FarmID(text(row[9])), row)
		last := ends[key{d.Farm, d.Name}]
		if d.Number != last.Number+1 {
			v.found(records.Problem{Farm: d.Farm, Number: d.Number, Text: documentGap.With(words.Args{"name": string(d.Name), "want": last.Number + 1})})
		}
		if d.Link(last.Hash, chainOf(d.Farm, row[10])) != d.Hash {
			v.found(records.Problem{Farm: d.Farm, Number: d.Number, Text: documentHash.With(words.Args{"name": string(d.Name)})})
		}
		ends[key{d.Farm, d.Name}] = d
		return nil
	})
	if err != nil {
		return err
	}
	// A document without a noted head stands here with 0.
	return v.conn.rows(v.ctx, `SELECT f.id, h.document, h.number, h.head FROM document_heads h JOIN farms f ON f.number = h.farm WHERE f.id NOT LIKE '~%'
		UNION SELECT f.id, d.document, 0, x'' FROM documents d JOIN farms f ON f.number = d.farm
			WHERE f.id NOT LIKE '~%' AND NOT EXISTS (SELECT 1 FROM document_heads h WHERE h.farm = d.farm AND h.document = d.document)
		ORDER BY 1, 2`, nil, func(row []driver.Value) error {
		k := key{records.FarmID(text(row[0])), records.DocumentName(text(row[1]))}
		if end := ends[k]; int64(end.Number) != integer(row[2]) || string(end.Hash[:]) != string(bytes(row[3])) {
			v.found(records.Problem{Farm: k.farm, Number: int(integer(row[2])), Text: documentHeadWrong.With(words.Args{"name": string(k.name), "want": integer(row[2])})})
		}
		return nil
	})
}
