package kml

import (
	"context"
	"strings"

	"caneward/geo/wire"
	"caneward/geo/wire/archive"
)

// OpenKMZ begins to read the main document of an archive: doc.kml at its root
// (OGC 07-147r2 appendix C), else the first of the .kml files that lie least
// deep, in the archive's order. The other .kml files are notes; pictures are
// passed over. Nothing is written. The error is an *wire.Error or the context's.
func OpenKMZ(ctx context.Context, data []byte, o wire.Options) (*Reader, error) {
	a, err := archive.Open(ctx, data, o.Limits)
	if err != nil {
		return nil, err
	}
	var others []string
	main := ""
	for _, e := range a.Entries() {
		if !strings.HasSuffix(strings.ToLower(e.Name), ".kml") {
			continue
		}
		if main == "" || before(e.Name, main) {
			main = e.Name
		}
		others = append(others, e.Name)
	}
	if main == "" {
		return nil, &wire.Error{Rule: RuleNoKML, Byte: -1}
	}
	text, err := a.Read(ctx, main)
	if err != nil {
		return nil, err
	}
	r, err := Open(ctx, text, o)
	if e, ok := wire.As(err); ok {
		e.Entry = main
	}
	if err != nil {
		return nil, err
	}
	r.entry = main
	r.notes = append(r.notes, a.Notes()...)
	for _, name := range others {
		if name != main {
			r.notes = append(r.notes, &wire.Error{Rule: RuleOtherFile, Entry: name, Got: name, Byte: -1})
		}
	}
	return r, nil
}

// before ranks a document before another that stands earlier in the archive.
func before(a, b string) bool {
	if a == "doc.kml" || b == "doc.kml" {
		return b != "doc.kml"
	}
	return strings.Count(a, "/") < strings.Count(b, "/")
}
