package sqlite

import (
	"context"
	"database/sql/driver"
	"time"

	"caneward/records"
	"caneward/records/people"
)

const personColumns = `p.id, p.name, p.display, p.password, p.created_us, p.rights`

func readPerson(row []driver.Value) people.Person {
	return people.Person{
		ID: records.PersonID(text(row[0])), Name: text(row[1]), Display: text(row[2]), Password: text(row[3]),
		Created: time.UnixMicro(integer(row[4])).UTC(), Rights: int(integer(row[5])),
	}
}

// look gives the rows of a query in a read transaction of their own.
func (s *Store) look(ctx context.Context, query string, f func(row []driver.Value), args ...driver.Value) error {
	return s.readers.with(ctx, func(c *conn) error {
		return c.rows(ctx, query, args, func(row []driver.Value) error {
			f(row)
			return nil
		})
	})
}

// exists runs inside a transaction.
func (t *transaction) exists(query string, arg driver.Value) (bool, error) {
	row, err := t.conn.row(background, query, arg)
	return row != nil, err
}

// CreatePerson implements people.Store.
func (s *Store) CreatePerson(ctx context.Context, p people.Person) error {
	if err := p.Check(); err != nil {
		return err
	}
	err := s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.createPerson(p)
	})
	if isUnique(err) {
		return people.NameTaken(p.Name)
	}
	return err
}

func (t *transaction) createPerson(p people.Person) error {
	return t.conn.exec(`INSERT INTO people (id, name, display, password, created_us) VALUES (?, ?, ?, ?, ?)`,
		string(p.ID), p.Name, p.Display, p.Password, p.Created.UnixMicro())
}

// SetPassword implements people.Store.
func (s *Store) SetPassword(ctx context.Context, id records.PersonID, phc string) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.setPassword(id, phc)
	})
}

func (t *transaction) setPassword(id records.PersonID, phc string) error {
	there, err := t.exists(`SELECT 1 FROM people WHERE id = ?`, string(id))
	switch {
	case err != nil:
		return err
	case !there:
		return people.Missing()
	}
	if err := t.conn.exec(`UPDATE people SET password = ? WHERE id = ?`, phc, string(id)); err != nil {
		return err
	}
	return t.conn.exec(`DELETE FROM sessions WHERE person = ?`, string(id))
}

// PersonByName implements people.Store.
func (s *Store) PersonByName(ctx context.Context, name string) (people.Person, error) {
	return s.person(ctx, `SELECT `+personColumns+` FROM people p WHERE p.name = ?`, name)
}

// Person implements people.Store.
func (s *Store) Person(ctx context.Context, id records.PersonID) (people.Person, error) {
	return s.person(ctx, `SELECT `+personColumns+` FROM people p WHERE p.id = ?`, string(id))
}

func (s *Store) person(ctx context.Context, query, arg string) (people.Person, error) {
	var found []people.Person
	err := s.look(ctx, query, func(row []driver.Value) { found = append(found, readPerson(row)) }, arg)
	if err != nil {
		return people.Person{}, err
	}
	if len(found) == 0 {
		return people.Person{}, people.Missing()
	}
	return found[0], nil
}

// People implements people.Store.
func (s *Store) People(ctx context.Context) (all []people.Person, err error) {
	err = s.look(ctx, `SELECT `+personColumns+` FROM people p ORDER BY p.name`, func(row []driver.Value) {
		all = append(all, readPerson(row))
	})
	return all, err
}

// SetRole implements people.Store.
func (s *Store) SetRole(ctx context.Context, m people.Membership) error {
	if err := m.Check(); err != nil {
		return err
	}
	return s.writer.submit(ctx, 1, func(t *transaction) error { return t.setRole(m) })
}

func (t *transaction) setRole(m people.Membership) error {
	there, err := t.exists(`SELECT 1 FROM people WHERE id = ?`, string(m.Person))
	switch {
	case err != nil:
		return err
	case !there:
		return people.Missing()
	}
	farm, err := t.conn.row(background, `SELECT number FROM farms WHERE id = ?`, string(m.Farm))
	switch {
	case err != nil:
		return err
	case farm == nil:
		return records.FarmMissing()
	}
	if err := t.conn.exec(`UPDATE people SET rights = rights + 1 WHERE id = ?`, string(m.Person)); err != nil {
		return err
	}
	if m.Role != "" {
		return t.conn.exec(`INSERT INTO memberships (person, farm, role, limits) VALUES (?, ?, ?, ?)
			ON CONFLICT (person, farm) DO UPDATE SET role = excluded.role, limits = excluded.limits`,
			string(m.Person), farm[0], string(m.Role), m.Limits.Text())
	}
	if err := t.conn.exec(`UPDATE grants SET ended_us = ? WHERE person = ? AND farm = ? AND purpose = ? AND ended_us IS NULL`,
		t.now().UnixMicro(), string(m.Person), farm[0], string(people.Token)); err != nil {
		return err
	}
	return t.conn.exec(`DELETE FROM memberships WHERE person = ? AND farm = ?`, string(m.Person), farm[0])
}

const memberships = `SELECT m.person, f.id, m.role, m.limits FROM memberships m JOIN farms f ON f.number = m.farm JOIN people p ON p.id = m.person `

func readMembership(row []driver.Value) (people.Membership, error) {
	limits, err := people.ParseLimits(text(row[3]))
	return people.Membership{Person: records.PersonID(text(row[0])), Farm: records.FarmID(text(row[1])), Role: records.Role(text(row[2])), Limits: limits}, err
}

func (c *conn) memberships(ctx context.Context, where string, args ...driver.Value) (all []people.Membership, err error) {
	err = c.rows(ctx, memberships+where, args, func(row []driver.Value) error {
		m, err := readMembership(row)
		all = append(all, m)
		return err
	})
	return all, err
}

// MembershipOn implements people.Store.
func (s *Store) MembershipOn(ctx context.Context, id records.PersonID, farm records.FarmID) (m people.Membership, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		all, err := c.memberships(ctx, `WHERE m.person = ? AND f.id = ?`, string(id), string(farm))
		if err == nil && len(all) == 0 {
			err = records.FarmMissing()
		}
		if err == nil {
			m = all[0]
		}
		return err
	})
	return m, err
}

// FarmsOf implements people.Store.
func (s *Store) FarmsOf(ctx context.Context, id records.PersonID) (all []people.Membership, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		all, err = c.memberships(ctx, `WHERE m.person = ? ORDER BY f.id`, string(id))
		return err
	})
	return all, err
}

// Members implements people.Store.
func (s *Store) Members(ctx context.Context, farm records.FarmID) (all []people.Membership, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		if _, err := newReader(ctx, c, farm); err != nil {
			return err
		}
		all, err = c.memberships(ctx, `WHERE f.id = ? ORDER BY p.name`, string(farm))
		return err
	})
	return all, err
}

// SaveSession implements people.Store.
func (s *Store) SaveSession(ctx context.Context, session people.Session) error {
	var person driver.Value
	if session.Person != "" {
		person = string(session.Person)
	}
	data := session.Data
	if data == nil {
		data = []byte{}
	}
	err := s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`INSERT OR REPLACE INTO sessions (token_hash, person, data, expires_us) VALUES (?, ?, ?, ?)`,
			session.TokenHash[:], person, data, session.Expires.UnixMicro())
	})
	if isForeignKey(err) {
		return people.Missing()
	}
	return err
}

// Session implements people.Store.
func (s *Store) Session(ctx context.Context, tokenHash [32]byte, now time.Time) (found people.Session, err error) {
	there := false
	err = s.look(ctx, `SELECT person, data, expires_us FROM sessions WHERE token_hash = ?`, func(row []driver.Value) {
		found = people.Session{
			TokenHash: tokenHash, Person: records.PersonID(text(row[0])), Data: bytes(row[1]),
			Expires: time.UnixMicro(integer(row[2])).UTC(),
		}
		there = true
	}, tokenHash[:])
	if err == nil && !(there && found.Expires.After(now)) {
		found, err = people.Session{}, people.SessionMissing()
	}
	return found, err
}

// DeleteSession implements people.Store.
func (s *Store) DeleteSession(ctx context.Context, tokenHash [32]byte) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`DELETE FROM sessions WHERE token_hash = ?`, tokenHash[:])
	})
}

// DeleteExpiredSessions implements people.Store.
func (s *Store) DeleteExpiredSessions(ctx context.Context, now time.Time) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`DELETE FROM sessions WHERE expires_us <= ?`, now.UnixMicro())
	})
}
