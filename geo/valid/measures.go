package valid

import "github.com/paulmach/orb"

// Orient is 1 when c lies to the left of the line from a to b, -1 to the right,
// 0 exactly on it: exact for any finite coordinates.
func Orient(a, b, c orb.Point) int { return orient(a, b, c) }

// IsSpike reports whether the rule Spike is broken at tip, which a ring reaches
// from a and leaves for b, all in degrees.
func IsSpike(a, tip, b orb.Point) bool { return isSpike(a, tip, b) }
