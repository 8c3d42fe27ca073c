package records

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
)

var (
	notProperties = words.New("records-properties-not-an-object",
		"A record's properties must be a JSON object.",
		"Las propiedades de un registro deben ser un objeto JSON.")
	notShape = words.New("records-shape-cannot-be-kept",
		"This kind of shape cannot be kept.",
		"Esta clase de forma no se puede guardar.")
)

// Content is a record in the one form that is compared, hashed and stored: two
// records are equal when their Contents are, byte for byte.
type Content struct {
	// Shape is the EWKB of the geometry with its heights and measures; nil
	// when there is none. A geometry without a single vertex is none.
	Shape []byte
	// Properties is the canonical JSON of geo/wire; {} stands for null and for
	// nothing at all. nil for a closing revision.
	Properties []byte
}

// ContentOf brings a record into its one form. fault.Invalid or fault.Malformed
// where the properties are not a JSON object or the shape cannot be encoded.
func ContentOf(r Record) (Content, error) {
	properties, err := canonicalProperties(r.Properties)
	if err != nil {
		return Content{}, err
	}
	if isNothing(r.Geometry.Flat) {
		return Content{Properties: properties}, nil
	}
	shape, err := wire.EncodeEWKB(r.Geometry)
	if err != nil {
		return Content{}, refusal(err, notShape)
	}
	return Content{Shape: shape, Properties: properties}, nil
}

func canonicalProperties(raw json.RawMessage) ([]byte, error) {
	trimmed := bytes.TrimSpace(raw)
	if len(trimmed) == 0 || string(trimmed) == "null" {
		return []byte("{}"), nil
	}
	properties, err := wire.Canonical(trimmed)
	if err != nil {
		return nil, refusal(err, notProperties)
	}
	if properties[0] != '{' {
		return nil, fault.New(fault.Invalid, notProperties.Plain())
	}
	return properties, nil
}

// refusal keeps an error that already speaks to its reader, and gives words to
// one that does not.
func refusal(err error, text words.Message) error {
	if fault.KindOf(err) != fault.Internal {
		return err
	}
	return fault.Wrap(fault.Invalid, err, text.Plain())
}

// Record gives the record back.
func (c Content) Record() (Record, error) {
	shape, err := ShapeOf(c.Shape)
	if err != nil {
		return Record{}, err
	}
	return Record{Geometry: shape, Properties: json.RawMessage(c.Properties)}, nil
}

// ShapeOf reads Content.Shape.
func ShapeOf(shape []byte) (geo.Geometry, error) {
	if len(shape) == 0 {
		return geo.Geometry{}, nil
	}
	return wire.DecodeEWKB(shape)
}

// Equal compares byte for byte.
func (c Content) Equal(d Content) bool {
	return bytes.Equal(c.Shape, d.Shape) && bytes.Equal(c.Properties, d.Properties)
}

// Hash is the SHA-256 of the content alone, without who and when.
func (c Content) Hash() [32]byte {
	h := sha256.New()
	part(h, []byte("caneward content 1"))
	part(h, c.Shape)
	part(h, c.Properties)
	return [32]byte(h.Sum(nil))
}

// Canonical is the record as a store gives it back: canonical properties, an
// empty shape as none.
func (r Record) Canonical() (Record, error) {
	c, err := ContentOf(r)
	if err != nil {
		return Record{}, err
	}
	return c.Record()
}

// isNothing reports whether a shape has no vertex. orb.Bound is no shape of a
// record; it is left for the encoder to refuse.
func isNothing(g orb.Geometry) bool {
	_, bound := g.(orb.Bound)
	return !bound && wire.Vertices(g) == 0
}
