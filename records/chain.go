package records

import (
	"crypto/sha256"
	"encoding/binary"
	"hash"
)

// Link is the hash of a revision: SHA-256 over these parts in order, each
// written as its length in bytes (8 bytes, big-endian) and then its bytes.
//
//	"caneward revision 1"
//	the hash of the farm's revision with the Sequence one lower; 32 zero bytes before the first
//	the farm's ChainID
//	kind
//	record id
//	Number      (8 bytes, big-endian)
//	Sequence    (8 bytes, big-endian)
//	Deleted     (1 byte, 0 or 1)
//	By.Person, By.Name, By.Role, By.Why
//	At          (microseconds since 1970 UTC, 8 bytes, big-endian)
//	Content.Shape
//	Content.Properties
//
// So no field of any revision can be changed, and none taken out or put in
// between, without every later hash of the farm changing too. Somebody who can
// rewrite the whole file can also rewrite the whole chain: the last hash,
// noted elsewhere, is what proves otherwise.
func Link(previous [32]byte, chain FarmID, r Revision, c Content) [32]byte {
	h := sha256.New()
	part(h, []byte("caneward revision 1"))
	part(h, previous[:])
	part(h, []byte(chain))
	part(h, []byte(r.Kind))
	part(h, []byte(r.ID))
	number(h, int64(r.Number))
	number(h, r.Sequence)
	deleted := byte(0)
	if r.Deleted {
		deleted = 1
	}
	part(h, []byte{deleted})
	part(h, []byte(r.By.Person))
	part(h, []byte(r.By.Name))
	part(h, []byte(r.By.Role))
	part(h, []byte(r.By.Why))
	number(h, r.At.UnixMicro())
	part(h, c.Shape)
	part(h, c.Properties)
	return [32]byte(h.Sum(nil))
}

func part(h hash.Hash, b []byte) {
	var n [8]byte
	binary.BigEndian.PutUint64(n[:], uint64(len(b)))
	h.Write(n[:])
	h.Write(b)
}

func number(h hash.Hash, v int64) {
	var n [8]byte
	binary.BigEndian.PutUint64(n[:], uint64(v))
	part(h, n[:])
}
