package wire

import (
	"bufio"
	"context"
	"io"
)

// layerMember is the foreign member (RFC 7946 section 6.1) of a feature that
// names its layer; the reader gives it back in Feature.Layer.
const layerMember = "collection"

// WriteCollection writes a document as one FeatureCollection (RFC 7946), a
// feature a line, as they come: only one feature is held at a time, and each
// layer is walked once. Ids, properties and foreign members go out byte for
// byte, shapes as EncodeGeometry writes them; a feature without a place has the
// geometry null. The collection's foreign members are name (of the one layer,
// or the title where there are several; general programs take it for the
// layer's name), title, and description, the notice. Each feature of a layer
// that has a name carries it in the member collection. Equal documents give
// equal bytes. The error is an *Error with the feature's number, the layer's,
// the context's or the writer's.
func WriteCollection(ctx context.Context, w io.Writer, doc Document) error {
	b := bufio.NewWriter(w)
	b.Write(collectionHead(doc))
	number := 0
	for _, layer := range doc.Layers {
		for f, err := range layer.Features {
			if err == nil {
				err = ctx.Err()
			}
			if err != nil {
				return err
			}
			if number++; number > 1 {
				b.WriteByte(',')
			}
			line, err := EncodeFeature(inLayer(f, layer.Name))
			if e, ok := As(err); ok {
				e.Feature, e.Entry = number, layer.Name
			}
			if err != nil {
				return err
			}
			b.WriteByte('\n')
			if _, err := b.Write(line); err != nil {
				return err
			}
		}
	}
	b.WriteString("\n]}\n")
	return b.Flush()
}

func collectionHead(doc Document) []byte {
	name := doc.Title
	if len(doc.Layers) == 1 && doc.Layers[0].Name != "" {
		name = doc.Layers[0].Name
	}
	out := []byte(`{"type":"FeatureCollection"`)
	for _, m := range [...]struct{ name, text string }{{"name", name}, {"title", doc.Title}, {"description", doc.Notice}} {
		if m.text != "" {
			out = appendText(append(appendText(append(out, ','), m.name), ':'), m.text)
		}
	}
	return append(out, `,"features":[`...)
}

// inLayer gives the feature the member that names its layer.
func inLayer(f Feature, name string) Feature {
	if name == "" {
		return f
	}
	foreign := make([]Member, 0, len(f.Foreign)+1)
	foreign = append(foreign, Member{Name: layerMember, Value: appendText(nil, name)})
	for _, m := range f.Foreign {
		if m.Name != layerMember {
			foreign = append(foreign, m)
		}
	}
	f.Foreign = foreign
	return f
}
