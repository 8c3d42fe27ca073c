package memory

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"time"

	"caneward/records"
	"caneward/records/people"
)

// CreatePerson implements people.Store.
func (s *Store) CreatePerson(ctx context.Context, p people.Person) error {
	if err := p.Check(); err != nil {
		return err
	}
	return s.change(ctx, func() error { return s.createPerson(p) })
}

func (s *Store) createPerson(p people.Person) error {
	if _, taken := s.names[p.Name]; taken {
		return people.NameTaken(p.Name)
	}
	if _, taken := s.people[p.ID]; taken {
		return people.NameTaken(p.Name)
	}
	p.Created, p.Rights = records.WholeMicroseconds(p.Created), 0
	s.people[p.ID] = p
	s.names[p.Name] = p.ID
	return nil
}

// SetPassword implements people.Store.
func (s *Store) SetPassword(ctx context.Context, id records.PersonID, phc string) error {
	return s.change(ctx, func() error { return s.setPassword(id, phc) })
}

func (s *Store) setPassword(id records.PersonID, phc string) error {
	p, there := s.people[id]
	if !there {
		return people.Missing()
	}
	p.Password = phc
	s.people[id] = p
	for token, session := range s.sessions {
		if session.Person == id {
			delete(s.sessions, token)
		}
	}
	return nil
}

// PersonByName implements people.Store.
func (s *Store) PersonByName(ctx context.Context, name string) (found people.Person, err error) {
	err = s.look(ctx, func() error {
		id, there := s.names[name]
		if !there {
			return people.Missing()
		}
		found = s.people[id]
		return nil
	})
	return found, err
}

// Person implements people.Store.
func (s *Store) Person(ctx context.Context, id records.PersonID) (found people.Person, err error) {
	err = s.look(ctx, func() error {
		p, there := s.people[id]
		if !there {
			return people.Missing()
		}
		found = p
		return nil
	})
	return found, err
}

// People implements people.Store.
func (s *Store) People(ctx context.Context) (all []people.Person, err error) {
	err = s.look(ctx, func() error {
		for _, p := range s.people {
			all = append(all, p)
		}
		slices.SortFunc(all, func(a, b people.Person) int { return strings.Compare(a.Name, b.Name) })
		return nil
	})
	return all, err
}

// SetRole implements people.Store.
func (s *Store) SetRole(ctx context.Context, m people.Membership) error {
	if err := m.Check(); err != nil {
		return err
	}
	return s.change(ctx, func() error { return s.setRole(m) })
}

func (s *Store) setRole(m people.Membership) error {
	p, there := s.people[m.Person]
	if !there {
		return people.Missing()
	}
	if _, there := s.farms[m.Farm]; !there {
		return records.FarmMissing()
	}
	p.Rights++
	s.people[m.Person] = p
	k := membership{m.Person, m.Farm}
	if m.Role != "" {
		m.Limits = m.Limits.Normal()
		s.roles[k] = m
		return nil
	}
	delete(s.roles, k)
	for hash, g := range s.grants {
		if g.Purpose == people.Token && g.Person == m.Person && g.Farm == m.Farm && g.Ended.IsZero() {
			g.Ended = records.WholeMicroseconds(s.now())
			s.grants[hash] = g
		}
	}
	return nil
}

// MembershipOn implements people.Store.
func (s *Store) MembershipOn(ctx context.Context, id records.PersonID, farm records.FarmID) (m people.Membership, err error) {
	err = s.look(ctx, func() error {
		var there bool
		if m, there = s.roles[membership{id, farm}]; !there {
			return records.FarmMissing()
		}
		return nil
	})
	return m, err
}

// FarmsOf implements people.Store.
func (s *Store) FarmsOf(ctx context.Context, id records.PersonID) (all []people.Membership, err error) {
	err = s.look(ctx, func() error {
		for k, m := range s.roles {
			if k.person == id {
				all = append(all, m)
			}
		}
		slices.SortFunc(all, func(a, b people.Membership) int { return strings.Compare(string(a.Farm), string(b.Farm)) })
		return nil
	})
	return all, err
}

// Members implements people.Store.
func (s *Store) Members(ctx context.Context, farm records.FarmID) (all []people.Membership, err error) {
	err = s.look(ctx, func() error {
		if _, there := s.farms[farm]; !there {
			return records.FarmMissing()
		}
		for k, m := range s.roles {
			if k.farm == farm {
				all = append(all, m)
			}
		}
		slices.SortFunc(all, func(a, b people.Membership) int {
			return strings.Compare(s.people[a.Person].Name, s.people[b.Person].Name)
		})
		return nil
	})
	return all, err
}

// SaveSession implements people.Store.
func (s *Store) SaveSession(ctx context.Context, session people.Session) error {
	return s.change(ctx, func() error {
		if session.Person != "" {
			if _, there := s.people[session.Person]; !there {
				return people.Missing()
			}
		}
		session.Data = bytes.Clone(session.Data)
		session.Expires = records.WholeMicroseconds(session.Expires)
		s.sessions[session.TokenHash] = session
		return nil
	})
}

// Session implements people.Store.
func (s *Store) Session(ctx context.Context, tokenHash [32]byte, now time.Time) (found people.Session, err error) {
	err = s.look(ctx, func() error {
		session, there := s.sessions[tokenHash]
		if !there || !session.Expires.After(now) {
			return people.SessionMissing()
		}
		found = session
		found.Data = bytes.Clone(session.Data)
		return nil
	})
	return found, err
}

// DeleteSession implements people.Store.
func (s *Store) DeleteSession(ctx context.Context, tokenHash [32]byte) error {
	return s.change(ctx, func() error {
		delete(s.sessions, tokenHash)
		return nil
	})
}

// DeleteExpiredSessions implements people.Store.
func (s *Store) DeleteExpiredSessions(ctx context.Context, now time.Time) error {
	return s.change(ctx, func() error {
		for token, session := range s.sessions {
			if !session.Expires.After(now) {
				delete(s.sessions, token)
			}
		}
		return nil
	})
}

func (s *Store) change(ctx context.Context, f func() error) error {
	s.lock.Lock()
	defer s.lock.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	return f()
}

func (s *Store) look(ctx context.Context, f func() error) error {
	s.lock.RLock()
	defer s.lock.RUnlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	return f()
}
