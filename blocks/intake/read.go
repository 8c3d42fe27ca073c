package intake

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"

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

	Workers  int                              // processors that examine outlines; 0 is all
	Now      time.Time                        // times beyond it are doubted; zero: the clock's
	Near     *geo.Position                    // where the farm is, which makes some systems likelier
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
	archived{},
	geoPackage{},
	shapefile{},
	webPage{},
	keyhole{},
	gpxFile{},
	otherXML{},
	esri{},
	topology{},
	drawing{},
	geoJSON{},
	wktFile{},
	spreadsheet{},
}

// pinned are the formats whose points somebody set one by one, each with its
// own time and note.
var pinned = map[string]bool{gpxFile{}.Name(): true, spreadsheet{}.Name(): true}

var (
	unknownFormat = words.New("intake-unknown-format",
		"This is no format that is read here. GeoJSON, KML, KMZ, GPX, zipped shapefiles, GeoPackage, CSV and WKT are.",
		"Este formato no se lee aquí. Se leen GeoJSON, KML, KMZ, GPX, shapefiles en ZIP, GeoPackage, CSV y WKT.")
	exportGeoJSON = words.New("intake-export-geojson",
		"Export the outlines as GeoJSON with WGS 84 longitude and latitude.",
		"Exporte los contornos como GeoJSON con longitud y latitud WGS 84.")
	tookTooLong = words.New("intake-took-too-long",
		"Reading took longer than {seconds} s and was stopped.",
		"La lectura duró más de {seconds} s y se detuvo.")
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
// content. What is wrong with the file is in the proposal, also that it took
// longer than Limits.Time; the error is the reader's or the context's.
func Read(ctx context.Context, r io.Reader, name string, o Options) (Proposal, error) {
	o.Limits = o.Limits.Filled()
	p := Proposal{}
	data, err := wholeFile(r, o.Limits.Bytes)
	var over *wire.Error
	switch {
	case errors.As(err, &over):
		p.refuseWire(over)
	case err != nil:
		return Proposal{}, fmt.Errorf("intake: reading %s: %w", name, err)
	default:
		timed, stop := context.WithTimeout(ctx, o.Limits.Time)
		defer stop()
		if err := p.read(timed, data, name, o); err != nil {
			if ctx.Err() != nil || timed.Err() == nil {
				return Proposal{}, err
			}
			p.refuse(fault.TooCostly, fault.Detail{Text: tookTooLong.With(words.Args{"seconds": o.Limits.Time.Seconds()}), Fix: sayings[wire.RuleBytes].fix.Plain()})
		}
	}
	p.settle()
	return p, nil
}

// wholeFile reads no more than a limit. A file on disk that is larger is not
// read at all.
func wholeFile(r io.Reader, limit int64) ([]byte, error) {
	var size int64
	if f, ok := r.(fs.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			size = info.Size()
		}
	}
	if size <= limit {
		var b bytes.Buffer
		b.Grow(int(size) + bytes.MinRead)
		n, err := b.ReadFrom(io.LimitReader(r, limit+1))
		if err != nil || n <= limit {
			return b.Bytes(), err
		}
	}
	return nil, &wire.Error{Rule: wire.RuleBytes, Limit: limit}
}

func (p *Proposal) refuseWire(e *wire.Error) {
	d := detailOf(e)
	if e.Rule == wire.RuleTruncated && d.Byte == nil && d.Entry == "" {
		d.Byte = fault.P(p.size) // it is the end that is missing
	}
	p.refuse(sayings[e.Rule].kind, d)
}

func (p *Proposal) read(ctx context.Context, data []byte, name string, o Options) error {
	p.size = int64(len(data))
	if p.notRead(data) {
		return nil
	}
	text := p.toUTF8(data)
	if len(bytes.TrimSpace(text)) == 0 {
		p.refuseWire(&wire.Error{Rule: wire.RuleNothing})
		return nil
	}
	for _, f := range formats {
		if f.Detects(text, name) {
			p.Format, p.pins = f.Name(), pinned[f.Name()]
			return f.Read(ctx, text, o, p)
		}
	}
	p.refuse(fault.Unsupported, fault.Detail{Text: unknownFormat.Plain(), Fix: exportGeoJSON.Plain()})
	return nil
}

// webPage is an error or sign-in page under another name.
type webPage struct{}

func (webPage) Name() string { return "HTML" }
func (webPage) Detects(data []byte, _ string) bool {
	head := bytes.ToLower(bytes.TrimSpace(data[:min(len(data), sniffed)]))
	for bytes.HasPrefix(head, []byte("<!--")) {
		_, rest, _ := bytes.Cut(head, []byte("-->"))
		head = bytes.TrimSpace(rest)
	}
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
	return startsWith(data, '{') && (bytes.Contains(data, []byte(`"rings"`)) && !bytes.Contains(data, []byte(`"coordinates"`)) ||
		bytes.Contains(data[:min(len(data), sniffed)], []byte(`"esriGeometry`)))
}
func (esri) Read(_ context.Context, _ []byte, _ Options, p *Proposal) error {
	p.refuse(fault.Unsupported, fault.Detail{Text: otherJSON.With(words.Args{"format": "Esri JSON"}), Fix: exportGeoJSON.Plain()})
	return nil
}
