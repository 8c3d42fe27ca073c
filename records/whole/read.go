package whole

import (
	"bufio"
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"iter"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"
	"caneward/records"
)

// Limits bound what an archive may hold. Zero fields take the defaults, which
// hold a farm of a million revisions and fifty thousand photos.
type Limits struct {
	Bytes    int64 // of the archive: 8 GiB
	Unpacked int64 // of the files that are read: 16 GiB
	Entries  int   // files: 100,000
}

// lineLimit bounds one line: a record of 5 MB, the most a client may send,
// takes some 9 MB here where its shape is most of it.
const lineLimit = 16 << 20

// manifestLimit bounds farm.json.
const manifestLimit = 64 << 10

// ratioLimit: a history of many like records packs to a fiftieth.
const ratioLimit = 400

var (
	notWhole = words.New("whole-not-whole",
		"This is no archive of a whole farm: {what} is missing or cannot be read. Take the file that “Leave with everything” gave.",
		"Esto no es un archivo de una finca entera: {what} falta o no se puede leer. Tome el archivo que dio «Salir con todo».")
	tooNew = words.New("whole-too-new",
		"This archive was written by a newer version of the program. Use that version.",
		"Este archivo lo escribió una versión más nueva del programa. Use esa versión.")
	badLine = words.New("whole-bad-line",
		"Line {line} of {file} cannot be read.",
		"No se puede leer la línea {line} de {file}.")
	badPhoto = words.New("whole-bad-photo",
		"The photo {id} is not the one that was stored.",
		"La foto {id} no es la que se guardó.")
	cutShort = words.New("whole-cut-short",
		"{file} does not hold all that farm.json says: something was left out.",
		"{file} no contiene todo lo que dice farm.json: falta algo.")
)

// Archive is a farm in a file, ready to be read once.
type Archive struct {
	ctx      context.Context
	zip      *archive.Archive
	manifest Manifest
}

// Open checks an archive's directory and reads what farm it holds. The context
// holds for all that is read from it. fault.Malformed and fault.TooLarge for what
// is none, fault.Unsupported for one of a newer program.
func Open(ctx context.Context, from io.ReaderAt, size int64, l Limits) (*Archive, error) {
	limit := wire.Limits{Bytes: l.Bytes, Unpacked: l.Unpacked, Entries: l.Entries, Ratio: ratioLimit}
	if limit.Bytes <= 0 {
		limit.Bytes = 8 << 30
	}
	if limit.Unpacked <= 0 {
		limit.Unpacked = 16 << 30
	}
	if limit.Entries <= 0 {
		limit.Entries = 100_000
	}
	a := &Archive{ctx: ctx}
	var err error
	if a.zip, err = archive.OpenAt(ctx, from, size, limit); err != nil {
		return nil, refusal(err, "ZIP")
	}
	r, err := a.zip.Stream(ctx, nameManifest)
	if err != nil {
		return nil, refusal(err, nameManifest)
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, manifestLimit))
	if err != nil {
		return nil, refusal(err, nameManifest)
	}
	// Members that a newer version may add are passed over.
	if err := json.Unmarshal(data, &a.manifest); err != nil || a.manifest.Form != form {
		return nil, fault.Wrap(fault.Malformed, err, notWhole.With(words.Args{"what": nameManifest}))
	}
	if a.manifest.Version > version {
		return nil, fault.New(fault.Unsupported, tooNew.Plain())
	}
	return a, nil
}

// refusal gives words to what the archive's reader says.
func refusal(err error, what string) error {
	e, ok := wire.As(err)
	if !ok {
		return err
	}
	kind := fault.Malformed
	switch e.Rule {
	case wire.RuleBytes, archive.RuleEntries, archive.RuleUnpacked, archive.RuleRatio:
		kind = fault.TooLarge
	}
	if e.Entry != "" {
		what = e.Entry
	}
	return fault.Wrap(kind, err, notWhole.With(words.Args{"what": what}))
}

// Manifest tells what the archive says it holds.
func (a *Archive) Manifest() Manifest { return a.manifest }

// Arrival is the farm as a store brings it in. Every line is held against what
// was written; a file that ends too early is refused.
func (a *Archive) Arrival() records.Arrival {
	f := a.manifest.Farm
	return records.Arrival{
		Farm:      records.Farm{ID: f.ID, Chain: f.Chain, Name: f.Name, Zone: f.Zone, Invented: f.Invented, Created: f.Created},
		Revisions: a.revisions(), Documents: a.documents(), Photos: a.photos(),
	}
}

// linesOf reads a file of JSON objects line by line; count and end are asked
// when it is over.
func linesOf[L, T any](a *Archive, name string, of func(L) (T, error), whole func(count int) bool) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		r, err := a.zip.Stream(a.ctx, name)
		if err != nil {
			yield(none, refusal(err, name))
			return
		}
		defer r.Close()
		in := bufio.NewScanner(r)
		in.Buffer(nil, lineLimit)
		count := 0
		for in.Scan() {
			count++
			var line L
			d := json.NewDecoder(bytes.NewReader(in.Bytes()))
			d.DisallowUnknownFields()
			one, err := none, d.Decode(&line)
			if err == nil {
				one, err = of(line)
			}
			if err != nil && fault.Is(err, fault.Internal) && a.ctx.Err() == nil {
				err = fault.Wrap(fault.Malformed, err, badLine.With(words.Args{"line": count, "file": name}))
			}
			if !yield(one, err) || err != nil {
				return
			}
		}
		switch err := in.Err(); {
		case errors.Is(err, bufio.ErrTooLong):
			yield(none, fault.Wrap(fault.TooLarge, err, badLine.With(words.Args{"line": count + 1, "file": name})))
		case err != nil:
			yield(none, refusal(err, name))
		case !whole(count):
			yield(none, fault.New(fault.Malformed, cutShort.With(words.Args{"file": name})))
		}
	}
}

var errHash = errors.New("whole: no hash of 64 hexadecimal digits")

func (a *Archive) revisions() iter.Seq2[records.Revision, error] {
	var last revisionLine
	of := func(l revisionLine) (r records.Revision, err error) {
		last = l
		last.Properties, last.Shape = nil, ""
		r = records.Revision{Kind: l.Kind, ID: l.ID, Number: l.Revision, Sequence: l.Sequence, Deleted: l.Deleted, By: l.By.author(), At: l.At.UTC()}
		var ok bool
		if r.Hash, ok = hash(l.Hash); !ok {
			return r, errHash
		}
		if l.Deleted {
			return r, nil
		}
		shape, err := hex.DecodeString(l.Shape)
		if err != nil {
			return r, err
		}
		r.Record, err = records.Content{Shape: shape, Properties: l.Properties}.Record()
		return r, err
	}
	return linesOf(a, nameRevisions, of, func(count int) bool {
		return int64(count) == a.manifest.Sequence && last.Sequence == a.manifest.Sequence && last.Hash == a.manifest.Head
	})
}

func (a *Archive) documents() iter.Seq2[records.Document, error] {
	of := func(l documentLine) (d records.Document, err error) {
		d = records.Document{Name: l.Name, Number: l.Revision, By: l.By.author(), At: l.At.UTC(), Content: l.Content}
		var ok bool
		if d.Hash, ok = hash(l.Hash); !ok {
			err = errHash
		}
		return d, err
	}
	return linesOf(a, nameDocuments, of, func(count int) bool { return count == a.manifest.Documents })
}

func (a *Archive) photos() iter.Seq2[records.Photo, error] {
	of := func(l photoLine) (p records.Photo, err error) {
		p = records.Photo{ID: l.ID, Type: l.Type, By: l.By.author(), At: l.At.UTC()}
		r, err := a.zip.Stream(a.ctx, l.file())
		if err != nil {
			return p, refusal(err, l.file())
		}
		defer r.Close()
		if p.Data, err = io.ReadAll(io.LimitReader(r, records.PhotoLimit+1)); err != nil {
			return p, refusal(err, l.file())
		}
		want, ok := hash(l.Sum)
		if !ok || p.Sum() != want {
			return p, fault.New(fault.Invalid, badPhoto.With(words.Args{"id": string(l.ID)}))
		}
		return p, nil
	}
	return linesOf(a, namePhotos, of, func(count int) bool { return count == a.manifest.Photos })
}
