package records

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"strconv"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// DocumentLimit bounds a document in bytes: a farm's own settings, typed by
// people, take some kilobytes.
const DocumentLimit = 1 << 20

// DocumentName names a farm's document: 1 to 40 lower-case letters, digits and
// hyphens, no hyphen at either end.
type DocumentName string

// Document is one revision of something a farm has exactly one of, such as its
// counting programmes. It is no record: it has no shape, no id of a client's
// making, and stands on no map.
type Document struct {
	Farm    FarmID
	Name    DocumentName
	Number  int // 1 for the first, one more each time
	By      Author
	At      time.Time       // when the server took it, UTC, whole microseconds
	Content json.RawMessage // a JSON object in its canonical form
	Hash    [32]byte        // SHA-256 over the revision before it and all of the above
}

// Documents keeps a farm's documents with every revision they went through.
// Every method is safe for concurrent use. Both stores implement it.
type Documents interface {
	// PutDocument stores content as the revision after base; 0 is the first.
	// Where revision base+1 exists with equal content it is a repeat: nothing
	// is stored and that revision is the answer. fault.Stale when base is
	// another revision than the current one, fault.Invalid and
	// fault.Malformed for a name, base or content that is none,
	// fault.TooLarge, fault.Full; fault.Missing when there is no such farm.
	PutDocument(ctx context.Context, farm FarmID, name DocumentName, base int, content json.RawMessage, by Author) (d Document, repeated bool, err error)
	// Document is the newest revision; fault.Missing when there is none.
	Document(ctx context.Context, farm FarmID, name DocumentName) (Document, error)
	// DocumentRevisions gives all, oldest first; fault.Missing when there is none.
	DocumentRevisions(ctx context.Context, farm FarmID, name DocumentName) ([]Document, error)
	// EachDocument gives every revision of all of a farm's, by name and number,
	// until f returns an error, which is returned as it is; fault.Missing when
	// there is no such farm.
	EachDocument(ctx context.Context, farm FarmID, f func(Document) error) error
}

var (
	documentName = words.New("records-document-name",
		"{name} is not a document's name: 1 to 40 lower-case letters, digits and hyphens, no hyphen at either end.",
		"{name} no es el nombre de un documento: de 1 a 40 minúsculas, cifras y guiones, sin guion al principio ni al final.")
	documentMissing = words.New("records-document-missing",
		"There is no such document on this farm yet.",
		"Todavía no hay tal documento en esta finca.")
	documentObject = words.New("records-document-object",
		"A document must be a JSON object.",
		"Un documento debe ser un objeto JSON.")
	documentTooLarge = words.New("records-document-too-large",
		"A document takes at most {limit} bytes; this one takes {count}.",
		"Un documento ocupa como máximo {limit} bytes; este ocupa {count}.")
)

// DocumentMissing is the answer for a document that was never written.
func DocumentMissing() error { return fault.New(fault.Missing, documentMissing.Plain()) }

// DocumentContent checks what is to be stored and brings it into its one form.
func DocumentContent(name DocumentName, base int, content json.RawMessage) (json.RawMessage, error) {
	if !isFarmID(string(name)) {
		return nil, fault.New(fault.Invalid, documentName.With(words.Args{"name": shorten(string(name))}))
	}
	if base < 0 || base >= math.MaxInt32 {
		return nil, fault.New(fault.Invalid, baseUnknown.With(words.Args{"base": base}))
	}
	if len(content) > DocumentLimit {
		return nil, fault.New(fault.TooLarge, documentTooLarge.With(words.Args{"limit": DocumentLimit, "count": len(content)}))
	}
	canonical, err := wire.Canonical(content)
	if err != nil {
		return nil, refusal(err, documentObject)
	}
	if canonical[0] != '{' {
		return nil, fault.New(fault.Invalid, documentObject.Plain())
	}
	return canonical, nil
}

// DocumentStale is the answer for a base that is not the current revision.
func DocumentStale(base, current int) error {
	return fault.New(fault.Stale, baseStale.With(words.Args{"base": base, "current": current}))
}

// Link is the hash of a document's revision: SHA-256 over these parts in order,
// each written as its length in bytes (8 bytes, big-endian) and then its bytes.
//
//	"caneward document 1"
//	the hash of the document's revision before; 32 zero bytes before the first
//	the farm's ChainID, name
//	Number      (8 bytes, big-endian)
//	By.Person, By.Name, By.Role, By.Why
//	At          (microseconds since 1970 UTC, 8 bytes, big-endian)
//	Content
func (d Document) Link(previous [32]byte, chain FarmID) [32]byte {
	h := sha256.New()
	part(h, []byte("caneward document 1"))
	part(h, previous[:])
	part(h, []byte(chain))
	part(h, []byte(d.Name))
	number(h, int64(d.Number))
	part(h, []byte(d.By.Person))
	part(h, []byte(d.By.Name))
	part(h, []byte(d.By.Role))
	part(h, []byte(d.By.Why))
	number(h, d.At.UnixMicro())
	part(h, d.Content)
	return [32]byte(h.Sum(nil))
}

// ETag is the strong entity tag of a document's revision, as ETag is a
// record's; ParseETag reads it.
func (d Document) ETag() string {
	return `"` + strconv.Itoa(d.Number) + "-" + hex.EncodeToString(d.Hash[:])[:tagDigits] + `"`
}
