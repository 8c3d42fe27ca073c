package sqlite

import (
	"context"
	"database/sql/driver"
	"encoding/json"
	"errors"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
)

// viewsLimit is how many views are open at once; further ones wait. Each has a
// connection with up to 16 MiB of pages.
const viewsLimit = 32

// readers lends connections out.
type readers struct {
	path string
	room chan struct{}

	lock   sync.Mutex
	idle   []*conn
	closed bool
}

func newReaders(path string) *readers {
	return &readers{path: path, room: make(chan struct{}, viewsLimit)}
}

// with runs f on a connection inside a read transaction: everything f reads is
// of the moment of its first statement.
func (p *readers) with(ctx context.Context, f func(*conn) error) (err error) {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case p.room <- struct{}{}:
		defer func() { <-p.room }()
	case <-ctx.Done():
		return ctx.Err()
	}
	c, err := p.take()
	if err != nil {
		return err
	}
	broken := true // f may panic
	defer func() {
		if ended := p.give(c, broken); err == nil {
			err = ended
		}
	}()
	if err := c.exec("BEGIN"); err != nil {
		return translate(err)
	}
	err = translate(f(c))
	broken = false
	return err
}

func (p *readers) take() (*conn, error) {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.closed {
		return nil, ErrClosed
	}
	if n := len(p.idle); n > 0 {
		c := p.idle[n-1]
		p.idle = p.idle[:n-1]
		return c, nil
	}
	return dial(p.path, reading)
}

func (p *readers) give(c *conn, broken bool) error {
	if !broken {
		broken = c.exec("ROLLBACK") != nil
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	if broken || p.closed {
		return c.close()
	}
	p.idle = append(p.idle, c)
	return nil
}

// close ends the idle connections; those lent out end when they come back.
func (p *readers) close() error {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.closed = true
	var errs []error
	for _, c := range p.idle {
		errs = append(errs, c.close())
	}
	p.idle = nil
	return errors.Join(errs...)
}

// checkEvery is how many rows are worked on between two looks at the context
// where the driver does not look itself: about a millisecond's work.
const checkEvery = 256

const (
	farmColumns = `id, name, zone, invented, created_us, number, sequence, chain, brought_us, brought, leaving_us, leaving_by`
	farmWidth   = 12
)

func readFarm(row []driver.Value) records.Farm {
	return records.Farm{
		ID: records.FarmID(text(row[0])), Name: text(row[1]), Zone: text(row[2]),
		Invented: integer(row[3]) == 1, Created: time.UnixMicro(integer(row[4])).UTC(),
		Chain: records.FarmID(text(row[7])), Brought: timeOf(row[8]), BroughtTo: integer(row[9]),
		Leaving: timeOf(row[10]), LeavingBy: text(row[11]),
	}
}

// timeOf reads microseconds; NULL is the zero time.
func timeOf(v driver.Value) time.Time {
	if us, there := v.(int64); there {
		return time.UnixMicro(us).UTC()
	}
	return time.Time{}
}

// Farms implements records.Store.
func (s *Store) Farms(ctx context.Context) (all []records.Farm, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		return c.rows(ctx, `SELECT `+farmColumns+` FROM farms WHERE id NOT LIKE '~%' ORDER BY id`, nil, func(row []driver.Value) error {
			all = append(all, readFarm(row))
			return nil
		})
	})
	return all, err
}

// View implements records.Store.
func (s *Store) View(ctx context.Context, farm records.FarmID, f func(records.Reader) error) error {
	return s.readers.with(ctx, func(c *conn) error {
		r, err := newReader(ctx, c, farm)
		if err != nil {
			return err
		}
		return f(r)
	})
}

// reader reads one farm through a connection in a read transaction.
type reader struct {
	ctx      context.Context
	conn     *conn
	farm     records.Farm
	number   int64
	sequence int64
}

func newReader(ctx context.Context, c *conn, farm records.FarmID) (*reader, error) {
	row, err := c.row(ctx, `SELECT `+farmColumns+` FROM farms WHERE id = ?`, string(farm))
	if err != nil {
		return nil, err
	}
	if row == nil {
		return nil, records.FarmMissing()
	}
	return &reader{ctx: ctx, conn: c, farm: readFarm(row), number: integer(row[5]), sequence: integer(row[6])}, nil
}

func (r *reader) Farm() records.Farm { return r.farm }

func (r *reader) Sequence() int64 { return r.sequence }

const revisionColumns = `r.kind, r.id, r.number, r.sequence, r.deleted, r.person, r.name, r.role, r.why, r.at_us, r.shape, r.properties, r.hash`

// readRevision reads revisionColumns. In a damaged row, what is not of its
// column's type reads as nought; the hash will not fit.
func readRevision(row []driver.Value) (records.Revision, error) {
	r := records.Revision{
		ID:     idOf(row[1]),
		Number: int(integer(row[2])), Sequence: integer(row[3]), Deleted: integer(row[4]) != 0,
		By: records.Author{Person: records.PersonID(text(row[5])), Name: text(row[6]), Role: records.Role(text(row[7])), Why: text(row[8])},
		At: time.UnixMicro(integer(row[9])).UTC(),
	}
	if k := integer(row[0]); k >= 1 && k <= int64(len(records.Kinds)) {
		r.Kind = records.Kinds[k-1]
	}
	copy(r.Hash[:], bytes(row[12]))
	if r.Deleted {
		return r, nil
	}
	shape, err := records.ShapeOf(bytes(row[10]))
	r.Record = records.Record{Geometry: shape, Properties: json.RawMessage(text(row[11]))}
	return r, err
}

// one reads the first revision of a query.
func (r *reader) one(query string, missing func() error, args ...driver.Value) (records.Revision, error) {
	row, err := r.conn.row(r.ctx, query, args...)
	if err != nil {
		return records.Revision{}, err
	}
	if row == nil {
		return records.Revision{}, missing()
	}
	return readRevision(row)
}

func (r *reader) many(query string, args ...driver.Value) (all []records.Revision, err error) {
	err = r.conn.rows(r.ctx, query, args, func(row []driver.Value) error {
		one, err := readRevision(row)
		all = append(all, one)
		return err
	})
	return all, err
}

// idBytes gives an id as it is kept; an id that is not one matches nothing.
func idBytes(id records.ID) []byte {
	u, ok := id.Bytes()
	if !ok {
		return []byte{}
	}
	return u[:]
}

// Current implements records.Reader.
func (r *reader) Current(kind records.Kind, id records.ID) (records.Revision, error) {
	return r.one(`SELECT `+revisionColumns+` FROM current c JOIN revisions r ON r.row = c.revision
		WHERE c.farm = ? AND c.kind = ? AND c.id = ? AND c.deleted = 0`, records.RecordMissing, r.number, kindNumber(kind), idBytes(id))
}

// At implements records.Reader.
func (r *reader) At(kind records.Kind, id records.ID, number int) (records.Revision, error) {
	return r.one(`SELECT `+revisionColumns+` FROM revisions r WHERE r.farm = ? AND r.kind = ? AND r.id = ? AND r.number = ?`,
		records.RevisionMissing, r.number, kindNumber(kind), idBytes(id), int64(number))
}

// Revisions implements records.Reader.
func (r *reader) Revisions(kind records.Kind, id records.ID) ([]records.Revision, error) {
	all, err := r.many(`SELECT `+revisionColumns+` FROM revisions r WHERE r.farm = ? AND r.kind = ? AND r.id = ? ORDER BY r.number`,
		r.number, kindNumber(kind), idBytes(id))
	if err == nil && len(all) == 0 {
		err = records.RecordMissing()
	}
	return all, err
}

// Since implements records.Reader.
func (r *reader) Since(after int64, limit int) ([]records.Revision, bool, error) {
	if err := (records.Query{Limit: limit}).Check(); err != nil {
		return nil, false, err
	}
	most := int64(math.MaxInt64)
	if limit > 0 && int64(limit) < most {
		most = int64(limit) + 1
	}
	all, err := r.many(`SELECT `+revisionColumns+` FROM revisions r WHERE r.farm = ? AND r.sequence > ? ORDER BY r.sequence LIMIT ?`,
		r.number, after, most)
	if limit > 0 && len(all) > limit {
		return all[:limit], true, err
	}
	return all, false, err
}

// List implements records.Reader.
func (r *reader) List(kind records.Kind, q records.Query) (records.Page, error) {
	var page records.Page
	if err := q.Check(); err != nil {
		return page, err
	}
	s, err := r.search(kind, q)
	if err != nil {
		return page, err
	}
	query := `SELECT ` + revisionColumns + s.from + s.where()
	if !s.byPlace {
		query += ` ORDER BY c.id`
	}
	err = r.conn.rows(r.ctx, query, s.args, func(row []driver.Value) error {
		one, err := readRevision(row)
		if err != nil {
			return err
		}
		if q.Box != nil && !records.Meets(one.Record.Geometry.Flat, *q.Box) || !q.AdmitsProperties(one.Record.Properties) {
			return nil
		}
		page.Revisions = append(page.Revisions, one)
		if !s.byPlace && q.Limit > 0 && len(page.Revisions) > q.Limit {
			return errEnough
		}
		return nil
	})
	if s.byPlace {
		slices.SortFunc(page.Revisions, func(a, b records.Revision) int { return strings.Compare(string(a.ID), string(b.ID)) })
	}
	if q.Limit > 0 && len(page.Revisions) > q.Limit {
		page.Revisions, page.More = page.Revisions[:q.Limit], true
	}
	return page, err
}

// Count implements records.Reader.
func (r *reader) Count(kind records.Kind, q records.Query) (int, error) {
	if err := q.Check(); err != nil {
		return 0, err
	}
	q.Limit, q.After = 0, ""
	s, err := r.search(kind, q)
	if err != nil {
		return 0, err
	}
	if q.Box == nil && len(q.Equal) == 0 {
		n, err := r.conn.number(r.ctx, `SELECT count(*)`+s.from+s.where(), s.args...)
		return int(n), err
	}
	columns := `NULL, NULL`
	if q.Box != nil {
		columns = `r.shape, NULL`
	}
	if len(q.Equal) > 0 {
		columns = strings.Replace(columns, `, NULL`, `, r.properties`, 1)
	}
	n := 0
	err = r.conn.rows(r.ctx, `SELECT `+columns+s.from+s.where(), s.args, func(row []driver.Value) error {
		if q.Box != nil {
			shape, err := wire.DecodeEWKB(bytes(row[0]))
			if err != nil {
				return err
			}
			if !records.Meets(shape.Flat, *q.Box) {
				return nil
			}
		}
		if q.AdmitsProperties(json.RawMessage(text(row[1]))) {
			n++
		}
		return nil
	})
	return n, err
}

// search is the part of a query the database narrows by. What it lets through
// still has to pass Meets and AdmitsProperties.
type search struct {
	from       string
	conditions []string
	args       []driver.Value
	// byPlace: candidates come from the R*Tree, in no order, boxIsLarge at most.
	// Sorting them in Go spares SQLite packing every row for its own sorter.
	byPlace bool
}

func (s *search) and(condition string, args ...driver.Value) {
	s.conditions = append(s.conditions, condition)
	s.args = append(s.args, args...)
}

func (s *search) where() string { return ` WHERE ` + strings.Join(s.conditions, ` AND `) }

// boxIsLarge is the number of candidates above which a list walks the records
// in the order of their ids and compares boxes, instead of fetching all that the
// R*Tree finds: among a million, a page of 1,000 costs about the same either
// way at this number (measured).
const boxIsLarge = 8000

func (r *reader) search(kind records.Kind, q records.Query) (*search, error) {
	number := kindNumber(kind)
	s := &search{}
	if q.Box != nil {
		n, err := r.candidates(number, *q.Box)
		if err != nil {
			return nil, err
		}
		s.byPlace = n <= boxIsLarge
	}
	if s.byPlace {
		s.from = ` FROM places p CROSS JOIN revisions r ON r.row = p.revision`
		if !q.From.IsZero() || !q.To.IsZero() || q.Equal["block"] != "" || q.Blocks != nil {
			s.from += ` CROSS JOIN current c ON c.farm = r.farm AND c.kind = r.kind AND c.id = r.id`
		}
		condition, args := inPlaces(r.number, number, *q.Box)
		s.and(condition, args...)
		s.and(`r.farm = ? AND r.kind = ?`, r.number, number)
	} else {
		s.from = ` FROM current c CROSS JOIN revisions r ON r.row = c.revision`
		s.and(`c.farm = ? AND c.kind = ? AND c.deleted = 0`, r.number, number)
		if q.Box != nil {
			b := candidateBox(*q.Box)
			s.and(`c.west <= ? AND c.east >= ? AND c.south <= ? AND c.north >= ?`, b.Max[0], b.Min[0], b.Max[1], b.Min[1])
		}
	}
	r.narrow(s, q)
	return s, nil
}

func (r *reader) narrow(s *search, q records.Query) {
	if q.After != "" {
		s.and(`r.id > ?`, idBytes(q.After))
	}
	if !q.From.IsZero() {
		s.and(`(c.to_us IS NULL OR c.to_us >= ?)`, q.From.UnixMicro())
	}
	if !q.To.IsZero() {
		s.and(`(c.from_us IS NULL OR c.from_us <= ?)`, q.To.UnixMicro())
	}
	if q.Blocks != nil {
		var args []driver.Value
		for _, id := range q.Blocks {
			args = append(args, idBytes(id))
		}
		s.and(`c.block IN (?`+strings.Repeat(`, ?`, max(len(args)-1, 0))+`)`, append(args, []byte{})[:max(len(args), 1)]...)
	}
	for _, name := range slices.Sorted(maps.Keys(q.Equal)) {
		value := q.Equal[name]
		if id, ok := records.ID(value).Bytes(); ok && name == "block" {
			s.and(`c.block = ?`, id[:])
			continue
		}
		if member, ok := canonicalMember(name, value); ok {
			s.and(`instr(r.properties, ?) > 0`, member)
		}
	}
}

// canonicalMember is how a string property stands in canonical JSON. Deeper
// objects hold such text too, so it only narrows.
func canonicalMember(name, value string) (string, bool) {
	raw, err := json.Marshal(map[string]string{name: value})
	if err != nil {
		return "", false
	}
	canonical, err := wire.Canonical(raw)
	if err != nil {
		return "", false
	}
	return string(canonical[1 : len(canonical)-1]), true
}

// candidateBox is one box that holds a box on both sides of the antimeridian.
func candidateBox(b geo.Box) geo.Box {
	if b.Min[0] > b.Max[0] {
		b.Min[0], b.Max[0] = -180, 180
	}
	return b
}

func inPlaces(farm, kind int64, box geo.Box) (condition string, args []driver.Value) {
	b, shelf := candidateBox(box), shelf(farm, kind)
	return `p.west <= ? AND p.east >= ? AND p.south <= ? AND p.north >= ? AND p.shelf_from <= ? AND p.shelf_to >= ?`,
		[]driver.Value{b.Max[0], b.Min[0], b.Max[1], b.Min[1], shelf + 1, shelf}
}

// candidates counts boxes in the R*Tree, up to boxIsLarge + 1.
func (r *reader) candidates(kind int64, box geo.Box) (int64, error) {
	condition, args := inPlaces(r.number, kind, box)
	return r.conn.number(r.ctx, `SELECT count(*) FROM (SELECT 1 FROM places p WHERE `+condition+` LIMIT ?)`,
		append(args, int64(boxIsLarge)+1)...)
}
