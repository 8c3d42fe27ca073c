package intake

import (
	"bytes"
	"context"
	"strings"

	"caneward/blocks/fault"
	"caneward/geo/crs"
	"caneward/geo/wire"
)

// geoJSON reads RFC 7946 in all the ways it is found: a collection, a feature,
// a geometry, one a line, RFC 8142 sequences; and the crs member of 2008 where
// it says WGS 84.
type geoJSON struct{}

func (geoJSON) Name() string { return "GeoJSON" }

func (geoJSON) Detects(data []byte, name string) bool {
	name = strings.ToLower(name)
	for _, c := range []byte{'{', '[', 0x1E} {
		if startsWith(data, c) {
			return true
		}
	}
	for _, ending := range []string{".geojson", ".json", ".geojsonl", ".ndjson", ".geojsonseq"} {
		if strings.HasSuffix(name, ending) {
			return true
		}
	}
	return false
}

func (geoJSON) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	open := func(raw bool) (*wire.FeatureReader, error) {
		return wire.NewFeatureReader(bytes.NewReader(data), wire.Options{Limits: o.Limits, Lenient: true, Raw: raw})
	}
	r, err := open(o.Swap)
	if err == nil && bytes.Contains(data, []byte(`"crs"`)) && !degrees(r.CRS()) {
		// Some positions may be metres; their range is looked at once they are
		// degrees.
		r, err = open(true)
	}
	if e, ok := wire.As(err); ok {
		p.refuseWire(e)
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := parseSystem(r.CRS()); err != nil && r.CRS() != "" {
		p.refuse(fault.Unsupported, fault.Detail{Text: unreadSystem(r.CRS(), err), Fix: exportWGS84.Plain()})
		return nil
	}
	return p.gather(ctx, ofSystem{r, r.CRS()}, o)
}

// degrees reports whether a crs member names longitude and latitude; a name
// that is not known is judged with the first feature.
func degrees(name string) bool {
	s, err := crs.ByName(name)
	return err == nil && s.Geographic()
}

// ofSystem is a source whose file names one coordinate system for all.
type ofSystem struct {
	wire.Source
	crs string
}

func (s ofSystem) Next() (wire.Feature, error) {
	f, err := s.Source.Next()
	if f.CRS == "" {
		f.CRS = s.crs
	}
	return f, err
}
