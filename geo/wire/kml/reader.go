package kml

import (
	"context"
	"io"
	"strings"

	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// Reader gives the placemarks of a document.
type Reader struct {
	x        *markup.Reader
	limits   wire.Limits
	entry    string // of an archive
	open     []container
	schemas  map[string]schema
	notes    markup.Departures
	number   int
	vertices int // so far
	linked   *wire.Error
	done     bool
	kmz      *kmz // nil for a document by itself
}

// container is a Document or Folder, or the root.
type container struct {
	name   string
	folder bool // its name is part of the layer's
}

// schema is the types of fields by name (OGC 07-147r2 section 9.9).
type schema map[string]string

// Open begins to read a document, which is held wholly in memory. The error is
// an *wire.Error or the context's.
func Open(ctx context.Context, data []byte, o wire.Options) (*Reader, error) {
	r := &Reader{limits: o.Limits.Filled()}
	if err := r.begin(ctx, data, ""); err != nil {
		return nil, err
	}
	return r, nil
}

// begin begins a document whose layers lie in the one so named.
func (r *Reader) begin(ctx context.Context, data []byte, layer string) error {
	x, err := markup.New(ctx, data, r.limits)
	if err != nil {
		return err
	}
	root, err := x.Root()
	if err != nil {
		return err
	}
	switch root.Name {
	case "kml", "Document", "Folder": // the latter as a fragment, as some programs copy it
	default:
		e := root.Fail(RuleRoot)
		e.Got = markup.Shorten(root.Name)
		return e
	}
	r.x, r.schemas, r.open = x, map[string]schema{}, []container{{name: layer}}
	return nil
}

// Notes are what was passed over: links and pictures by kind.
func (r *Reader) Notes() []*wire.Error { return r.notes }

// Next gives the next placemark.
func (r *Reader) Next() (wire.Feature, error) {
	if r.done {
		return wire.Feature{}, io.EOF
	}
	f, err := r.next()
	if err == nil {
		return f, nil
	}
	if e, ok := wire.As(err); ok {
		if e.Entry == "" {
			e.Entry = r.entry
		}
		if r.x.Err() == nil && f.Number > 0 && e.Rule != wire.RuleVertices {
			e.Feature = f.Number
			return f, e
		}
	}
	r.done = true
	return wire.Feature{}, err
}

func (r *Reader) next() (wire.Feature, error) {
	for {
		if len(r.open) == 0 {
			if err := r.x.End(); err != nil {
				return wire.Feature{}, err
			}
			if more, err := r.nextFile(); err != nil || !more {
				return wire.Feature{}, r.over(err)
			}
		}
		e, ok, err := r.x.Child()
		if err != nil {
			return wire.Feature{}, err
		}
		if !ok {
			r.open = r.open[:len(r.open)-1]
			continue
		}
		if e.Is("Placemark") {
			return r.placemark(e)
		}
		if err := r.other(e); err != nil {
			return wire.Feature{}, err
		}
	}
}

// over is what a reading ends with that has come to the end of everything.
func (r *Reader) over(err error) error {
	switch {
	case err != nil:
		return err
	case r.number == 0 && r.linked != nil:
		return r.linked
	}
	return io.EOF
}

// other reads what stands beside placemarks.
func (r *Reader) other(e markup.Element) error {
	switch {
	case e.Space == markup.Own:
	case e.Name == "Document" || e.Name == "Folder":
		// The outermost Document is the file itself; below it, programs use
		// both for layers.
		r.open = append(r.open, container{folder: e.Name == "Folder" || len(r.open) > 1})
		return nil
	case e.Name == "name":
		t, err := r.x.Text()
		if c := &r.open[len(r.open)-1]; c.folder && c.name == "" {
			c.name = strings.TrimSpace(t.S)
			c.name, _ = markup.Bounded(c.name)
		}
		return err
	case e.Name == "Schema":
		return r.schema(e)
	case e.Name == "NetworkLink", e.Name == "Tour", strings.HasSuffix(e.Name, "Overlay"):
		return r.elsewhere(e)
	}
	return r.x.Skip()
}

// layer is the path of folders.
func (r *Reader) layer() string {
	name := ""
	for _, c := range r.open {
		switch {
		case c.name == "":
		case name == "":
			name = c.name
		default:
			name += " / " + c.name
		}
	}
	return name
}

// elsewhere notes what would have to be fetched; nothing is.
func (r *Reader) elsewhere(e markup.Element) error {
	note := e.Fail(RuleNotFetched)
	note.Entry = r.entry
	depth := r.x.Depth()
	address := ""
	for {
		c, ok, err := r.x.Child()
		if err != nil {
			return err
		}
		if !ok {
			if r.x.Depth() >= depth {
				continue
			}
			break
		}
		switch {
		case c.Is("name") && r.x.Depth() == depth+1, c.Is("href"):
			t, err := r.x.Text()
			if err != nil {
				return err
			}
			if c.Name == "href" && address == "" {
				address = strings.TrimSpace(t.S)
			}
			if note.Got == "" {
				note.Got = markup.Shorten(strings.TrimSpace(t.S))
			}
		case c.Is("Link"), c.Is("Url"), c.Is("Icon"):
			// Their addresses are children.
		default:
			if err := r.x.Skip(); err != nil {
				return err
			}
		}
	}
	if e.Name == "NetworkLink" && r.follow(address) {
		return nil
	}
	if e.Name == "NetworkLink" && r.linked == nil {
		link := *note
		link.Rule = RuleNetworkLink
		r.linked = &link
	}
	r.notes.Add(note)
	return nil
}

func (r *Reader) schema(e markup.Element) error {
	fields := schema{}
	for _, key := range []string{"id", "name"} {
		if id, ok := e.Attr(key); ok && r.schemas[id] == nil {
			r.schemas[id] = fields
		}
	}
	for {
		c, ok, err := r.x.Child()
		if err != nil || !ok {
			return err
		}
		name, _ := c.Attr("name")
		kind, _ := c.Attr("type")
		if c.Is("SimpleField") {
			fields[name] = kind
		}
		if err := r.x.Skip(); err != nil {
			return err
		}
	}
}
