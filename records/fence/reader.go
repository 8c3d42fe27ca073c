package fence

import (
	"context"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
)

var outsideLimits = words.New("fence-outside",
	"This lies outside the blocks and seasons you were given on this farm. Ask the owner.",
	"Esto queda fuera de los bloques y temporadas que se le dieron en esta finca. Pregunte al dueño.")

func outside() error { return fault.New(fault.Forbidden, outsideLimits.Plain()) }

// reader is one farm in one state, less what may not be seen. Sequence numbers
// count what is seen, so that nothing tells how much is not.
type reader struct {
	ctx   context.Context
	inner records.Reader
	book  *book
	lines []line
	sight sight
}

func (r *reader) Farm() records.Farm { return r.inner.Farm() }

func (r *reader) Sequence() int64 { return int64(len(r.lines)) }

// showsNow reports whether a record's current revision is seen.
func (r *reader) showsNow(kind records.Kind, id records.ID) (bool, error) {
	rev, err := r.inner.Current(kind, id)
	if fault.Is(err, fault.Missing) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return r.sight.sees(rev)
}

// showsHistory judges a record by the last of its revisions that has content.
func (r *reader) showsHistory(history []records.Revision) (bool, error) {
	for i := len(history) - 1; i >= 0; i-- {
		if !history[i].Deleted {
			return r.sight.sees(history[i])
		}
	}
	return false, nil
}

// numbered gives a revision the sequence number under which it is seen.
func (r *reader) numbered(rev records.Revision) records.Revision {
	rev.Sequence = place(r.lines, rev.Sequence)
	return rev
}

// Current implements records.Reader.
func (r *reader) Current(kind records.Kind, id records.ID) (records.Revision, error) {
	rev, err := r.inner.Current(kind, id)
	if err != nil {
		return records.Revision{}, err
	}
	seen, err := r.sight.sees(rev)
	if err == nil && !seen {
		err = records.RecordMissing()
	}
	if err != nil {
		return records.Revision{}, err
	}
	return r.numbered(rev), nil
}

// Revisions implements records.Reader: those of a record that is seen, less the
// ones that stood where nothing is seen.
func (r *reader) Revisions(kind records.Kind, id records.ID) ([]records.Revision, error) {
	history, err := r.inner.Revisions(kind, id)
	if err != nil {
		return nil, err
	}
	seen, err := r.showsHistory(history)
	if err != nil {
		return nil, err
	}
	if !seen {
		return nil, records.RecordMissing()
	}
	var all []records.Revision
	before := false // whether the revision before was seen
	for _, rev := range history {
		if !rev.Deleted {
			if before, err = r.sight.sees(rev); err != nil {
				return nil, err
			}
		}
		if before {
			all = append(all, r.numbered(rev))
		}
	}
	return all, nil
}

// At implements records.Reader.
func (r *reader) At(kind records.Kind, id records.ID, number int) (records.Revision, error) {
	all, err := r.Revisions(kind, id)
	if err != nil && !fault.Is(err, fault.Missing) {
		return records.Revision{}, err
	}
	for _, rev := range all {
		if rev.Number == number {
			return rev, nil
		}
	}
	return records.Revision{}, records.RevisionMissing()
}

// listStep is how many records are read at a time where nobody keeps them.
const listStep = 2000

// List implements records.Reader.
func (r *reader) List(kind records.Kind, q records.Query) (page records.Page, err error) {
	limit := q.Limit
	err = r.walk(kind, q, func(rev records.Revision) bool {
		if limit > 0 && len(page.Revisions) == limit {
			page.More = true
			return false
		}
		page.Revisions = append(page.Revisions, r.numbered(rev))
		return true
	})
	return page, err
}

// Count implements records.Reader.
func (r *reader) Count(kind records.Kind, q records.Query) (n int, err error) {
	q.Limit, q.After = 0, ""
	err = r.walk(kind, q, func(records.Revision) bool { n++; return true })
	return n, err
}

// walk gives what a query admits and may be seen, by id, until f says no.
func (r *reader) walk(kind records.Kind, q records.Query, f func(records.Revision) bool) error {
	if oneBlock[kind] && len(r.sight.limits.Blocks) > 0 && q.Blocks == nil {
		q.Blocks = r.sight.limits.Blocks
	}
	if q.Limit > 0 {
		q.Limit++ // one more tells whether there are more
	}
	for {
		page, err := r.inner.List(kind, q)
		if err != nil {
			return err
		}
		for _, rev := range page.Revisions {
			seen, err := r.sight.sees(rev)
			if err != nil {
				return err
			}
			if seen && !f(rev) {
				return nil
			}
		}
		if !page.More || len(page.Revisions) == 0 {
			return nil
		}
		q.After = page.Revisions[len(page.Revisions)-1].ID
		q.Limit = min(2*q.Limit, max(q.Limit, listStep)) // much of it is not seen
	}
}

// Since implements records.Reader. A record that went out of sight is given as
// a closed one, without who wrote it.
func (r *reader) Since(after int64, limit int) ([]records.Revision, bool, error) {
	if err := (records.Query{Limit: limit}).Check(); err != nil {
		return nil, false, err
	}
	from := min(max(after, 0), int64(len(r.lines)))
	to := int64(len(r.lines))
	if limit > 0 {
		to = min(to, from+int64(limit))
	}
	var all []records.Revision
	for i := from; i < to; {
		run := r.run(i, to)
		revisions, _, err := r.inner.Since(r.lines[i].of-1, int(run))
		if err != nil {
			return nil, false, err
		}
		for k, rev := range revisions {
			if rev, err = r.shown(rev, r.lines[i+int64(k)]); err != nil {
				return nil, false, err
			}
			rev.Sequence = i + int64(k) + 1
			all = append(all, rev)
		}
		i += run
	}
	return all, to < int64(len(r.lines)), nil
}

// run is how many lines from i on follow each other in the farm's own feed too.
func (r *reader) run(i, to int64) int64 {
	n := int64(1)
	for i+n < to && r.lines[i+n].of == r.lines[i].of+n {
		n++
	}
	return n
}

// shown is a line's revision as it is seen at this state: of a record that has
// gone out of sight since, only that it is gone.
func (r *reader) shown(rev records.Revision, l line) (records.Revision, error) {
	gone := l.gone
	if !gone && r.book.everLeft(key{rev.Kind, rev.ID}) {
		history, err := r.inner.Revisions(rev.Kind, rev.ID)
		if err != nil {
			return rev, err
		}
		seen, err := r.showsHistory(history)
		if err != nil {
			return rev, err
		}
		gone = !seen
	}
	if gone && !rev.Deleted {
		rev = records.Revision{Kind: rev.Kind, ID: rev.ID, Number: rev.Number, Deleted: true}
	}
	return rev, nil
}
