package hotspot

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/cluster"
	"caneward/geo/plane"
	"caneward/records/scouting"
)

// Bounds of what is read from a spreadsheet. maxFaults is how many faults are
// named before reading stops: the rest are most likely the same one again.
const (
	MaxSheetBytes = 64 << 20
	MaxSheetRows  = 1_000_000
	maxFaults     = 20
	// maxOnPlant is more canes or galls than any plant has.
	maxOnPlant = 100_000
)

var (
	badSheet = words.New("hotspot-bad-sheet",
		"The sheet cannot be used: {count} thing(s) to mend, named below.",
		"La hoja no se puede usar: {count} cosa(s) por corregir, nombradas abajo.")
	sheetTooLarge = words.New("hotspot-sheet-too-large",
		"A sheet holds at most {bytes} bytes and {rows} lines.",
		"Una hoja tiene como máximo {bytes} bytes y {rows} líneas.")
	sheetEmpty = words.New("hotspot-sheet-empty",
		"The sheet is empty: a first line with the names of the columns is expected.",
		"La hoja está vacía: se espera una primera línea con los nombres de las columnas.")
	noColumn = words.New("hotspot-no-column",
		"There is no column “{column}”; the columns are: {columns}.",
		"No hay ninguna columna «{column}»; las columnas son: {columns}.")
	columnTwice = words.New("hotspot-column-twice", "The column “{column}” stands twice.", "La columna «{column}» está dos veces.")
	badLine     = words.New("hotspot-bad-line", "The line cannot be read: {problem}.", "La línea no se puede leer: {problem}.")
	lineLength  = words.New("hotspot-line-length", "{want} values are expected; this line has {got}.", "Se esperan {want} valores; esta línea tiene {got}.")
	quotes      = words.New("hotspot-quotes", "a quote is out of place", "hay una comilla fuera de lugar")
	notANumber  = words.New("hotspot-not-a-number", "“{value}” is not a number; decimals have a point.", "«{value}» no es un número; los decimales llevan punto.")
	notInRange  = words.New("hotspot-not-in-range", "“{value}” is not a whole number from {low} to {high}.", "«{value}» no es un número entero de {low} a {high}.")
	plantTwice  = words.New("hotspot-plant-twice", "Row {row}, plant {plant} already stands in line {line}.", "La hilera {row}, planta {plant} ya está en la línea {line}.")
	notZeroOne  = words.New("hotspot-not-zero-one", "“{value}” is neither 0 nor 1.", "«{value}» no es 0 ni 1.")
	otherStatus = words.New("hotspot-other-status",
		"The status “{value}” (first in line {line}) is taken as not inspected.",
		"El estado «{value}» (primero en la línea {line}) se toma como no revisado.")
	sickMissing = words.New("hotspot-sick-missing",
		"A position without a plant cannot be infected.",
		"Una posición sin planta no puede estar infectada.")
	onlyOneAxis = words.New("hotspot-only-one-axis",
		"x_m and y_m go together: one of them is not there.",
		"x_m e y_m van juntos: falta uno de ellos.")
	needSpacings = words.New("hotspot-need-spacings",
		"Without columns x_m and y_m the spacings are needed: --row-spacing and --plant-spacing in metres.",
		"Sin las columnas x_m e y_m hacen falta las distancias: --row-spacing y --plant-spacing en metros.")
)

// sheet is a table with named columns whose faults carry their line.
type sheet struct {
	columns map[string]int
	names   []string
	lines   [][]string
	numbers []int // line of the file of each of lines
	faults  []fault.Detail
}

func (s *sheet) fault(line int, field string, text words.Text) {
	d := fault.Detail{Field: field, Text: text}
	if line > 0 {
		d.Line = &line
	}
	s.faults = append(s.faults, d)
}

func (s *sheet) full() bool { return len(s.faults) >= maxFaults }

func (s *sheet) refusal() error {
	if len(s.faults) == 0 {
		return nil
	}
	return fault.New(fault.Invalid, badSheet.With(words.Args{"count": len(s.faults)}), s.faults...)
}

// delimiter is what parts the columns: a comma or, where the first line has none,
// a tab or a semicolon.
func delimiter(data []byte) rune {
	first, _, _ := bytes.Cut(data, []byte("\n"))
	for _, r := range ",\t;" {
		if bytes.ContainsRune(first, r) {
			return r
		}
	}
	return ','
}

// readSheet reads values parted by commas (RFC 4180), tabs or semicolons in
// UTF-8, a byte order mark let pass, spaces round values and column names cut
// off, lines without any value passed over. An error is a
// *fault.Error, or the reader's own.
func readSheet(r io.Reader) (*sheet, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxSheetBytes+1))
	if err != nil {
		return nil, err
	}
	tooLarge := fault.New(fault.TooLarge, sheetTooLarge.With(words.Args{"bytes": MaxSheetBytes, "rows": MaxSheetRows}))
	if len(data) > MaxSheetBytes {
		return nil, tooLarge
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	in := csv.NewReader(bytes.NewReader(data))
	in.Comma = delimiter(data)
	in.FieldsPerRecord = -1
	s := &sheet{columns: map[string]int{}}
	for {
		values, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			var bad *csv.ParseError
			if !errors.As(err, &bad) {
				return nil, err
			}
			s.fault(bad.Line, "", badLine.With(words.Args{"problem": quotes.Plain()}))
			return nil, s.refusal()
		}
		line, _ := in.FieldPos(0)
		for i := range values {
			values[i] = strings.TrimSpace(values[i])
		}
		if s.names == nil {
			s.header(values)
			continue
		}
		if !slices.ContainsFunc(values, func(v string) bool { return v != "" }) {
			continue
		}
		if len(values) != len(s.names) {
			s.fault(line, "", lineLength.With(words.Args{"want": len(s.names), "got": len(values)}))
		}
		if s.full() {
			return nil, s.refusal()
		}
		if len(s.lines) == MaxSheetRows {
			return nil, tooLarge
		}
		s.lines, s.numbers = append(s.lines, values), append(s.numbers, line)
	}
	if s.names == nil {
		return nil, fault.New(fault.Malformed, sheetEmpty.Plain())
	}
	return s, s.refusal()
}

func (s *sheet) header(names []string) {
	s.names = names
	for i, name := range names {
		if _, twice := s.columns[name]; twice {
			s.fault(1, name, columnTwice.With(words.Args{"column": shortened(name)}))
		}
		s.columns[name] = i
	}
	for i, name := range names {
		if lower := strings.ToLower(name); !s.has(lower) {
			s.columns[lower] = i
		}
	}
}

// need faults columns that are not there.
func (s *sheet) need(names ...string) error {
	for _, name := range names {
		if _, ok := s.columns[name]; !ok {
			s.fault(1, name, noColumn.With(words.Args{"column": shortened(name), "columns": shortened(strings.Join(s.names, ", "))}))
		}
	}
	return s.refusal()
}

func (s *sheet) has(name string) bool { _, ok := s.columns[name]; return ok }

func (s *sheet) value(i int, name string) string { return s.lines[i][s.columns[name]] }

func (s *sheet) number(i int, name string) float64 {
	v := s.value(i, name)
	f, err := strconv.ParseFloat(v, 64)
	if err != nil || !finite(f) {
		s.fault(s.numbers[i], name, notANumber.With(words.Args{"value": shortened(v)}))
	}
	return f
}

func (s *sheet) whole(i int, name string, low, high int) int {
	v := s.value(i, name)
	n, err := strconv.Atoi(v)
	if err != nil || n < low || n > high {
		s.fault(s.numbers[i], name, notInRange.With(words.Args{"value": shortened(v), "low": low, "high": high}))
	}
	return n
}

// Status is what a row map says of a position.
type Status string

// The statuses. Only an inspected plant counts as looked at; any other word is
// taken as not inspected, and the answer says so.
const (
	Looked    Status = "inspected"
	NotLooked Status = "not_inspected"
	NoPlant   Status = "missing"
)

// ReadRowMap reads a block's row map: columns row, plant, status (inspected,
// not_inspected, missing) and infected (0 or 1); x_m along the rows and y_m
// across, in metres, or both left out, empty where no plant is; and, if they are there, state and cause
// of the infected, confirmed and orange rust otherwise; and galls counted on
// the plant, with the canes looked at. Column names and statuses are taken in
// either case. Other columns are passed over. Positions that the map does not name do not exist. Finds come in
// file order. Errors: fault.Malformed, fault.TooLarge, and fault.Invalid with
// line and column.
func ReadRowMap(r io.Reader) (Input, error) {
	s, err := readSheet(r)
	if err != nil {
		return Input{}, err
	}
	if err := s.need("row", "plant", "status", "infected"); err != nil {
		return Input{}, err
	}
	if s.has("x_m") != s.has("y_m") {
		s.fault(1, "x_m", onlyOneAxis.Plain())
		return Input{}, s.refusal()
	}
	m := rowMap{sheet: s, seen: map[Plant]int{}, rows: map[int][]Plant{}, status: map[Plant]Status{}, noted: map[Status]bool{}}
	if s.has("x_m") {
		m.in.Placed = map[Plant]plane.XY{}
	}
	for i := range s.lines {
		if m.line(i); s.full() {
			break
		}
	}
	m.layRows()
	return m.in, s.refusal()
}

type rowMap struct {
	*sheet
	in     Input
	seen   map[Plant]int // line
	rows   map[int][]Plant
	status map[Plant]Status
	noted  map[Status]bool
}

func (m *rowMap) line(i int) {
	before := len(m.faults)
	p := Plant{Row: m.whole(i, "row", 1, scouting.MaxRow), Plant: m.whole(i, "plant", 1, scouting.MaxPlant)}
	if len(m.faults) > before {
		return
	}
	if line, twice := m.seen[p]; twice {
		m.fault(m.numbers[i], "plant", plantTwice.With(words.Args{"row": p.Row, "plant": p.Plant, "line": line}))
		return
	}
	m.seen[p] = m.numbers[i]
	status := Status(strings.ToLower(m.value(i, "status")))
	if status != Looked && status != NotLooked && status != NoPlant && !m.noted[status] && len(m.noted) < maxFaults {
		m.noted[status] = true
		m.in.Notes = append(m.in.Notes, otherStatus.With(words.Args{"value": shortened(string(status)), "line": m.numbers[i]}))
	}
	if m.in.Placed != nil && (status != NoPlant || m.value(i, "x_m")+m.value(i, "y_m") != "") {
		m.in.Placed[p] = plane.XY{X: m.number(i, "x_m"), Y: m.number(i, "y_m")}
	}
	m.rows[p.Row] = append(m.rows[p.Row], p)
	m.status[p] = status
	if status == Looked {
		m.in.Inspected = append(m.in.Inspected, p)
	}
	m.find(i, p, status)
	m.count(i, p, status)
}

// count takes a plant's galls, and its canes or else the plant itself as what
// could have them. An empty cell was not counted.
func (m *rowMap) count(i int, p Plant, status Status) {
	if !m.has("galls") || m.value(i, "galls") == "" || status != Looked {
		return
	}
	c := Counted{What: "galls", At: Stretch{Row: p.Row, From: p.Plant, To: p.Plant}, Sampled: 1, Hits: m.whole(i, "galls", 0, maxOnPlant)}
	if m.has("canes") && m.value(i, "canes") != "" {
		c.Sampled = m.whole(i, "canes", 1, maxOnPlant)
	}
	m.in.Counts = append(m.in.Counts, c)
}

func (m *rowMap) find(i int, p Plant, status Status) {
	switch v := m.value(i, "infected"); {
	case v == "0" || v == "" && status != Looked:
		return
	case v != "1":
		m.fault(m.numbers[i], "infected", notZeroOne.With(words.Args{"value": shortened(v)}))
		return
	case status == NoPlant:
		m.fault(m.numbers[i], "infected", sickMissing.Plain())
		return
	}
	f := Find{Plant: p, State: scouting.Confirmed, Cause: scouting.OrangeRust}
	f.State = sheetChoice(m, i, "state", f.State, scouting.States)
	f.Cause = sheetChoice(m, i, "cause", f.Cause, scouting.Causes)
	m.in.Finds = append(m.in.Finds, f)
}

func sheetChoice[T ~string](m *rowMap, i int, column string, otherwise T, known []T) T {
	if !m.has(column) || m.value(i, column) == "" {
		return otherwise
	}
	v := T(m.value(i, column))
	if !slices.Contains(known, v) {
		names := make([]string, len(known))
		for k, n := range known {
			names[k] = string(n)
		}
		m.fault(m.numbers[i], column, noneOf.With(words.Args{"value": shortened(string(v)), "values": strings.Join(names, ", ")}))
	}
	return v
}

// layRows makes rows of the positions named: the places between them that the
// map leaves out are missing.
func (m *rowMap) layRows() {
	for number, plants := range m.rows {
		slices.SortFunc(plants, byRow)
		row := Row{Number: number, Plants: plants[len(plants)-1].Plant}
		next := 1
		for _, p := range plants {
			for ; next < p.Plant; next++ {
				row.Missing = append(row.Missing, next)
			}
			if next++; m.status[p] == NoPlant {
				row.Missing = append(row.Missing, p.Plant)
			}
		}
		m.in.Rows = append(m.in.Rows, row)
	}
	slices.SortFunc(m.in.Rows, func(a, b Row) int { return a.Number - b.Number })
}

// spacings are the block's own or, where it names none, the usual distances
// between the positions: medians, 0 where nothing tells.
func (in Input) spacings() (row, plant geo.Metres) {
	if in.Placed == nil || in.RowSpacing > 0 && in.PlantSpacing > 0 {
		return in.RowSpacing, in.PlantSpacing
	}
	plants := make([]Plant, 0, len(in.Placed))
	for p := range in.Placed {
		plants = append(plants, p)
	}
	slices.SortFunc(plants, byRow)
	var along, across []float64
	for k := 1; k < len(plants); k++ {
		p, q := plants[k-1], plants[k]
		a, b := in.Placed[p], in.Placed[q]
		if p.Row == q.Row {
			along = append(along, math.Abs(b.X-a.X)/float64(q.Plant-p.Plant))
		} else {
			across = append(across, math.Abs(b.Y-a.Y)/float64(q.Row-p.Row))
		}
	}
	return geo.Metres(middle(across)), geo.Metres(middle(along))
}

func middle(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	slices.Sort(values)
	return values[len(values)/2]
}

// RowMapOptions are the flags for a row map. Spacings outrank the map's own
// positions where both are given; 0 is not given. Causes left open take every
// cause the map names.
type RowMapOptions struct {
	RowSpacing, PlantSpacing geo.Metres
	Options
}

// AnalyseRowMap reads a row map and analyses it. Errors: those of ReadRowMap,
// Options.Settings and Analyse.
func AnalyseRowMap(ctx context.Context, r io.Reader, o RowMapOptions) (Analysis, error) {
	in, err := ReadRowMap(r)
	if err != nil {
		return Analysis{}, err
	}
	if o.RowSpacing > 0 && o.PlantSpacing > 0 {
		in.RowSpacing, in.PlantSpacing, in.Placed = o.RowSpacing, o.PlantSpacing, nil
	}
	if in.Placed == nil && !(in.RowSpacing > 0 && in.PlantSpacing > 0) {
		return Analysis{}, fault.New(fault.Invalid, needSpacings.Plain())
	}
	if o.Causes == nil {
		o.Causes = in.causes()
	}
	set, err := o.Settings(in.spacings())
	if err != nil {
		return Analysis{}, err
	}
	set.Scan.Patient = true
	return Analyse(ctx, in, set)
}

// causes are those among the finds; nil without finds.
func (in Input) causes() (causes []scouting.Cause) {
	for _, c := range scouting.Causes {
		if slices.ContainsFunc(in.Finds, func(f Find) bool { return f.Cause == c }) {
			causes = append(causes, c)
		}
	}
	return causes
}

// ReadPoints reads loose points in metres from two named columns, in file
// order. Errors as ReadRowMap.
func ReadPoints(r io.Reader, x, y string) ([]plane.XY, error) {
	s, err := readSheet(r)
	if err != nil {
		return nil, err
	}
	if err := s.need(x, y); err != nil {
		return nil, err
	}
	points := make([]plane.XY, 0, len(s.lines))
	for i := range s.lines {
		points = append(points, plane.XY{X: s.number(i, x), Y: s.number(i, y)})
		if s.full() {
			break
		}
	}
	return points, s.refusal()
}

// PointOptions are the flags for loose points. Eps is the reach in every
// direction; Along and Across, where given, set it along X and along Y.
type PointOptions struct {
	X, Y               string // columns
	Eps, Along, Across geo.Metres
	MinFinds           int // 0: the usual
}

// Points is the answer for loose points; numbers are those of the points in
// file order, from 0.
type Points struct {
	Points   int          `json:"points"`
	Groups   []PointGroup `json:"groups"`
	Isolated []int        `json:"isolated"`
	Labels   []int        `json:"labels"` // -1 none
	Along    geo.Metres   `json:"along_m"`
	Across   geo.Metres   `json:"across_m"`
	MinFinds int          `json:"min_finds"`
}

// PointGroup is one group.
type PointGroup struct {
	Number int   `json:"number"`
	Finds  []int `json:"finds"`
	Core   int   `json:"core"`
}

var pointsReach = words.New("hotspot-points-reach",
	"A distance in metres is needed: --eps, or --along-m and --across-m.",
	"Hace falta una distancia en metros: --eps, o --along-m y --across-m.")

// GroupPoints reads loose points and groups them. There is no row, no effort
// and no list: groups only. Errors: those of ReadPoints, fault.Invalid for the
// settings, fault.TooCostly, and the context's.
func GroupPoints(ctx context.Context, r io.Reader, o PointOptions) (Points, error) {
	points, err := ReadPoints(r, o.X, o.Y)
	if err != nil {
		return Points{}, err
	}
	out := Points{Points: len(points), Along: o.Eps, Across: o.Eps, MinFinds: defaultMinFinds, Groups: []PointGroup{}, Isolated: []int{}, Labels: []int{}}
	if o.Along > 0 {
		out.Along = o.Along
	}
	if o.Across > 0 {
		out.Across = o.Across
	}
	if o.MinFinds != 0 {
		out.MinFinds = o.MinFinds
	}
	err = out.group(ctx, points)
	return out, err
}

func (out *Points) group(ctx context.Context, points []plane.XY) error {
	res, err := cluster.Dense(ctx, points, cluster.Params{Along: out.Along, Across: out.Across, MinFinds: out.MinFinds})
	switch {
	case errors.Is(err, cluster.ErrReach):
		return fault.Wrap(fault.Invalid, err, pointsReach.Plain())
	case errors.Is(err, cluster.ErrFinds):
		text := outside.With(words.Args{"low": 1, "high": maxMinFinds, "value": out.MinFinds})
		return fault.Wrap(fault.Invalid, err, text, fault.Detail{Field: "min_finds", Text: text})
	case errors.Is(err, cluster.ErrCostly), errors.Is(err, cluster.ErrSpread):
		return fault.Wrap(fault.TooCostly, err, crowded.Plain())
	case err != nil:
		return fmt.Errorf("grouping %d points: %w", len(points), err)
	}
	for n := range res.N {
		out.Groups = append(out.Groups, PointGroup{Number: n})
	}
	for i, label := range res.Labels {
		out.Labels = append(out.Labels, label)
		if label < 0 {
			out.Isolated = append(out.Isolated, i)
			continue
		}
		g := &out.Groups[label]
		if g.Finds = append(g.Finds, i); res.Core[i] {
			g.Core++
		}
	}
	return nil
}
