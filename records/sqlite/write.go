package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
)

var background = context.Background()

// kindNumber is a kind's number in the table of kinds: its place in
// records.Kinds, from 1. A test compares the two.
func kindNumber(k records.Kind) int64 {
	for i, known := range records.Kinds {
		if k == known {
			return int64(i + 1)
		}
	}
	return 0
}

// shelf is the lower end of a farm's kind in the R*Tree's third extent.
func shelf(farm, kind int64) int64 { return 2 * (16*farm + kind) }

// farmState is a farm's row while a transaction runs.
type farmState struct {
	number, sequence int64
	head             [32]byte
	chain            records.FarmID // the id its hashes are made with
	dirty            bool
}

// chainOf reads a farm's column chain.
func chainOf(id records.FarmID, column driver.Value) records.FarmID {
	return records.Farm{ID: id, Chain: records.FarmID(text(column))}.ChainID()
}

func (t *transaction) farm(id records.FarmID) (*farmState, error) {
	if _, there := t.farms[id]; !there {
		row, err := t.conn.row(background, `SELECT number, sequence, head, chain FROM farms WHERE id = ?`, string(id))
		if err != nil {
			return nil, err
		}
		if row == nil {
			return nil, records.FarmMissing()
		}
		f := &farmState{number: integer(row[0]), sequence: integer(row[1]), chain: chainOf(id, row[3])}
		copy(f.head[:], bytes(row[2]))
		t.farms[id] = f
	}
	if t.touched == nil {
		t.touched, t.before = t.farms[id], *t.farms[id]
	}
	return t.farms[id], nil
}

func (t *transaction) saveFarms() error {
	for _, f := range t.farms {
		if !f.dirty {
			continue
		}
		if err := t.conn.exec(`UPDATE farms SET sequence = ?, head = ? WHERE number = ?`, f.sequence, f.head[:], f.number); err != nil {
			return err
		}
	}
	return nil
}

// prepared is a write with all that needs no database, worked out by the
// caller's goroutine.
type prepared struct {
	records.Write
	id      []byte
	kind    int64
	content records.Content
	record  records.Record
	facets  records.Facets
	refused error
}

func prepare(w records.Write) prepared {
	p := prepared{Write: w}
	if p.content, p.refused = w.Content(); p.refused != nil {
		return p
	}
	id, _ := w.ID.Bytes()
	p.id, p.kind = id[:], kindNumber(w.Kind)
	if w.Delete {
		return p
	}
	if p.record, p.refused = p.content.Record(); p.refused == nil {
		p.facets = records.FacetsOf(w.Kind, p.record)
	}
	return p
}

// Write implements records.Store.
func (s *Store) Write(ctx context.Context, farm records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	return s.write(ctx, farm, writes, false)
}

// WriteTogether implements records.Store.
func (s *Store) WriteTogether(ctx context.Context, farm records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	outcomes, err := s.write(ctx, farm, writes, true)
	if errors.Is(err, errTogether) {
		return records.OnlyRefusals(outcomes), nil
	}
	return outcomes, err
}

// errTogether undoes a batch of which one write was refused.
var errTogether = errors.New("sqlite: one write of a batch that belongs together was refused")

// write gives the outcomes beside errTogether as well.
func (s *Store) write(ctx context.Context, farm records.FarmID, writes []records.Write, together bool) ([]records.Outcome, error) {
	all := make([]prepared, len(writes))
	for i, w := range writes {
		if i%checkEvery == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		all[i] = prepare(w)
	}
	var outcomes []records.Outcome
	err := s.writer.submit(ctx, len(writes), func(t *transaction) error {
		outcomes = make([]records.Outcome, len(all))
		f, err := t.farm(farm)
		if err != nil {
			return err
		}
		at := records.WholeMicroseconds(t.now())
		for i := range all {
			if outcomes[i], err = t.write(f, &all[i], at); err != nil {
				return err
			}
		}
		if together && records.AnyRefused(outcomes) {
			return errTogether
		}
		return nil
	})
	if errors.Is(err, errTogether) {
		return outcomes, err
	}
	if err != nil {
		return nil, err
	}
	return outcomes, nil
}

func (t *transaction) write(f *farmState, p *prepared, at time.Time) (records.Outcome, error) {
	if p.refused != nil {
		return records.Outcome{Err: p.refused}, nil
	}
	row, state, err := t.state(f, p)
	if err != nil {
		return records.Outcome{}, err
	}
	var failed error
	verdict := p.Judge(state, func(number int) (bool, error) {
		same, err := t.sameAs(f, p, number)
		failed = err
		return same, err
	})
	switch {
	case failed != nil:
		return records.Outcome{}, failed
	case verdict.Refused != nil:
		o := records.Outcome{Err: verdict.Refused}
		if fault.Is(o.Err, fault.Conflict) || fault.Is(o.Err, fault.Stale) {
			o.Current = state.Number
		}
		return o, nil
	case verdict.Repeat > 0:
		before, err := t.revision(f, p, verdict.Repeat)
		return records.Outcome{Revision: before, Repeated: true}, err
	}
	r, err := t.succeed(f, p, row, state, at)
	return records.Outcome{Revision: r, Created: r.Number == 1}, err
}

// state is a record's row in current, nil for none, and what it says.
func (t *transaction) state(f *farmState, p *prepared) (row []driver.Value, state records.State, err error) {
	row, err = t.conn.row(background,
		`SELECT number, deleted, revision, west IS NOT NULL FROM current WHERE farm = ? AND kind = ? AND id = ?`, f.number, p.kind, p.id)
	if row != nil {
		state = records.State{Number: int(integer(row[0])), Deleted: integer(row[1]) == 1}
	}
	return row, state, err
}

// succeed stores the revision after the one that state found.
func (t *transaction) succeed(f *farmState, p *prepared, row []driver.Value, state records.State, at time.Time) (records.Revision, error) {
	if row != nil && integer(row[3]) == 1 {
		if err := t.conn.exec(`DELETE FROM places WHERE revision = ?`, row[2]); err != nil {
			return records.Revision{}, err
		}
	}
	return t.store(f, p, state.Number+1, row != nil, at)
}

func (t *transaction) sameAs(f *farmState, p *prepared, number int) (bool, error) {
	row, err := t.conn.row(background,
		`SELECT deleted, shape, properties FROM revisions WHERE farm = ? AND kind = ? AND id = ? AND number = ?`,
		f.number, p.kind, p.id, int64(number))
	if err != nil || row == nil {
		return false, err
	}
	content := records.Content{Shape: bytes(row[1]), Properties: []byte(text(row[2]))}
	return (integer(row[0]) == 1) == p.Delete && content.Equal(p.content), nil
}

func (t *transaction) revision(f *farmState, p *prepared, number int) (records.Revision, error) {
	row, err := t.conn.row(background, `SELECT `+revisionColumns+` FROM revisions r
		WHERE r.farm = ? AND r.kind = ? AND r.id = ? AND r.number = ?`, f.number, p.kind, p.id, int64(number))
	if err != nil {
		return records.Revision{}, err
	}
	return readRevision(row)
}

func (t *transaction) store(f *farmState, p *prepared, number int, replaces bool, at time.Time) (records.Revision, error) {
	r := records.Revision{
		Kind: p.Kind, ID: p.ID, Number: number, Sequence: f.sequence + 1, Deleted: p.Delete,
		By: p.By, At: at, Record: p.record,
	}
	r.Hash = records.Link(f.head, f.chain, r, p.content)
	var shape, properties driver.Value
	if len(p.content.Shape) > 0 {
		shape = p.content.Shape
	}
	if !p.Delete {
		properties = string(p.content.Properties)
	}
	row, err := t.conn.insert(`INSERT INTO revisions
		(farm, sequence, kind, id, number, deleted, person, name, role, why, at_us, shape, properties, hash)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		f.number, r.Sequence, p.kind, p.id, int64(number), flag(p.Delete),
		string(r.By.Person), r.By.Name, string(r.By.Role), r.By.Why, at.UnixMicro(), shape, properties, r.Hash[:])
	if err != nil {
		return records.Revision{}, err
	}
	if err := t.makeCurrent(f, p, row, number, replaces); err != nil {
		return records.Revision{}, err
	}
	f.sequence, f.head, f.dirty = r.Sequence, r.Hash, true
	return r, nil
}

// Two statements, not INSERT OR REPLACE: that one keeps a copy of every page
// it touches, for the case that it fails halfway.
const (
	insertCurrent = `INSERT INTO current
		(revision, number, deleted, west, south, east, north, from_us, to_us, block, farm, kind, id)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`
	updateCurrent = `UPDATE current SET revision = ?, number = ?, deleted = ?, west = ?, south = ?, east = ?, north = ?,
		from_us = ?, to_us = ?, block = ? WHERE farm = ? AND kind = ? AND id = ?`
)

func (t *transaction) makeCurrent(f *farmState, p *prepared, row int64, number int, replaces bool) error {
	c, query := currentOf(p.facets), insertCurrent
	if replaces {
		query = updateCurrent
	}
	err := t.conn.exec(query, row, int64(number), flag(p.Delete),
		c.west, c.south, c.east, c.north, c.from, c.to, c.block, f.number, p.kind, p.id)
	if err != nil || c.west == nil {
		return err
	}
	shelf := shelf(f.number, p.kind)
	return t.conn.exec(`INSERT INTO places VALUES (?, ?, ?, ?, ?, ?, ?)`, row, c.west, c.east, c.south, c.north, shelf, shelf+1)
}

// current is a row's facets as they are bound; nil is NULL.
type current struct{ west, south, east, north, from, to, block driver.Value }

func currentOf(f records.Facets) (c current) {
	if f.Box != nil {
		c.west, c.south, c.east, c.north = f.Box.Min[0], f.Box.Min[1], f.Box.Max[0], f.Box.Max[1]
	}
	if !f.From.IsZero() || !f.To.IsZero() {
		c.from, c.to = f.From.UnixMicro(), f.To.UnixMicro()
	}
	if id, ok := f.Block.Bytes(); ok {
		c.block = id[:]
	}
	return c
}

func flag(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// CreateFarm implements records.Store.
func (s *Store) CreateFarm(ctx context.Context, f records.Farm) error {
	if err := f.Check(); err != nil {
		return err
	}
	err := s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`INSERT INTO farms (id, name, zone, invented, created_us) VALUES (?, ?, ?, ?, ?)`,
			string(f.ID), f.Name, f.Zone, flag(f.Invented), f.Created.UnixMicro())
	})
	if isUnique(err) {
		return records.FarmTaken(f.ID)
	}
	return err
}
