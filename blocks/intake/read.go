package intake

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
)

// Options say how a file is read.
type Options struct {
	Zone   string      // IANA zone of times that carry none; "" means none is assumed
	Limits wire.Limits // zero fields take wire.DefaultLimits

	// Answers to questions; zero values are no answer.
	System   string            // coordinate system of a file that names none, such as "EPSG:26915"
	DayOrder string            // "day-first" or "month-first"
	Columns  map[string]string // header of a spreadsheet's column to the field it holds
	Swap     bool              // longitude and latitude are swapped throughout

	Near     *geo.Position                     // where the farm is, which makes some systems likelier
	Progress func(features int, offset int64) // told now and then; offset 0 where the format has none
}

// Format reads one kind of file.
type Format interface {
	// Name is what people call it.
	Name() string
	// Detects judges by content; the name only breaks a tie.
	Detects(data []byte, name string) bool
	// Read adds what the file holds to the proposal: shapes, notices, errors,
	// questions. Its error is the context's or our own failure; what is wrong
	// with the file goes into the proposal.
	Read(ctx context.Context, data []byte, o Options, p *Proposal) error
}

// formats are tried in this order: what is certain from the first bytes comes
// before what is guessed.
var formats = []Format{
	webPage{},
	unread{name: "KMZ", detect: isKMZ},
	unread{name: "shapefile (ZIP)", detect: isZip},
	unread{name: "KML", detect: isXML("kml")},
	unread{name: "GPX", detect: isXML("gpx")},
	esri{},
	geoJSON{},
	unread{name: "CSV", detect: isTable},
}

var (
	unsupported = words.New("intake-unsupported",
		"This is {format}, which is not read here yet. GeoJSON is.",
		"Esto es {format}, que aquí aún no se lee. GeoJSON sí.")
	unknownFormat = words.New("intake-unknown-format",
		"This is no format that is read here. GeoJSON is.",
		"Este formato no se lee aquí. GeoJSON sí.")
	exportGeoJSON = words.New("intake-export-geojson",
		"Export the outlines as GeoJSON with WGS 84 longitude and latitude.",
		"Exporte los contornos como GeoJSON con longitud y latitud WGS 84.")
	pageInstead = words.New("intake-page-instead",
		"This is a web page, not GeoJSON or other JSON: the download gave a page, perhaps a request to sign in.",
		"Esto es una página web, no GeoJSON ni otro JSON: la descarga dio una página, quizá pidiendo iniciar sesión.")
	downloadAgain = words.New("intake-download-again",
		"Open the address in a browser, sign in if asked, and download the file again.",
		"Abra la dirección en un navegador, inicie sesión si se lo pide y descargue el archivo de nuevo.")
	otherJSON = words.New("intake-other-json",
		"This is {format}, not GeoJSON.",
		"Esto es {format}, no GeoJSON.")
)

// Read reads a whole file and checks everything in it. The format is told by
// content. What is wrong with the file is in the proposal; the error is the
// reader's or the context's.
func Read(ctx context.Context, r io.Reader, name string, o Options) (Proposal, error) {
	limit := o.Limits.Bytes
	if limit <= 0 {
		limit = wire.DefaultLimits.Bytes
	}
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return Proposal{}, fmt.Errorf("intake: reading %s: %w", name, err)
	}
	p := Proposal{}
	if int64(len(data)) > limit {
		p.refuseWire(&wire.Error{Rule: wire.RuleBytes, Limit: limit})
	} else if err := p.read(ctx, data, name, o); err != nil {
		return Proposal{}, err
	}
	p.settle()
	return p, nil
}

func (p *Proposal) refuseWire(e *wire.Error) { p.refuse(sayings[e.Rule].kind, detailOf(e)) }

func (p *Proposal) read(ctx context.Context, data []byte, name string, o Options) error {
	text := p.toUTF8(data)
	if len(bytes.TrimSpace(text)) == 0 {
		p.refuseWire(&wire.Error{Rule: wire.RuleNothing})
		return nil
	}
	for _, f := range formats {
		if f.Detects(text, name) {
			p.Format = f.Name()
			return f.Read(ctx, text, o, p)
		}
	}
	p.refuse(fault.Unsupported, fault.Detail{Text: unknownFormat.Plain(), Fix: exportGeoJSON.Plain()})
	return nil
}

// unread is a format that is known by sight only.
type unread struct {
	name   string
	detect func(data []byte, name string) bool
}

func (u unread) Name() string                          { return u.name }
func (u unread) Detects(data []byte, name string) bool { return u.detect(data, name) }
func (u unread) Read(_ context.Context, _ []byte, _ Options, p *Proposal) error {
	p.refuse(fault.Unsupported, fault.Detail{Text: unsupported.With(words.Args{"format": u.name}), Fix: exportGeoJSON.Plain()})
	return nil
}

// webPage is an error or sign-in page under another name.
type webPage struct{}

func (webPage) Name() string { return "HTML" }
func (webPage) Detects(data []byte, _ string) bool {
	head := bytes.ToLower(bytes.TrimSpace(data[:min(len(data), sniffed)]))
	return bytes.HasPrefix(head, []byte("<!doctype html")) || bytes.HasPrefix(head, []byte("<html"))
}
func (webPage) Read(_ context.Context, _ []byte, _ Options, p *Proposal) error {
	p.refuse(fault.Unsupported, fault.Detail{Text: pageInstead.Plain(), Fix: downloadAgain.Plain()})
	return nil
}

// esri is JSON of another kind, with rings instead of coordinates.
type esri struct{}

func (esri) Name() string { return "Esri JSON" }
func (esri) Detects(data []byte, _ string) bool {
	return startsWith(data, '{') && bytes.Contains(data, []byte(`"rings"`)) && !bytes.Contains(data, []byte(`"coordinates"`))
}
func (esri) Read(_ context.Context, _ []byte, _ Options, p *Proposal) error {
	p.refuse(fault.Unsupported, fault.Detail{Text: otherJSON.With(words.Args{"format": "Esri JSON"}), Fix: exportGeoJSON.Plain()})
	return nil
}
