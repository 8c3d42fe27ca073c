package sqlite

import (
	"context"
	"crypto/rand"
	"database/sql/driver"
	"errors"
	"iter"
	"path/filepath"
	"time"

	"caneward/records"
)

// hidden begins the id of a farm on its way in or out: no address can name it.
const (
	hidden  = "~"
	inside  = hidden + "in-"
	outside = hidden + "out-"
)

// One step of bringing in or erasing holds up other writers for some
// hundredths of a second.
const (
	stepRecords = 1000
	stepBytes   = 4 << 20
	stepPhotos  = 8
)

// BringIn implements records.Custody. The history is stored under a hidden farm,
// step by step, and takes the place of the empty one in the last.
func (s *Store) BringIn(ctx context.Context, farm records.FarmID, a records.Arrival) (err error) {
	f := a.Farm
	f.ID = farm
	if err := f.Check(); err != nil {
		return err
	}
	stage := records.FarmID(inside + rand.Text())
	err = s.writer.submit(ctx, 1, func(t *transaction) error {
		if err := t.empty(farm); err != nil {
			return err
		}
		return t.conn.exec(`INSERT INTO farms (id, name, zone, invented, created_us, chain) VALUES (?, ?, ?, ?, ?, ?)`,
			string(stage), f.Name, f.Zone, flag(f.Invented), records.WholeMicroseconds(f.Created).UnixMicro(), string(a.Farm.ChainID()))
	})
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			if left := s.giveUp(context.WithoutCancel(ctx), stage); left != nil {
				err = errors.Join(err, left)
			}
		}
	}()
	if err := s.bringRevisions(ctx, stage, a.Revisions); err != nil {
		return err
	}
	if err := s.bringDocuments(ctx, stage, a.Documents); err != nil {
		return err
	}
	if err := s.bringPhotos(ctx, stage, a.Photos); err != nil {
		return err
	}
	return s.writer.submit(ctx, 1, func(t *transaction) error { return t.settle(stage, farm) })
}

// empty refuses a farm that has something; fault.Missing.
func (t *transaction) empty(id records.FarmID) error {
	f, err := t.farm(id)
	if err != nil {
		return err
	}
	row, err := t.conn.row(background, `SELECT 1 FROM documents WHERE farm = ?1 UNION ALL SELECT 1 FROM photos WHERE farm = ?1`, f.number)
	if err == nil && (f.sequence > 0 || row != nil) {
		err = records.FarmNotEmpty()
	}
	return err
}

// inSteps submits what a sequence gives some at a time.
func inSteps[T any](ctx context.Context, s *Store, all iter.Seq2[T, error], most int, size func(T) int, store func(*transaction, T) error) error {
	var step []T
	bytes := 0
	flush := func() error {
		if len(step) == 0 {
			return nil
		}
		err := s.writer.submit(ctx, len(step), func(t *transaction) error {
			for i := range step {
				if err := store(t, step[i]); err != nil {
					return err
				}
			}
			return nil
		})
		step, bytes = step[:0], 0
		return err
	}
	for one, err := range all {
		if err != nil {
			return err
		}
		step = append(step, one)
		bytes += size(one)
		if len(step) < most && bytes < stepBytes {
			continue
		}
		if err := flush(); err != nil {
			return err
		}
	}
	return flush()
}

// arriving is a revision with what needs no database worked out.
type arriving struct {
	records.Revision
	p prepared
}

func (s *Store) bringRevisions(ctx context.Context, stage records.FarmID, all iter.Seq2[records.Revision, error]) error {
	ready := func(yield func(arriving, error) bool) {
		for r, err := range all {
			one := arriving{Revision: r}
			if err == nil {
				err = records.CheckArriving(r.By, r.At)
			}
			if err == nil {
				one.p = prepare(records.Write{Kind: r.Kind, ID: r.ID, Delete: r.Deleted, Record: r.Record, Base: r.Number - 1, By: r.By})
				err = one.p.refused
			}
			if !yield(one, err) {
				return
			}
		}
	}
	size := func(a arriving) int { return len(a.p.content.Properties) + len(a.p.content.Shape) }
	return inSteps(ctx, s, ready, stepRecords, size, func(t *transaction, a arriving) error {
		f, err := t.farm(stage)
		if err != nil {
			return err
		}
		row, state, err := t.state(f, &a.p)
		if err != nil {
			return err
		}
		if a.Number != state.Number+1 || a.Deleted && (state.Number == 0 || state.Deleted) {
			return records.HistoryBroken(a.Sequence)
		}
		stored, err := t.succeed(f, &a.p, row, state, a.At)
		if err == nil && (stored.Sequence != a.Sequence || stored.Hash != a.Hash) {
			err = records.HistoryBroken(a.Sequence)
		}
		return err
	})
}

func (s *Store) bringDocuments(ctx context.Context, stage records.FarmID, all iter.Seq2[records.Document, error]) error {
	size := func(d records.Document) int { return len(d.Content) }
	return inSteps(ctx, s, all, stepRecords, size, func(t *transaction, d records.Document) error {
		if err := records.CheckArriving(d.By, d.At); err != nil {
			return err
		}
		content, err := records.DocumentContent(d.Name, d.Number-1, d.Content)
		if err != nil {
			return err
		}
		stored, repeated, err := t.putDocument(stage, d.Name, d.Number-1, content, d.By, d.At)
		if err == nil && (repeated || stored.Hash != d.Hash) {
			err = records.HistoryDocument(d)
		}
		return err
	})
}

func (s *Store) bringPhotos(ctx context.Context, stage records.FarmID, all iter.Seq2[records.Photo, error]) error {
	return inSteps(ctx, s, all, stepPhotos, func(p records.Photo) int { return len(p.Data) }, func(t *transaction, p records.Photo) error {
		if err := errors.Join(records.CheckArriving(p.By, p.At), p.Check()); err != nil {
			return err
		}
		_, err := t.putPhoto(stage, p)
		return err
	})
}

// settle puts a hidden farm in the place of an empty one, whose people and
// whatever else refers to it then refer to the newcomer.
func (t *transaction) settle(stage, id records.FarmID) error {
	if err := t.empty(id); err != nil {
		return err
	}
	from := t.farms[id]
	to, err := t.farm(stage)
	if err != nil {
		return err
	}
	tables, err := t.conn.referring()
	if err != nil {
		return err
	}
	for _, r := range tables {
		if err := t.conn.exec(`UPDATE "`+r.table+`" SET "`+r.column+`" = ? WHERE "`+r.column+`" = ?`, to.number, from.number); err != nil {
			return err
		}
	}
	if err := t.conn.exec(`DELETE FROM farms WHERE number = ?`, from.number); err != nil {
		return err
	}
	err = t.conn.exec(`UPDATE farms SET id = ?1, chain = nullif(chain, ?1), brought_us = ?2, brought = sequence WHERE number = ?3`,
		string(id), records.WholeMicroseconds(t.now()).UnixMicro(), to.number)
	// Both are read anew by whoever comes next, also when this is undone.
	delete(t.farms, id)
	delete(t.farms, stage)
	return err
}

// reference is a column that holds farms' numbers.
type reference struct{ table, column string }

// referring finds every table that refers to farms.
func (c *conn) referring() (all []reference, err error) {
	err = c.rows(background, `SELECT m.name, k."from" FROM sqlite_schema m, pragma_foreign_key_list(m.name) k
		WHERE m.type = 'table' AND k."table" = 'farms' ORDER BY m.rowid`, nil, func(row []driver.Value) error {
		all = append(all, reference{text(row[0]), text(row[1])})
		return nil
	})
	return all, err
}

// SetLeaving implements records.Custody.
func (s *Store) SetLeaving(ctx context.Context, farm records.FarmID, at time.Time, by string) error {
	var when, who driver.Value
	if !at.IsZero() {
		when, who = records.WholeMicroseconds(at).UnixMicro(), by
	}
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		f, err := t.farm(farm)
		if err != nil {
			return err
		}
		return t.conn.exec(`UPDATE farms SET leaving_us = ?, leaving_by = ? WHERE number = ?`, when, who, f.number)
	})
}

// EraseDue implements records.Custody.
func (s *Store) EraseDue(ctx context.Context, now time.Time) (gone []records.FarmID, err error) {
	err = s.writer.submit(ctx, 1, func(t *transaction) error {
		gone = nil
		err := t.conn.rows(background, `SELECT id FROM farms WHERE leaving_us <= ? AND id NOT LIKE '~%' ORDER BY id`,
			[]driver.Value{now.UnixMicro()}, func(row []driver.Value) error {
				gone = append(gone, records.FarmID(text(row[0])))
				return nil
			})
		if err != nil {
			return err
		}
		// Another request of this transaction may have left work for a farm's row.
		if err := t.saveFarms(); err != nil {
			return err
		}
		for _, id := range gone {
			if err := t.conn.hide(id, now); err != nil {
				return err
			}
		}
		for _, id := range gone {
			delete(t.farms, id) // only now: where one cannot be hidden, all of this is undone
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	swept, err := s.sweep(ctx)
	if err == nil && swept {
		err = checkpoint(s.readers.path)
	}
	return gone, err
}

// hide takes a farm out of everybody's reach and notes that it is erased.
func (c *conn) hide(id records.FarmID, now time.Time) error {
	err := c.exec(`INSERT OR REPLACE INTO erasures (farm, created_us, erased_us) SELECT id, created_us, ? FROM farms WHERE id = ?`, now.UnixMicro(), string(id))
	if err != nil {
		return err
	}
	return c.exec(`UPDATE farms SET id = ?, name = '', leaving_us = NULL, leaving_by = NULL WHERE id = ?`, outside+rand.Text(), string(id))
}

// giveUp erases what had been brought in of a history that was refused.
func (s *Store) giveUp(ctx context.Context, stage records.FarmID) error {
	err := s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`UPDATE farms SET id = ? WHERE id = ?`, outside+rand.Text(), string(stage))
	})
	if err != nil {
		return err
	}
	_, err = s.sweep(ctx)
	return err
}

// sweep erases every farm on its way out, step by step.
func (s *Store) sweep(ctx context.Context) (any bool, err error) {
	for more := true; more; {
		err := s.writer.submit(ctx, stepRecords, func(t *transaction) (err error) {
			more, err = t.conn.eraseStep(outside + "%")
			return err
		})
		if err != nil {
			return any, err
		}
		any = any || more
	}
	return any, nil
}

// eraseSteps are run in order, each until it removes nothing more. The first
// two work on the same rows.
var eraseSteps = []struct {
	statements []string
	most       int64
}{
	{[]string{
		`DELETE FROM places WHERE revision IN (SELECT revision FROM current WHERE farm = ?1 ORDER BY kind, id LIMIT ?2)`,
		`DELETE FROM current WHERE farm = ?1 AND (kind, id) IN (SELECT kind, id FROM current WHERE farm = ?1 ORDER BY kind, id LIMIT ?2)`,
	}, stepRecords},
	{[]string{`DELETE FROM revisions WHERE row IN (SELECT row FROM revisions WHERE farm = ?1 LIMIT ?2)`}, stepRecords},
	{[]string{`DELETE FROM photos WHERE rowid IN (SELECT rowid FROM photos WHERE farm = ?1 LIMIT ?2)`}, stepPhotos},
}

// eraseStep removes some rows of a farm whose id is like the pattern, and the
// farm's own with the last of them; more says whether there was a farm.
func (c *conn) eraseStep(pattern string) (more bool, err error) {
	farm, err := c.row(background, `SELECT number FROM farms WHERE id LIKE ? LIMIT 1`, pattern)
	if err != nil || farm == nil {
		return false, err
	}
	// What is given up is overwritten here, not only where that costs nothing.
	if _, err := c.row(background, `PRAGMA secure_delete = ON`); err != nil {
		return false, err
	}
	defer func() {
		_, after := c.row(background, `PRAGMA secure_delete = FAST`)
		err = errors.Join(err, after)
	}()
	for _, step := range eraseSteps {
		for _, statement := range step.statements {
			if err := c.exec(statement, farm[0], step.most); err != nil {
				return false, err
			}
		}
		if n, err := c.number(background, `SELECT changes()`); err != nil || n > 0 {
			return true, err
		}
	}
	tables, err := c.referring()
	if err != nil {
		return false, err
	}
	for _, r := range tables {
		if err := c.exec(`DELETE FROM "`+r.table+`" WHERE "`+r.column+`" = ?`, farm[0]); err != nil {
			return false, err
		}
	}
	return true, c.exec(`DELETE FROM farms WHERE number = ?`, farm[0])
}

// checkpoint brings the log into the file and empties it, so that what was
// erased is not in the log either.
func checkpoint(path string) (err error) {
	c, err := dial(path, common)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.close()) }()
	_, err = c.row(background, `PRAGMA wal_checkpoint(TRUNCATE)`)
	return err
}

// alone runs f in a transaction on a file that nobody serves.
func alone(path string, f func(*conn) error) (err error) {
	c, err := dial(path, common)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.close()) }()
	if err := c.exec("BEGIN IMMEDIATE"); err != nil {
		return err
	}
	if err := f(c); err != nil {
		return errors.Join(err, c.exec("ROLLBACK"))
	}
	return c.exec("COMMIT")
}

// sweepAlone erases what a server that was killed had half brought in or half
// erased.
func sweepAlone(path string) error {
	any := false
	for more := true; more; {
		err := alone(path, func(c *conn) (err error) {
			more, err = c.eraseStep(hidden + "%")
			return err
		})
		if err != nil {
			return err
		}
		any = any || more
	}
	if any {
		return checkpoint(path)
	}
	return nil
}

// eraseAgain erases from a restored file the farms that were erased after it
// was copied.
func eraseAgain(path string, gone []erasure) error {
	err := alone(path, func(c *conn) error {
		for _, e := range gone {
			row, err := c.row(background, `SELECT 1 FROM farms f WHERE f.id = ?1 AND f.created_us = ?2
				AND NOT EXISTS (SELECT 1 FROM erasures e WHERE e.farm = f.id AND e.created_us = f.created_us)`, string(e.Farm), e.Created.UnixMicro())
			if err != nil {
				return err
			}
			if row == nil {
				continue
			}
			if err := c.hide(e.Farm, e.Erased); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return sweepAlone(path)
}

func erasuresOf(ctx context.Context, dir string) (all []erasure, err error) {
	c, err := dial(filepath.Join(dir, FileName), reading)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, c.close()) }()
	err = c.rows(ctx, `SELECT farm, created_us, erased_us FROM erasures ORDER BY erased_us, farm`, nil, func(row []driver.Value) error {
		all = append(all, erasure{records.FarmID(text(row[0])), time.UnixMicro(integer(row[1])).UTC(), time.UnixMicro(integer(row[2])).UTC()})
		return nil
	})
	return all, err
}

// AddSeen implements records.Custody.
func (s *Store) AddSeen(ctx context.Context, all []records.Seen) error {
	return s.writer.submit(ctx, len(all), func(t *transaction) error {
		for _, e := range all {
			err := t.conn.exec(`INSERT INTO audit (farm, hour_us, person, token, what, kind, refused, name, role, changes, first_us, last_us, times, records)
				SELECT number, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14 FROM farms WHERE id = ?1
				ON CONFLICT DO UPDATE SET name = CASE WHEN excluded.last_us >= last_us THEN excluded.name ELSE name END,
					role = CASE WHEN excluded.last_us >= last_us THEN excluded.role ELSE role END, first_us = min(first_us, excluded.first_us),
					last_us = max(last_us, excluded.last_us), times = times + excluded.times, records = records + excluded.records`,
				string(e.Farm), e.Hour.UnixMicro(), string(e.Person), e.Token, e.What, string(e.Kind), flag(e.Refused), e.Name, string(e.Role),
				flag(e.Changes), e.First.UnixMicro(), e.Last.UnixMicro(), e.Times, e.Records)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// EachSeen implements records.Custody.
func (s *Store) EachSeen(ctx context.Context, farm records.FarmID, f func(records.Seen) error) error {
	at := func(v driver.Value) time.Time { return time.UnixMicro(integer(v)).UTC() }
	return s.readers.with(ctx, func(c *conn) error {
		r, err := newReader(ctx, c, farm)
		if err != nil {
			return err
		}
		return c.rows(ctx, `SELECT hour_us, person, token, what, kind, refused, name, role, changes, first_us, last_us, times, records
			FROM audit WHERE farm = ? ORDER BY hour_us, person, token, what, kind, refused`, []driver.Value{r.number}, func(row []driver.Value) error {
			return f(records.Seen{
				Farm: farm, Hour: at(row[0]), Person: records.PersonID(text(row[1])), Token: text(row[2]), What: text(row[3]), Kind: records.Kind(text(row[4])),
				Refused: integer(row[5]) == 1, Name: text(row[6]), Role: records.Role(text(row[7])), Changes: integer(row[8]) == 1,
				First: at(row[9]), Last: at(row[10]), Times: integer(row[11]), Records: integer(row[12]),
			})
		})
	})
}

// ForgetSeen implements records.Custody.
func (s *Store) ForgetSeen(ctx context.Context, before time.Time) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`DELETE FROM audit WHERE hour_us < ?`, before.UnixMicro())
	})
}
