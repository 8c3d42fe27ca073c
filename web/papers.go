package web

import (
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/paper"
	"caneward/records/paper/plan"
)

const typePDF = "application/pdf"

var (
	badFigure  = words.New("web-bad-figure", "{name} is a number from {least} to {greatest}; this is “{got}”.", "{name} es un número de {least} a {greatest}; esto es «{got}».")
	badNumbers = words.New("web-bad-numbers", "skip is numbers of rows with commas between; this is “{got}”.", "skip son números de hileras separados por comas; esto es «{got}».")
	badGuide   = words.New("web-bad-guide", "guide is a GeoJSON LineString; this is “{got}”.", "guide es un LineString de GeoJSON; esto es «{got}».")
	badWhole   = words.New("web-bad-whole", "{name} is a whole number; this is “{got}”.", "{name} es un número entero; esto es «{got}».")
	badPaper   = words.New("web-bad-paper", "paper is letter or a4; this is “{got}”.", "paper es letter o a4; esto es «{got}».")
	badUp      = words.New("web-bad-up", "up is north or rows; this is “{got}”.", "up es north o rows; esto es «{got}».")
	blockAsked = words.New("web-block-asked", "block is missing: which block's plan?", "Falta block: ¿el plano de qué bloque?")
)

// planParams are the parameters of a planting plan: figures as POST .../layout
// has them.
var planParams = []parameter{
	{"block", "id", "whose plan; with no more than this the rows on record, or what the block's own figures give"},
	paramPaper,
	{"up", "text", "north or rows: what points up the page"},
	{"row_spacing_m", "number", "rows apart; without it the block's own. This and the next nine lay rows out anew"},
	{"plant_spacing_m", "number", "plants apart in the row; without it the block's own"},
	{"bearing_deg", "number", "of the rows; without it the block's own, or its longest side's"},
	{"first_row_side", "text", "left or right, looking along the bearing"},
	{"first_plant_end", "text", "start or end"},
	{"headland_m", "number", "free ground at both row ends"},
	{"side_margin_m", "number", "free ground along both outer sides"},
	{"guide", "text", "a GeoJSON LineString that the rows run beside"},
	{"alley_every", "number", "rows between alleys"},
	{"alley_m", "number", "width of an alley"},
	{"skip", "text", "numbers of rows left unplanted, with commas between"},
	{"post_spacing_m", "number", "posts apart along a row, on record or not"},
	{"spare_percent", "number", "plants ordered beyond those that fit"},
	{"wires", "number", "along every row"},
	{"tie_off_m", "number", "wire to tie one end off; 1 without it"},
	{"lines_per_row", "number", "emitter lines a row"},
	{"band_m", "number", "width treated along a row, for the band's area"},
}

// anewParams lay rows out instead of printing those on record.
var anewParams = []string{"row_spacing_m", "plant_spacing_m", "bearing_deg", "first_row_side", "first_plant_end", "headland_m", "side_margin_m", "guide", "alley_every", "alley_m", "skip"}

// plantingPlan prints a block with its rows; nothing is stored.
func (s *Server) plantingPlan(x *exchange) error {
	ask, err := x.planAsk()
	if err != nil {
		return err
	}
	return x.alone(func() error {
		var head paper.Head
		var p plan.Plan
		err := x.view(func(r records.Reader) error {
			if head, err = x.head(r); err != nil {
				return err
			}
			p, err = plan.Load(x.r.Context(), r, ask)
			return err
		})
		if err != nil {
			return err
		}
		data, err := plan.Print(x.r.Context(), p, head)
		if err != nil {
			return err
		}
		return x.attached("planting-plan.pdf", typePDF, data)
	})
}

// attached answers with a file made for this once.
func (x *exchange) attached(name, mediaType string, data []byte) error {
	h := x.w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", `attachment; filename="`+string(x.farm)+"-"+name+`"`)
	return x.send(http.StatusOK, mediaType, data)
}

// head is what pages of this farm say of themselves.
func (x *exchange) head(r records.Reader) (paper.Head, error) {
	f := r.Farm()
	head := paper.Head{Farm: f.Name, Invented: f.Invented, Language: x.lang, Size: paper.SizeIn(f.Zone), Made: x.s.Now(), Version: x.s.Version, Sequence: r.Sequence()}
	var err error
	if head.Zone, err = time.LoadLocation(f.Zone); err != nil {
		return head, err
	}
	switch name, _ := x.given("paper"); name {
	case "":
	case paper.Letter.Name:
		head.Size = paper.Letter
	case paper.A4.Name:
		head.Size = paper.A4
	default:
		return head, badParameter(badPaper, "paper", name)
	}
	return head, nil
}

// planAsk reads what is to be printed.
func (x *exchange) planAsk() (ask plan.Ask, err error) {
	block, _ := x.given("block")
	if block == "" {
		return ask, fault.New(fault.Malformed, blockAsked.Plain(), fault.Detail{Text: blockAsked.Plain(), Field: "block"})
	}
	ask.Block = records.ID(block)
	switch up, _ := x.given("up"); up {
	case "", "north":
	case "rows":
		ask.RowsUp = true
	default:
		return ask, badParameter(badUp, "up", up)
	}
	q := figures{x: x}
	const widestBand = 20 // m
	ask.Band = q.metres("band_m", 0, widestBand)
	ask.PostSpacing = q.metres("post_spacing_m", 0, anyFigure)
	ask.Supplies = layout.Supplies{SparePercent: q.number("spare_percent", 0, 0, anyFigure), Wires: q.whole("wires"),
		TieOff: geo.Metres(q.number("tie_off_m", float64(layout.UsualTieOff), 0, anyFigure)), Lines: q.whole("lines_per_row")}
	for _, name := range anewParams {
		if _, there := x.given(name); there {
			ask.Anew = q.anew()
			break
		}
	}
	return ask, q.err
}

// anyFigure leaves it to the rules to say what is too much.
const anyFigure = 1e9

// figures reads parameters that are numbers, and keeps the first fault.
type figures struct {
	x   *exchange
	err error
}

func (q *figures) number(name string, otherwise, least, greatest float64) float64 {
	text, there := q.x.given(name)
	if !there {
		return otherwise
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= least && v <= greatest) {
		q.refuse(name, badFigure.With(words.Args{"name": name, "least": least, "greatest": greatest, "got": shorten(text)}))
	}
	return v
}

func (q *figures) refuse(name string, t words.Text) {
	if q.err == nil {
		q.err = fault.New(fault.Malformed, t, fault.Detail{Text: t, Field: name})
	}
}

func (q *figures) metres(name string, least, greatest float64) geo.Metres {
	return geo.Metres(q.number(name, 0, least, greatest))
}

func (q *figures) whole(name string) int {
	v := q.number(name, 0, 0, anyFigure)
	if v != math.Trunc(v) {
		text, _ := q.x.given(name)
		q.refuse(name, badWhole.With(words.Args{"name": name, "got": shorten(text)}))
	}
	return int(v)
}

// anew reads a layout; what it leaves out is the block's own.
func (q *figures) anew() *plan.Anew {
	a := &plan.Anew{Spec: layout.Spec{
		RowSpacing: q.metres("row_spacing_m", 0, anyFigure), PlantSpacing: q.metres("plant_spacing_m", 0, anyFigure),
		Bearing: geo.Degrees(q.number("bearing_deg", 0, -anyFigure, anyFigure)), Headland: q.metres("headland_m", 0, anyFigure),
		SideMargin: q.metres("side_margin_m", 0, anyFigure), AlleyEvery: q.whole("alley_every"), AlleyWidth: q.metres("alley_m", 0, anyFigure),
		Skip: q.numbers("skip"), Guide: q.guide(),
	}}
	_, bearing := q.x.given("bearing_deg")
	side, sideThere := q.x.given("first_row_side")
	end, endThere := q.x.given("first_plant_end")
	a.OwnBearing, a.OwnSide, a.OwnEnd = !bearing, !sideThere, !endThere
	a.Spec.FromRight, a.Spec.FromFarEnd = side == string(blocks.Right), end == string(blocks.Farther)
	if sideThere && !a.Spec.FromRight && side != string(blocks.Left) {
		q.refuse("first_row_side", badSide.With(words.Args{"got": shorten(side)}))
	}
	if endThere && !a.Spec.FromFarEnd && end != string(blocks.Start) {
		q.refuse("first_plant_end", badEnd.With(words.Args{"got": shorten(end)}))
	}
	return a
}

func (q *figures) numbers(name string) (out []int) {
	text, there := q.x.given(name)
	if !there {
		return nil
	}
	for one := range strings.SplitSeq(text, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(one))
		if err != nil {
			q.refuse(name, badNumbers.With(words.Args{"got": shorten(text)}))
			return nil
		}
		out = append(out, n)
	}
	return out
}

func (q *figures) guide() orb.LineString {
	text, there := q.x.given("guide")
	if !there {
		return nil
	}
	g, err := wire.DecodeGeometry([]byte(text), wire.Limits{})
	line, isLine := g.Flat.(orb.LineString)
	if err != nil || !isLine {
		q.refuse("guide", badGuide.With(words.Args{"got": shorten(text)}))
	}
	return line
}
