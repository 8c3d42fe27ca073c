// Package geo is the vocabulary of places and sizes: positions on the WGS 84
// ellipsoid, shapes, and measures that carry their unit in their type.
//
// Positions are longitude, latitude in degrees, in that order, everywhere.
// Bearings are degrees clockwise from true north. Packages below geo compute;
// this one only names. It imports nothing but orb's root, so that any package
// may use it.
package geo

import (
	"math"

	"github.com/paulmach/orb"
)

// Position is a longitude and a latitude in degrees, WGS 84.
type Position = orb.Point

// Box is a closed box of longitudes and latitudes: its edges belong to it.
type Box = orb.Bound

// Metres is a length on the ground.
type Metres float64

// SquareMetres is an area on the ground.
type SquareMetres float64

// Degrees is a direction clockwise from true north, or an angle.
type Degrees float64

// Exact by definition: the international foot of 1959 (85 FR 62698 retires the
// US survey foot) and the acre of 43,560 square feet.
const (
	MetresPerFoot       = 0.3048
	SquareMetresPerAcre = 43560 * MetresPerFoot * MetresPerFoot // 4046.8564224
	SquareMetresPerHa   = 10000.0
)

// Feet converts exactly.
func (m Metres) Feet() float64 { return float64(m) / MetresPerFoot }

// Acres converts exactly.
func (a SquareMetres) Acres() float64 { return float64(a) / SquareMetresPerAcre }

// Hectares converts exactly.
func (a SquareMetres) Hectares() float64 { return float64(a) / SquareMetresPerHa }

// Normal brings a direction into [0, 360).
func (d Degrees) Normal() Degrees {
	n := math.Mod(float64(d), 360)
	if n < 0 {
		n += 360
	}
	return Degrees(n)
}

// Geometry is a shape as records carry it. Flat is the two-dimensional shape
// every rule works on; nil means the record has no place. Heights (metres above
// the ellipsoid or sea level, as the source gave them) and Measures (a track's
// times, Unix seconds) hold one number per vertex in the order the vertices
// stand in Flat, rings closed, or are nil. NaN marks a vertex without one.
type Geometry struct {
	Flat     orb.Geometry
	Heights  []float64
	Measures []float64
}

// Empty reports whether there is no shape.
func (g Geometry) Empty() bool { return g.Flat == nil }

// Tolerances have one home, each with its reason.
const (
	// SliverArea is the smallest piece of ground kept after cutting: overlay
	// engines leave crumbs of up to 1e-4 m2 along shared edges, and nobody can
	// treat a square decimetre.
	SliverArea SquareMetres = 0.01

	// SamePlace is how near two positions must be to be one corner: 0.1 mm, a
	// hundredth of what survey-grade receivers resolve.
	SamePlace Metres = 1e-4
)
