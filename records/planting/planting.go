// Package planting reads a block's rows from the records, as they stand or as
// they stood, and tells which records name which of their plants.
package planting

import (
	"cmp"
	"slices"
	"time"

	"caneward/blocks"
	"caneward/records"
	"caneward/records/scouting"
)

// Row is a row with the record it was read from.
type Row struct {
	blocks.Row
	ID     records.ID
	Base   int // number of the revision
	Record records.Record
}

// Rows gives a block's rows as they stand, by number and then by id. A row the
// rules would refuse today is left out, for nothing may be built on it, and its
// id is among unread. The reader's errors.
func Rows(r records.Reader, block records.ID) (rows []Row, unread []records.ID, err error) {
	page, err := r.List(records.Rows, records.Query{Equal: map[string]string{"block": string(block)}})
	if err != nil {
		return nil, nil, err
	}
	rows, unread = parse(page.Revisions)
	return rows, unread, nil
}

// feedStep is how many revisions of the feed are read at a time.
const feedStep = 1000

// RowsAsOf is Rows as they stood at a moment: every row of the block by the last
// revision the server had taken by then, rows since deleted or moved to another
// block included. It reads the farm's whole feed, so that deleted rows are
// found too: some seconds for a million revisions. The reader's errors, its
// context's among them.
func RowsAsOf(r records.Reader, block records.ID, at time.Time) (rows []Row, unread []records.ID, err error) {
	last := map[records.ID]records.Revision{}
	for after, more := int64(0), true; more; {
		var revisions []records.Revision
		if revisions, more, err = r.Since(after, feedStep); err != nil {
			return nil, nil, err
		}
		for _, rev := range revisions {
			after = rev.Sequence
			if rev.Kind == records.Rows && !rev.At.After(at) {
				last[rev.ID] = rev
			}
		}
		if len(revisions) == 0 {
			break
		}
	}
	var stood []records.Revision
	for _, rev := range last {
		if rev.Deleted {
			continue
		}
		if row, _ := blocks.ParseRow(rev.Record.Geometry, rev.Record.Properties); row.Block == string(block) {
			stood = append(stood, rev)
		}
	}
	slices.SortFunc(stood, func(a, b records.Revision) int { return cmp.Compare(a.ID, b.ID) })
	rows, unread = parse(stood)
	return rows, unread, nil
}

// BlockAsOf is a block's record as it stood at a moment; as it stands where it
// was not there yet. fault.Missing when there is no such block now; else the
// reader's errors.
func BlockAsOf(r records.Reader, block records.ID, at time.Time) (records.Revision, error) {
	now, err := r.Current(records.Blocks, block)
	if err != nil {
		return now, err
	}
	all, err := r.Revisions(records.Blocks, block)
	if err != nil {
		return now, err
	}
	stood := now
	for _, rev := range all {
		if !rev.Deleted && !rev.At.After(at) {
			stood = rev
		}
	}
	return stood, nil
}

func parse(revisions []records.Revision) (rows []Row, unread []records.ID) {
	for _, rev := range revisions {
		row, faults := blocks.ParseRow(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 {
			unread = append(unread, rev.ID)
			continue
		}
		rows = append(rows, Row{Row: row, ID: rev.ID, Base: rev.Number, Record: rev.Record})
	}
	slices.SortStableFunc(rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.Number, b.Number), cmp.Compare(a.ID, b.ID))
	})
	return rows, unread
}

// Plain gives the rows alone, each number once: of two rows with one number the
// record with the lower id counts.
func Plain(rows []Row) []blocks.Row {
	var out []blocks.Row
	for _, r := range rows {
		if n := len(out); n == 0 || out[n-1].Number != r.Number {
			out = append(out, r.Row)
		}
	}
	return out
}

// Name is a record that names a plant by row and number. Plant 0 names the row
// alone.
type Name struct {
	Row, Plant int
	Kind       records.Kind
	ID         records.ID
}

// Names gives every record that names a plant of the block: finds, removals,
// the ends of stretches walked, and samples through the find they were taken
// from. By row, plant, kind and id. The reader's errors.
func Names(r records.Reader, block records.ID) ([]Name, error) {
	var names []Name
	of := records.Query{Equal: map[string]string{"block": string(block)}}
	finds := map[records.ID]scouting.Place{}
	err := each(r, records.Finds, of, func(rev records.Revision) {
		f, _ := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		if f.Row > 0 {
			finds[rev.ID] = scouting.Place{Row: f.Row, Plant: f.Plant}
		}
		names = append(names, NamedBy(records.Finds, rev.ID, rev.Record)...)
	})
	if err != nil {
		return nil, err
	}
	for _, kind := range []records.Kind{records.Removals, records.Visits} {
		if err := each(r, kind, of, func(rev records.Revision) {
			names = append(names, NamedBy(kind, rev.ID, rev.Record)...)
		}); err != nil {
			return nil, err
		}
	}
	err = each(r, records.Samples, records.Query{}, func(rev records.Revision) {
		s, _ := scouting.ParseSample(rev.Record.Geometry, rev.Record.Properties)
		for _, id := range s.Finds {
			if p, here := finds[id]; here {
				names = append(names, Name{p.Row, p.Plant, records.Samples, rev.ID})
			}
		}
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(names, compare)
	return slices.Compact(names), nil
}

func compare(a, b Name) int {
	return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Plant, b.Plant), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
}

func each(r records.Reader, kind records.Kind, q records.Query, visit func(records.Revision)) error {
	page, err := r.List(kind, q)
	if err != nil {
		return err
	}
	for _, rev := range page.Revisions {
		visit(rev)
	}
	return nil
}

// NamedBy gives the plants one find, removal or visit names. A visit names the
// ends of its stretches: a stretch that loses a plant in between still says
// what was looked at. Other kinds name none.
func NamedBy(kind records.Kind, id records.ID, rec records.Record) []Name {
	var names []Name
	add := func(row, plant int) {
		if row > 0 {
			names = append(names, Name{row, plant, kind, id})
		}
	}
	switch kind {
	case records.Finds:
		f, _ := scouting.ParseFind(rec.Geometry, rec.Properties)
		add(f.Row, f.Plant)
	case records.Removals:
		m, _ := scouting.ParseRemoval(rec.Geometry, rec.Properties)
		for _, p := range m.Plants {
			add(p.Row, p.Plant)
		}
	case records.Visits:
		v, _ := scouting.ParseVisit(rec.Geometry, rec.Properties)
		for _, s := range v.Inspected {
			add(s.Row, s.From)
			if s.To != s.From {
				add(s.Row, s.To)
			}
		}
	}
	return names
}
