// Package memory keeps farms and people in plain maps. It is the readable
// definition of what a store does, and what tests of other packages use; the
// suite in records/storetest holds it and the store on disk to the same
// answers. Nothing outlives the process.
package memory

import (
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/people"
)

// Store implements records.Store and people.Store. Revisions it gives out
// share memory with it and are not to be changed.
type Store struct {
	now func() time.Time

	lock     sync.RWMutex
	farms    map[records.FarmID]*farm
	people   map[records.PersonID]people.Person
	names    map[string]records.PersonID
	roles    map[membership]people.Membership
	sessions map[[32]byte]people.Session
	grants   map[[32]byte]people.Grant
	seconds  map[records.PersonID]people.SecondFactor
}

var (
	_ records.Store = (*Store)(nil)
	_ people.Store  = (*Store)(nil)
)

type membership struct {
	person records.PersonID
	farm   records.FarmID
}

// farm holds every revision in the order of its Sequence; the histories point
// into it.
type farm struct {
	records.Farm
	revisions []*revision
	histories map[key][]*revision
	photos    map[records.ID]records.Photo
	documents map[records.DocumentName][]records.Document
	seen      map[records.SeenKey]records.Seen
}

type key struct {
	kind records.Kind
	id   records.ID
}

type revision struct {
	records.Revision
	content records.Content
	facets  records.Facets
}

// New makes an empty store. now is the clock of Revision.At.
func New(now func() time.Time) *Store {
	return &Store{
		now:      now,
		farms:    map[records.FarmID]*farm{},
		people:   map[records.PersonID]people.Person{},
		names:    map[string]records.PersonID{},
		roles:    map[membership]people.Membership{},
		sessions: map[[32]byte]people.Session{},
		grants:   map[[32]byte]people.Grant{},
		seconds:  map[records.PersonID]people.SecondFactor{},
	}
}

// Close does nothing.
func (s *Store) Close() error { return nil }

// CreateFarm implements records.Store.
func (s *Store) CreateFarm(ctx context.Context, f records.Farm) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := f.Check(); err != nil {
		return err
	}
	s.lock.Lock()
	defer s.lock.Unlock()
	if _, taken := s.farms[f.ID]; taken {
		return records.FarmTaken(f.ID)
	}
	f.Created = records.WholeMicroseconds(f.Created)
	s.farms[f.ID] = &farm{Farm: f, histories: map[key][]*revision{}}
	return nil
}

// Farms implements records.Store.
func (s *Store) Farms(ctx context.Context) ([]records.Farm, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s.lock.RLock()
	defer s.lock.RUnlock()
	var all []records.Farm
	for _, f := range s.farms {
		all = append(all, f.Farm)
	}
	slices.SortFunc(all, func(a, b records.Farm) int { return strings.Compare(string(a.ID), string(b.ID)) })
	return all, nil
}

// View implements records.Store. The reader sees the farm as it was when View
// began: it holds the revisions up to that Sequence and no lock, so f may write.
func (s *Store) View(ctx context.Context, id records.FarmID, f func(records.Reader) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.lock.RLock()
	kept, there := s.farms[id]
	if !there {
		s.lock.RUnlock()
		return records.FarmMissing()
	}
	r := &reader{store: s, ctx: ctx, farm: kept, sequence: int64(len(kept.revisions))}
	s.lock.RUnlock()
	return f(r)
}

// Write implements records.Store.
func (s *Store) Write(ctx context.Context, id records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	return s.write(ctx, id, writes, false)
}

// WriteTogether implements records.Store.
func (s *Store) WriteTogether(ctx context.Context, id records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	return s.write(ctx, id, writes, true)
}

func (s *Store) write(ctx context.Context, id records.FarmID, writes []records.Write, together bool) ([]records.Outcome, error) {
	outcomes := make([]records.Outcome, len(writes))
	contents := make([]records.Content, len(writes))
	for i, w := range writes {
		contents[i], outcomes[i].Err = w.Content()
	}
	s.lock.Lock()
	defer s.lock.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	f, there := s.farms[id]
	if !there {
		return nil, records.FarmMissing()
	}
	at := records.WholeMicroseconds(s.now())
	before := len(f.revisions)
	for i, w := range writes {
		if outcomes[i].Err == nil {
			outcomes[i] = f.write(w, contents[i], at)
		}
	}
	if together && records.AnyRefused(outcomes) {
		f.undo(before)
		return records.OnlyRefusals(outcomes), nil
	}
	return outcomes, nil
}

// undo takes the newest revisions off until so many are left.
func (f *farm) undo(left int) {
	for i := len(f.revisions) - 1; i >= left; i-- {
		k := key{f.revisions[i].Kind, f.revisions[i].ID}
		if h := f.histories[k]; len(h) > 1 {
			f.histories[k] = h[:len(h)-1]
		} else {
			delete(f.histories, k)
		}
	}
	f.revisions = f.revisions[:left]
}

func (f *farm) write(w records.Write, content records.Content, at time.Time) records.Outcome {
	history := f.histories[key{w.Kind, w.ID}]
	state := records.State{Number: len(history)}
	if state.Number > 0 {
		state.Deleted = history[state.Number-1].Deleted
	}
	verdict := w.Judge(state, func(number int) (bool, error) {
		r := history[number-1]
		return r.Deleted == w.Delete && r.content.Equal(content), nil
	})
	switch {
	case verdict.Refused != nil:
		o := records.Outcome{Err: verdict.Refused}
		if fault.Is(o.Err, fault.Conflict) || fault.Is(o.Err, fault.Stale) {
			o.Current = state.Number
		}
		return o
	case verdict.Repeat > 0:
		return records.Outcome{Revision: history[verdict.Repeat-1].Revision, Repeated: true}
	}
	r, err := f.append(w, content, state.Number+1, at)
	if err != nil {
		return records.Outcome{Err: err}
	}
	return records.Outcome{Revision: r.Revision, Created: r.Number == 1}
}

func (f *farm) append(w records.Write, content records.Content, number int, at time.Time) (*revision, error) {
	r := &revision{content: content, Revision: records.Revision{
		Kind: w.Kind, ID: w.ID, Number: number, Sequence: int64(len(f.revisions)) + 1,
		Deleted: w.Delete, By: w.By, At: at,
	}}
	if !w.Delete {
		var err error
		if r.Record, err = content.Record(); err != nil {
			return nil, err
		}
		r.facets = records.FacetsOf(w.Kind, r.Record)
	}
	var previous [32]byte
	if n := len(f.revisions); n > 0 {
		previous = f.revisions[n-1].Hash
	}
	r.Hash = records.Link(previous, f.ChainID(), r.Revision, content)
	f.revisions = append(f.revisions, r)
	k := key{w.Kind, w.ID}
	f.histories[k] = append(f.histories[k], r)
	return r, nil
}
