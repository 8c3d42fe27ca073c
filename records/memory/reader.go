package memory

import (
	"context"
	"slices"
	"strings"

	"caneward/records"
)

// reader sees the first sequence revisions of a farm.
type reader struct {
	store    *Store
	ctx      context.Context
	farm     *farm
	sequence int64
}

func (r *reader) Farm() records.Farm { return r.farm.Farm }

func (r *reader) Sequence() int64 { return r.sequence }

// seen cuts what came after the view began off a history.
func (r *reader) seen(history []*revision) []*revision {
	n := len(history)
	for n > 0 && history[n-1].Sequence > r.sequence {
		n--
	}
	return history[:n]
}

func (r *reader) history(kind records.Kind, id records.ID) ([]*revision, error) {
	if err := r.ctx.Err(); err != nil {
		return nil, err
	}
	r.store.lock.RLock()
	defer r.store.lock.RUnlock()
	return r.seen(r.farm.histories[key{kind, id}]), nil
}

// Current implements records.Reader.
func (r *reader) Current(kind records.Kind, id records.ID) (records.Revision, error) {
	history, err := r.history(kind, id)
	if err != nil {
		return records.Revision{}, err
	}
	if n := len(history); n > 0 && !history[n-1].Deleted {
		return history[n-1].Revision, nil
	}
	return records.Revision{}, records.RecordMissing()
}

// At implements records.Reader.
func (r *reader) At(kind records.Kind, id records.ID, number int) (records.Revision, error) {
	history, err := r.history(kind, id)
	if err != nil {
		return records.Revision{}, err
	}
	if number < 1 || number > len(history) {
		return records.Revision{}, records.RevisionMissing()
	}
	return history[number-1].Revision, nil
}

// Revisions implements records.Reader.
func (r *reader) Revisions(kind records.Kind, id records.ID) ([]records.Revision, error) {
	history, err := r.history(kind, id)
	if err != nil {
		return nil, err
	}
	if len(history) == 0 {
		return nil, records.RecordMissing()
	}
	all := make([]records.Revision, len(history))
	for i, h := range history {
		all[i] = h.Revision
	}
	return all, nil
}

// List implements records.Reader.
func (r *reader) List(kind records.Kind, q records.Query) (records.Page, error) {
	found, err := r.find(kind, q)
	if err != nil {
		return records.Page{}, err
	}
	var page records.Page
	for _, f := range found {
		if f.ID <= q.After {
			continue
		}
		if q.Limit > 0 && len(page.Revisions) == q.Limit {
			page.More = true
			break
		}
		page.Revisions = append(page.Revisions, f.Revision)
	}
	return page, nil
}

// Count implements records.Reader.
func (r *reader) Count(kind records.Kind, q records.Query) (int, error) {
	found, err := r.find(kind, q)
	return len(found), err
}

// checkEvery is how many records are looked at between two looks at the
// context: about a millisecond's work.
const checkEvery = 1024

// find gives what a query admits, by id.
func (r *reader) find(kind records.Kind, q records.Query) ([]*revision, error) {
	if err := r.ctx.Err(); err != nil {
		return nil, err
	}
	if err := q.Check(); err != nil {
		return nil, err
	}
	r.store.lock.RLock()
	defer r.store.lock.RUnlock()
	var found []*revision
	looked := 0
	for k, history := range r.farm.histories {
		if looked++; looked%checkEvery == 0 && r.ctx.Err() != nil {
			return nil, r.ctx.Err()
		}
		if k.kind != kind {
			continue
		}
		seen := r.seen(history)
		if len(seen) == 0 {
			continue
		}
		if last := seen[len(seen)-1]; !last.Deleted && q.Admits(last.facets, last.Record) {
			found = append(found, last)
		}
	}
	slices.SortFunc(found, func(a, b *revision) int { return strings.Compare(string(a.ID), string(b.ID)) })
	return found, nil
}

// Since implements records.Reader.
func (r *reader) Since(after int64, limit int) ([]records.Revision, bool, error) {
	if err := r.ctx.Err(); err != nil {
		return nil, false, err
	}
	if err := (records.Query{Limit: limit}).Check(); err != nil {
		return nil, false, err
	}
	r.store.lock.RLock()
	defer r.store.lock.RUnlock()
	from := min(max(after, 0), r.sequence)
	to := r.sequence
	if limit > 0 {
		to = min(to, from+int64(limit))
	}
	var all []records.Revision
	for _, v := range r.farm.revisions[from:to] {
		all = append(all, v.Revision)
	}
	return all, to < r.sequence, nil
}
