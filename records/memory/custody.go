package memory

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"caneward/records"
	"caneward/records/people"
)

var _ records.Custody = (*Store)(nil)

// BringIn implements records.Custody.
func (s *Store) BringIn(ctx context.Context, id records.FarmID, a records.Arrival) error {
	described := a.Farm
	described.ID = id
	if err := described.Check(); err != nil {
		return err
	}
	if err := s.look(ctx, func() error { return s.emptyFarm(id) }); err != nil {
		return err
	}
	described.Chain = a.Farm.ChainID()
	described.Created = records.WholeMicroseconds(described.Created)
	described.Leaving, described.LeavingBy = time.Time{}, ""
	f := &farm{Farm: described, histories: map[key][]*revision{}, photos: map[records.ID]records.Photo{}, documents: map[records.DocumentName][]records.Document{}}
	for r, err := range a.Revisions {
		if err == nil {
			err = errors.Join(ctx.Err(), f.arrive(r))
		}
		if err != nil {
			return err
		}
	}
	for d, err := range a.Documents {
		if err == nil {
			err = errors.Join(ctx.Err(), f.arriveDocument(d))
		}
		if err != nil {
			return err
		}
	}
	for p, err := range a.Photos {
		if err == nil {
			err = errors.Join(ctx.Err(), records.CheckArriving(p.By, p.At), p.Check())
		}
		if err != nil {
			return err
		}
		p.By.Why = ""
		f.photos[p.ID] = p
	}
	return s.change(ctx, func() error {
		if err := s.emptyFarm(id); err != nil {
			return err
		}
		f.Brought, f.BroughtTo = records.WholeMicroseconds(s.now()), int64(len(f.revisions))
		if f.Chain == id {
			f.Chain = ""
		}
		f.seen = s.farms[id].seen
		s.farms[id] = f
		return nil
	})
}

func (s *Store) emptyFarm(id records.FarmID) error {
	f, there := s.farms[id]
	switch {
	case !there:
		return records.FarmMissing()
	case len(f.revisions) > 0 || len(f.documents) > 0 || len(f.photos) > 0:
		return records.FarmNotEmpty()
	}
	return nil
}

func (f *farm) arrive(r records.Revision) error {
	if err := records.CheckArriving(r.By, r.At); err != nil {
		return err
	}
	w := records.Write{Kind: r.Kind, ID: r.ID, Delete: r.Deleted, Record: r.Record, Base: r.Number - 1, By: r.By}
	content, err := w.Content()
	if err != nil {
		return err
	}
	history := f.histories[key{r.Kind, r.ID}]
	if r.Number != len(history)+1 || r.Deleted && (len(history) == 0 || history[len(history)-1].Deleted) {
		return records.HistoryBroken(r.Sequence)
	}
	stored, err := f.append(w, content, r.Number, r.At)
	if err == nil && (stored.Sequence != r.Sequence || stored.Hash != r.Hash) {
		err = records.HistoryBroken(r.Sequence)
	}
	return err
}

func (f *farm) arriveDocument(d records.Document) error {
	if err := records.CheckArriving(d.By, d.At); err != nil {
		return err
	}
	content, err := records.DocumentContent(d.Name, d.Number-1, d.Content)
	if err != nil {
		return err
	}
	all := f.documents[d.Name]
	var before [32]byte
	if len(all) > 0 {
		before = all[len(all)-1].Hash
	}
	d.Farm, d.Content = f.ID, content
	if d.Number != len(all)+1 || d.Link(before, f.ChainID()) != d.Hash {
		return records.HistoryDocument(d)
	}
	f.documents[d.Name] = append(all, d)
	return nil
}

// SetLeaving implements records.Custody.
func (s *Store) SetLeaving(ctx context.Context, id records.FarmID, at time.Time, by string) error {
	return s.change(ctx, func() error {
		f, there := s.farms[id]
		if !there {
			return records.FarmMissing()
		}
		f.Leaving, f.LeavingBy = time.Time{}, ""
		if !at.IsZero() {
			f.Leaving, f.LeavingBy = records.WholeMicroseconds(at), by
		}
		return nil
	})
}

// EraseDue implements records.Custody.
func (s *Store) EraseDue(ctx context.Context, now time.Time) (gone []records.FarmID, err error) {
	err = s.change(ctx, func() error {
		for _, id := range slices.Sorted(maps.Keys(s.farms)) {
			if f := s.farms[id]; f.Leaving.IsZero() || f.Leaving.After(now) {
				continue
			}
			gone = append(gone, id)
			delete(s.farms, id)
			maps.DeleteFunc(s.roles, func(m membership, _ people.Membership) bool { return m.farm == id })
			maps.DeleteFunc(s.grants, func(_ [32]byte, g people.Grant) bool { return g.Farm == id })
		}
		return nil
	})
	return gone, err
}

// AddSeen implements records.Custody.
func (s *Store) AddSeen(ctx context.Context, all []records.Seen) error {
	return s.change(ctx, func() error {
		for _, e := range all {
			f, there := s.farms[e.Farm]
			if !there {
				continue
			}
			if f.seen == nil {
				f.seen = map[records.SeenKey]records.Seen{}
			}
			if before, there := f.seen[e.Key()]; there {
				before.Add(e)
				e = before
			}
			f.seen[e.Key()] = e
		}
		return nil
	})
}

// EachSeen implements records.Custody.
func (s *Store) EachSeen(ctx context.Context, id records.FarmID, visit func(records.Seen) error) error {
	var all []records.Seen
	err := s.look(ctx, func() error {
		f, there := s.farms[id]
		if !there {
			return records.FarmMissing()
		}
		all = slices.Collect(maps.Values(f.seen))
		return nil
	})
	if err != nil {
		return err
	}
	slices.SortFunc(all, func(a, b records.Seen) int {
		return cmp.Or(a.Hour.Compare(b.Hour), cmp.Compare(a.Person, b.Person), cmp.Compare(a.Token, b.Token),
			cmp.Compare(a.What, b.What), cmp.Compare(a.Kind, b.Kind), rank(a.Refused)-rank(b.Refused))
	})
	for _, e := range all {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := visit(e); err != nil {
			return err
		}
	}
	return nil
}

// rank puts what was answered before what was refused.
func rank(refused bool) int {
	if refused {
		return 1
	}
	return 0
}

// ForgetSeen implements records.Custody.
func (s *Store) ForgetSeen(ctx context.Context, before time.Time) error {
	return s.change(ctx, func() error {
		for _, f := range s.farms {
			maps.DeleteFunc(f.seen, func(_ records.SeenKey, e records.Seen) bool { return e.Hour.Before(before) })
		}
		return nil
	})
}
