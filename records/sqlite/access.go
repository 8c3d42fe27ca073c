package sqlite

import (
	"context"
	"database/sql/driver"
	"slices"
	"strings"
	"time"

	"caneward/records"
	"caneward/records/people"
)

const grantColumns = `g.id, g.hash, g.purpose, f.id, g.person, g.made_by, g.name, g.role, g.limits, g.writes, g.created_us, g.expires_us, g.used_us, g.ended_us`

func readGrant(row []driver.Value) (people.Grant, error) {
	g := people.Grant{
		ID: text(row[0]), Purpose: people.Purpose(text(row[2])), Farm: records.FarmID(text(row[3])),
		Person: records.PersonID(text(row[4])), By: records.PersonID(text(row[5])), Name: text(row[6]), Role: records.Role(text(row[7])),
		Writes: integer(row[9]) == 1, Created: moment(row[10]), Expires: moment(row[11]), Used: moment(row[12]), Ended: moment(row[13]),
	}
	copy(g.Hash[:], bytes(row[1]))
	var err error
	g.Limits, err = people.ParseLimits(text(row[8]))
	return g, err
}

// moment reads microseconds; NULL is the zero time.
func moment(v driver.Value) time.Time {
	if v == nil {
		return time.Time{}
	}
	return time.UnixMicro(integer(v)).UTC()
}

// orNull is NULL for an empty text.
func orNull(s string) driver.Value {
	if s == "" {
		return nil
	}
	return s
}

// AddGrant implements people.Store.
func (s *Store) AddGrant(ctx context.Context, g people.Grant) error {
	err := s.writer.submit(ctx, 1, func(t *transaction) error {
		farm, err := t.conn.row(background, `SELECT number FROM farms WHERE id = ?`, string(g.Farm))
		if err != nil {
			return err
		}
		if farm == nil {
			return records.FarmMissing()
		}
		return t.conn.exec(`INSERT INTO grants (id, hash, purpose, farm, person, made_by, name, role, limits, writes, created_us, expires_us)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			g.ID, g.Hash[:], string(g.Purpose), farm[0], orNull(string(g.Person)), string(g.By), g.Name, string(g.Role), g.Limits.Text(),
			flag(g.Writes), g.Created.UnixMicro(), g.Expires.UnixMicro())
	})
	switch {
	case isUnique(err):
		return people.GrantTaken()
	case isForeignKey(err):
		return people.Missing()
	}
	return err
}

// GrantOf implements people.Store.
func (s *Store) GrantOf(ctx context.Context, purpose people.Purpose, hash [32]byte, now time.Time) (g people.Grant, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		g, err = grantOf(ctx, c, purpose, hash, now)
		return err
	})
	return g, err
}

func grantOf(ctx context.Context, c *conn, purpose people.Purpose, hash [32]byte, now time.Time) (people.Grant, error) {
	row, err := c.row(ctx, `SELECT `+grantColumns+` FROM grants g JOIN farms f ON f.number = g.farm WHERE g.hash = ? AND g.purpose = ?`, hash[:], string(purpose))
	if err != nil {
		return people.Grant{}, err
	}
	if row == nil {
		return people.Grant{}, people.GrantMissing()
	}
	g, err := readGrant(row)
	if err == nil && !g.Usable(now) {
		return people.Grant{}, people.GrantMissing()
	}
	return g, err
}

// GrantsOn implements people.Store.
func (s *Store) GrantsOn(ctx context.Context, farm records.FarmID) (all []people.Grant, err error) {
	err = s.readers.with(ctx, func(c *conn) error {
		r, err := newReader(ctx, c, farm)
		if err != nil {
			return err
		}
		return c.rows(ctx, `SELECT `+grantColumns+` FROM grants g JOIN farms f ON f.number = g.farm WHERE g.farm = ? ORDER BY g.created_us, g.id`,
			[]driver.Value{r.number}, func(row []driver.Value) error {
				g, err := readGrant(row)
				all = append(all, g)
				return err
			})
	})
	return all, err
}

// EndGrant implements people.Store.
func (s *Store) EndGrant(ctx context.Context, farm records.FarmID, id string, now time.Time) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		there, err := t.conn.row(background, `SELECT 1 FROM grants g JOIN farms f ON f.number = g.farm WHERE g.id = ? AND f.id = ?`, id, string(farm))
		if err != nil {
			return err
		}
		if there == nil {
			return people.GrantMissing()
		}
		return t.conn.exec(`UPDATE grants SET ended_us = ? WHERE id = ? AND ended_us IS NULL`, now.UnixMicro(), id)
	})
}

// TokenUsed implements people.Store.
func (s *Store) TokenUsed(ctx context.Context, id string, now time.Time) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		return t.conn.exec(`UPDATE grants SET used_us = ? WHERE id = ? AND purpose = ?`, now.UnixMicro(), id, string(people.Token))
	})
}

// Accept implements people.Store.
func (s *Store) Accept(ctx context.Context, hash [32]byte, p people.Person, newcomer bool, now time.Time) (m people.Membership, err error) {
	if newcomer {
		if err := p.Check(); err != nil {
			return m, err
		}
	}
	err = s.writer.submit(ctx, 1, func(t *transaction) error {
		g, err := grantOf(background, t.conn, people.Invitation, hash, now)
		if err != nil {
			return err
		}
		if newcomer {
			if err := t.createPerson(p); err != nil {
				return err
			}
		}
		m = people.Membership{Person: p.ID, Farm: g.Farm, Role: g.Role, Limits: g.Limits}
		row, err := t.conn.row(background, `SELECT 1 FROM memberships m JOIN farms f ON f.number = m.farm WHERE m.person = ? AND f.id = ?`, string(p.ID), string(g.Farm))
		if err != nil {
			return err
		}
		if row != nil {
			return people.MemberAlready()
		}
		if err := t.setRole(m); err != nil {
			return err
		}
		return t.conn.exec(`UPDATE grants SET used_us = ?, person = ? WHERE id = ?`, now.UnixMicro(), string(p.ID), g.ID)
	})
	if isUnique(err) {
		err = people.NameTaken(p.Name)
	}
	if err != nil {
		m = people.Membership{}
	}
	return m, err
}

// UseReset implements people.Store.
func (s *Store) UseReset(ctx context.Context, hash [32]byte, phc string, now time.Time) (id records.PersonID, err error) {
	err = s.writer.submit(ctx, 1, func(t *transaction) error {
		g, err := grantOf(background, t.conn, people.Reset, hash, now)
		if err != nil {
			return err
		}
		id = g.Person
		if err := t.conn.exec(`UPDATE grants SET used_us = ? WHERE id = ?`, now.UnixMicro(), g.ID); err != nil {
			return err
		}
		return t.setPassword(g.Person, phc)
	})
	if err != nil {
		id = ""
	}
	return id, err
}

// SessionsOf implements people.Store.
func (s *Store) SessionsOf(ctx context.Context, id records.PersonID, now time.Time) (all []people.Session, err error) {
	err = s.look(ctx, `SELECT token_hash, data, expires_us FROM sessions WHERE person = ? AND expires_us > ? ORDER BY expires_us DESC, token_hash`, func(row []driver.Value) {
		one := people.Session{Person: id, Data: bytes(row[1]), Expires: moment(row[2])}
		copy(one.TokenHash[:], bytes(row[0]))
		all = append(all, one)
	}, string(id), now.UnixMicro())
	return all, err
}

// SecondFactorOf implements people.Store.
func (s *Store) SecondFactorOf(ctx context.Context, id records.PersonID) (f people.SecondFactor, err error) {
	there := false
	err = s.look(ctx, `SELECT secret, enabled, step, recovery FROM second_factors WHERE person = ?`, func(row []driver.Value) {
		there = true
		f = people.SecondFactor{Secret: bytes(row[0]), On: integer(row[1]) == 1, Step: integer(row[2]), Recovery: strings.Fields(text(row[3]))}
	}, string(id))
	if err == nil && !there {
		err = people.SecondFactorMissing()
	}
	return f, err
}

// SetSecondFactor implements people.Store.
func (s *Store) SetSecondFactor(ctx context.Context, id records.PersonID, f *people.SecondFactor) error {
	err := s.writer.submit(ctx, 1, func(t *transaction) error {
		if f == nil {
			return t.conn.exec(`DELETE FROM second_factors WHERE person = ?`, string(id))
		}
		return t.conn.exec(`INSERT OR REPLACE INTO second_factors (person, secret, enabled, step, recovery) VALUES (?, ?, ?, ?, ?)`,
			string(id), f.Secret, flag(f.On), f.Step, strings.Join(f.Recovery, " "))
	})
	if isForeignKey(err) {
		return people.Missing()
	}
	return err
}

// SpendStep implements people.Store.
func (s *Store) SpendStep(ctx context.Context, id records.PersonID, step int64) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		row, err := t.conn.row(background, `SELECT step FROM second_factors WHERE person = ?`, string(id))
		switch {
		case err != nil:
			return err
		case row == nil:
			return people.SecondFactorMissing()
		case integer(row[0]) >= step:
			return people.CodeUsed()
		}
		return t.conn.exec(`UPDATE second_factors SET step = ? WHERE person = ?`, step, string(id))
	})
}

// SpendRecovery implements people.Store.
func (s *Store) SpendRecovery(ctx context.Context, id records.PersonID, hash string) error {
	return s.writer.submit(ctx, 1, func(t *transaction) error {
		row, err := t.conn.row(background, `SELECT recovery FROM second_factors WHERE person = ?`, string(id))
		if err != nil {
			return err
		}
		if row == nil {
			return people.SecondFactorMissing()
		}
		left := strings.Fields(text(row[0]))
		at := slices.Index(left, hash)
		if at < 0 {
			return people.SecondFactorMissing()
		}
		return t.conn.exec(`UPDATE second_factors SET recovery = ? WHERE person = ?`, strings.Join(slices.Delete(left, at, at+1), " "), string(id))
	})
}
