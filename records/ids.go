package records

import (
	"encoding/binary"
	"encoding/hex"
	"io"
	"sync"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

var (
	notID = words.New("records-not-an-id",
		"{id} is not an id: a UUID of version 7 in lower case is needed, such as 0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a.",
		"{id} no es un identificador: se necesita un UUID de versión 7 en minúsculas, como 0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a.")
	notFarmID = words.New("records-not-a-farm-id",
		"{id} is not a farm's id: 1 to 40 lower-case letters, digits and hyphens, no hyphen at either end.",
		"{id} no es el identificador de una finca: de 1 a 40 minúsculas, cifras y guiones, sin guion al principio ni al final.")
	notKind = words.New("records-not-a-kind",
		"{kind} is not a kind of record.",
		"{kind} no es un tipo de registro.")
)

// FarmIDLength is the longest farm id, in bytes: it stands in every address.
const FarmIDLength = 40

// shown is how much of a refused text is repeated to its sender, in bytes.
const shown = 60

// ParseID reads a record's id: 36 characters, lower-case hexadecimal digits
// with hyphens, version 7 and the variant of RFC 9562 section 4.1. Upper case,
// braces and the urn: form are refused: one record has one spelling. fault.Invalid.
func ParseID(s string) (ID, error) {
	if !isUUID7(s) {
		return "", refusedID(s)
	}
	return ID(s), nil
}

// ParsePersonID reads a person's id, by the same rules as ParseID.
func ParsePersonID(s string) (PersonID, error) {
	if !isUUID7(s) {
		return "", refusedID(s)
	}
	return PersonID(s), nil
}

// ParseFarmID reads a farm's id. fault.Invalid.
func ParseFarmID(s string) (FarmID, error) {
	if !isFarmID(s) {
		return "", fault.New(fault.Invalid, notFarmID.With(words.Args{"id": shorten(s)}), fault.Detail{
			Text: notFarmID.With(words.Args{"id": shorten(s)}), Field: "farm"})
	}
	return FarmID(s), nil
}

// ParseKind reads a kind. fault.Invalid.
func ParseKind(s string) (Kind, error) {
	for _, k := range Kinds {
		if string(k) == s {
			return k, nil
		}
	}
	return "", fault.New(fault.Invalid, notKind.With(words.Args{"kind": shorten(s)}))
}

func refusedID(s string) error {
	text := notID.With(words.Args{"id": shorten(s)})
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "id"})
}

func shorten(s string) string {
	if len(s) > shown {
		s = s[:shown] + "..."
	}
	return `"` + s + `"`
}

func isUUID7(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case i == 8 || i == 13 || i == 18 || i == 23:
			if c != '-' {
				return false
			}
		case (c < '0' || c > '9') && (c < 'a' || c > 'f'):
			return false
		}
	}
	return s[14] == '7' && s[19] >= '8' && s[19] <= 'b' && (s[19] <= '9' || s[19] >= 'a')
}

func isFarmID(s string) bool {
	if s == "" || len(s) > FarmIDLength || s[0] == '-' || s[len(s)-1] == '-' {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		if c != '-' && (c < '0' || c > '9') && (c < 'a' || c > 'z') {
			return false
		}
	}
	return true
}

// IDs makes ids that grow: each is greater, in byte order, than all the same
// IDs made before, even within a millisecond or when the clock is set back
// (RFC 9562 section 6.2, method 2: the random part is counted up). Safe for
// concurrent use.
type IDs struct {
	now    func() time.Time
	random io.Reader

	lock sync.Mutex
	last [16]byte
}

// NewIDs makes a source of ids from a clock and a source of random bytes:
// crypto/rand.Reader, or a seeded one where the same ids are wanted again.
func NewIDs(now func() time.Time, random io.Reader) *IDs {
	return &IDs{now: now, random: random}
}

// New makes the next id. It panics when the source of random bytes fails, for
// then nothing that needs a secret can go on.
func (g *IDs) New() ID {
	g.lock.Lock()
	defer g.lock.Unlock()
	var u [16]byte
	binary.BigEndian.PutUint64(u[:8], uint64(g.now().UnixMilli())<<16)
	if _, err := io.ReadFull(g.random, u[6:]); err != nil {
		panic("records: no random bytes: " + err.Error())
	}
	setVersion(&u)
	if string(u[:]) <= string(g.last[:]) {
		u = successor(g.last)
	}
	g.last = u
	return ID(FormatUUID(u))
}

// NewPerson makes the next id for a person.
func (g *IDs) NewPerson() PersonID { return PersonID(g.New()) }

func setVersion(u *[16]byte) {
	u[6] = u[6]&0x0f | 0x70
	u[8] = u[8]&0x3f | 0x80
}

// successor is the next greater version 7 id: 62 low bits, then the 12 bits
// before them, then the millisecond are counted up.
func successor(u [16]byte) [16]byte {
	const low = 1<<62 - 1
	high := binary.BigEndian.Uint64(u[:8])
	tail := binary.BigEndian.Uint64(u[8:]) & low
	if tail < low {
		tail++
	} else {
		tail = 0
		counter := high&0xfff + 1
		high = (high>>16 + counter>>12) << 16
		high |= counter & 0xfff
	}
	binary.BigEndian.PutUint64(u[:8], high)
	binary.BigEndian.PutUint64(u[8:], tail)
	setVersion(&u)
	return u
}

// FormatUUID writes the lower-case form.
func FormatUUID(u [16]byte) string {
	var s [36]byte
	hex.Encode(s[0:8], u[0:4])
	s[8] = '-'
	hex.Encode(s[9:13], u[4:6])
	s[13] = '-'
	hex.Encode(s[14:18], u[6:8])
	s[18] = '-'
	hex.Encode(s[19:23], u[8:10])
	s[23] = '-'
	hex.Encode(s[24:36], u[10:16])
	return string(s[:])
}

// Bytes gives an id's sixteen bytes, whose order is the order of the text. ok
// is false for a text that ParseID refuses.
func (id ID) Bytes() (u [16]byte, ok bool) {
	if !isUUID7(string(id)) {
		return u, false
	}
	s := string(id)
	digits := s[0:8] + s[9:13] + s[14:18] + s[19:23] + s[24:36]
	_, err := hex.Decode(u[:], []byte(digits))
	return u, err == nil
}
