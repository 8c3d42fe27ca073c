package records

import (
	"encoding/hex"
	"strconv"
	"strings"
)

// tagDigits is how many hexadecimal digits of the hash an entity tag carries:
// 64 bits, enough that no two revisions of one record and number meet by chance.
const tagDigits = 16

// ETag is the strong entity tag of a revision (RFC 9110 section 8.8.3), quotes
// included: its number and the beginning of its hash. Two farms, or a farm and
// its restored copy that went on otherwise, do not share tags.
func ETag(r Revision) string {
	return `"` + strconv.Itoa(r.Number) + "-" + hex.EncodeToString(r.Hash[:])[:tagDigits] + `"`
}

// ParseETag reads the revision number out of a tag that ETag wrote; ok is
// false for any other text, weak tags included. The caller compares the whole
// tag with the current revision's: the number alone does not prove sameness.
func ParseETag(tag string) (revision int, ok bool) {
	inner, quoted := strings.CutPrefix(tag, `"`)
	inner, closed := strings.CutSuffix(inner, `"`)
	digits, prefix, parted := strings.Cut(inner, "-")
	if !quoted || !closed || !parted || len(prefix) != tagDigits || strings.ToLower(prefix) != prefix {
		return 0, false
	}
	if _, err := hex.DecodeString(prefix); err != nil {
		return 0, false
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || strconv.Itoa(n) != digits {
		return 0, false
	}
	return n, true
}
