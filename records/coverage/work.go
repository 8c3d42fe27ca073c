package coverage

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/geo/swath"
	"caneward/geo/wire"
)

// Result is what a track covered. Areas are in one transverse Mercator frame
// centred on the block, 0.2 ppm off the ellipsoid's within 10 km.
type Result struct {
	Block  geo.SquareMetres
	Area   map[swath.Class]geo.SquareMetres
	Ground map[swath.Class]orb.MultiPolygon
	Runs   int
	Pieces int
	Length geo.Metres // driven while spraying
	Start  float64    // Unix seconds of the first and last fix that sprayed; 0 with none
	End    float64
}

// names are the classes as they travel.
var names = []struct {
	class swath.Class
	name  string
}{
	{swath.Covered, "covered"}, {swath.Doubled, "doubled"}, {swath.Missed, "missed"}, {swath.MissedLessSetback, "missed_less_setback"},
	{swath.Outside, "outside"}, {swath.InSetback, "in_setback"}, {swath.InSetbackInBlock, "in_setback_in_block"},
}

var (
	sayFar = words.New("coverage-far", "The track runs more than 500 km from the block.", "El recorrido pasa a más de 500 km del bloque.")
	sayBig = words.New("coverage-too-much", "This track crosses its own way too often to be worked out in bearable time ({count} {what}, at most {limit}). Send it in parts.", "Este recorrido se cruza demasiadas veces para calcularlo en un tiempo razonable ({count} {what}, como máximo {limit}). Envíelo por partes.")
)

// Work works a coverage out. Nothing is stored. fault.Invalid for a block with
// no inside, a track out of reach or out of time; fault.TooCostly for one that
// cannot be scanned in bearable time; the context's error.
func Work(ctx context.Context, in Input) (Result, error) {
	outline, err := ground(in.Block)
	if err != nil {
		return Result{}, err
	}
	frame, err := plane.FrameOf(outline)
	if err != nil {
		return Result{}, err
	}
	block, err := frame.Region(outline)
	if err != nil {
		return Result{}, err
	}
	fixes, box, err := place(frame, in.Fixes)
	if err != nil {
		return Result{}, err
	}
	work, err := swath.Read(fixes)
	if err != nil {
		return Result{}, refuse(err)
	}
	zone, err := zoneOf(ctx, frame, box.Union(block.Box()).Region(), in)
	if err != nil {
		return Result{}, err
	}
	c, err := swath.Cover(ctx, work, block, zone)
	if err != nil {
		return Result{}, refuse(err)
	}
	r := Result{Block: block.Area(), Area: map[swath.Class]geo.SquareMetres{}, Ground: map[swath.Class]orb.MultiPolygon{}, Runs: work.Runs, Pieces: len(work.Pieces), Length: work.Length}
	for _, n := range names {
		r.Area[n.class] = c.Area[n.class]
		r.Ground[n.class] = frame.MultiPolygon(c.Ground[n.class])
	}
	if n := len(work.Pieces); n > 0 {
		r.Start, r.End = work.Pieces[0].Start, work.Pieces[n-1].End
	}
	return r, nil
}

// finely is how far the zone may reach too far where it is measured, not kept
// free: the usual centimetre would count as sprayed ground along all of its edge.
const finely geo.Metres = 0.001

// zoneOf is the zone of the setbacks. Features too jagged for fine arcs get the
// usual ones.
func zoneOf(ctx context.Context, frame plane.Frame, within plane.Region, in Input) (plane.Region, error) {
	fine := slices.Clone(in.Rules)
	for i := range fine {
		fine[i].Overshoot = finely
	}
	site := setback.At(frame, in.Features)
	zone, err := site.Zone(ctx, within, fine, in.WindFrom)
	if fault.Is(err, fault.TooCostly) {
		return site.Zone(ctx, within, in.Rules, in.WindFrom)
	}
	return zone, err
}

// place puts the fixes into the frame; the box holds all that they may spray.
func place(frame plane.Frame, fixes []Fix) ([]swath.Fix, plane.Box, error) {
	out := make([]swath.Fix, len(fixes))
	box := plane.NoBox()
	widest := 0.0
	for i, f := range fixes {
		p := frame.XY(f.At)
		if !p.Finite() || math.Hypot(p.X, p.Y) > float64(plane.MaxReach) {
			return nil, box, refusal([]fault.Detail{{Field: "track", Text: sayFar.Plain(), At: &[2]float64{f.At[0], f.At[1]}}})
		}
		out[i] = swath.Fix{At: p, Time: f.Time, Width: f.Width, Offset: f.Offset}
		box = box.With(p)
		widest = max(widest, float64(f.Width)/2+math.Abs(float64(f.Offset)))
	}
	return out, box.Grow(geo.Metres(widest)), nil
}

func refuse(err error) error {
	var much *swath.TooMuchError
	if errors.As(err, &much) {
		return fault.Wrap(fault.TooCostly, err, sayBig.With(words.Args{"count": much.Count, "what": much.What, "limit": much.Limit}))
	}
	return err
}

// round gives areas and lengths to a thousandth of their unit.
func round(v float64) float64 { return math.Round(v*1000) / 1000 }

// Encode writes the result as it travels. Ground that is none is null.
func (r Result) Encode(l words.Language) (json.RawMessage, error) {
	areas := map[string]float64{"block_m2": round(float64(r.Block))}
	shapes := map[string]json.RawMessage{}
	for _, n := range names {
		areas[n.name+"_m2"] = round(float64(r.Area[n.class]))
		shape, err := wire.EncodeGround(r.Ground[n.class])
		if err != nil {
			return nil, err
		}
		shapes[n.name] = shape
	}
	how := map[string]string{}
	for _, n := range names {
		how[n.name+"_m2"] = meanings[n.class].Plain().In(l)
	}
	return json.Marshal(struct {
		Areas      map[string]float64         `json:"areas"`
		Geometries map[string]json.RawMessage `json:"geometries"`
		Runs       int                        `json:"runs"`
		Pieces     int                        `json:"pieces"`
		Length     float64                    `json:"sprayed_length_m"`
		How        map[string]string          `json:"how"`
		Caution    string                     `json:"caution"`
	}{areas, shapes, r.Runs, r.Pieces, round(float64(r.Length)), how, sayCaution.Plain().In(l)})
}

// Meaning says what a class of ground is, in words for people.
func Meaning(c swath.Class) words.Text { return meanings[c].Plain() }

var meanings = map[swath.Class]words.Message{
	swath.Covered:           words.New("coverage-covered", "Ground under at least one strip of the width sprayed, between fixes no more than 10 s apart, bends filled on their outer side.", "Terreno bajo al menos una franja del ancho aplicado, entre posiciones separadas por no más de 10 s, con las curvas rellenas por fuera."),
	swath.Doubled:           words.New("coverage-doubled", "Ground sprayed again by a strip that began at least 15 s after another ended there.", "Terreno aplicado otra vez por una franja que empezó al menos 15 s después de terminar otra allí."),
	swath.Missed:            words.New("coverage-missed", "Ground of the block under no strip.", "Terreno del bloque bajo ninguna franja."),
	swath.MissedLessSetback: words.New("coverage-missed-less", "Ground of the block outside every setback under no strip.", "Terreno del bloque fuera de todo retiro y bajo ninguna franja."),
	swath.Outside:           words.New("coverage-outside", "Sprayed ground that is not of the block.", "Terreno aplicado que no es del bloque."),
	swath.InSetback:         words.New("coverage-in-setback", "Sprayed ground inside a setback, on the block or off it.", "Terreno aplicado dentro de un retiro, en el bloque o fuera."),
	swath.InSetbackInBlock:  words.New("coverage-in-setback-in-block", "Sprayed ground of the block inside a setback.", "Terreno aplicado del bloque dentro de un retiro."),
}

var sayCaution = words.New("coverage-caution", "From the recorded track as it is: a receiver may be metres off, and the spray itself reaches farther than the width typed.", "Del recorrido registrado tal como está: un receptor puede errar por metros y el caldo llega más lejos que el ancho escrito.")

// Line is one kind of ground with its size, in the order people read them.
type Line struct {
	Name words.Text
	Area geo.SquareMetres
}

var classNames = map[swath.Class]words.Message{
	swath.Covered:           words.New("coverage-name-covered", "covered", "cubierto"),
	swath.Doubled:           words.New("coverage-name-doubled", "covered twice", "cubierto dos veces"),
	swath.Missed:            words.New("coverage-name-missed", "missed of the block", "del bloque sin cubrir"),
	swath.MissedLessSetback: words.New("coverage-name-missed-less", "missed outside setbacks", "sin cubrir fuera de retiros"),
	swath.Outside:           words.New("coverage-name-outside", "outside the block", "fuera del bloque"),
	swath.InSetback:         words.New("coverage-name-in-setback", "inside a setback", "dentro de un retiro"),
	swath.InSetbackInBlock:  words.New("coverage-name-in-setback-in-block", "inside a setback, of the block", "dentro de un retiro, del bloque"),
}

// Lines lists every kind of ground.
func (r Result) Lines() []Line {
	var out []Line
	for _, n := range names {
		out = append(out, Line{classNames[n.class].Plain(), r.Area[n.class]})
	}
	return out
}

// Caution goes with every coverage shown.
func Caution() words.Text { return sayCaution.Plain() }
