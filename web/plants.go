package web

import (
	"bytes"
	"cmp"
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/address"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/planting"
	"caneward/records/scouting"
)

var (
	badFix       = words.New("web-bad-fix", "{name} is a number from {low} to {high}; this is “{got}”.", "{name} es un número de {low} a {high}; esto es «{got}».")
	badAsOf      = words.New("web-bad-as-of", "as_of is a time with its zone or a day; this is “{got}”.", "as_of es una hora con su zona o un día; esto es «{got}».")
	rowsNotRead  = words.New("web-rows-not-read", "{count} row record(s) of this block cannot be read, the first {id}; mend them first.", "{count} registro(s) de hileras de este bloque no se pueden leer, el primero {id}; corríjalos primero.")
	conflictText = words.New("web-revise-conflict", "{kind} {id} names row {row}, plant {plant}, whose place would be gone.", "{kind} {id} nombra la hilera {row}, planta {plant}, cuyo lugar desaparecería.")
	conflictRow  = words.New("web-revise-conflict-row", "{kind} {id} names row {row}, which would be gone.", "{kind} {id} nombra la hilera {row}, que desaparecería.")
	howNumbers   = words.New("web-how-numbers", "Plants that stand keep number and place wherever the ground stays; new places get numbers after the row's highest, new rows numbers after the block's. A row runs on where the new layout's row lies less than half a row spacing beside it.", "Las plantas que están conservan número y lugar donde el terreno queda; los lugares nuevos reciben números después del mayor de la hilera, las hileras nuevas después del mayor del bloque. Una hilera sigue donde la del nuevo trazado queda a menos de media distancia entre hileras.")
)

// Bounds of what is asked about one position.
const (
	usualNear   = 5
	mostFinds   = 1000
	placesAFind = 3
)

// reviseLayout says what an edited outline, or another layout, means for the
// rows a block has; nothing is stored.
func (s *Server) reviseLayout(x *exchange) error {
	var ask layoutAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	spec, details := ask.specParts()
	if ask.Block == "" {
		details = append(details, fault.Detail{Text: blockNeeded.Plain(), Field: "block"})
	}
	if details != nil {
		return fault.New(fault.Invalid, cannotLayOut.Plain(), details...)
	}
	stands, err := x.standing(ask)
	if err != nil {
		return err
	}
	return x.alone(func() error {
		next, err := layout.Plan(x.r.Context(), stands.outline, ask.toward(spec, stands.outline, stands.bearing))
		if err != nil {
			return err
		}
		old := layout.Standing{Spacing: cmp.Or(stands.spacing, ask.PlantSpacing)}
		for _, r := range stands.rows {
			old.Rows = append(old.Rows, r.Row)
		}
		revision, err := layout.Revise(x.r.Context(), stands.outline, old, next, stands.used)
		if err != nil {
			return err
		}
		answer, err := x.revisionAnswer(revision, stands, ask)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, answer)
	})
}

// standing is a block with its rows and the records that name its plants.
type standing struct {
	outline orb.Geometry
	bearing *geo.Degrees
	spacing geo.Metres
	rows    []planting.Row // each number once
	used    []layout.Use
}

func (x *exchange) standing(ask layoutAsk) (out standing, err error) {
	if ask.hasOutline() {
		if out.outline, err = readOutline(ask.Outline); err != nil {
			return out, err
		}
	}
	err = x.view(func(r records.Reader) error {
		rev, err := r.Current(records.Blocks, ask.Block)
		if err != nil {
			return blockMissing(err)
		}
		b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		out.bearing, out.spacing = b.RowBearing, b.PlantSpacing
		if out.outline == nil {
			checked, _, refusal := intake.Check(rev.Record.Geometry)
			if refusal != nil {
				return refusal
			}
			out.outline = checked.Flat
		}
		rows, unread, err := planting.Rows(r, ask.Block)
		if err != nil {
			return err
		}
		if len(unread) > 0 {
			return fault.New(fault.Invalid, rowsNotRead.With(words.Args{"count": len(unread), "id": string(unread[0])}))
		}
		out.rows = slices.CompactFunc(rows, func(a, b planting.Row) bool { return a.Number == b.Number })
		names, err := planting.Names(r, ask.Block)
		for _, n := range names {
			out.used = append(out.used, layout.Use{Row: n.Row, Plant: n.Plant, Kind: string(n.Kind), ID: string(n.ID)})
		}
		return err
	})
	return out, err
}

type stretchJSON struct {
	Row  int `json:"row"`
	From int `json:"from"`
	To   int `json:"to"`
}

type movedJSON struct {
	Row    int     `json:"row"`
	Was    float64 `json:"was_m"`
	Is     float64 `json:"is_m"`
	Beside float64 `json:"beside_m"`
}

type conflictJSON struct {
	Row   int    `json:"row"`
	Plant int    `json:"plant"`
	Kind  string `json:"kind"`
	ID    string `json:"id"`
	Text  string `json:"text"`
}

type droppedJSON struct {
	ID   records.ID `json:"id"`
	Base int        `json:"base"`
	Row  int        `json:"row"`
}

type revisionJSON struct {
	Kept      int               `json:"kept"`
	Moved     []movedJSON       `json:"moved"`
	Added     []stretchJSON     `json:"added"`
	Gone      []stretchJSON     `json:"gone"`
	Conflicts []conflictJSON    `json:"conflicts"`
	Rows      []json.RawMessage `json:"rows"`
	Dropped   []droppedJSON     `json:"dropped"`
	How       string            `json:"how"`
}

func (x *exchange) revisionAnswer(r layout.Revision, stands standing, ask layoutAsk) (revisionJSON, error) {
	out := revisionJSON{Kept: r.Kept, Moved: []movedJSON{}, Added: stretchesJSON(r.Added), Gone: stretchesJSON(r.Gone),
		Conflicts: []conflictJSON{}, Rows: []json.RawMessage{}, Dropped: []droppedJSON{}, How: howNumbers.Plain().In(x.lang)}
	for _, s := range r.Shifted {
		out.Moved = append(out.Moved, movedJSON{s.Row, millimetres(s.Was), millimetres(s.Is), millimetres(s.Beside)})
	}
	for _, u := range r.Conflicts {
		say := conflictText
		args := words.Args{"kind": kindTitles[records.Kind(u.Kind)].Plain(), "id": u.ID, "row": u.Row}
		if u.Plant == 0 {
			say = conflictRow
		} else {
			args["plant"] = u.Plant
		}
		out.Conflicts = append(out.Conflicts, conflictJSON{u.Row, u.Plant, u.Kind, u.ID, say.With(args).In(x.lang)})
	}
	for _, row := range r.Rows {
		if !row.Changed {
			continue
		}
		var old *planting.Row
		if row.Old >= 0 {
			old = &stands.rows[row.Old]
		}
		raw, err := x.rowFeature(row.Row, old, ask.Block)
		if err != nil {
			return out, err
		}
		out.Rows = append(out.Rows, raw)
	}
	for _, i := range r.Dropped {
		row := stands.rows[i]
		out.Dropped = append(out.Dropped, droppedJSON{row.ID, row.Base, row.Number})
	}
	return out, nil
}

func stretchesJSON(all []layout.Stretch) []stretchJSON {
	out := make([]stretchJSON, len(all))
	for i, s := range all {
		out[i] = stretchJSON(s)
	}
	return out
}

func millimetres(m geo.Metres) float64 { return math.Round(float64(m)*1000) / 1000 }

// rowFeature is a row ready to be stored over the revision it was read from,
// which stands beside it as "base"; null makes a row. Properties the server does
// not know stay as they were.
func (x *exchange) rowFeature(row blocks.Row, old *planting.Row, block records.ID) (json.RawMessage, error) {
	properties := map[string]json.RawMessage{}
	id, base := records.ID(""), json.RawMessage("null")
	if old != nil {
		if err := json.Unmarshal(old.Record.Properties, &properties); err != nil {
			return nil, err
		}
		id, base = old.ID, marshalled(old.Base)
	} else {
		id = x.s.ids.New()
	}
	properties["block"], properties["number"], properties["plants"] = marshalled(block), marshalled(row.Number), marshalled(row.Plants)
	if row.Places != nil {
		properties["places"] = marshalled(runsJSON(row.Places))
	} else {
		delete(properties, "places")
	}
	if row.Skipped {
		properties["skipped"] = marshalled(true)
	}
	if row.Posts > 0 {
		properties["posts"] = marshalled(row.Posts)
	}
	if _, said := properties["length_m"]; said {
		length := geo.Metres(0)
		for _, part := range row.Parts {
			length += measure.Length(part)
		}
		properties["length_m"] = marshalled(millimetres(length))
	}
	raw, err := json.Marshal(properties)
	if err != nil {
		return nil, err
	}
	var shape orb.Geometry = row.Parts
	if len(row.Parts) == 1 {
		shape = row.Parts[0]
	}
	return wire.EncodeFeature(wire.Feature{ID: string(id), IDKind: wire.StringID, Geometry: geo.Geometry{Flat: shape}, Properties: raw,
		Foreign: []wire.Member{{Name: "base", Value: base}}})
}

type runJSON struct {
	From    int     `json:"from"`
	Plants  int     `json:"plants"`
	Part    int     `json:"part"`
	At      float64 `json:"at_m"`
	Spacing float64 `json:"spacing_m,omitempty"`
}

func runsJSON(runs []blocks.Run) []runJSON {
	out := make([]runJSON, len(runs))
	for i, r := range runs {
		out[i] = runJSON{r.From, r.Plants, r.Part, float64(r.At), float64(r.Spacing)}
	}
	return out
}

func marshalled(v any) json.RawMessage {
	raw, err := json.Marshal(v)
	if err != nil {
		panic(err) // numbers, texts and lists of them: always JSON
	}
	return raw
}

// number reads a parameter within bounds; nil when it is not given.
func (x *exchange) number(name string, low, high float64) (*float64, error) {
	text, there := x.given(name)
	if !there {
		return nil, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= low && v <= high) {
		t := badFix.With(words.Args{"name": name, "low": low, "high": high, "got": shorten(text)})
		return nil, fault.New(fault.Invalid, t, fault.Detail{Text: t, Field: name})
	}
	return &v, nil
}

// asOf reads the moment rows are asked for; nil for now. A day counts to its
// end in the farm's zone.
func (x *exchange) asOf(r records.Reader) (*time.Time, error) {
	text, there := x.given("as_of")
	if !there {
		return nil, nil
	}
	zone, err := time.LoadLocation(r.Farm().Zone)
	if err != nil {
		return nil, err
	}
	_, at, ok := parseInstant(text, zone)
	if !ok {
		t := badAsOf.With(words.Args{"got": shorten(text)})
		return nil, fault.New(fault.Invalid, t, fault.Detail{Text: t, Field: "as_of"})
	}
	return &at, nil
}

// planted is a block's rows and spacings at the moment asked for.
type planted struct {
	block    records.ID
	rows     []planting.Row
	spacings address.Spacings
}

func (x *exchange) planted(r records.Reader) (p planted, err error) {
	if p.block, err = x.id(); err != nil {
		return p, err
	}
	rev, err := r.Current(records.Blocks, p.block)
	if err != nil {
		return p, err
	}
	at, err := x.asOf(r)
	if err == nil && at != nil {
		rev, err = planting.BlockAsOf(r, p.block, *at)
	}
	if err != nil {
		return p, err
	}
	b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
	p.spacings = address.Spacings{Row: b.RowSpacing, Plant: b.PlantSpacing}
	if at == nil {
		p.rows, _, err = planting.Rows(r, p.block)
	} else {
		p.rows, _, err = planting.RowsAsOf(r, p.block, *at)
	}
	return p, err
}

type plantJSON struct {
	Row     int     `json:"row"`
	Plant   int     `json:"plant"`
	M       float64 `json:"m"`
	Missing bool    `json:"missing,omitempty"`
}

type chanceJSON struct {
	Row    int     `json:"row"`
	Chance float64 `json:"chance"`
}

type nearJSON struct {
	Plants []plantJSON  `json:"plants"`
	Rows   []chanceJSON `json:"rows"`
	None   float64      `json:"none"`
	Model  string       `json:"model"`
	Says   string       `json:"says"`
	SD     float64      `json:"sd_m,omitempty"`
}

func (x *exchange) near(index *address.Index, at geo.Position, accuracy address.Accuracy, n int) nearJSON {
	c := index.Chances(at, accuracy)
	out := nearJSON{Plants: []plantJSON{}, Rows: []chanceJSON{}, None: c.None, Model: accuracy.Model().In(x.lang), SD: millimetres(accuracy.SD())}
	if accuracy > 0 {
		out.Says = c.Says().In(x.lang)
	}
	for _, r := range c.Rows {
		out.Rows = append(out.Rows, chanceJSON{r.Row, r.P})
	}
	for _, h := range index.Nearest(at, n) {
		row, _ := index.Row(h.Row)
		_, missing := slices.BinarySearch(row.Absent(), h.Plant)
		out.Plants = append(out.Plants, plantJSON{h.Row, h.Plant, millimetres(h.Distance), missing || row.Skipped})
	}
	return out
}

// nearPlants answers which plants stand nearest to a position and how likely
// each row is; nothing is stored.
func (s *Server) nearPlants(x *exchange) error {
	at, accuracy, n, err := x.fix()
	if err != nil {
		return err
	}
	var p planted
	if err := x.view(func(r records.Reader) error { p, err = x.planted(r); return err }); err != nil {
		return err
	}
	return x.alone(func() error {
		index, err := address.New(planting.Plain(p.rows), p.spacings)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, x.near(index, at, accuracy, n))
	})
}

// fix reads a position with the accuracy its phone gave.
func (x *exchange) fix() (at geo.Position, accuracy address.Accuracy, n int, err error) {
	for i, name := range []string{"lon", "lat"} {
		v, err := x.number(name, -[]float64{180, 90}[i], []float64{180, 90}[i])
		if err != nil {
			return at, 0, 0, err
		}
		if v == nil {
			t := badFix.With(words.Args{"name": name, "low": -[]float64{180, 90}[i], "high": []float64{180, 90}[i], "got": ""})
			return at, 0, 0, fault.New(fault.Invalid, t, fault.Detail{Text: t, Field: name})
		}
		at[i] = *v
	}
	a, err := x.number("accuracy_m", float64(address.LeastAccuracy), float64(address.GreatestAccuracy))
	if err != nil {
		return at, 0, 0, err
	}
	if a != nil {
		accuracy = address.Accuracy(*a)
	}
	n = usualNear
	count, err := x.number("n", 1, address.MaxHits)
	if count != nil {
		n = int(*count)
	}
	return at, accuracy, n, err
}

// rowsThen gives a block's rows as features, as they stand or as they stood.
func (s *Server) rowsThen(x *exchange) error {
	var b bytes.Buffer
	err := x.view(func(r records.Reader) error {
		p, err := x.planted(r)
		if err != nil {
			return err
		}
		b.WriteString(`{"type":"FeatureCollection","features":[`)
		for i, row := range p.rows {
			if err := x.r.Context().Err(); err != nil {
				return err
			}
			rev, err := r.At(records.Rows, row.ID, row.Base)
			if err != nil {
				return err
			}
			data, err := encodeFeature(rev, nil)
			if err != nil {
				return err
			}
			if i > 0 {
				b.WriteByte(',')
			}
			b.Write(data)
		}
		tail, err := json.Marshal(struct {
			Matched  int    `json:"numberMatched"`
			Returned int    `json:"numberReturned"`
			At       string `json:"timeStamp"`
			Links    []link `json:"links"`
		}{len(p.rows), len(p.rows), stamp(x.s.Now().Truncate(time.Microsecond)), []link{}})
		b.WriteString(`],`)
		b.Write(tail[1:])
		return err
	})
	if err != nil {
		return err
	}
	x.w.Header().Set("Cache-Control", "no-store")
	return x.packed(typeGeoJSON, b.Bytes())
}

type unplacedJSON struct {
	ID       records.ID `json:"id"`
	Cause    string     `json:"cause"`
	FoundAt  string     `json:"found_at"`
	Accuracy *float64   `json:"accuracy_m"`
	nearJSON
}

// unplacedFinds lists the finds of a block that have a position but no row:
// what the position says of the row is worked out here each time and never
// written into a record.
func (s *Server) unplacedFinds(x *exchange) error {
	var p planted
	type found struct {
		id   records.ID
		find scouting.Find
	}
	var finds []found
	err := x.view(func(r records.Reader) error {
		var err error
		if p, err = x.planted(r); err != nil {
			return err
		}
		page, err := r.List(records.Finds, records.Query{Equal: map[string]string{"block": string(p.block)}})
		for _, rev := range page.Revisions {
			if f, _ := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties); f.Row == 0 && f.At != nil {
				finds = append(finds, found{rev.ID, f})
			}
		}
		return err
	})
	if err != nil {
		return err
	}
	slices.SortStableFunc(finds, func(a, b found) int { return b.find.FoundAt.Compare(a.find.FoundAt) })
	out := struct {
		Finds []unplacedJSON `json:"finds"`
		More  bool           `json:"more"`
	}{[]unplacedJSON{}, len(finds) > mostFinds}
	return x.alone(func() error {
		index, err := address.New(planting.Plain(p.rows), p.spacings)
		if err != nil {
			return err
		}
		for _, f := range finds[:min(len(finds), mostFinds)] {
			if err := x.r.Context().Err(); err != nil {
				return err
			}
			one := unplacedJSON{ID: f.id, Cause: string(f.find.Cause), FoundAt: stamp(f.find.FoundAt)}
			accuracy := address.Accuracy(0)
			if f.find.Accuracy != nil {
				m := float64(*f.find.Accuracy)
				one.Accuracy, accuracy = &m, address.Accuracy(math.Min(math.Max(m, float64(address.LeastAccuracy)), float64(address.GreatestAccuracy)))
			}
			one.nearJSON = x.near(index, *f.find.At, accuracy, placesAFind)
			out.Finds = append(out.Finds, one)
		}
		return x.json(http.StatusOK, out)
	})
}
