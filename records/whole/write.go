package whole

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire/archive"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/export"
	"caneward/records/paper"
	"caneward/records/paper/job"
	"caneward/records/paper/plan"
	"caneward/records/paper/removal"
	"caneward/records/review"
	"caneward/records/spray"
)

// Source is what a farm is read from.
type Source interface {
	View(ctx context.Context, farm records.FarmID, f func(records.Reader) error) error
	EachDocument(ctx context.Context, farm records.FarmID, f func(records.Document) error) error
	EachPhoto(ctx context.Context, farm records.FarmID, f func(records.Photo) error) error
}

// Options of Write.
type Options struct {
	Made     time.Time // the time stamp of the archive and its pages
	Program  string    // the program's version
	Language words.Language
}

var (
	notPrinted = words.New("whole-not-printed", "Not printed: {name}. {why}", "No impreso: {name}. {why}")

	readmeInvented = words.New("whole-readme-invented",
		"Invented demo data: not for use in a field. No such farm, no such people.",
		"Datos de muestra inventados: no usar en el campo. No existe tal finca ni tales personas.")
	readmeHead = words.New("whole-readme-head",
		"Everything this service kept of the farm “{farm}” ({id}), as of {made}: {records} records in {revisions} revisions, {documents} revisions of settings, {photos} photos.",
		"Todo lo que este servicio guardaba de la finca «{farm}» ({id}), a fecha de {made}: {records} registros en {revisions} revisiones, {documents} revisiones de ajustes, {photos} fotos.")
	readmeFiles = words.New("whole-readme-files",
		`farm.gpkg        current records, one layer a kind: opens in any GIS (OGC GeoPackage)
geojson/         the same as GeoJSON (RFC 7946), one file a kind; positions are longitude, latitude, WGS 84
csv/             the same as tables (RFC 4180); the column wkt holds the shape
pdf/             a planting plan of every block that has rows or spacings, the record of every applied pass, the report and crew's sheet of every signed decision
photos/          every photo under its id; photos.jsonl says who took it and when
revisions.jsonl  every revision of every record, closed ones too: who, when, why, what. One JSON object a line; “shape” is EWKB in hexadecimal digits
documents.jsonl  every revision of the farm's settings, such as counting programmes
farm.json        the farm itself, counts, and the newest hash of its chain
Lengths are metres, areas square metres, times UTC, unless a name's ending says otherwise.`,
		`farm.gpkg        registros actuales, una capa por clase: se abre en cualquier SIG (OGC GeoPackage)
geojson/         lo mismo en GeoJSON (RFC 7946), un archivo por clase; las posiciones son longitud, latitud, WGS 84
csv/             lo mismo en tablas (RFC 4180); la columna wkt contiene la forma
pdf/             un plano de plantación de cada bloque que tenga hileras o distancias, el registro de cada pasada aplicada, el informe y la hoja de cuadrilla de cada decisión firmada
photos/          cada foto con su id; photos.jsonl dice quién la tomó y cuándo
revisions.jsonl  cada revisión de cada registro, también los cerrados: quién, cuándo, por qué, qué. Un objeto JSON por línea; «shape» es EWKB en cifras hexadecimales
documents.jsonl  cada revisión de los ajustes de la finca, como los programas de conteo
farm.json        la finca misma, los totales y la huella más nueva de su cadena
Las longitudes son metros, las áreas metros cuadrados, las horas UTC, salvo que la terminación del nombre diga otra cosa.`)
	readmeBack = words.New("whole-readme-back",
		"To make the farm again, bring this file into an empty farm (Papers, “Bring a farm in”, or “caneward import-farm”): records, ids, revisions and hashes come back as they are here. People, their sign-ins and the list of who saw what are not in this file. It holds exact places of disease and spray records: keep it as you keep those.",
		"Para volver a hacer la finca, traiga este archivo a una finca vacía (Papeles, «Traer una finca», o «caneward import-farm»): los registros, ids, revisiones y huellas vuelven tal como están aquí. Las personas, sus accesos y la lista de quién vio qué no están en este archivo. Contiene lugares exactos de enfermedades y aplicaciones: guárdelo como guarda esos datos.")
)

// Write writes a farm as one archive. Memory is bounded by the largest kind as a
// GeoPackage; the rest is streamed. For one state of the farm and one Made the
// bytes are always the same. The error is the source's, the context's, the
// writer's; fault.Missing when there is no such farm. After an error what was
// written is of no use.
func Write(ctx context.Context, w io.Writer, from Source, farm records.FarmID, o Options) error {
	out := &writing{ctx: ctx, zip: archive.NewWriter(w), from: from, options: o}
	if err := from.View(ctx, farm, out.all); err != nil {
		return err
	}
	return out.zip.Close()
}

type writing struct {
	ctx      context.Context
	zip      *archive.Writer
	from     Source
	options  Options
	reader   records.Reader
	law      records.Document // which jurisdictions the farm keeps records for, if it said
	manifest Manifest
	printed  []words.Text // what was not printed, and why
}

func (o *writing) all(r records.Reader) error {
	f := r.Farm()
	o.reader = r
	o.manifest = Manifest{
		Form: form, Version: version, Made: o.options.Made.UTC().Truncate(time.Second), Program: o.options.Program,
		Farm:    farmLine{f.ID, f.ChainID(), f.Name, f.Zone, f.Invented, f.Created},
		Current: map[records.Kind]int{},
	}
	for _, step := range []func() error{o.revisions, o.documents, o.photos, o.current, o.plans, o.passes, o.decisions, o.describe} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// lines begins a file of JSON objects, one a line. Nothing in them is escaped
// that JSON does not ask for, so that properties stay as they are stored.
func (o *writing) lines(name string) (*json.Encoder, error) {
	w, err := o.zip.Create(name)
	if err != nil {
		return nil, err
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e, nil
}

// sinceStep is how many revisions are read at a time.
const sinceStep = 500

func (o *writing) revisions() error {
	lines, err := o.lines(nameRevisions)
	if err != nil {
		return err
	}
	for more := true; more; {
		var all []records.Revision
		if all, more, err = o.reader.Since(o.manifest.Sequence, sinceStep); err != nil {
			return err
		}
		for _, r := range all {
			line := revisionLine{Sequence: r.Sequence, Kind: r.Kind, ID: r.ID, Revision: r.Number, Deleted: r.Deleted,
				By: byLine(r.By), At: r.At, Hash: hex.EncodeToString(r.Hash[:])}
			if !r.Deleted {
				content, err := records.ContentOf(r.Record)
				if err != nil {
					return err
				}
				line.Shape, line.Properties = hex.EncodeToString(content.Shape), content.Properties
			}
			if err := lines.Encode(line); err != nil {
				return err
			}
			o.manifest.Sequence, o.manifest.Head = r.Sequence, line.Hash
		}
		if err := o.ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

func (o *writing) documents() error {
	lines, err := o.lines(nameDocuments)
	if err != nil {
		return err
	}
	return o.from.EachDocument(o.ctx, o.manifest.Farm.ID, func(d records.Document) error {
		o.manifest.Documents++
		if d.Name == clock.Document {
			o.law = d
		}
		return lines.Encode(documentLine{d.Name, d.Number, byLine(d.By), d.At, d.Content, hex.EncodeToString(d.Hash[:])})
	})
}

// photos writes each picture as it comes and then the list of all.
func (o *writing) photos() error {
	var list bytes.Buffer
	lines := json.NewEncoder(&list)
	lines.SetEscapeHTML(false)
	err := o.from.EachPhoto(o.ctx, o.manifest.Farm.ID, func(p records.Photo) error {
		sum := p.Sum()
		line := photoLine{p.ID, p.Type, byLine(p.By), p.At, hex.EncodeToString(sum[:])}
		w, err := o.zip.Create(line.file())
		if err != nil {
			return err
		}
		if _, err := w.Write(p.Data); err != nil {
			return err
		}
		o.manifest.Photos++
		return lines.Encode(line)
	})
	if err != nil {
		return err
	}
	return o.file(namePhotos, list.Bytes())
}

func (o *writing) file(name string, data []byte) error {
	w, err := o.zip.Create(name)
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

// current writes the records as they stand, in the formats of exports.
func (o *writing) current() error {
	var filled []records.Kind
	for _, kind := range records.Kinds {
		n, err := o.reader.Count(kind, records.Query{})
		if err != nil {
			return err
		}
		if n > 0 {
			filled = append(filled, kind)
			o.manifest.Current[kind] = n
		}
	}
	if filled == nil {
		return nil
	}
	if err := o.export(nameGPKG, "gpkg", filled...); err != nil {
		return err
	}
	for _, ending := range []string{"geojson", "csv"} {
		for _, kind := range filled {
			if err := o.export(ending+"/"+string(kind)+"."+ending, ending, kind); err != nil {
				return err
			}
		}
	}
	return nil
}

func (o *writing) export(name, ending string, kinds ...records.Kind) error {
	format, err := export.FormatOf(ending)
	if err != nil {
		return err
	}
	doc, err := export.Document(o.ctx, o.reader, export.Selection{Kinds: kinds, Language: o.options.Language})
	if err != nil {
		return err
	}
	w, err := o.zip.Create(name)
	if err != nil {
		return err
	}
	return format.Write(o.ctx, w, doc)
}

// head begins every page of the archive.
func (o *writing) head() (paper.Head, error) {
	f := o.reader.Farm()
	zone, err := time.LoadLocation(f.Zone)
	return paper.Head{Farm: f.Name, Invented: f.Invented, Language: o.options.Language, Size: paper.SizeIn(f.Zone), Made: o.options.Made,
		Zone: zone, Version: o.options.Program, Sequence: o.reader.Sequence()}, err
}

// plans prints every block that has something to print.
func (o *writing) plans() error {
	head, err := o.head()
	if err != nil {
		return err
	}
	var after records.ID
	for more := true; more; {
		page, err := o.reader.List(records.Blocks, records.Query{After: after, Limit: sinceStep})
		if err != nil {
			return err
		}
		for _, block := range page.Revisions {
			after = block.ID
			if err := o.plan(block, head); err != nil {
				return err
			}
		}
		more = page.More
	}
	return nil
}

func (o *writing) plan(block records.Revision, head paper.Head) error {
	var named struct{ Name string }
	if json.Unmarshal(block.Record.Properties, &named) != nil || named.Name == "" {
		named.Name = string(block.ID)
	}
	ready, err := plan.Load(o.ctx, o.reader, plan.Ask{Block: block.ID})
	var data []byte
	if err == nil {
		data, err = plan.Print(o.ctx, ready, head)
	}
	return o.page("planting-plan", block.ID, named.Name, data, err)
}

// passes prints the record of every applied pass.
func (o *writing) passes() error {
	head, err := o.head()
	if err != nil {
		return err
	}
	var settings clock.Settings
	if o.law.Content != nil {
		if settings, err = job.LoadSettings(o.law, nil); err != nil {
			return err
		}
	}
	book, err := job.LoadBook(o.reader, settings)
	if err != nil {
		return err
	}
	for _, sheet := range book.Sheets {
		if sheet.Pass.State != spray.Applied {
			continue
		}
		data, err := book.Record(o.ctx, sheet, head)
		if err := o.page("application-record", sheet.ID, string(sheet.ID), data, err); err != nil {
			return err
		}
	}
	return nil
}

// decisions prints every signed decision as it was frozen.
func (o *writing) decisions() error {
	reviews, err := o.reader.List(records.Reviews, records.Query{})
	if err != nil {
		return err
	}
	printed := removal.Paper{Language: o.options.Language, Size: paper.SizeIn(o.reader.Farm().Zone)}
	for _, rev := range reviews.Revisions {
		if !review.IsSigned(rev.Record.Properties) {
			continue
		}
		for _, sheet := range []struct {
			name  string
			print func(context.Context, review.View, removal.Paper) ([]byte, error)
		}{{"removal-review", removal.Report}, {"crew-sheet", removal.Crew}} {
			data, err := o.decision(rev, func(v review.View) ([]byte, error) { return sheet.print(o.ctx, v, printed) })
			if err := o.page(sheet.name, rev.ID, string(rev.ID), data, err); err != nil {
				return err
			}
		}
	}
	return nil
}

func (o *writing) decision(rev records.Revision, print func(review.View) ([]byte, error)) ([]byte, error) {
	signed, err := review.Read(rev.Record.Properties)
	if err != nil {
		return nil, err
	}
	v, err := signed.View()
	if err != nil {
		return nil, err
	}
	return print(v)
}

// page puts a paper into the archive. One that is refused is named in the archive
// with the reason; other errors end the writing.
func (o *writing) page(name string, id records.ID, of string, data []byte, err error) error {
	var refusal *fault.Error
	switch {
	case err == nil:
		return o.file("pdf/"+name+"-"+string(id)+".pdf", data)
	case errors.As(err, &refusal) && o.ctx.Err() == nil:
		o.printed = append(o.printed, notPrinted.With(words.Args{"name": of, "why": refusal.Text}))
		return nil
	}
	return err
}

// describe ends the archive with what says what it is.
func (o *writing) describe() error {
	data, err := json.MarshalIndent(o.manifest, "", "  ")
	if err != nil {
		return err
	}
	if err := o.file(nameManifest, append(data, '\n')); err != nil {
		return err
	}
	m := o.manifest
	count := 0
	for _, n := range m.Current {
		count += n
	}
	var b strings.Builder
	for _, lang := range []words.Language{words.English, words.Spanish} {
		if m.Farm.Invented {
			b.WriteString(readmeInvented.Plain().In(lang) + "\n\n")
		}
		b.WriteString(readmeHead.With(words.Args{"farm": m.Farm.Name, "id": string(m.Farm.ID), "made": m.Made.Format(time.RFC3339), "records": strconv.Itoa(count),
			"revisions": m.Sequence, "documents": m.Documents, "photos": m.Photos}).In(lang) + "\n\n")
		b.WriteString(readmeFiles.Plain().In(lang) + "\n\n" + readmeBack.Plain().In(lang) + "\n")
		for _, p := range o.printed {
			b.WriteString("\n" + p.In(lang))
		}
		if len(o.printed) > 0 {
			b.WriteString("\n")
		}
		if lang == words.English {
			b.WriteString("\n----\n\n")
		}
	}
	return o.file(nameReadme, []byte(b.String()))
}
