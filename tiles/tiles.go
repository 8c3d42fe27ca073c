// Package tiles makes vector tiles of a farm's ground and reads base maps.
//
// Vector tiles follow the Mapbox Vector Tile specification 2.1: extent 4096,
// layer version 2, y downward from the north-west corner, outer rings of
// positive area in those axes. Equal input gives equal bytes, so that a hash of
// a tile can stand as its tag.
package tiles

import (
	"errors"
	"math"
	"strconv"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/maptile"
	"github.com/paulmach/orb/simplify"

	"caneward/geo"
)

// MediaType of a vector tile, registered with IANA.
const MediaType = "application/vnd.mapbox-vector-tile"

const (
	// MaxZoom is the deepest zoom served: 22 is 9 mm a unit at the equator,
	// finer than any receiver.
	MaxZoom = 22

	extent = 4096
	// buffer around a tile, in its units, so that lines drawn 8 pixels wide on
	// 256 pixel tiles do not break at the edge.
	buffer = 64
	// crumb is the tolerance of the line simplifier in tile units: a sixteenth
	// of a pixel is one unit, less than anybody sees.
	crumb = 1.0

	// thinBelow is the zoom from which single points are told apart: at 15 a
	// tile is about 1 km across, so that a grid cell of Thin is 4 m.
	thinBelow = 15
	// thinGrid is how many cells lie along a tile's edge at first.
	thinGrid = 256
	// thinMost keeps a tile of points under about 200 kB.
	thinMost = 8192
)

// ErrAddress says that z, x and y name no tile.
var ErrAddress = errors.New("tiles: no such tile address")

// Address names a tile in the XYZ scheme of Web Mercator: x eastward, y
// southward, both from 0 to 2^z - 1.
type Address struct{ Z, X, Y uint32 }

// ParseAddress reads three decimal numbers; anything else, signs and leading
// zeros included, is ErrAddress.
func ParseAddress(z, x, y string) (Address, error) {
	var n [3]uint32
	for i, s := range []string{z, x, y} {
		v, err := strconv.ParseUint(s, 10, 32)
		if err != nil || strconv.FormatUint(v, 10) != s {
			return Address{}, ErrAddress
		}
		n[i] = uint32(v)
	}
	a := Address{n[0], n[1], n[2]}
	if a.Z > MaxZoom || a.X >= 1<<a.Z || a.Y >= 1<<a.Z {
		return Address{}, ErrAddress
	}
	return a, nil
}

// Box is the ground whose records may show on the tile: the tile with its
// buffer, cut at longitude 180.
func (a Address) Box() geo.Box {
	b := a.tile().Bound(float64(buffer) / extent)
	b.Min[0], b.Max[0] = math.Max(b.Min[0], -180), math.Min(b.Max[0], 180)
	return b
}

func (a Address) tile() maptile.Tile { return maptile.New(a.X, a.Y, maptile.Zoom(a.Z)) }

// Feature is one thing on a tile: positions longitude, latitude. Properties
// hold strings, booleans and numbers only.
type Feature struct {
	Geometry   orb.Geometry
	Properties map[string]any
}

// Encode makes the tile of one layer; features keep their order. Nothing to
// show gives no bytes at all. The features are not changed.
func Encode(a Address, layer string, features []Feature) ([]byte, error) {
	l := &mvt.Layer{Name: layer, Version: 2, Extent: extent}
	for _, f := range features {
		for _, g := range drawable(a, f.Geometry) {
			out := geojson.NewFeature(g)
			out.Properties = f.Properties
			l.Features = append(l.Features, out)
		}
	}
	if len(l.Features) == 0 {
		return nil, nil
	}
	return mvt.Marshal(mvt.Layers{l})
}

var window = orb.Bound{Min: orb.Point{-buffer, -buffer}, Max: orb.Point{extent + buffer, extent + buffer}}

// drawable gives the parts of a shape inside the window, in tile units, fit to
// be encoded.
func drawable(a Address, g orb.Geometry) []orb.Geometry {
	if c, ok := g.(orb.Collection); ok {
		var all []orb.Geometry
		for _, part := range c {
			all = append(all, drawable(a, part)...)
		}
		return all
	}
	if g == nil {
		return nil
	}
	l := &mvt.Layer{Version: 2, Extent: extent, Features: []*geojson.Feature{geojson.NewFeature(orb.Clone(g))}}
	l.ProjectToTile(a.tile())
	cut := clip.Geometry(window, l.Features[0].Geometry)
	if cut == nil {
		return nil
	}
	if fit := tidy(simplify.DouglasPeucker(crumb).Simplify(cut)); fit != nil {
		return []orb.Geometry{fit}
	}
	return nil
}

// tidy drops what has no extent left on the tile's grid and turns rings the
// way the specification (4.3.4.4) wants them.
func tidy(g orb.Geometry) orb.Geometry {
	switch g := g.(type) {
	case orb.Point:
		return g
	case orb.MultiPoint:
		if len(g) > 0 {
			return g
		}
	case orb.LineString:
		if extended(g) {
			return g
		}
	case orb.MultiLineString:
		var kept orb.MultiLineString
		for _, line := range g {
			if extended(line) {
				kept = append(kept, line)
			}
		}
		if kept != nil {
			return kept
		}
	case orb.Ring:
		return tidy(orb.Polygon{g})
	case orb.Polygon:
		if p := turned(g); p != nil {
			return p
		}
	case orb.MultiPolygon:
		var kept orb.MultiPolygon
		for _, p := range g {
			if p := turned(p); p != nil {
				kept = append(kept, p)
			}
		}
		if kept != nil {
			return kept
		}
	case orb.Bound:
		return tidy(g.ToPolygon())
	}
	return nil
}

// extended reports whether a line leaves the grid point where it begins.
func extended(l orb.LineString) bool {
	for _, p := range l {
		if p != l[0] {
			return true
		}
	}
	return false
}

func turned(p orb.Polygon) orb.Polygon {
	var kept orb.Polygon
	for i, ring := range p {
		area := surveyor(ring)
		if area == 0 || len(ring) < 4 {
			if i == 0 {
				return nil
			}
			continue
		}
		if (area > 0) != (i == 0) {
			ring.Reverse()
		}
		kept = append(kept, ring)
	}
	return kept
}

// surveyor is twice the signed area, in whole tile units.
func surveyor(r orb.Ring) int64 {
	var sum int64
	for i := 1; i < len(r); i++ {
		sum += int64(int32(r[i-1][0]))*int64(int32(r[i][1])) - int64(int32(r[i][0]))*int64(int32(r[i-1][1]))
	}
	return sum
}

// Thin replaces many points by one point a grid cell, at the mean of its
// points and with their number as "count"; a cell of one point keeps that
// point as it is. It does so below zoom 15, and above where a tile holds more
// than 8,192 points; the grid is made coarser until no more than that are left.
// Cells come row by row from the north-west, so equal input gives equal output.
// What is not a point is dropped.
func Thin(a Address, features []Feature) []Feature {
	if a.Z >= thinBelow && len(features) <= thinMost {
		return features
	}
	for grid := thinGrid; ; grid /= 2 {
		cells := gather(a, features, grid)
		if len(cells) <= thinMost || grid == 1 {
			return cells
		}
	}
}

type cell struct {
	only     Feature
	lon, lat float64
	count    int
}

func gather(a Address, features []Feature, grid int) []Feature {
	side := float64(extent) / float64(grid)
	across := int(math.Ceil((extent + 2*buffer) / side))
	cells := map[int]*cell{}
	for _, f := range features {
		p, ok := f.Geometry.(orb.Point)
		if !ok {
			continue
		}
		at := maptile.Fraction(p, maptile.Zoom(a.Z))
		x := int(math.Floor(((at[0]-float64(a.X))*extent + buffer) / side))
		y := int(math.Floor(((at[1]-float64(a.Y))*extent + buffer) / side))
		if x < 0 || y < 0 || x >= across || y >= across {
			continue
		}
		c := cells[y*across+x]
		if c == nil {
			c = &cell{only: f}
			cells[y*across+x] = c
		}
		c.lon, c.lat, c.count = c.lon+p[0], c.lat+p[1], c.count+1
	}
	var out []Feature
	for i := 0; i < across*across; i++ {
		c := cells[i]
		switch {
		case c == nil:
		case c.count == 1:
			out = append(out, c.only)
		default:
			n := float64(c.count)
			out = append(out, Feature{Geometry: orb.Point{c.lon / n, c.lat / n}, Properties: map[string]any{"count": c.count}})
		}
	}
	return out
}
