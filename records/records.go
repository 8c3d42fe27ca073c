// Package records is what every record of a farm shares: kind, client-made id,
// shape and properties, the revisions it went through, and the store that
// keeps them. It knows no HTTP and no SQL.
package records

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"caneward/geo"
)

// FarmID names a farm in addresses: lower-case letters, digits and hyphens, 1
// to 40 of them, no hyphen at either end.
type FarmID string

// ID names a record: a UUID of version 7 in its lower-case form (RFC 9562),
// made by the client, so that a phone may send the same record twice.
type ID string

// PersonID names a person: a UUID of version 7.
type PersonID string

// Kind is a kind of record; the set is closed.
type Kind string

// The kinds.
const (
	Blocks       Kind = "blocks"
	Rows         Kind = "rows"
	Surroundings Kind = "surroundings"
	Stages       Kind = "stages"
	Visits       Kind = "visits"
	Finds        Kind = "finds"
	Samples      Kind = "samples"
	Removals     Kind = "removals"
	Reviews      Kind = "reviews"
	Products     Kind = "products"
	Passes       Kind = "passes"
	Tracks       Kind = "tracks"
)

// Kinds lists every kind in the order screens show them.
var Kinds = []Kind{Blocks, Rows, Surroundings, Stages, Visits, Finds, Samples, Removals, Reviews, Products, Passes, Tracks}

// Record is what a client sends and gets back: a GeoJSON Feature without its
// envelope. Properties is a JSON object kept as sent, unknown members
// included; Canonical gives the form that is compared, hashed and stored.
type Record struct {
	Geometry   geo.Geometry
	Properties json.RawMessage
}

// Author is who writes: the person, the role held on the farm at that moment,
// and why, if it was said.
type Author struct {
	Person PersonID
	Name   string
	Role   Role
	Why    string
}

// Revision is one state of a record. Revisions are never changed or removed;
// Deleted marks the closing one, whose Record is empty.
type Revision struct {
	Kind     Kind
	ID       ID
	Number   int   // 1 for the first, one more each time
	Sequence int64 // position among all the farm's revisions, 1 upward without gaps
	Deleted  bool
	By       Author
	At       time.Time // when the server took it, UTC, whole microseconds
	Record   Record
	Hash     [32]byte // SHA-256 over the one before it on this farm and all of the above
}

// Any stands for "whatever the current revision is" in Write.Base: it creates,
// replaces and brings back. A write on Any that equals the current revision is
// a repeat.
const Any = -1

// Write asks for a new revision.
type Write struct {
	Kind   Kind
	ID     ID
	Delete bool
	Record Record
	// Base is the number of the revision this one replaces; 0 creates. A
	// record that was deleted is brought back by the number of its closing
	// revision.
	Base int
	By   Author
}

// Outcome answers one Write.
type Outcome struct {
	Revision Revision // the stored revision; zero when Err is set
	Created  bool     // the first revision of its record
	Repeated bool     // the same write had been stored before; Revision is that one
	Current  int      // on a Conflict or Stale: number of the current revision, 0 for none
	// Err is a *fault.Error: Conflict when Base is 0 and the record exists,
	// Stale when Base is another revision than the current one, Missing when a
	// delete finds nothing, Invalid or Malformed for the write's own form. See
	// Write.Judge.
	Err error
}

// AnyRefused reports whether one of the outcomes is a refusal.
func AnyRefused(outcomes []Outcome) bool {
	return slices.ContainsFunc(outcomes, func(o Outcome) bool { return o.Err != nil })
}

// OnlyRefusals takes out the outcomes of a batch that was undone for the sake
// of its refusals.
func OnlyRefusals(outcomes []Outcome) []Outcome {
	for i := range outcomes {
		if outcomes[i].Err == nil {
			outcomes[i] = Outcome{}
		}
	}
	return outcomes
}

// Query narrows a list. Zero fields do not narrow.
type Query struct {
	// Box is exact: the shape itself meets the box, edges included (Meets).
	Box *geo.Box
	// From and To narrow by the record's own time span (see Facets), ends
	// included; a record without a time passes.
	From, To time.Time
	Equal    map[string]string // top-level string properties that must equal
	Blocks   []ID              // the property "block" is one of these (see Facets); nil does not narrow
	After    ID                // cursor: ids greater than this, in byte order
	Limit    int               // at most this many; 0 means no limit
}

// Page is a part of a list, ordered by id in byte order. Records in it share
// memory with the store and are not to be changed.
type Page struct {
	Revisions []Revision
	More      bool
}

// Reader reads one farm in one consistent state.
type Reader interface {
	Farm() Farm
	// Sequence is the number of the newest revision, 0 for an empty farm.
	Sequence() int64
	// Current is the newest revision; fault.Missing when there is none or it
	// is a closing one.
	Current(Kind, ID) (Revision, error)
	// At is one revision by number, closing ones included; fault.Missing.
	At(Kind, ID, int) (Revision, error)
	// List gives the current, not deleted records.
	List(Kind, Query) (Page, error)
	// Count counts what List would give without Limit and After.
	Count(Kind, Query) (int, error)
	// Revisions gives all of a record's, oldest first; fault.Missing.
	Revisions(Kind, ID) ([]Revision, error)
	// Since gives revisions after a sequence number in order, closing ones
	// included; more says whether there are others. A limit of 0 is none.
	Since(after int64, limit int) (revisions []Revision, more bool, err error)
}

// Farm is one dataset behind one fence.
type Farm struct {
	ID       FarmID
	Name     string
	Zone     string // IANA time zone
	Invented bool   // demo data: marked on every screen and print
	Created  time.Time

	// Chain is the id its hashes are made with, where its history began under
	// another than its own; see ChainID. Brought is when that history was brought
	// in from an archive, as far as the sequence number BroughtTo: until there,
	// who wrote what is the archive's word.
	Chain     FarmID
	Brought   time.Time
	BroughtTo int64
	// Leaving is when the farm will be erased, at the word of LeavingBy; zero:
	// it stays.
	Leaving   time.Time
	LeavingBy string
}

// ChainID is the farm id in the hashes of this farm's revisions.
func (f Farm) ChainID() FarmID {
	if f.Chain != "" {
		return f.Chain
	}
	return f.ID
}

// Store keeps farms and their records. Every method is safe for concurrent use.
// The conformance suite in records/storetest is its definition in code.
type Store interface {
	// CreateFarm; fault.Conflict when the id is taken, fault.Invalid when the
	// id or zone is not one. Created is cut to whole microseconds.
	CreateFarm(context.Context, Farm) error
	// Farms lists all, by id.
	Farms(context.Context) ([]Farm, error)
	// View reads one farm in one consistent state; the reader is not to be used
	// after f returns, nor by two goroutines at once. What f writes meanwhile, it
	// does not see. An error of f is returned as it is. fault.Missing when there
	// is no such farm.
	View(ctx context.Context, farm FarmID, f func(Reader) error) error
	// Write stores a batch in order. Each outcome stands alone: one refused
	// write does not stop the others. When Write returns nil every stored
	// revision survives loss of power. A write whose revision Base+1 exists
	// with equal content is a repeat: it stores nothing and answers with that
	// revision. On an error (fault.Full, fault.Missing for the farm, the
	// context's) nothing of the batch is stored. A context that ends while the
	// batch is being stored does not undo it.
	Write(ctx context.Context, farm FarmID, writes []Write) ([]Outcome, error)
	// WriteTogether is Write for a batch that is one act, such as an import:
	// where one write is refused none is stored, and only the refused ones have
	// an outcome.
	WriteTogether(ctx context.Context, farm FarmID, writes []Write) ([]Outcome, error)
	Photos
	Close() error
}

// Role is what a person is on one farm.
type Role string

// The roles.
const (
	Owner      Role = "owner"
	Applicator Role = "applicator"
	Scout      Role = "scout"
	Adviser    Role = "adviser"
	Viewer     Role = "viewer"
)
