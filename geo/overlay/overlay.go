// Package overlay adds, cuts and takes away ground in the plane.
//
// The plane is parted into faces by all edges at once, each face is told which
// inputs lie over it, and results are joined from faces. The faces are held against
// what must be so (see parting). Where they fail it, simplefeatures' port of the JTS
// overlay is asked, and its results are checked too, because engines of this family
// have been seen to lose ground on nearly coincident edges without saying so. New
// corners lie within a nanometre or so of the true crossing.
//
// Inputs are valid regions: rings that do not cross, polygons that do not
// overlap. Invalid ones give an *EngineError or a *MismatchError, no panic.
package overlay

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"

	"github.com/peterstace/simplefeatures/geom"
)

// Bounds of one call, so that no request can hold a server: two to four
// seconds at any one of them on one core of a small machine, mostly far less.
const (
	MaxVertices  = 200_000 // corners of all inputs together
	MaxPieces    = 10_000  // regions of one union
	MaxCrossings = 40_000  // places where edges of two inputs meet, in one step

	// maxCandidates bounds the counting of crossings itself: pairs of edges
	// whose boxes meet.
	maxCandidates = 5_000_000
)

// What a TooManyError counts.
const (
	Corners   = "corners"
	Crossings = "crossings"
	Pieces    = "pieces"
)

// TooManyError refuses work over a bound before it is begun. Count is what
// there is, at least.
type TooManyError struct {
	What         string
	Count, Limit int
}

func (e *TooManyError) Error() string {
	return fmt.Sprintf("overlay: %d %s, at most %d", e.Count, e.What, e.Limit)
}

// MismatchError says that the areas of a result do not add up to those of the
// inputs by more than Allowed: the engine failed, or an input was invalid.
type MismatchError struct {
	Op           string
	Off, Allowed geo.SquareMetres
}

func (e *MismatchError) Error() string {
	return fmt.Sprintf("overlay: %s is off by %.3g m2, allowed %.3g", e.Op, float64(e.Off), float64(e.Allowed))
}

// UncoveredError says that a union left out ground of one of its inputs at a
// place: the engine failed, or an input was invalid.
type UncoveredError struct{ At plane.XY }

func (e *UncoveredError) Error() string {
	return fmt.Sprintf("overlay: the union leaves out ground at %.3f, %.3f", e.At.X, e.At.Y)
}

// EngineError is a refusal by the engine: in practice an invalid input.
type EngineError struct {
	Op  string
	Err error
}

func (e *EngineError) Error() string { return "overlay: " + e.Op + ": " + e.Err.Error() }

// Unwrap gives the engine's own words.
func (e *EngineError) Unwrap() error { return e.Err }

// Union is the ground that lies in at least one of the regions, which may
// overlap. It is proven to cover every input: by the sums of the faces (see
// parting), or where the engine was asked, by a look at every edge (see covers). It
// is checked to be no larger than the sum of the inputs. It does not depend on the
// order of the inputs but for the order of its parts. Errors: the context's,
// *TooManyError, *EngineError, *MismatchError, *UncoveredError.
func Union(ctx context.Context, regions ...plane.Region) (plane.Region, error) {
	total := 0
	parts := make([]plane.Region, 0, len(regions))
	for _, r := range regions {
		if len(r) == 0 {
			continue
		}
		total += r.Vertices()
		parts = append(parts, r)
	}
	if total > MaxVertices {
		return nil, &TooManyError{What: Corners, Count: total, Limit: MaxVertices}
	}
	if len(parts) > MaxPieces {
		return nil, &TooManyError{What: Pieces, Count: len(parts), Limit: MaxPieces}
	}
	var un unioner
	boxes := make([]boxed, len(parts))
	for i, r := range parts {
		boxes[i] = boxed{r, r.Box()}
	}
	u, err := un.tree(ctx, boxes)
	if err != nil {
		return nil, err
	}
	if len(parts) < 2 {
		return u, nil
	}
	var sum geo.SquareMetres
	for _, p := range parts {
		sum += p.Area()
	}
	if more := u.Area() - sum; !(more <= crumbs+sum*areaRoundOff) {
		return nil, &MismatchError{Op: "union", Off: more, Allowed: crumbs + sum*areaRoundOff}
	}
	if un.asked {
		return u, covers(ctx, u, parts)
	}
	return u, nil
}

// unioner keeps whether the engine was asked for any step.
type unioner struct{ asked bool }

// How many parts, with how many corners, are joined at once: few enough to hear a
// cancellation soon and that what is hidden within does not pile up.
const clusterSize, clusterCorners = 64, 4000

type boxed struct {
	plane.Region
	box plane.Box
}

// tree halves the parts along the longer side of their box, so that neighbours meet
// early and each step stays small. It reorders its argument.
func (u *unioner) tree(ctx context.Context, parts []boxed) (plane.Region, error) {
	if err := ctx.Err(); err != nil || len(parts) == 0 {
		return nil, err
	}
	if len(parts) == 1 {
		return parts[0].Region, nil
	}
	if len(parts) <= clusterSize {
		if done, err := u.cluster(ctx, parts); done != nil || err != nil {
			return done, err
		}
	}
	box := plane.NoBox()
	for _, p := range parts {
		box = box.Union(p.box)
	}
	key := func(p boxed) float64 { return p.box.Min.X + p.box.Max.X }
	if box.Max.Y-box.Min.Y > box.Max.X-box.Min.X {
		key = func(p boxed) float64 { return p.box.Min.Y + p.box.Max.Y }
	}
	slices.SortStableFunc(parts, func(a, b boxed) int { return cmp.Compare(key(a), key(b)) })
	left, err := u.tree(ctx, parts[:len(parts)/2])
	if err != nil {
		return nil, err
	}
	right, err := u.tree(ctx, parts[len(parts)/2:])
	if err != nil {
		return nil, err
	}
	return u.two(ctx, left, right)
}

// cluster joins parts at once; nil where they must be halved.
func (u *unioner) cluster(ctx context.Context, parts []boxed) (plane.Region, error) {
	corners, round := 0, true
	cluster := make([]plane.Region, len(parts))
	for i, p := range parts {
		cluster[i] = p.Region
		corners += p.Vertices()
		round = round && convex(p.Region)
	}
	if corners > clusterCorners {
		return nil, nil
	}
	faces, err := parting(ctx, cluster, corners)
	var many *TooManyError
	switch {
	case err == nil:
		return faces.ground(winding.any), nil
	case errors.As(err, &many):
		return nil, nil
	case !isUnsure(err) || !round:
		return nil, ctx.Err()
	}
	// Two convex rings cross no more often than they have corners, so the engine needs
	// no count of crossings.
	u.asked = true
	return engineUnion(cluster)
}

// join takes the union from the faces, or where they are unsure from the engine.
func (u *unioner) join(ctx context.Context, parts []plane.Region, engine func() (plane.Region, error)) (plane.Region, error) {
	faces, err := parting(ctx, parts, MaxCrossings)
	switch {
	case err == nil:
		return faces.ground(winding.any), nil
	case !isUnsure(err):
		return nil, err
	}
	u.asked = true
	return engine()
}

func isUnsure(err error) bool {
	var u unsure
	return errors.As(err, &u)
}

func engineUnion(parts []plane.Region) (plane.Region, error) {
	all := make([]geom.Geometry, len(parts))
	for i, p := range parts {
		all[i] = toGeom(p)
	}
	return apply("union", func(geom.Geometry, geom.Geometry) (geom.Geometry, error) {
		return geom.UnionMany(all)
	}, geom.Geometry{}, geom.Geometry{})
}

// convex reports whether the region is one ring that never turns right.
func convex(r plane.Region) bool {
	if len(r) != 1 || len(r[0]) != 1 {
		return false
	}
	ring := r[0][0]
	n := len(ring) - 1
	turn := 0.0
	for i := range n {
		a, b := ring[(i+1)%n].Minus(ring[i]), ring[(i+2)%n].Minus(ring[(i+1)%n])
		t := math.Atan2(a.Cross(b), a.Dot(b))
		if t < -1e-9 {
			return false
		}
		turn += t
	}
	return math.Abs(turn-2*math.Pi) < 1e-6 // once round, not a star that winds twice
}

func (u *unioner) two(ctx context.Context, a, b plane.Region) (plane.Region, error) {
	nearA, farA := split(a, b.Box())
	nearB, farB := split(b, a.Box())
	far := append(farA, farB...)
	if len(nearA) == 0 || len(nearB) == 0 {
		return append(append(far, nearA...), nearB...), nil
	}
	both, err := u.join(ctx, []plane.Region{nearA, nearB}, func() (plane.Region, error) {
		if err := boundCrossings(nearA, nearB); err != nil {
			return nil, err
		}
		return apply("union", geom.Union, toGeom(nearA), toGeom(nearB))
	})
	return append(far, both...), err
}

// split parts the polygons whose box meets the given one from those that
// cannot be touched by anything in it.
func split(r plane.Region, box plane.Box) (near, far plane.Region) {
	for _, p := range r {
		if len(p) > 0 && p[0].Box().Meets(box) {
			near = append(near, p)
		} else {
			far = append(far, p)
		}
	}
	return near, far
}

// Intersection is the ground in both regions. Errors as Cut's.
func Intersection(ctx context.Context, a, b plane.Region) (plane.Region, error) {
	in, _, err := Cut(ctx, a, b)
	return in, err
}

// Difference is the ground in a but not in b. Errors as Cut's.
func Difference(ctx context.Context, a, b plane.Region) (plane.Region, error) {
	_, out, err := Cut(ctx, a, b)
	return out, err
}

// Cut parts a into the ground inside b and the ground outside it, and checks
// that the two add up to a. Errors: the context's, *TooManyError,
// *EngineError, *MismatchError.
func Cut(ctx context.Context, a, b plane.Region) (inside, outside plane.Region, err error) {
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	if n := a.Vertices() + b.Vertices(); n > MaxVertices {
		return nil, nil, &TooManyError{What: Corners, Count: n, Limit: MaxVertices}
	}
	nearA, farA := split(a, b.Box())
	nearB, _ := split(b, a.Box())
	if len(nearA) == 0 || len(nearB) == 0 {
		return nil, a, nil
	}
	faces, err := parting(ctx, []plane.Region{nearA, nearB}, MaxCrossings)
	switch {
	case err == nil:
		inside = faces.ground(func(w winding) bool { return w.has(0) && w.has(1) })
		outside = faces.ground(func(w winding) bool { return w.has(0) && !w.has(1) })
		err = agree("cut", nearA.Area(), inside.Area()+outside.Area())
		return inside, append(farA, outside...), err
	case !isUnsure(err):
		return nil, nil, err
	}
	if err := boundCrossings(nearA, nearB); err != nil {
		return nil, nil, err
	}
	ga, gb := toGeom(nearA), toGeom(nearB)
	if inside, err = apply("intersection", geom.Intersection, ga, gb); err != nil {
		return nil, nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	if outside, err = apply("difference", geom.Difference, ga, gb); err != nil {
		return nil, nil, err
	}
	if err := agree("cut", nearA.Area(), inside.Area()+outside.Area()); err != nil {
		return nil, nil, err
	}
	return inside, append(farA, outside...), nil
}

// WithoutSlivers drops polygons and fills holes smaller than geo.SliverArea:
// for ground that is to be kept or shown, after the last step of a computation.
// It gives nil, not an empty region, when nothing is left.
func WithoutSlivers(r plane.Region) plane.Region {
	var out plane.Region
	for _, p := range r {
		if p.Area() < geo.SliverArea {
			continue
		}
		kept := plane.Polygon{p[0]}
		for _, hole := range p[1:] {
			if math.Abs(float64(hole.SignedArea())) >= float64(geo.SliverArea) {
				kept = append(kept, hole)
			}
		}
		out = append(out, kept)
	}
	return out
}

// What the engine's rounding may move: crumbs of up to 1e-4 m2 along shared
// edges were measured, and float64 carries 16 digits of the sum.
const (
	crumbs       geo.SquareMetres = 1e-3
	areaRoundOff                  = 1e-9
)

func agree(op string, want, got geo.SquareMetres) error {
	allowed := crumbs + want*areaRoundOff
	if off := geo.SquareMetres(math.Abs(float64(want - got))); !(off <= allowed) {
		return &MismatchError{Op: op, Off: off, Allowed: allowed}
	}
	return nil
}

// apply runs one engine operation and takes the polygons of its result; the
// lines and points where inputs only touch are no ground.
func apply(op string, do func(a, b geom.Geometry) (geom.Geometry, error), a, b geom.Geometry) (r plane.Region, err error) {
	// The port signals trouble by panics and catches those it knows; one it
	// does not know must not take the service down.
	defer func() {
		if p := recover(); p != nil {
			r, err = nil, &EngineError{Op: op, Err: fmt.Errorf("the engine gave up: %v", p)}
		}
	}()
	g, err := do(a, b)
	if err != nil {
		return nil, &EngineError{Op: op, Err: err}
	}
	return fromGeom(g), nil
}

func toGeom(r plane.Region) geom.Geometry {
	polys := make([]geom.Polygon, len(r))
	for i, p := range r {
		rings := make([]geom.LineString, len(p))
		for j, ring := range p {
			xy := make([]float64, 0, 2*len(ring))
			for _, c := range ring {
				xy = append(xy, c.X, c.Y)
			}
			rings[j] = geom.NewLineString(geom.NewSequence(xy, geom.DimXY))
		}
		polys[i] = geom.NewPolygon(rings)
	}
	if len(polys) == 1 {
		return polys[0].AsGeometry()
	}
	return geom.NewMultiPolygon(polys).AsGeometry()
}

func fromGeom(g geom.Geometry) plane.Region {
	var out plane.Region
	for _, part := range g.Dump() {
		poly, ok := part.AsPolygon()
		if !ok || poly.IsEmpty() {
			continue
		}
		p := plane.Polygon{fromRing(poly.ExteriorRing(), true)}
		for i := range poly.NumInteriorRings() {
			p = append(p, fromRing(poly.InteriorRingN(i), false))
		}
		out = append(out, p)
	}
	return out
}

func fromRing(l geom.LineString, ccw bool) plane.Ring {
	seq := l.Coordinates()
	r := make(plane.Ring, seq.Length())
	for i := range r {
		xy := seq.GetXY(i)
		r[i] = plane.XY{X: xy.X, Y: xy.Y}
	}
	r = slices.Compact(r)
	if (r.SignedArea() > 0) != ccw {
		slices.Reverse(r)
	}
	return r
}
