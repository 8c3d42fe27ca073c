package kml

import (
	"context"
	"net/url"
	"path"
	"strings"

	"caneward/geo/wire"
	"caneward/geo/wire/archive"
)

// kmz is the archive that a document comes from.
type kmz struct {
	ctx     context.Context
	archive *archive.Archive
	files   []string        // its .kml files, in its order
	wanted  map[string]bool // the same; true for those that are read or will be
	waiting []string
}

// OpenKMZ begins to read the main document of an archive: doc.kml at its root
// (OGC 07-147r2 appendix C), else the first of the .kml files that lie least
// deep, in the archive's order. Documents in the archive that it links to are
// read after it, in a layer of their file's name; GDAL writes nothing else into
// doc.kml. The other .kml files are notes; pictures are passed over. Nothing is
// written. The error is an *wire.Error or the context's.
func OpenKMZ(ctx context.Context, data []byte, o wire.Options) (*Reader, error) {
	a, err := archive.Open(ctx, data, o.Limits)
	if err != nil {
		return nil, err
	}
	k := &kmz{ctx: ctx, archive: a, wanted: map[string]bool{}}
	main := ""
	for _, e := range a.Entries() {
		if !strings.HasSuffix(strings.ToLower(e.Name), ".kml") {
			continue
		}
		if main == "" || before(e.Name, main) {
			main = e.Name
		}
		k.files, k.wanted[e.Name] = append(k.files, e.Name), false
	}
	if main == "" {
		return nil, &wire.Error{Rule: RuleNoKML, Byte: -1}
	}
	r := &Reader{limits: o.Limits.Filled(), kmz: k}
	if err := r.file(main, ""); err != nil {
		return nil, err
	}
	return r, nil
}

// file begins a document of the archive.
func (r *Reader) file(name, layer string) error {
	r.kmz.wanted[name] = true
	text, err := r.kmz.archive.Read(r.kmz.ctx, name)
	if err == nil {
		r.entry = name
		err = r.begin(r.kmz.ctx, text, layer)
	}
	if e, ok := wire.As(err); ok {
		e.Entry = name
	}
	return err
}

// follow takes a link to another document of the same archive.
func (r *Reader) follow(address string) bool {
	if r.kmz == nil {
		return false
	}
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "" || u.Host != "" || u.Path == "" {
		return false
	}
	target := path.Join(path.Dir(r.entry), u.Path)
	wanted, there := r.kmz.wanted[target]
	if there && !wanted {
		r.kmz.wanted[target] = true
		r.kmz.waiting = append(r.kmz.waiting, target)
	}
	return there
}

// nextFile begins the next document that was linked to; false, and the notes
// are complete, when there is none.
func (r *Reader) nextFile() (bool, error) {
	k := r.kmz
	if k == nil {
		return false, nil
	}
	if len(k.waiting) > 0 {
		name := k.waiting[0]
		k.waiting = k.waiting[1:]
		return true, r.file(name, strings.TrimSuffix(path.Base(name), path.Ext(name)))
	}
	r.notes = append(r.notes, k.archive.Notes()...)
	for _, name := range k.files {
		if !k.wanted[name] {
			r.notes = append(r.notes, &wire.Error{Rule: RuleOtherFile, Entry: name, Got: name, Byte: -1})
		}
	}
	return false, nil
}

// before ranks a document before another that stands earlier in the archive.
func before(a, b string) bool {
	if a == "doc.kml" || b == "doc.kml" {
		return b != "doc.kml"
	}
	return strings.Count(a, "/") < strings.Count(b, "/")
}
