package shp

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"

	"github.com/paulmach/orb"
)

// wgs84 is the .prj of longitude and latitude, in the spelling that every
// reader of the format takes.
const wgs84 = `GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`

// longestFile keeps within offsets that every reader can address.
const longestFile = 1<<31 - 1

// nothing stands for a height or measure that is not there.
const nothing = -1e39

// class is what one shapefile can hold: a kind of shape, with or without
// heights and measures.
type class struct {
	kind shapeType
	z, m bool
}

func (c class) shapeType() shapeType {
	switch {
	case c.kind == typeNull:
		return typeNull
	case c.z:
		return c.kind + withZ
	case c.m:
		return c.kind + withM
	}
	return c.kind
}

// ending tells the files of one layer apart.
func (c class) ending() string {
	name := map[shapeType]string{typePoint: "_points", typeMultiPoint: "_pointsets", typeLine: "_lines", typePolygon: "_areas", typeNull: "_table"}[c.kind]
	if c.z || c.m {
		name += "_"
	}
	if c.z {
		name += "z"
	}
	if c.m {
		name += "m"
	}
	return name
}

// sheet is one shapefile, or one table, being filled.
type sheet struct {
	layer string
	file  string // without the ending
	class class
	shp   []byte
	shx   []byte
	box   [4][2]float64 // least and greatest x, y, z, m
	table grid
}

// Write writes one ZIP file: for each layer and kind of shape, with or without
// heights and measures, a shapefile such as blocks_areas.shp with its .shx,
// .dbf, .prj and .cpg; what has no place goes into a .dbf by itself. README.txt
// holds the title and the notice, which is the archive's comment too, and
// fields.csv what [Open] restores from.
//
// Restored are ids, properties with their JSON types, shapes, heights, measures
// and layer names; features come back grouped by file, and a height that is
// missing at some corners of a shape is written as -1e39. Features' foreign
// members and coordinate systems are not written: positions are WGS 84
// longitude, latitude. The error is an *wire.Error (RuleSize, RuleColumns,
// RuleCollection, RuleCell for a text with 254 spaces on end, wire.RuleCount,
// wire.RuleNumber) that names layer and feature, a layer's own, the context's,
// or that of w.
func Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	var sheets []*sheet
	for _, layer := range doc.Layers {
		of, err := fill(ctx, layer)
		if err != nil {
			return err
		}
		sheets = append(sheets, of...)
	}
	nameFiles(sheets)
	z := archive.NewWriter(w)
	if err := z.Comment(shortened(doc.Notice, 1<<16-1)); err != nil {
		return fmt.Errorf("shp: writing the comment: %w", err)
	}
	if err := put(z, "README.txt", readme(doc, sheets)); err != nil {
		return err
	}
	var list bytes.Buffer
	fields := csv.NewWriter(&list)
	rows := [][]string{fieldListHeader}
	for _, s := range sheets {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := s.put(z); err != nil {
			return err
		}
		rows = append(rows, s.listed()...)
	}
	if err := fields.WriteAll(rows); err != nil {
		return fmt.Errorf("shp: writing fields: %w", err)
	}
	if err := put(z, fieldListName, list.Bytes()); err != nil {
		return err
	}
	return z.Close()
}

func put(z *archive.Writer, name string, data []byte) error {
	to, err := z.Create(name)
	if err != nil {
		return err
	}
	if _, err := to.Write(data); err != nil {
		return fmt.Errorf("shp: writing %s: %w", name, err)
	}
	return nil
}

// shortened cuts a text to so many bytes, between letters.
func shortened(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "")
}

func readme(doc wire.Document, sheets []*sheet) []byte {
	var b strings.Builder
	for _, part := range []string{doc.Title, doc.Notice} {
		if part != "" {
			b.WriteString(part + "\n\n")
		}
	}
	for _, s := range sheets {
		ending := ".shp"
		if s.class.kind == typeNull {
			ending = ".dbf"
		}
		fmt.Fprintf(&b, "%s%s: %s, %d\n", s.file, ending, s.layer, len(s.table.rows))
	}
	b.WriteString("WGS 84 (EPSG:4326), UTF-8\n")
	return []byte(b.String())
}

// fill sorts the features of a layer into sheets, in a fixed order.
func fill(ctx context.Context, layer wire.Layer) ([]*sheet, error) {
	byClass := map[class]*sheet{}
	n := 0
	for f, err := range layer.Features {
		n++
		if err != nil {
			return nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := place(byClass, layer.Name, f); err != nil {
			err.Entry, err.Feature, err.Byte = layer.Name, n, -1
			return nil, err
		}
	}
	if n == 0 {
		byClass[class{}] = newSheet(layer.Name, class{})
	}
	var sheets []*sheet
	for _, s := range byClass {
		if len(byClass) == 1 && s.class.kind == typeNull {
			s.file = "" // a layer without places needs no ending
		}
		sheets = append(sheets, s)
	}
	order := []shapeType{typePolygon, typeLine, typePoint, typeMultiPoint, typeNull}
	slices.SortFunc(sheets, func(a, b *sheet) int {
		return cmp.Or(cmp.Compare(slices.Index(order, a.class.kind), slices.Index(order, b.class.kind)), cmp.Compare(a.file, b.file))
	})
	for _, s := range sheets {
		if err := s.table.settle(); err != nil {
			err.Entry, err.Byte = layer.Name, -1
			return nil, err
		}
	}
	return sheets, nil
}

func newSheet(layer string, c class) *sheet {
	s := &sheet{layer: layer, file: c.ending(), class: c, table: grid{byName: map[string]int{}}}
	for i := range s.box {
		s.box[i] = [2]float64{math.Inf(1), math.Inf(-1)}
	}
	return s
}

func place(byClass map[class]*sheet, layer string, f wire.Feature) *wire.Error {
	g := f.Geometry
	g.Heights, g.Measures = some(g.Heights), some(g.Measures)
	n := wire.Vertices(g.Flat)
	if g.Heights != nil && len(g.Heights) != n || g.Measures != nil && len(g.Measures) != n {
		return &wire.Error{Rule: wire.RuleCount}
	}
	c := class{z: g.Heights != nil, m: g.Measures != nil}
	switch g.Flat.(type) {
	case nil:
	case orb.Point:
		c.kind = typePoint
	case orb.MultiPoint:
		c.kind = typeMultiPoint
	case orb.LineString, orb.MultiLineString:
		c.kind = typeLine
	case orb.Polygon, orb.MultiPolygon:
		c.kind = typePolygon
	default:
		return &wire.Error{Rule: RuleCollection, Got: g.Flat.GeoJSONType()}
	}
	if n == 0 {
		c = class{}
	}
	s := byClass[c]
	if s == nil {
		s = newSheet(layer, c)
		byClass[c] = s
	}
	if c.kind != typeNull {
		if err := s.add(g); err != nil {
			return err
		}
	}
	return s.table.add(f)
}

// nameFiles gives every sheet a file name of letters that all systems take.
func nameFiles(sheets []*sheet) {
	taken := map[string]bool{"readme": true, "fields": true}
	for _, s := range sheets {
		stem := strings.Map(plainLetter, s.layer)
		if stem == "" {
			stem = "layer"
		}
		ending := s.file
		s.file = stem + ending
		for n := 2; taken[strings.ToLower(s.file)]; n++ {
			s.file = stem + itoa(n) + ending
		}
		taken[strings.ToLower(s.file)] = true
	}
}

func plainLetter(r rune) rune {
	switch {
	case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '_', r == '-':
		return r
	}
	return '_'
}

func (s *sheet) put(z *archive.Writer) error {
	dbf, err := s.table.encode()
	if err != nil {
		err.Entry = s.file + ".dbf"
		return err
	}
	if s.class.kind != typeNull {
		if err := put(z, s.file+".shp", append(s.header(headerLength+len(s.shp)), s.shp...)); err != nil {
			return err
		}
		if err := put(z, s.file+".shx", append(s.header(headerLength+len(s.shx)), s.shx...)); err != nil {
			return err
		}
		if err := put(z, s.file+".prj", []byte(wgs84)); err != nil {
			return err
		}
	}
	if err := put(z, s.file+".cpg", []byte("UTF-8")); err != nil {
		return err
	}
	return put(z, s.file+".dbf", dbf)
}

// listed are the sheet's rows of fields.csv.
func (s *sheet) listed() [][]string {
	var rows [][]string
	if s.class.m {
		rows = append(rows, []string{s.file, s.layer, "", "", fieldSeconds, "1"})
	}
	for _, f := range s.table.fields {
		for i, name := range f.columns {
			rows = append(rows, []string{s.file, s.layer, name, f.property, f.kind, itoa(i + 1)})
		}
	}
	return rows
}

// header is that of the .shp and the .shx.
func (s *sheet) header(size int) []byte {
	h := binary.BigEndian.AppendUint32(make([]byte, 0, size), fileCode)
	h = append(h, make([]byte, 20)...)
	h = binary.BigEndian.AppendUint32(h, uint32(size/2))
	h = binary.LittleEndian.AppendUint32(h, 1000)
	h = binary.LittleEndian.AppendUint32(h, uint32(s.class.shapeType()))
	box := s.box
	for i := range box {
		if box[i][0] > box[i][1] {
			box[i] = [2]float64{}
		}
	}
	return appendFloats(h, box[0][0], box[1][0], box[0][1], box[1][1], box[2][0], box[2][1], box[3][0], box[3][1])
}

func appendFloats(out []byte, values ...float64) []byte {
	for _, v := range values {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
	}
	return out
}

// add writes a record and its place in the index.
func (s *sheet) add(g geo.Geometry) *wire.Error {
	runs, err := runsOf(g)
	if err != nil {
		return err
	}
	content := s.content(runs)
	if headerLength+len(s.shp)+recordHeader+len(content) > longestFile {
		return &wire.Error{Rule: RuleSize, Limit: longestFile}
	}
	s.shx = binary.BigEndian.AppendUint32(s.shx, uint32((headerLength+len(s.shp))/2))
	s.shx = binary.BigEndian.AppendUint32(s.shx, uint32(len(content)/2))
	s.shp = binary.BigEndian.AppendUint32(s.shp, uint32(len(s.shx)/8))
	s.shp = binary.BigEndian.AppendUint32(s.shp, uint32(len(content)/2))
	s.shp = append(s.shp, content...)
	return nil
}

// run is a line or ring with its values, in the direction of the format.
type run struct{ points, heights, measures []float64 }

// runsOf takes a shape apart. Shells come out clockwise, holes the other way.
func runsOf(g geo.Geometry) ([]run, *wire.Error) {
	var runs []run
	at := 0
	add := func(points []orb.Point, turn bool) {
		r := run{points: make([]float64, 0, 2*len(points))}
		order := slices.Clone(points)
		if turn {
			slices.Reverse(order)
		}
		for _, p := range order {
			r.points = append(r.points, p[0], p[1])
		}
		r.heights, r.measures = valuesOf(g.Heights, at, len(points), turn), valuesOf(g.Measures, at, len(points), turn)
		at += len(points)
		runs = append(runs, r)
	}
	polygon := func(p orb.Polygon) {
		for i, ring := range p {
			turn := false
			if len(ring) > 0 {
				area := signedArea(ring)
				turn = i == 0 && area > 0 || i > 0 && area < 0
			}
			add(ring, turn)
		}
	}
	switch flat := g.Flat.(type) {
	case orb.Point:
		add([]orb.Point{flat}, false)
	case orb.MultiPoint:
		add(flat, false)
	case orb.LineString:
		add(flat, false)
	case orb.MultiLineString:
		for _, l := range flat {
			add(l, false)
		}
	case orb.Polygon:
		polygon(flat)
	case orb.MultiPolygon:
		for _, p := range flat {
			polygon(p)
		}
	}
	for i, r := range runs {
		if k := slices.IndexFunc(r.points, func(v float64) bool { return !finite(v) }); k >= 0 {
			return nil, &wire.Error{Rule: wire.RuleNumber, Part: i + 1, Vertex: k/2 + 1}
		}
	}
	return slices.DeleteFunc(runs, func(r run) bool { return len(r.points) == 0 }), nil
}

// valuesOf cuts the values of a run out, with the format's own sign for none.
func valuesOf(values []float64, at, n int, turn bool) []float64 {
	if values == nil {
		return nil
	}
	out := slices.Clone(values[at : at+n])
	for i, v := range out {
		if !finite(v) {
			out[i] = nothing
		}
	}
	if turn {
		slices.Reverse(out)
	}
	return out
}

// content is a record behind its header.
func (s *sheet) content(runs []run) []byte {
	out := binary.LittleEndian.AppendUint32(nil, uint32(s.class.shapeType()))
	var points, heights, measures []float64
	var starts []int
	for _, r := range runs {
		starts = append(starts, len(points)/2)
		points, heights, measures = append(points, r.points...), append(heights, r.heights...), append(measures, r.measures...)
	}
	own := newSheet("", s.class).box
	for i, v := range points {
		extend(&own[i%2], v)
	}
	for _, v := range heights {
		extend(&own[2], v)
	}
	for _, v := range measures {
		extend(&own[3], v)
	}
	for i := range own {
		extend(&s.box[i], own[i][0])
		extend(&s.box[i], own[i][1])
	}
	if s.class.kind == typePoint {
		return appendFloats(appendFloats(appendFloats(out, points...), heights...), measures...)
	}
	out = appendFloats(out, own[0][0], own[1][0], own[0][1], own[1][1])
	if s.class.kind != typeMultiPoint {
		out = binary.LittleEndian.AppendUint32(out, uint32(len(starts)))
	}
	out = binary.LittleEndian.AppendUint32(out, uint32(len(points)/2))
	if s.class.kind != typeMultiPoint {
		for _, from := range starts {
			out = binary.LittleEndian.AppendUint32(out, uint32(from))
		}
	}
	out = appendFloats(out, points...)
	for i, values := range [][]float64{heights, measures} {
		if values != nil {
			out = appendFloats(appendFloats(out, own[2+i][0], own[2+i][1]), values...)
		}
	}
	return out
}

// extend widens a range; infinities, of ranges without values, and what stands
// for nothing are passed over.
func extend(r *[2]float64, v float64) {
	if v < noData || !finite(v) {
		return
	}
	r[0], r[1] = min(r[0], v), max(r[1], v)
}
