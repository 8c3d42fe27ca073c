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
	// Rights goes up whenever a role or its limits change, so that a session
	// can tell that it was opened under others.
	Rights int
}

// Membership ties a person to a farm.
type Membership struct {
	Person records.PersonID
	Farm   records.FarmID
	Role   records.Role
	Limits Limits
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
	// SetRole puts a person on a farm, or changes the role and its limits; an
	// empty role takes the person off and ends their tokens there. fault.Missing
	// when either is unknown.
	SetRole(ctx context.Context, m Membership) error
	// MembershipOn is what a person is on a farm; fault.Missing when nothing or
	// the farm does not exist: the two are not told apart.
	MembershipOn(ctx context.Context, id records.PersonID, farm records.FarmID) (Membership, error)
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
	// SessionsOf lists a person's that have not expired, the longest lasting first.
	SessionsOf(ctx context.Context, id records.PersonID, now time.Time) ([]Session, error)

	// AddGrant keeps a grant; fault.Conflict when its id or secret is there
	// already, fault.Missing when its farm or one of its people is not.
	AddGrant(ctx context.Context, g Grant) error
	// GrantOf finds a grant that can be used by the hash of its secret;
	// GrantMissing otherwise.
	GrantOf(ctx context.Context, purpose Purpose, hash [32]byte, now time.Time) (Grant, error)
	// GrantsOn lists all that was granted on a farm, used and ended ones
	// included, oldest first.
	GrantsOn(ctx context.Context, farm records.FarmID) ([]Grant, error)
	// EndGrant takes a grant back; GrantMissing when the farm has none of that id.
	EndGrant(ctx context.Context, farm records.FarmID, id string, now time.Time) error
	// TokenUsed notes when a token was used last.
	TokenUsed(ctx context.Context, id string, now time.Time) error
	// Accept uses an invitation up in one act: a newcomer is created, who is
	// here already is only put on the farm. fault.Conflict when the newcomer's
	// name is taken, or the person is on the farm already; then the invitation
	// can still be used. GrantMissing.
	Accept(ctx context.Context, hash [32]byte, p Person, newcomer bool, now time.Time) (Membership, error)
	// UseReset sets a password by a link, uses the link up and ends every
	// session of the person. GrantMissing.
	UseReset(ctx context.Context, hash [32]byte, phc string, now time.Time) (records.PersonID, error)

	// SecondFactorOf; SecondFactorMissing when none was set up.
	SecondFactorOf(ctx context.Context, id records.PersonID) (SecondFactor, error)
	// SetSecondFactor sets one up or changes it; nil takes it away.
	SetSecondFactor(ctx context.Context, id records.PersonID, f *SecondFactor) error
	// SpendStep notes that a code of a step was used; fault.Stale when it or a
	// later one was used before.
	SpendStep(ctx context.Context, id records.PersonID, step int64) error
	// SpendRecovery takes one recovery code off; fault.Missing when it is not
	// among those that are left.
	SpendRecovery(ctx context.Context, id records.PersonID, hash string) error
}

// Session is a sign-in as the session library keeps it. Person is set once
// somebody has signed in, so that a new password can end their sessions.
type Session struct {
	TokenHash [32]byte
	Person    records.PersonID
	Data      []byte
	Expires   time.Time
}
