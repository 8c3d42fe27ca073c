package records

import (
	"context"
	"iter"
	"time"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Custody is a store's part in what befalls a farm as a whole: how it comes and
// goes, and who saw or changed what on it. Every method is safe for concurrent
// use. Both stores implement it.
type Custody interface {
	// BringIn gives an empty farm the history of another, hashes included: the
	// farm takes over the name, zone, mark of invention and time of creation, and
	// keeps its id and people. All of it is stored or nothing. fault.Conflict when the
	// farm is not empty, fault.Invalid and fault.Malformed where the history is not
	// one whole chain of records that can be kept, fault.Full, fault.Missing.
	BringIn(ctx context.Context, farm FarmID, a Arrival) error
	// SetLeaving notes when a farm is to be erased and who wants it; the zero time
	// takes it back. fault.Missing.
	SetLeaving(ctx context.Context, farm FarmID, at time.Time, by string) error
	// EraseDue erases the farms whose time has come: nobody reaches them from one
	// moment to the next, and when it returns nil nothing of them is left in the
	// store. Copies made before hold them still.
	EraseDue(ctx context.Context, now time.Time) ([]FarmID, error)

	// AddSeen adds to what was seen; entries of one key are added together.
	// Entries of farms that are gone are passed over.
	AddSeen(ctx context.Context, all []Seen) error
	// EachSeen gives a farm's, by hour, until f returns an error; fault.Missing.
	EachSeen(ctx context.Context, farm FarmID, f func(Seen) error) error
	// ForgetSeen removes what was seen in hours before a time.
	ForgetSeen(ctx context.Context, before time.Time) error
}

// Arrival is a farm's whole history on its way in. The sequences are read once,
// Revisions first and Photos last, and end at their first error, which BringIn
// returns as it is.
type Arrival struct {
	Farm      Farm                       // as it was, with its ChainID
	Revisions iter.Seq2[Revision, error] // by Sequence
	Documents iter.Seq2[Document, error] // by Name and Number
	Photos    iter.Seq2[Photo, error]
}

// Seen is how often somebody did one thing on a farm within one hour. The key
// is Farm, Hour, Person, Token, What, Kind and Refused.
type Seen struct {
	Farm    FarmID
	Hour    time.Time // its beginning, UTC
	Person  PersonID
	Token   string // name of the token, "" for a sign-in
	What    string // operationId of the address
	Kind    Kind   // "" where the address names none
	Refused bool   // the answer was a refusal
	Name    string // of the person, and the role, as of the newest time
	Role    Role
	Changes bool // the address changes something
	First   time.Time
	Last    time.Time
	Times   int64
	Records int64 // how many records were handed out or taken in, as far as the address tells
}

// Add counts another of the same key in.
func (s *Seen) Add(o Seen) {
	if o.First.Before(s.First) {
		s.First = o.First
	}
	if !o.Last.Before(s.Last) {
		s.Last, s.Name, s.Role = o.Last, o.Name, o.Role
	}
	s.Times += o.Times
	s.Records += o.Records
}

// SeenKey tells entries apart.
type SeenKey struct {
	Farm    FarmID
	Hour    int64
	Person  PersonID
	Token   string
	What    string
	Kind    Kind
	Refused bool
}

// Key of an entry.
func (s Seen) Key() SeenKey {
	return SeenKey{s.Farm, s.Hour.UnixMicro(), s.Person, s.Token, s.What, s.Kind, s.Refused}
}

var (
	farmNotEmpty = words.New("records-farm-not-empty",
		"A farm's history can be brought only into a farm without records; this one has some.",
		"El historial de una finca solo se puede traer a una finca sin registros; esta ya tiene.")
	historyBroken = words.New("records-history-broken",
		"The history breaks at sequence {sequence}: what stands there is not what was stored.",
		"El historial se rompe en la secuencia {sequence}: lo que está ahí no es lo que se guardó.")
	historyDocument = words.New("records-history-document",
		"Revision {number} of the document “{name}” is not what was stored.",
		"La revisión {number} del documento «{name}» no es la que se guardó.")
	historyAuthor = words.New("records-history-author",
		"Who wrote this, and when, cannot be what it says.",
		"Quién escribió esto, y cuándo, no puede ser lo que dice.")
)

// FarmNotEmpty is what BringIn answers for a farm that has records.
func FarmNotEmpty() error { return fault.New(fault.Conflict, farmNotEmpty.Plain()) }

// HistoryBroken is what BringIn answers where a chain does not hold.
func HistoryBroken(sequence int64) error {
	return fault.New(fault.Invalid, historyBroken.With(words.Args{"sequence": sequence}))
}

// HistoryDocument is what BringIn answers where a document's chain does not hold.
func HistoryDocument(d Document) error {
	return fault.New(fault.Invalid, historyDocument.With(words.Args{"number": d.Number, "name": shorten(string(d.Name))}))
}

// Bounds of what an archive may say of an author.
const (
	nameLength = 200
	whyLength  = 4000
)

// CheckArriving refuses an author or a time that no store would have made.
func CheckArriving(by Author, at time.Time) error {
	bad := func(s string, most int) bool { return len(s) > most || !utf8.ValidString(s) }
	if bad(string(by.Person), nameLength) || bad(by.Name, nameLength) || bad(string(by.Role), nameLength) || bad(by.Why, whyLength) ||
		at.Year() < 1970 || at.Year() > 9999 {
		return fault.New(fault.Invalid, historyAuthor.Plain())
	}
	return nil
}

// CopyState is how the copies of a server's records stand.
type CopyState struct {
	Every    time.Duration
	Rule     string    // which copies stay, as the server was told
	Since    time.Time // when copying began
	Last     time.Time // the newest whole copy; zero: none
	Oldest   time.Time
	Bytes    int64 // of the newest
	Took     time.Duration
	Copies   int
	Made     int       // since the server started
	Failed   time.Time // the newest try failed then; zero: it did not
	Full     bool      // for want of room
	Failures int       // since the server started
}

// Late reports whether the newest copy is older than two intervals.
func (c CopyState) Late(now time.Time) bool {
	newest := c.Last
	if newest.Before(c.Since) {
		newest = c.Since
	}
	return now.Sub(newest) > 2*c.Every
}
