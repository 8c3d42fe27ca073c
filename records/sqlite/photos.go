package sqlite

import (
	stdbytes "bytes"
	"context"
	"database/sql/driver"
	"time"

	"caneward/blocks/words"
	"caneward/records"
)

// PutPhoto implements records.Photos.
func (s *Store) PutPhoto(ctx context.Context, farm records.FarmID, p records.Photo) (created bool, err error) {
	if err := p.Check(); err != nil {
		return false, err
	}
	// A picture weighs as much as a record for every kilobyte.
	err = s.writer.submit(ctx, 1+len(p.Data)/1024, func(t *transaction) error {
		p.At = records.WholeMicroseconds(t.now())
		created, err = t.putPhoto(farm, p)
		return err
	})
	return created && err == nil, err
}

// putPhoto keeps a checked picture with the time it has.
func (t *transaction) putPhoto(farm records.FarmID, p records.Photo) (created bool, err error) {
	f, err := t.farm(farm)
	if err != nil {
		return false, err
	}
	sum, seal := p.Sum(), p.Seal()
	row, err := t.conn.row(background, `SELECT type, hash FROM photos WHERE farm = ? AND id = ?`, f.number, idBytes(p.ID))
	if err != nil {
		return false, err
	}
	if row != nil {
		if text(row[0]) != p.Type || !stdbytes.Equal(bytes(row[1]), sum[:]) {
			return false, records.PhotoTaken()
		}
		return false, nil
	}
	return true, t.conn.exec(`INSERT INTO photos (farm, id, type, person, name, role, at_us, hash, seal, data) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		f.number, idBytes(p.ID), p.Type, string(p.By.Person), p.By.Name, string(p.By.Role), p.At.UnixMicro(), sum[:], seal[:], p.Data)
}

const photoColumns = `id, type, person, name, role, at_us, data`

func readPhoto(row []driver.Value) records.Photo {
	return records.Photo{
		ID: idOf(row[0]), Type: text(row[1]), Data: bytes(row[6]), At: time.UnixMicro(integer(row[5])).UTC(),
		By: records.Author{Person: records.PersonID(text(row[2])), Name: text(row[3]), Role: records.Role(text(row[4]))},
	}
}

// idOf reads an id as it is kept.
func idOf(v driver.Value) records.ID {
	var id [16]byte
	copy(id[:], bytes(v))
	return records.ID(records.FormatUUID(id))
}

// Photo implements records.Photos.
func (s *Store) Photo(ctx context.Context, farm records.FarmID, id records.ID) (p records.Photo, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		r, err := newReader(ctx, c, farm)
		if err != nil {
			return err
		}
		row, err := c.row(ctx, `SELECT `+photoColumns+` FROM photos WHERE farm = ? AND id = ?`, r.number, idBytes(id))
		if err != nil {
			return err
		}
		if row == nil {
			return records.PhotoMissing()
		}
		p = readPhoto(row)
		return nil
	})
	return p, err
}

// EachPhoto implements records.Photos.
func (s *Store) EachPhoto(ctx context.Context, farm records.FarmID, f func(records.Photo) error) error {
	return s.readers.with(ctx, func(c *conn) error {
		r, err := newReader(ctx, c, farm)
		if err != nil {
			return err
		}
		return c.rows(ctx, `SELECT `+photoColumns+` FROM photos WHERE farm = ? ORDER BY id`, []driver.Value{r.number}, func(row []driver.Value) error {
			return f(readPhoto(row))
		})
	})
}

var photoBroken = words.New("sqlite-photo-broken",
	"The photo {id} is not what was stored: its hash does not fit its bytes, or what is noted of it.",
	"La foto {id} no es la que se guardó: su huella no concuerda con sus bytes o con lo anotado de ella.")

// photos recomputes the hash and the seal of every picture.
func (v *verifier) photos() error {
	return v.conn.rows(v.ctx, `SELECT `+photoColumns+`, hash, seal, (SELECT f.id FROM farms f WHERE f.number = p.farm) FROM photos p
		WHERE farm IN (SELECT number FROM farms WHERE id NOT LIKE '~%') ORDER BY p.farm, p.id`, nil, func(row []driver.Value) error {
		p := readPhoto(row)
		sum, seal := p.Sum(), p.Seal()
		// Photos of layouts before the fifth have no seal.
		if !stdbytes.Equal(sum[:], bytes(row[7])) || row[8] != nil && !stdbytes.Equal(seal[:], bytes(row[8])) {
			v.found(records.Problem{Farm: records.FarmID(text(row[9])), Text: photoBroken.With(words.Args{"id": string(p.ID)})})
		}
		return nil
	})
}
