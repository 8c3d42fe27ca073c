// Package plane is the flat metric picture of one site: metres east and north
// of an origin, in a type of its own so that degrees and metres never meet.
package plane

// XY is a point in metres east (X) and north (Y) of a frame's origin.
type XY struct{ X, Y float64 }

// Ring is a closed ring: first and last point are equal, no two neighbours are.
// Shells run counter-clockwise, holes clockwise.
type Ring []XY

// Polygon is a shell and its holes.
type Polygon []Ring

// Region is ground: polygons whose insides do not overlap. Nil is no ground.
type Region []Polygon

// Line is a line of two or more points.
type Line []XY
