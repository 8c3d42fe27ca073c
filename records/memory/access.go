package memory

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"caneward/records"
	"caneward/records/people"
)

// AddGrant implements people.Store.
func (s *Store) AddGrant(ctx context.Context, g people.Grant) error {
	return s.change(ctx, func() error {
		if _, there := s.farms[g.Farm]; !there {
			return records.FarmMissing()
		}
		for _, id := range []records.PersonID{g.Person, g.By} {
			if _, there := s.people[id]; !there && (id != "" || g.By == "") {
				return people.Missing()
			}
		}
		for hash, other := range s.grants {
			if hash == g.Hash || other.ID == g.ID {
				return people.GrantTaken()
			}
		}
		g.Created, g.Expires = records.WholeMicroseconds(g.Created), records.WholeMicroseconds(g.Expires)
		g.Used, g.Ended, g.Limits = time.Time{}, time.Time{}, g.Limits.Normal()
		s.grants[g.Hash] = g
		return nil
	})
}

func (s *Store) grantOf(purpose people.Purpose, hash [32]byte, now time.Time) (people.Grant, error) {
	g, there := s.grants[hash]
	if !there || g.Purpose != purpose || !g.Usable(now) {
		return people.Grant{}, people.GrantMissing()
	}
	return g, nil
}

// GrantOf implements people.Store.
func (s *Store) GrantOf(ctx context.Context, purpose people.Purpose, hash [32]byte, now time.Time) (g people.Grant, err error) {
	err = s.look(ctx, func() error {
		g, err = s.grantOf(purpose, hash, now)
		return err
	})
	return g, err
}

// GrantsOn implements people.Store.
func (s *Store) GrantsOn(ctx context.Context, farm records.FarmID) (all []people.Grant, err error) {
	err = s.look(ctx, func() error {
		if _, there := s.farms[farm]; !there {
			return records.FarmMissing()
		}
		for _, g := range s.grants {
			if g.Farm == farm {
				all = append(all, g)
			}
		}
		slices.SortFunc(all, func(a, b people.Grant) int {
			return cmp.Or(a.Created.Compare(b.Created), strings.Compare(a.ID, b.ID))
		})
		return nil
	})
	return all, err
}

// EndGrant implements people.Store.
func (s *Store) EndGrant(ctx context.Context, farm records.FarmID, id string, now time.Time) error {
	return s.change(ctx, func() error {
		for hash, g := range s.grants {
			if g.ID == id && g.Farm == farm {
				if g.Ended.IsZero() {
					g.Ended = records.WholeMicroseconds(now)
					s.grants[hash] = g
				}
				return nil
			}
		}
		return people.GrantMissing()
	})
}

// TokenUsed implements people.Store.
func (s *Store) TokenUsed(ctx context.Context, id string, now time.Time) error {
	return s.change(ctx, func() error {
		for hash, g := range s.grants {
			if g.ID == id && g.Purpose == people.Token {
				g.Used = records.WholeMicroseconds(now)
				s.grants[hash] = g
			}
		}
		return nil
	})
}

// Accept implements people.Store.
func (s *Store) Accept(ctx context.Context, hash [32]byte, p people.Person, newcomer bool, now time.Time) (m people.Membership, err error) {
	if newcomer {
		if err := p.Check(); err != nil {
			return m, err
		}
	}
	err = s.change(ctx, func() error {
		g, err := s.grantOf(people.Invitation, hash, now)
		if err != nil {
			return err
		}
		if _, there := s.roles[membership{p.ID, g.Farm}]; there {
			return people.MemberAlready()
		}
		if newcomer {
			if err := s.createPerson(p); err != nil {
				return err
			}
		}
		made := people.Membership{Person: p.ID, Farm: g.Farm, Role: g.Role, Limits: g.Limits}
		if err := s.setRole(made); err != nil {
			return err
		}
		g.Used, g.Person = records.WholeMicroseconds(now), p.ID
		s.grants[hash] = g
		m = made
		return nil
	})
	return m, err
}

// UseReset implements people.Store.
func (s *Store) UseReset(ctx context.Context, hash [32]byte, phc string, now time.Time) (id records.PersonID, err error) {
	err = s.change(ctx, func() error {
		g, err := s.grantOf(people.Reset, hash, now)
		if err != nil {
			return err
		}
		g.Used = records.WholeMicroseconds(now)
		s.grants[hash] = g
		id = g.Person
		return s.setPassword(g.Person, phc)
	})
	return id, err
}

// SessionsOf implements people.Store.
func (s *Store) SessionsOf(ctx context.Context, id records.PersonID, now time.Time) (all []people.Session, err error) {
	err = s.look(ctx, func() error {
		for _, session := range s.sessions {
			if session.Person == id && session.Expires.After(now) {
				session.Data = bytes.Clone(session.Data)
				all = append(all, session)
			}
		}
		slices.SortFunc(all, func(a, b people.Session) int {
			return cmp.Or(b.Expires.Compare(a.Expires), bytes.Compare(a.TokenHash[:], b.TokenHash[:]))
		})
		return nil
	})
	return all, err
}

// SecondFactorOf implements people.Store.
func (s *Store) SecondFactorOf(ctx context.Context, id records.PersonID) (f people.SecondFactor, err error) {
	err = s.look(ctx, func() error {
		f, err = s.second(id)
		return err
	})
	return f, err
}

func (s *Store) second(id records.PersonID) (people.SecondFactor, error) {
	f, there := s.seconds[id]
	if !there {
		return f, people.SecondFactorMissing()
	}
	f.Secret, f.Recovery = bytes.Clone(f.Secret), slices.Clone(f.Recovery)
	return f, nil
}

// SetSecondFactor implements people.Store.
func (s *Store) SetSecondFactor(ctx context.Context, id records.PersonID, f *people.SecondFactor) error {
	return s.change(ctx, func() error {
		if f == nil {
			delete(s.seconds, id)
			return nil
		}
		if _, there := s.people[id]; !there {
			return people.Missing()
		}
		kept := *f
		kept.Secret, kept.Recovery = bytes.Clone(f.Secret), slices.Clone(f.Recovery)
		s.seconds[id] = kept
		return nil
	})
}

// SpendStep implements people.Store.
func (s *Store) SpendStep(ctx context.Context, id records.PersonID, step int64) error {
	return s.change(ctx, func() error {
		f, err := s.second(id)
		if err != nil {
			return err
		}
		if f.Step >= step {
			return people.CodeUsed()
		}
		f.Step = step
		s.seconds[id] = f
		return nil
	})
}

// SpendRecovery implements people.Store.
func (s *Store) SpendRecovery(ctx context.Context, id records.PersonID, hash string) error {
	return s.change(ctx, func() error {
		f, err := s.second(id)
		if err != nil {
			return err
		}
		at := slices.Index(f.Recovery, hash)
		if at < 0 {
			return people.SecondFactorMissing()
		}
		f.Recovery = slices.Delete(f.Recovery, at, at+1)
		s.seconds[id] = f
		return nil
	})
}
