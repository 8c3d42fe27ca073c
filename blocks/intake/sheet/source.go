package sheet

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"caneward/blocks/when"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/wkt"

	"github.com/paulmach/orb"
)

// Source gives the rows of a sheet that was looked over.
type Source struct {
	columns
	ctx     context.Context
	o       Options
	limits  wire.Limits
	text    string
	rows    *scanner
	cut     int // where the header ends
	cutLine int
	headed  place // the header; line 0 for none

	delimiter byte
	facts     facts
	names     []string // of the properties of columns that keep their header
	own       bool     // package table wrote it
	number    int
	vertices  int

	notes   []*wire.Error
	counted map[wire.Rule]*wire.Error
}

// facts are what only all rows together tell.
type facts struct {
	thousands      map[int]byte  // of a column
	comma          bool          // decimals have one
	beside         map[Field]int // columns that hold the hemisphere's letter alone
	metres         bool          // columns of positions hold no degrees
	lonFirst       bool          // in a column of pairs
	dates          when.Order
	dayAt, monthAt place // what proves an order
	rows, left     int
	seen           *seen
}

// How often the rows are looked at between two looks at the context.
const checkEvery = 1000

// Open looks over a whole sheet, UTF-8 without byte order mark. Columns of
// position: well-known text or GeoJSON, else latitude and longitude, else both
// in one cell, else x and y. Where there are none, columns for row and plant
// will do, and features have no place. The error is the context's or a
// *wire.Error: RuleColumns, whose Got lists the headers, where neither is
// there, RuleDayMonth, or what cannot be read at all.
func Open(ctx context.Context, data []byte, o Options) (*Source, error) {
	s, err := open(ctx, data, o)
	if err != nil {
		return nil, err
	}
	if e := s.refusal(); e != nil {
		return nil, e
	}
	if !s.placed() && !s.addressed() {
		return nil, &wire.Error{Rule: RuleColumns, Line: max(s.headed.line, 1), Byte: int64(s.headed.byte), Got: shortenList(s.header)}
	}
	if s.facts.dates == when.Contradictory && !o.settled() {
		return nil, &wire.Error{Rule: RuleDayMonth, Line: s.facts.monthAt.line, Byte: int64(s.facts.monthAt.byte),
			Got: fmt.Sprintf("%d, %d", s.facts.dayAt.line, s.facts.monthAt.line)}
	}
	return s, nil
}

func (o Options) settled() bool { return o.Order == when.DayFirst || o.Order == when.MonthFirst }

// Columns looks over a sheet for a person to say what its columns hold. The
// error is the context's, or a *wire.Error where the text is no sheet.
func Columns(ctx context.Context, data []byte, o Options) (Preview, error) {
	s, err := open(ctx, data, o)
	if err != nil {
		return Preview{}, err
	}
	return s.Preview()
}

func open(ctx context.Context, data []byte, o Options) (*Source, error) {
	s := &Source{ctx: ctx, o: o, limits: o.Limits.Filled(), text: string(data), counted: map[wire.Rule]*wire.Error{}}
	if int64(len(data)) > s.limits.Bytes {
		return nil, &wire.Error{Rule: wire.RuleBytes, Limit: s.limits.Bytes, Byte: -1}
	}
	if err := s.findColumns(); err != nil {
		return nil, err
	}
	s.findHemispheres()
	for _, pass := range []func(row){s.lookAtFigures, s.lookAtPlaces} {
		if err := s.eachRow(pass); err != nil {
			return nil, err
		}
	}
	s.judgeDates()
	s.judgePlaces()
	s.names = s.propertyNames()
	if !s.own {
		s.doubtColumns()
		s.doubtPair()
	}
	s.rows = s.fromTop()
	return s, nil
}

func (s *Source) findColumns() error {
	start := 0
	s.delimiter, start = separatorLine(s.text)
	if s.delimiter == 0 {
		s.delimiter = findDelimiter(s.text, s.o)
	}
	first := scan(s.text, s.delimiter)
	first.ctx = s.ctx
	if start > 0 {
		first.at, first.line = start, 2
	}
	rows := sample(s.text[start:], s.delimiter)
	at, understood := findHeader(rows, s.o)
	if len(rows) > 0 && !understood && (headerless(rows[0]) || namesNumbered(s.o.Fields)) {
		s.columns = guess(numberedHeader(widest(rows)), s.o.Fields)
		s.cut, s.cutLine = first.at, first.line
		return nil
	}
	for i := 0; ; i++ {
		r, err := first.next()
		if errors.Is(err, io.EOF) {
			return &wire.Error{Rule: wire.RuleNothing, Byte: -1}
		}
		if err != nil {
			return err
		}
		if i == at {
			s.columns = guess(r.cells, s.o.Fields)
			s.settle(rows[i+1:], s.o.Fields)
			s.own, s.headed = isOwn(s.header), r.place
			s.cut, s.cutLine = first.at, first.line
			return nil
		}
		s.count(RuleBefore, r.place, shorten(strings.Join(r.cells, string(s.delimiter))))
	}
}

func widest(rows [][]string) int {
	width := 0
	for _, r := range rows {
		width = max(width, len(r))
	}
	return width
}

// namesNumbered reports whether somebody has said what the columns of a sheet
// without header hold.
func namesNumbered(said map[string]Field) bool {
	for name := range said {
		if n, ok := strings.CutPrefix(name, "column "); ok {
			if _, err := strconv.Atoi(n); err == nil {
				return true
			}
		}
	}
	return false
}

func shortenList(header []string) string {
	const most = 200
	text := strings.Join(header, " · ")
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "…"
	}
	return text
}

func (s *Source) fromTop() *scanner {
	rows := scan(s.text, s.delimiter)
	rows.at, rows.line, rows.ctx = s.cut, s.cutLine, s.ctx
	return rows
}

func (s *Source) eachRow(visit func(row)) error {
	rows := s.fromTop()
	for n := 0; ; n++ {
		if n%checkEvery == 0 && s.ctx.Err() != nil {
			return s.ctx.Err()
		}
		r, err := rows.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if n >= s.limits.Features {
			return &wire.Error{Rule: wire.RuleFeatures, Limit: int64(s.limits.Features), Line: r.line, Byte: int64(r.byte)}
		}
		visit(r)
	}
}

// cell is the cell of a field, "" where there is none.
func (s *Source) cell(r row, f Field) string {
	if i, ok := s.of[f]; ok && i < len(r.cells) {
		return r.cells[i]
	}
	return ""
}

// figures are the fields whose cells are numbers. Those of a place share their
// signs, since the other column may prove what one leaves open.
var (
	places  = []Field{Latitude, Longitude, X, Y}
	figures = []Field{Severity, Accuracy, Row, Plant, Date}
)

func (s *Source) lookAtFigures(r row) {
	if s.facts.thousands == nil {
		s.facts.thousands = map[int]byte{}
	}
	s.facts.rows++
	look := func(f Field) byte {
		text := tidy(s.cell(r, f))
		if strings.Trim(text, "0123456789+-.,") != "" || text == "" {
			return 0
		}
		sign := groupSign(text)
		s.facts.comma = s.facts.comma || strings.Count(text, ",") == 1 && sign != ','
		return sign
	}
	for _, f := range figures {
		if sign := look(f); sign != 0 {
			s.facts.thousands[s.of[f]] = sign
		}
	}
	for _, f := range places {
		if sign := look(f); sign != 0 {
			for _, other := range places {
				if i, ok := s.of[other]; ok {
					s.facts.thousands[i] = sign
				}
			}
		}
	}
}

// seen counts what the columns of places and dates hold.
type seen struct {
	beyond, within    int
	lonFirst, latBack int
	open              int // pairs that could be read either way
	cut, whole        int // rows whose decimal commas part columns, and others
	cutAt             place
	cutText           string
	dates             when.Column
	lines             []place
}

func (s *Source) lookAtPlaces(r row) {
	if s.facts.seen == nil {
		s.facts.seen = &seen{}
	}
	n := s.facts.seen
	s.lookAtWidth(r)
	x, y := s.axes()
	if lon, ok := s.figure(r, x); ok {
		if lat, ok := s.figure(r, y); ok {
			// Either way round, so that swapped columns are not taken for metres.
			if math.Max(math.Abs(lon), math.Abs(lat)) > 180 || math.Min(math.Abs(lon), math.Abs(lat)) > 90 {
				n.beyond++
			} else {
				n.within++
			}
		}
	}
	if s.has(LatLon) {
		if a, b, err := pair(s.cell(r, LatLon), false); err == nil && a.letter == 0 && b.letter == 0 {
			if math.Abs(a.value) > 90 {
				n.lonFirst++
			} else if math.Abs(b.value) > 90 {
				n.latBack++
			} else {
				n.open++
			}
		}
	}
	if s.has(Date) {
		if cell := s.cell(r, Date); twoReadings(cell) {
			n.dates.Add("")
		} else {
			n.dates.Add(cell)
		}
		n.lines = append(n.lines, r.place)
	}
}

// axes are the two columns that hold numbers to the east and to the north.
func (s *Source) axes() (x, y Field) {
	if s.has(Latitude) && s.has(Longitude) {
		return Longitude, Latitude
	}
	return X, Y
}

func (s *Source) figure(r row, f Field) (float64, bool) {
	i, ok := s.of[f]
	if !ok || i >= len(r.cells) {
		return 0, false
	}
	return number(r.cells[i], s.facts.thousands[i])
}

func (s *Source) judgeDates() {
	n := s.facts.seen
	if n == nil || !s.has(Date) {
		return
	}
	s.facts.dates = n.dates.Order()
	if day, month := n.dates.Proof(); s.facts.dates == when.Contradictory {
		s.facts.dayAt, s.facts.monthAt = n.lines[day], n.lines[month]
	}
	if s.facts.dates == when.Unneeded {
		return
	}
	at := s.headed // or the one that proves it
	day, month := n.dates.Proof()
	switch s.facts.dates {
	case when.DayFirst:
		at = n.lines[day]
	case when.MonthFirst:
		at = n.lines[month]
	}
	switch s.order() {
	case when.DayFirst:
		s.note(RuleDayFirst, at, s.header[s.of[Date]])
	case when.MonthFirst:
		s.note(RuleMonthFirst, at, s.header[s.of[Date]])
	}
}

// judgePlaces tells metres from degrees: in columns that are called x and y a
// single number beyond degrees tells, in columns called latitude and longitude
// most must be, as one may be a slip.
func (s *Source) judgePlaces() {
	n := s.facts.seen
	if n == nil {
		return
	}
	s.facts.lonFirst = s.has(LonLat) || n.lonFirst > 0 && n.latBack == 0
	if x, _ := s.axes(); x == X {
		s.facts.metres = n.beyond > 0 || s.o.System != ""
		if !s.facts.metres && n.within > 0 && s.has(X) && s.has(Y) && !s.has(Geometry) {
			s.note(RuleDegrees, s.headed, s.header[s.of[X]]+", "+s.header[s.of[Y]])
		}
	} else {
		s.facts.metres = n.beyond > n.within
	}
	if s.facts.lonFirst && s.has(LatLon) {
		s.note(RulePair, s.headed, s.header[s.of[LatLon]])
	}
}

// order is how the dates are read.
func (s *Source) order() when.Order {
	if s.o.settled() {
		return s.o.Order
	}
	return s.facts.dates
}

// Preview shows the sheet's head.
func (s *Source) Preview() (Preview, error) {
	p := Preview{Delimiter: string(s.delimiter), Decimal: ".", Header: s.header, HeaderLine: s.headed.line, Fields: s.fields,
		Order: s.order(), Placed: s.placed(), Addressed: s.addressed()}
	if s.facts.comma {
		p.Decimal = ","
	}
	const shown = 5
	rows := s.fromTop()
	for len(p.Rows) < shown {
		r, err := rows.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return p, err
		}
		cells := make([]string, len(r.cells))
		for i, c := range r.cells {
			cells[i] = shorten(c)
		}
		p.Rows = append(p.Rows, cells)
	}
	return p, nil
}

// Order is how the dates are read; when.Either means that somebody must say.
func (s *Source) Order() when.Order { return s.order() }

// Header gives the headers, trimmed.
func (s *Source) Header() []string { return s.header }

// Notes implements wire.Source.
func (s *Source) Notes() []*wire.Error { return s.notes }

func (s *Source) note(rule wire.Rule, at place, got string) *wire.Error {
	e := &wire.Error{Rule: rule, Line: at.line, Byte: int64(at.byte), Got: got, Count: 1}
	s.notes = append(s.notes, e)
	return e
}

// count keeps one note for a rule: the first place, an example, how often.
func (s *Source) count(rule wire.Rule, at place, got string) {
	if e := s.counted[rule]; e != nil {
		e.Count++
		return
	}
	s.counted[rule] = s.note(rule, at, got)
}

func (s *Source) noticeOnce(at place, text string) {
	if text != "" {
		s.count(RuleNotice, at, shortenList([]string{text}))
	}
}

func (s *Source) broken(r row, rule wire.Rule, got string, err error) *wire.Error {
	return &wire.Error{Rule: rule, Feature: s.number, Line: r.line, Byte: int64(r.byte), Got: shorten(got), Err: err}
}

// mostLeft bounds the rows that are named one by one.
const mostLeft = 50

// leaveOut notes a row that holds no position.
func (s *Source) leaveOut(r row) {
	got := shorten(strings.Join(r.cells, string(s.delimiter)))
	s.facts.left++
	if s.facts.left > mostLeft {
		s.count(RuleMoreRows, r.place, got)
		return
	}
	s.note(RuleNoPosition, r.place, got)
}

// Next implements wire.Source.
func (s *Source) Next() (wire.Feature, error) {
	for {
		if err := s.ctx.Err(); err != nil {
			return wire.Feature{}, err
		}
		r, err := s.rows.next()
		if err != nil {
			return wire.Feature{}, err
		}
		if r.bare {
			s.count(RuleBareQuote, r.place, shorten(strings.Join(r.cells, string(s.delimiter))))
		}
		if s.nothing(r) {
			s.leaveOut(r)
			continue
		}
		return s.feature(r)
	}
}

// nothing reports whether a row has neither a position nor the place of a
// plant: cells without a figure, such as the word Total, are none.
func (s *Source) nothing(r row) bool {
	if s.own {
		return false
	}
	if s.addressed() && !totals(r.cells) && digits(s.cell(r, Row)) && digits(s.cell(r, Plant)) {
		return false
	}
	if s.has(Geometry) && !blank(s.cell(r, Geometry)) {
		return false
	}
	// A spreadsheet sums up columns of degrees as it does others.
	if totals(r.cells) {
		return true
	}
	for _, f := range []Field{LatLon, LonLat} {
		if digits(s.cell(r, f)) {
			return false
		}
	}
	x, y := s.axes()
	return !digits(s.cell(r, x)) || !digits(s.cell(r, y))
}

func digits(cell string) bool { return strings.ContainsAny(cell, "0123456789") }

var totalWords = map[string]bool{"total": true, "totals": true, "totales": true, "sum": true, "suma": true, "subtotal": true,
	"grandtotal": true, "average": true, "averages": true, "mean": true, "promedio": true, "promedios": true}

// totals reports whether a row sums up others.
func totals(cells []string) bool {
	for _, c := range cells {
		if name, _ := plain(c); name != "" {
			return totalWords[name]
		}
	}
	return false
}

func (s *Source) feature(r row) (wire.Feature, error) {
	s.number++
	f := wire.Feature{Number: s.number, Line: r.line, Byte: int64(r.byte)}
	if n := len(r.cells); n > len(s.header) && strings.TrimSpace(strings.Join(r.cells[len(s.header):], "")) != "" {
		s.count(RuleExtra, r.place, shorten(strings.Join(r.cells[len(s.header):], string(s.delimiter))))
	}
	var err error
	if s.own {
		err = s.ownRow(r, &f)
	} else {
		err = s.properties(r, &f)
	}
	if e := s.position(r, &f); e != nil {
		err = e
	}
	return f, err
}

// position finds the row's shape; one without stays empty.
func (s *Source) position(r row, f *wire.Feature) error {
	if cell := s.cell(r, Geometry); !blank(cell) {
		return s.shape(r, cell, f)
	}
	if s.own {
		return nil
	}
	x, y := s.axes()
	if s.has(x) && s.has(y) && (digits(s.cell(r, x)) || digits(s.cell(r, y))) {
		return s.point(r, x, y, f)
	}
	for _, column := range []Field{LatLon, LonLat} {
		if cell := s.cell(r, column); digits(cell) {
			return s.paired(r, cell, f)
		}
	}
	return nil
}

func (s *Source) shape(r row, cell string, f *wire.Feature) error {
	limits := s.limits
	limits.Vertices -= s.vertices
	if limits.Vertices <= 0 {
		return &wire.Error{Rule: wire.RuleVertices, Line: r.line, Byte: int64(r.byte), Limit: int64(s.limits.Vertices)}
	}
	var err error
	if text := strings.TrimSpace(cell); text[0] == '{' {
		f.Geometry, err = wire.DecodeGeometry([]byte(text), limits)
	} else {
		f.Geometry, f.CRS, err = wkt.Decode(text, limits)
	}
	if e, ok := wire.As(err); ok {
		e.Feature, e.Line, e.Byte = s.number, r.line, int64(r.byte)
		if e.Rule == wire.RuleVertices {
			e.Limit = int64(s.limits.Vertices)
		}
		return e
	}
	if err != nil {
		return err
	}
	if f.Geometry.Empty() {
		return nil
	}
	s.vertices += wire.Vertices(f.Geometry.Flat)
	if b := f.Geometry.Flat.Bound(); f.CRS == "" && (b.Min[0] < -farDegrees || b.Min[1] < -farDegrees || b.Max[0] > farDegrees || b.Max[1] > farDegrees) {
		f.CRS = wire.CRSMissing
	}
	return nil
}

// farDegrees is beyond every way of writing degrees: two turns.
const farDegrees = 720

func (s *Source) point(r row, x, y Field, f *wire.Feature) error {
	if s.facts.metres {
		east, okX := s.figure(r, x)
		north, okY := s.figure(r, y)
		if !okX || !okY {
			return s.broken(r, RulePosition, s.cell(r, x)+" "+s.cell(r, y), nil)
		}
		f.CRS = wire.CRSMissing
		f.Geometry = geo.Geometry{Flat: orb.Point{east, north}}
		return nil
	}
	lon, err := s.side(r, x, "EWO")
	if err != nil {
		return err
	}
	lat, err := s.side(r, y, "NS")
	if err != nil {
		return err
	}
	f.Geometry = geo.Geometry{Flat: orb.Point{lon, lat}}
	return nil
}

// side reads one coordinate in degrees whose letter must be one of those.
func (s *Source) side(r row, column Field, letters string) (float64, error) {
	cell := s.cell(r, column)
	hemisphere := s.hemispheres[s.of[column]]
	letter, err := s.letterBeside(r, column, letters)
	if err != nil {
		return 0, err
	}
	if letter != 0 {
		hemisphere = letter
	}
	if v, ok := s.figure(r, column); ok {
		// A header that says west leaves the sign out.
		if hemisphere != 0 && strings.IndexByte("WSO", hemisphere) >= 0 && v > 0 {
			v = -v
		}
		return v, nil
	}
	d, err := angle(cell)
	switch {
	case letter != 0 && err == nil && d.letter != 0 && d.letter != letter:
		return 0, s.broken(r, RuleHemisphere, cell+" "+string(letter), nil)
	case errors.Is(err, errHemisphere), err == nil && d.letter != 0 && strings.IndexByte(letters, d.letter) < 0:
		return 0, s.broken(r, RuleHemisphere, cell, err)
	case err != nil:
		return 0, s.broken(r, RulePosition, cell, err)
	case d.letter == 0 && hemisphere != 0 && strings.IndexByte("WSO", hemisphere) >= 0 && d.value > 0:
		return -d.value, nil
	}
	s.oeste(r, d, cell)
	return d.value, nil
}

func (s *Source) oeste(r row, d degrees, cell string) {
	if d.letter == 'O' {
		s.count(RuleOeste, r.place, shorten(cell))
	}
}

func (s *Source) paired(r row, cell string, f *wire.Feature) error {
	if _, _, err := wkt.Decode(cell, s.limits); err == nil {
		return s.shape(r, cell, f)
	}
	lat, lon, err := pair(cell, s.facts.lonFirst)
	if errors.Is(err, errHemisphere) {
		return s.broken(r, RuleHemisphere, cell, err)
	}
	if err != nil {
		return s.broken(r, RulePosition, cell, err)
	}
	s.oeste(r, lon, cell)
	f.Geometry = geo.Geometry{Flat: orb.Point{lon.value, lat.value}}
	return nil
}

// object is a JSON object in the making.
type object struct{ json []byte }

func (o *object) add(name string, value json.RawMessage) {
	o.name(name)
	o.json = append(o.json, value...)
}

func (o *object) addText(name, value string) {
	o.name(name)
	o.json = appendText(o.json, value)
}

func (o *object) name(name string) {
	if len(o.json) == 0 {
		o.json = append(o.json, '{')
	} else {
		o.json = append(o.json, ',')
	}
	o.json = append(appendText(o.json, name), ':')
}

func (o *object) bytes() json.RawMessage {
	if len(o.json) == 0 {
		return json.RawMessage("{}")
	}
	return append(o.json, '}')
}

// text is a JSON string; & and < stay themselves.
func text(s string) json.RawMessage { return appendText(nil, s) }

func appendText(out []byte, s string) []byte {
	if !simple(s) {
		var encoded bytes.Buffer
		e := json.NewEncoder(&encoded)
		e.SetEscapeHTML(false)
		if e.Encode(s) != nil { // a string can always be encoded
			return append(out, `""`...)
		}
		return append(out, bytes.TrimSpace(encoded.Bytes())...)
	}
	out = append(out, '"')
	out = append(out, s...)
	return append(out, '"')
}

// simple reports whether a text is its own JSON, but for the quotes.
func simple(s string) bool {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c >= utf8.RuneSelf || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}
