// Package people is who may sign in and what they are on which farm. It knows
// no HTTP and no SQL.
package people

import (
	"context"
	"time"

	"caneward/records"
)

// Person is somebody with a sign-in.
type Person struct {
	ID       records.PersonID
	Name     string // the sign-in, unique, lower case
	Display  string
	Password string // PHC string of argon2id; see HashPassword
	Created  time.Time
}

// Membership ties a person to a farm.
type Membership struct {
	Person records.PersonID
	Farm   records.FarmID
	Role   records.Role
}

// Store keeps people, memberships and sessions. Every method is safe for
// concurrent use. Both stores of records implement it.
type Store interface {
	// CreatePerson; fault.Conflict when the name is taken.
	CreatePerson(context.Context, Person) error
	// SetPassword; fault.Missing. It ends every session of the person.
	SetPassword(ctx context.Context, id records.PersonID, phc string) error
	// PersonByName; fault.Missing.
	PersonByName(ctx context.Context, name string) (Person, error)
	// Person; fault.Missing.
	Person(ctx context.Context, id records.PersonID) (Person, error)
	// People lists all, by name.
	People(context.Context) ([]Person, error)
	// SetRole puts a person on a farm, or changes the role; an empty role takes
	// the person off. fault.Missing when either is unknown.
	SetRole(ctx context.Context, m Membership) error
	// RoleOn is the role on a farm; fault.Missing when the person has none or
	// the farm does not exist: the two are not told apart.
	RoleOn(ctx context.Context, id records.PersonID, farm records.FarmID) (records.Role, error)
	// FarmsOf lists a person's memberships, by farm.
	FarmsOf(ctx context.Context, id records.PersonID) ([]Membership, error)
	// Members lists a farm's people, by name.
	Members(ctx context.Context, farm records.FarmID) ([]Membership, error)

	// Sessions are kept under a hash of their token, never the token.
	SaveSession(ctx context.Context, s Session) error
	// Session; fault.Missing when unknown or expired.
	Session(ctx context.Context, tokenHash [32]byte, now time.Time) (Session, error)
	DeleteSession(ctx context.Context, tokenHash [32]byte) error
	DeleteExpiredSessions(ctx context.Context, now time.Time) error
}

// Session is a sign-in as the session library keeps it. Person is set once
// somebody has signed in, so that a new password can end their sessions.
type Session struct {
	TokenHash [32]byte
	Person    records.PersonID
	Data      []byte
	Expires   time.Time
}
