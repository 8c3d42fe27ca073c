package shp

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"io"
	"path"
	"slices"
	"strings"

	"caneward/geo/wire"
	"caneward/geo/wire/archive"
)

// Reader gives the features of all layers, in the order of their names.
type Reader struct {
	ctx    context.Context
	layers []*layer
	at     int // layer
	record int // in the layer, from 0
	number int
	notes  []*wire.Error
	room   []byte // properties are cut from it
	limit  int64  // of bytes of properties
	left   int64  // of them
}

// layer is one shapefile with what belongs to it.
type layer struct {
	name   string // Feature.Layer
	shapes *shapes
	table  *table
	crs    string
	count  int
}

// files are the parts of a layer; nil where there is none.
type files struct {
	base                    string // with the folder, without the ending
	shpName, dbfName        string
	shp, dbf, shx, prj, cpg []byte
}

// Open reads a ZIP file. The error is an *wire.Error, from package archive
// too, or the context's: it names the file inside, and the record and byte
// where it can. Everything is unpacked, and every record is found and counted,
// before the first feature is given.
func Open(ctx context.Context, data []byte, o wire.Options) (*Reader, error) {
	a, err := archive.Open(ctx, data, o.Limits)
	if err != nil {
		return nil, err
	}
	return OpenArchive(ctx, a, o)
}

// OpenArchive is Open for an archive that is open already.
func OpenArchive(ctx context.Context, a *archive.Archive, o wire.Options) (*Reader, error) {
	all, fields, err := unpack(ctx, a)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, &wire.Error{Rule: RuleNone, Byte: -1}
	}
	r := &Reader{ctx: ctx, notes: slices.Clone(a.Notes()), limit: o.Limits.Filled().Unpacked, left: o.Limits.Filled().Unpacked}
	list, note := readFieldList(fields)
	if note != nil {
		r.notes = append(r.notes, note)
	}
	left := o.Limits.Filled()
	for _, f := range all {
		if err := r.add(f, list[path.Base(f.base)], &left); err != nil {
			return nil, err
		}
	}
	r.nameLayers(all, list)
	return r, nil
}

// OpenShape reads a .shp by itself: shapes without properties, in a system of
// coordinates that nothing names. entry is the file's name, for errors.
func OpenShape(ctx context.Context, entry string, shp []byte, o wire.Options) (*Reader, error) {
	left := o.Limits.Filled()
	if int64(len(shp)) > left.Bytes {
		return nil, &wire.Error{Rule: wire.RuleBytes, Limit: left.Bytes, Byte: left.Bytes}
	}
	r := &Reader{ctx: ctx}
	if err := r.add(files{shpName: entry, shp: shp}, nil, &left); err != nil {
		return nil, err
	}
	return r, nil
}

// unpack reads the parts of all layers, in the order of their names, and the
// list of fields.
func unpack(ctx context.Context, a *archive.Archive) ([]files, []byte, error) {
	byBase := map[string]*files{}
	var fields []byte
	for _, e := range a.Entries() {
		ending := strings.ToLower(path.Ext(e.Name))
		base := e.Name[:len(e.Name)-len(ending)]
		f := byBase[strings.ToLower(base)]
		if f == nil {
			f = &files{base: base}
		}
		var to *[]byte
		switch ending {
		case ".shp":
			f.shpName, to = e.Name, &f.shp
		case ".dbf":
			f.dbfName, to = e.Name, &f.dbf
		case ".shx":
			to = &f.shx
		case ".prj":
			to = &f.prj
		case ".cpg":
			to = &f.cpg
		default:
			if path.Base(e.Name) != fieldListName {
				continue
			}
			to = &fields
		}
		data, err := a.Read(ctx, e.Name)
		if err != nil {
			return nil, nil, err
		}
		if *to = data; to != &fields {
			byBase[strings.ToLower(base)] = f
		}
	}
	var all []files
	for _, f := range byBase {
		if f.shpName != "" || f.dbfName != "" {
			all = append(all, *f)
		}
	}
	slices.SortFunc(all, func(a, b files) int {
		return cmp.Or(cmp.Compare(strings.ToLower(path.Base(a.base)), strings.ToLower(path.Base(b.base))), cmp.Compare(a.base, b.base))
	})
	return all, fields, nil
}

// add opens a layer. What it holds is taken off what is left.
func (r *Reader) add(f files, list *restoring, left *wire.Limits) error {
	l := &layer{crs: wire.CRSMissing}
	if prj := strings.TrimSpace(string(bytes.TrimPrefix(f.prj, []byte("\xEF\xBB\xBF")))); prj != "" {
		l.crs = strings.ToValidUTF8(prj, "?")
	}
	if f.dbfName != "" {
		t, err := openTable(f.dbfName, f.dbf, f.cpg)
		if err != nil {
			return err
		}
		l.table = t
	}
	shapes := -1
	if f.shpName == "" {
		l.crs = ""
	} else {
		s, err := openShapes(r.ctx, f, l.table, left.Features)
		if err != nil {
			return err
		}
		l.shapes, shapes = s, len(s.at)
		r.notes = append(r.notes, s.notes...)
	}
	l.count = shapes
	if l.table == nil {
		r.notes = append(r.notes, &wire.Error{Rule: RuleNoTable, Entry: f.shpName, Byte: -1, Count: 1})
	} else if err := l.table.settle(shapes); err != nil {
		return err
	} else {
		l.count = l.table.count
	}
	if l.count > left.Features {
		return &wire.Error{Rule: wire.RuleFeatures, Entry: cmp.Or(f.shpName, f.dbfName), Feature: left.Features + 1, Limit: int64(left.Features), Byte: -1}
	}
	left.Features -= l.count
	if l.shapes != nil {
		if err := l.shapes.spend(&left.Vertices); err != nil {
			return err
		}
	}
	if l.table != nil && list != nil {
		l.restoreWith(list)
	}
	r.layers = append(r.layers, l)
	return nil
}

// nameLayers gives layers their names: of the file, with its folder where two
// are called the same, none where there is only one.
func (r *Reader) nameLayers(all []files, list map[string]*restoring) {
	count := map[string]int{}
	for _, f := range all {
		count[path.Base(f.base)]++
	}
	for i, f := range all {
		base := path.Base(f.base)
		switch {
		case r.layers[i].table != nil && r.layers[i].table.restore != nil:
			r.layers[i].name = list[base].layer
		case len(all) == 1:
		case count[base] > 1:
			r.layers[i].name = f.base
		default:
			r.layers[i].name = base
		}
	}
}

// Notes are what was mended, left out or assumed.
func (r *Reader) Notes() []*wire.Error { return r.notes }

// Next gives the next feature, io.EOF after the last. Number counts over all
// layers; errors and departures count records in their file, which they name.
func (r *Reader) Next() (wire.Feature, error) {
	for ; r.at < len(r.layers); r.at, r.record = r.at+1, 0 {
		if err := r.ctx.Err(); err != nil {
			return wire.Feature{}, err
		}
		l := r.layers[r.at]
		for r.record < l.count {
			i := r.record
			r.record++
			r.number++
			if l.deleted(i) {
				continue
			}
			f, err := r.feature(l, i)
			if ended := r.ctx.Err(); ended != nil {
				return wire.Feature{}, ended
			}
			if err != nil {
				return f, err
			}
			return f, nil
		}
		r.notes = append(r.notes, l.finish()...)
	}
	return wire.Feature{}, io.EOF
}

func (l *layer) deleted(i int) bool {
	if l.table == nil || l.table.row(i)[0] != rowDeleted {
		return false
	}
	l.table.left++
	if l.table.left == 1 {
		l.table.firstLeft = i + 1
	}
	return true
}

// roomFor is how much room for properties is made at once.
const roomFor = 64 << 10

func (r *Reader) feature(l *layer, i int) (wire.Feature, *wire.Error) {
	f := wire.Feature{CRS: l.crs, Layer: l.name, Number: r.number}
	shape := ""
	if t := l.table; t != nil {
		if cap(r.room)-len(r.room) < 4*t.length {
			r.room = make([]byte, 0, max(roomFor, 8*t.length))
		}
		start := len(r.room)
		if t.restore != nil {
			r.room, shape = t.restore.row(t, &f, r.room, t.row(i), i+1)
		} else {
			r.room = t.appendProperties(r.room, t.row(i), i+1)
		}
		f.Properties = r.room[start:len(r.room):len(r.room)]
		// Names of columns are repeated in every row: many narrow ones grow
		// twentyfold.
		if r.left -= int64(len(f.Properties)); r.left < 0 {
			r.at = len(r.layers)
			return wire.Feature{}, &wire.Error{Rule: archive.RuleUnpacked, Entry: t.entry, Got: t.entry, Feature: i + 1, Limit: r.limit, Byte: -1}
		}
		f.Byte = int64(i * t.length)
	}
	if l.shapes == nil {
		return f, nil
	}
	f.Byte = int64(l.shapes.at[i])
	var err *wire.Error
	f.Geometry, f.Departures, err = l.shapes.shape(i)
	if err != nil {
		return f, err
	}
	f.Geometry.Flat = several(f.Geometry.Flat, shape)
	if f.Geometry.Measures != nil {
		f.Recorded = f.Geometry.Flat.Dimensions() == 1
	}
	return f, nil
}

// finish gives what was found while a layer was read.
func (l *layer) finish() []*wire.Error {
	var notes []*wire.Error
	if t := l.table; t != nil {
		notes = append(notes, t.finish()...)
		if t.left > 0 {
			notes = append(notes, &wire.Error{Rule: RuleDeleted, Entry: t.entry, Feature: t.firstLeft, Byte: -1, Count: t.left})
		}
	}
	if s := l.shapes; s != nil && s.notTimes > 0 {
		notes = append(notes, &wire.Error{Rule: RuleMeasure, Entry: s.entry, Feature: s.first, Byte: -1, Count: s.notTimes})
	}
	return notes
}

// openShapes finds the records. most is how many are allowed.
func openShapes(ctx context.Context, f files, t *table, most int) (*shapes, error) {
	s := &shapes{ctx: ctx, entry: f.shpName, data: f.shp}
	if len(s.data) < headerLength {
		return nil, s.fail(wire.RuleTruncated, 0, len(s.data))
	}
	if !Is(s.data) {
		return nil, s.fail(RuleHeader, 0, 0)
	}
	switch kind := shapeType(binary.LittleEndian.Uint32(s.data[32:])); {
	case kind == typeMultiPatch:
		return nil, s.fail(RuleMultiPatch, 0, 32)
	case !kind.known():
		e := s.fail(RuleType, 0, 32)
		e.Got = itoa(int(kind))
		return nil, e
	}
	inRow, err := s.walk(most)
	if err != nil && err.Rule == wire.RuleFeatures {
		return nil, err
	}
	if f.shx == nil {
		if err != nil {
			return nil, err
		}
		s.at = inRow
		return s, nil
	}
	indexed, sane := s.index(f.shx, most)
	switch {
	case sane && slices.Equal(indexed, inRow):
		s.at = inRow
	case sane && err == nil && s.disordered(indexed, inRow):
		s.at = inRow
		s.distrust(f)
	case sane && (err != nil || t != nil && t.count == len(indexed)):
		// Programs that change a shape in place write it anew at the end and leave
		// the old record standing: only the index tells which ones count.
		s.at = indexed
	case err != nil:
		return nil, err
	default:
		s.at = inRow
		s.distrust(f)
	}
	return s, nil
}

func (s *shapes) distrust(f files) {
	e := s.fail(RuleIndex, 0, -1)
	e.Entry, e.Count = f.base+".shx", 1
	s.notes = append(s.notes, e)
}

// disordered reports whether an index contradicts the records' own numbers,
// which count from 1 in the order of the file ("Record Headers"); rows of the
// table belong to records in that order.
func (s *shapes) disordered(indexed, inRow []int) bool {
	for i, at := range inRow {
		if s.recordNumber(at) != i+1 {
			return false // nothing to hold the index against
		}
	}
	for i, at := range indexed {
		if s.recordNumber(at) != i+1 {
			return true
		}
	}
	return false
}

func (s *shapes) recordNumber(at int) int { return int(binary.BigEndian.Uint32(s.data[at:])) }

// walk finds the records one after the other.
func (s *shapes) walk(most int) ([]int, *wire.Error) {
	// The shortest record, of a null shape, has 12 bytes.
	at := make([]int, 0, min(most, (len(s.data)-headerLength)/12))
	for from := headerLength; from < len(s.data); {
		rest := s.data[from:]
		if len(rest) >= recordHeader && len(at) >= most {
			e := s.fail(wire.RuleFeatures, len(at)+1, from)
			e.Limit = int64(most)
			return nil, e
		}
		if len(rest) < recordHeader || int64(binary.BigEndian.Uint32(rest[4:]))*2 > int64(len(rest)-recordHeader) {
			if blank(rest) { // some programs fill the last sector
				break
			}
			return nil, s.fail(wire.RuleTruncated, len(at)+1, from)
		}
		length := 2 * int(binary.BigEndian.Uint32(rest[4:]))
		if length == 0 {
			if blank(rest) {
				break
			}
			return nil, s.fail(RuleRecord, len(at)+1, from)
		}
		at = append(at, from)
		from += recordHeader + length
	}
	return at, nil
}

func blank(b []byte) bool { return len(bytes.Trim(b, "\x00")) == 0 }

// index reads a .shx; false when it does not point at records.
func (s *shapes) index(shx []byte, most int) ([]int, bool) {
	if len(shx) < headerLength || !Is(shx) || (len(shx)-headerLength)/8 > most {
		return nil, false
	}
	at := make([]int, 0, (len(shx)-headerLength)/8)
	for b := shx[headerLength:]; len(b) >= 8; b = b[8:] {
		from, length := 2*int64(binary.BigEndian.Uint32(b)), 2*int64(binary.BigEndian.Uint32(b[4:]))
		if from < headerLength || length < 4 || from+recordHeader+length > int64(len(s.data)) ||
			binary.BigEndian.Uint32(s.data[from+4:]) != binary.BigEndian.Uint32(b[4:]) {
			return nil, false
		}
		at = append(at, int(from))
	}
	return at, true
}

// spend counts corners before any is read.
func (s *shapes) spend(left *int) *wire.Error {
	most := *left
	for i := range s.at {
		c := s.content(i)
		n := 1
		if len(c) >= 44 {
			switch shapeType(binary.LittleEndian.Uint32(c)).kind() {
			case typeMultiPoint:
				n = int(binary.LittleEndian.Uint32(c[36:]))
			case typeLine, typePolygon:
				n = int(binary.LittleEndian.Uint32(c[40:]))
			}
		}
		if *left -= min(n, len(c)/16); *left < 0 {
			e := s.fail(wire.RuleVertices, i+1, s.at[i])
			e.Limit = int64(most)
			return e
		}
	}
	return nil
}
