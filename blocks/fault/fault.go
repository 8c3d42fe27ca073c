// Package fault is the closed set of ways a request can fail, with the field
// and the place that are at fault and what would mend it. Anything that is not
// a *fault.Error is internal: the edge logs it and says nothing of it.
package fault

import (
	"errors"
	"strings"

	"caneward/blocks/words"
)

// Kind says what went wrong. web/problem holds the one table from kind to HTTP
// status.
type Kind int

// The kinds.
const (
	Internal     Kind = iota // ours; never shown
	Malformed                // cannot be read at all: broken JSON, bad parameter
	Invalid                  // read, but breaks a rule: crossing ring, negative rate
	Missing                  // no such thing here, or not for this person to know of
	Conflict                 // same id, other content; or a state that forbids it
	Stale                    // based on a revision that is no longer the current one
	Precondition             // a replacement that does not say what it replaces
	SignInFirst              // nobody is signed in
	Forbidden                // signed in, of this farm, but not this role
	TooLarge                 // over a stated size or count
	TooMany                  // over a stated rate
	Unsupported              // media type or format not read here
	TooCostly                // would take longer than the server allows; says the bound
	Full                     // no room left to store; reads go on
)

// Detail is one thing at fault, and where. Unset places are nil or empty.
type Detail struct {
	Text    words.Text
	Field   string      // dotted path of the property: "products[0].rate.unit"
	Entry   string      // the file of an archive, or the table, it stands in
	Feature *int        // number of the feature in its file, from 1
	Part    *int        // polygon of a multipolygon, from 1
	Ring    *int        // ring of a polygon, 1 is the shell
	Vertex  *int        // corner of the ring, from 1
	At      *[2]float64 // longitude, latitude of the fault
	Line    *int        // line of a text file, from 1
	Byte    *int64      // offset in the file, from 0
	Fix     words.Text  // what would mend it
}

// Error is a refusal with its details.
type Error struct {
	Kind    Kind
	Text    words.Text
	Details []Detail
	Err     error // cause, for the log only
}

// Error is the English, details included.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Text.String())
	for _, d := range e.Details {
		b.WriteString("; ")
		if d.Field != "" {
			b.WriteString(d.Field + ": ")
		}
		b.WriteString(d.Text.String())
	}
	return b.String()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// New is a refusal.
func New(kind Kind, text words.Text, details ...Detail) *Error {
	return &Error{Kind: kind, Text: text, Details: details}
}

// Wrap is a refusal with its cause kept for the log.
func Wrap(kind Kind, cause error, text words.Text, details ...Detail) *Error {
	return &Error{Kind: kind, Text: text, Details: details, Err: cause}
}

// KindOf finds the kind anywhere in the chain; Internal where there is none.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// Is reports whether err is a refusal of this kind.
func Is(err error, kind Kind) bool { return err != nil && KindOf(err) == kind }

// P points at a number, for the optional places of Detail.
func P[T any](v T) *T { return &v }
