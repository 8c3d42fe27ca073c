package web

import (
	"encoding/json"
	"math"
	"net/http"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/people"
)

var (
	outlineOrBlock = words.New("web-outline-or-block", "Give either an outline or a block.", "Dé un contorno o un bloque, no ambos.")
	blockNeeded    = words.New("web-block-needed", "Name the block whose rows are revised.", "Nombre el bloque cuyas hileras se revisan.")
	badSide        = words.New("web-bad-side", "first_row_side is left or right, looking along the bearing; this is “{got}”.", "first_row_side es left o right, mirando a lo largo del rumbo; esto es «{got}».")
	badEnd         = words.New("web-bad-end", "first_plant_end is start or end; this is “{got}”.", "first_plant_end es start o end; esto es «{got}».")
	cannotLayOut   = words.New("web-cannot-lay-out", "Rows cannot be laid out from this; see below.", "Con esto no se pueden trazar hileras; véase abajo.")
	guideNoLine    = words.New("web-guide-no-line", "A guide is a LineString; this is {got}.", "Una guía es un LineString; esto es {got}.")
	guideOrBearing = words.New("web-guide-or-bearing", "Rows follow either a guide or a bearing.", "Las hileras siguen una guía o un rumbo, no ambos.")
	badBand        = words.New("web-bad-band", "The band's width lies between 0 and {greatest} m; it is {value} m.", "El ancho de la banda está entre 0 y {greatest} m; es {value} m.")
	badShort       = words.New("web-bad-short", "Rows are short below a length from 0 to {greatest} m; this is {value} m.", "Las hileras son cortas por debajo de un largo de 0 a {greatest} m; esto es {value} m.")
	noSpacings     = words.New("web-no-spacings", "Give at least one distance.", "Dé al menos una distancia.")
	tooManyLayouts = words.New("web-too-many-layouts", "This asks for {count} layouts; at most {limit} are compared at once.", "Esto pide {count} trazados; se comparan como máximo {limit} a la vez.")

	howOutlineArea = words.New("web-how-outline-area", "ground inside the outline less holes, on the ellipsoid", "terreno dentro del contorno menos huecos, sobre el elipsoide")
	howPlantedArea = words.New("web-how-planted-area", "ground left after headlands, margins and alleys in strips that are planted rows", "terreno que queda tras cabeceras, márgenes y calles en franjas que son hileras plantadas")
	howBandArea    = words.New("web-how-band-area", "{metres} m of row x {width} m", "{metres} m de hilera x {width} m")
	howTurns       = words.New("web-how-turns", "planted parts of rows less one, each driven once, row by row", "tramos de hilera plantados menos uno, recorridos una vez, hilera por hilera")
	howShortRows   = words.New("web-how-short-rows", "planted rows shorter than {metres} m over all their parts", "hileras plantadas de menos de {metres} m contando todos sus tramos")
	howShare       = words.New("web-how-share", "planted ground / outline", "terreno plantado / contorno")
	bySum          = words.New("web-by-sum", "arithmetic", "aritmética")
	byLayoutRules  = words.New("web-by-layout-rules", "counted in this layout", "contado en este trazado")
	byGeodesic     = words.New("web-by-geodesic", "C. F. F. Karney, Algorithms for geodesics, 2013", "C. F. F. Karney, Algorithms for geodesics, 2013")
	byCommonUse    = words.New("web-by-common-use", "common practice; the figure is the grower's", "práctica común; la cifra es del productor")
)

// Bounds of what a layout is summed up with.
const (
	widestBand   geo.Metres = 100
	longestShort geo.Metres = 10_000
)

// layoutAsk is the body of POST .../layout; lengths in metres.
type layoutAsk struct {
	Outline       json.RawMessage `json:"outline"`
	Block         records.ID      `json:"block"`
	RowSpacing    geo.Metres      `json:"row_spacing_m"`
	PlantSpacing  geo.Metres      `json:"plant_spacing_m"`
	Bearing       *geo.Degrees    `json:"bearing_deg"`
	Headland      geo.Metres      `json:"headland_m"`
	FirstRowSide  blocks.Side     `json:"first_row_side"`
	FirstPlantEnd blocks.End      `json:"first_plant_end"`
	SideMargin    geo.Metres      `json:"side_margin_m"`
	Guide         json.RawMessage `json:"guide"`
	AlleyEvery    int             `json:"alley_every"`
	Alley         geo.Metres      `json:"alley_m"`
	PostSpacing   geo.Metres      `json:"post_spacing_m"`
	Skip          []int           `json:"skip"`

	Band       geo.Metres  `json:"band_width_m"`
	ShortUnder *geo.Metres `json:"short_under_m"`

	SparePercent *float64   `json:"spare_percent"`
	Wires        int        `json:"wires"`
	TieOff       geo.Metres `json:"tie_off_m"`
	Lines        int        `json:"lines_per_row"`
}

func given(raw json.RawMessage) bool { return len(raw) > 0 && string(raw) != "null" }

func (a layoutAsk) hasOutline() bool { return given(a.Outline) }

// shortUnder is what a row must reach not to be short.
func (a layoutAsk) shortUnder() geo.Metres {
	if a.ShortUnder == nil {
		return layout.ShortRow
	}
	return *a.ShortUnder
}

// ordered reports whether an order list is asked for.
func (a layoutAsk) ordered() bool {
	return a.SparePercent != nil || a.Wires != 0 || a.Lines != 0 || a.TieOff != 0 || a.PostSpacing != 0
}

func (a layoutAsk) supplies() layout.Supplies {
	s := layout.Supplies{Wires: a.Wires, TieOff: a.TieOff, Lines: a.Lines}
	if a.SparePercent != nil {
		s.SparePercent = *a.SparePercent
	}
	if s.TieOff == 0 {
		s.TieOff = layout.UsualTieOff
	}
	return s
}

// spec is what is asked for; bearing and spacings may follow.
func (a layoutAsk) spec() (layout.Spec, error) {
	spec, details := a.specParts()
	if a.hasOutline() == (a.Block != "") {
		details = append(details, fault.Detail{Text: outlineOrBlock.Plain(), Field: "outline"})
	}
	if details != nil {
		return spec, fault.New(fault.Invalid, cannotLayOut.Plain(), details...)
	}
	return spec, nil
}

func (a layoutAsk) specParts() (layout.Spec, []fault.Detail) {
	spec := layout.Spec{RowSpacing: a.RowSpacing, PlantSpacing: a.PlantSpacing, Headland: a.Headland,
		FromRight: a.FirstRowSide == blocks.Right, FromFarEnd: a.FirstPlantEnd == blocks.Farther,
		SideMargin: a.SideMargin, AlleyEvery: a.AlleyEvery, AlleyWidth: a.Alley, PostSpacing: a.PostSpacing, Skip: a.Skip}
	var details []fault.Detail
	add := func(field string, t words.Text) { details = append(details, fault.Detail{Text: t, Field: field}) }
	if a.FirstRowSide != "" && a.FirstRowSide != blocks.Left && a.FirstRowSide != blocks.Right {
		add("first_row_side", badSide.With(words.Args{"got": shorten(string(a.FirstRowSide))}))
	}
	if a.FirstPlantEnd != "" && a.FirstPlantEnd != blocks.Start && a.FirstPlantEnd != blocks.Farther {
		add("first_plant_end", badEnd.With(words.Args{"got": shorten(string(a.FirstPlantEnd))}))
	}
	if !(a.Band >= 0 && a.Band <= widestBand) {
		add("band_width_m", badBand.With(words.Args{"greatest": float64(widestBand), "value": float64(a.Band)}))
	}
	if s := a.shortUnder(); !(s >= 0 && s <= longestShort) {
		add("short_under_m", badShort.With(words.Args{"greatest": float64(longestShort), "value": float64(s)}))
	}
	if given(a.Guide) {
		var more []fault.Detail
		spec.Guide, more = readGuide(a.Guide)
		details = append(details, more...)
		if a.Bearing != nil {
			add("guide", guideOrBearing.Plain())
		}
	}
	return spec, details
}

func readGuide(raw json.RawMessage) (orb.LineString, []fault.Detail) {
	shape, err := wire.DecodeGeometry(raw, wire.Limits{})
	if err != nil {
		refusal := intake.Refusal(err)
		if refusal == nil {
			return nil, []fault.Detail{{Text: guideNoLine.With(words.Args{"got": "?"}), Field: "guide"}}
		}
		return nil, []fault.Detail{{Text: refusal.Text, Field: "guide"}}
	}
	line, ok := shape.Flat.(orb.LineString)
	if !ok {
		kind := "null"
		if shape.Flat != nil {
			kind = shape.Flat.GeoJSONType()
		}
		return nil, []fault.Detail{{Text: guideNoLine.With(words.Args{"got": kind}), Field: "guide"}}
	}
	return line, nil
}

// toward gives the spec its bearing: the asked one, the block's, or the longest
// side's.
func (a layoutAsk) toward(spec layout.Spec, outline orb.Geometry, block *geo.Degrees) layout.Spec {
	switch {
	case spec.Guide != nil:
	case a.Bearing != nil:
		spec.Bearing = *a.Bearing
	case block != nil:
		spec.Bearing = *block
	default:
		spec.Bearing = layout.LongestSide(outline)
	}
	return spec
}

// layout lays rows out in an outline or a block of the farm; nothing is stored.
func (s *Server) layout(x *exchange) error {
	var ask layoutAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	spec, err := ask.spec()
	if err != nil {
		return err
	}
	if ask.ordered() {
		if err := ask.supplies().Check(); err != nil {
			return err
		}
	}
	outline, bearing, err := x.layoutGround(ask)
	if err != nil {
		return err
	}
	return x.alone(func() error {
		plan, err := layout.Plan(x.r.Context(), outline, ask.toward(spec, outline, bearing))
		if err != nil {
			return err
		}
		answer, err := x.layoutAnswer(plan, ask)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, answer)
	})
}

// layoutGround is the outline to lay rows out in, and the bearing its block
// says, if any.
func (x *exchange) layoutGround(ask layoutAsk) (orb.Geometry, *geo.Degrees, error) {
	if ask.hasOutline() {
		outline, err := readOutline(ask.Outline)
		return outline, nil, err
	}
	var outline orb.Geometry
	var bearing *geo.Degrees
	err := x.view(func(r records.Reader) error {
		rev, err := r.Current(records.Blocks, ask.Block)
		if err != nil {
			return blockMissing(err)
		}
		checked, _, refusal := intake.Check(rev.Record.Geometry)
		if refusal != nil {
			return refusal
		}
		b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		outline, bearing = checked.Flat, b.RowBearing
		return nil
	})
	return outline, bearing, err
}

func readOutline(raw json.RawMessage) (orb.Geometry, error) {
	shape, err := wire.DecodeGeometry(raw, wire.Limits{})
	if err != nil {
		if refusal := intake.Refusal(err); refusal != nil {
			return nil, refusal
		}
		return nil, err
	}
	checked, _, refusal := intake.Check(shape)
	if refusal != nil {
		return nil, refusal
	}
	return checked.Flat, nil
}

// layoutJSON is a layout with what it comes to. Shares are from 0 to 1.
type layoutJSON struct {
	layout.JSON
	Areas        areasJSON    `json:"areas"`
	Turns        int          `json:"turns"`
	ShortRows    int          `json:"short_rows"`
	ShortUnder   float64      `json:"short_under_m"`
	Shortest     float64      `json:"shortest_m"`
	Longest      float64      `json:"longest_m"`
	Share        float64      `json:"share"`
	Handbook     handbookJSON `json:"handbook"`
	WhyDifferent []string     `json:"why_different"`
	Differences  []reasonJSON `json:"differences"`
	Order        *orderJSON   `json:"order,omitempty"`
	How          []howJSON    `json:"how"`
}

type areasJSON struct {
	Outline float64  `json:"outline_m2"`
	Planted float64  `json:"planted_m2"`
	Band    *float64 `json:"band_m2,omitempty"`
}

type handbookJSON struct {
	Plants    float64 `json:"plants"`
	RowLength float64 `json:"row_length_m"`
	How       string  `json:"how"`
}

type reasonJSON struct {
	Key    string  `json:"key"`
	Ground float64 `json:"ground_m2"`
	Plants float64 `json:"plants"`
	Text   string  `json:"text"`
}

type howJSON struct {
	What   string  `json:"what"`
	Text   string  `json:"text"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

type orderJSON struct {
	Plants       int       `json:"plants"`
	SparePercent float64   `json:"spare_percent"`
	ToOrder      int       `json:"to_order"`
	Posts        int       `json:"posts"`
	EndPosts     int       `json:"end_posts"`
	Wire         float64   `json:"wire_m"`
	Line         float64   `json:"line_m"`
	How          []howJSON `json:"how"`
}

func (x *exchange) layoutAnswer(plan layout.Layout, ask layoutAsk) (layoutJSON, error) {
	f, h := plan.Figures(ask.shortUnder()), plan.Handbook()
	out := layoutJSON{JSON: plan.JSON(), Areas: areasJSON{Outline: float64(plan.Outline), Planted: float64(plan.Planted)},
		Turns: f.Turns, ShortRows: f.ShortRows, ShortUnder: float64(ask.shortUnder()), Shortest: float64(f.Shortest), Longest: float64(f.Longest), Share: f.Share,
		Handbook:     handbookJSON{Plants: h.Plants, RowLength: float64(h.RowLength), How: h.How.In(x.lang)},
		WhyDifferent: []string{}, Differences: []reasonJSON{}}
	for _, d := range plan.Differences() {
		t := d.Text.In(x.lang)
		out.WhyDifferent = append(out.WhyDifferent, t)
		out.Differences = append(out.Differences, reasonJSON{d.Key, float64(d.Ground), d.Plants, t})
	}
	how := func(what string, value float64, unit string, t words.Text, source words.Message) {
		out.How = append(out.How, howJSON{what, t.In(x.lang), value, unit, source.Plain().In(x.lang)})
	}
	how("outline_m2", float64(plan.Outline), "m2", howOutlineArea.Plain(), byGeodesic)
	how("planted_m2", float64(plan.Planted), "m2", howPlantedArea.Plain(), byLayoutRules)
	if ask.Band > 0 {
		band := float64(plan.RowLength) * float64(ask.Band)
		out.Areas.Band = &band
		how("band_m2", band, "m2", howBandArea.With(words.Args{"metres": math.Round(float64(plan.RowLength)*10) / 10, "width": float64(ask.Band)}), bySum)
	}
	how("turns", float64(f.Turns), "", howTurns.Plain(), byLayoutRules)
	how("short_rows", float64(f.ShortRows), "", howShortRows.With(words.Args{"metres": float64(ask.shortUnder())}), byCommonUse)
	how("share", f.Share, "", howShare.Plain(), bySum)
	if !ask.ordered() {
		return out, nil
	}
	supplies := ask.supplies()
	o, err := plan.Order(supplies)
	if err != nil {
		return out, err
	}
	out.Order = &orderJSON{Plants: o.Plants, SparePercent: supplies.SparePercent, ToOrder: o.ToOrder, Posts: o.Posts, EndPosts: o.EndPosts,
		Wire: float64(o.Wire), Line: float64(o.Line), How: []howJSON{}}
	for _, f := range o.How {
		out.Order.How = append(out.Order.How, howJSON{f.What, f.Text.In(x.lang), f.Value, f.Unit, f.Source.In(x.lang)})
	}
	return out, nil
}

// compareAsk is the body of POST .../layouts/compare: layoutAsk with lists of
// what is to be compared.
type compareAsk struct {
	Outline       json.RawMessage `json:"outline"`
	Block         records.ID      `json:"block"`
	RowSpacing    []geo.Metres    `json:"row_spacing_m"`
	PlantSpacing  []geo.Metres    `json:"plant_spacing_m"`
	Bearings      []geo.Degrees   `json:"bearings_deg"`
	Sweep         *geo.Degrees    `json:"sweep_deg"`
	Headland      geo.Metres      `json:"headland_m"`
	FirstRowSide  blocks.Side     `json:"first_row_side"`
	FirstPlantEnd blocks.End      `json:"first_plant_end"`
	SideMargin    geo.Metres      `json:"side_margin_m"`
	Guide         json.RawMessage `json:"guide"`
	AlleyEvery    int             `json:"alley_every"`
	Alley         geo.Metres      `json:"alley_m"`
	PostSpacing   geo.Metres      `json:"post_spacing_m"`
	ShortUnder    *geo.Metres     `json:"short_under_m"`

	// What an order would add changes no layout; the page sends one form.
	SparePercent *float64   `json:"spare_percent"`
	Wires        int        `json:"wires"`
	TieOff       geo.Metres `json:"tie_off_m"`
	Lines        int        `json:"lines_per_row"`
}

// base is the ask without what is compared.
func (a compareAsk) base() layoutAsk {
	return layoutAsk{Outline: a.Outline, Block: a.Block, Headland: a.Headland, FirstRowSide: a.FirstRowSide, FirstPlantEnd: a.FirstPlantEnd,
		SideMargin: a.SideMargin, Guide: a.Guide, AlleyEvery: a.AlleyEvery, Alley: a.Alley, PostSpacing: a.PostSpacing, ShortUnder: a.ShortUnder}
}

type optionJSON struct {
	RowSpacing   float64     `json:"row_spacing_m"`
	PlantSpacing float64     `json:"plant_spacing_m"`
	Bearing      float64     `json:"bearing_deg"`
	Kind         layout.Kind `json:"kind"`
	Rows         int         `json:"rows"`
	RowLength    float64     `json:"row_length_m"`
	Plants       int         `json:"plants"`
	Turns        int         `json:"turns"`
	ShortRows    int         `json:"short_rows"`
	Share        float64     `json:"share"`
	Shortest     float64     `json:"shortest_m"`
	Longest      float64     `json:"longest_m"`
}

// compareLayouts sets layouts side by side; nothing is stored. For each pair of
// spacings, in the order they came: the bearings named, the guide, the longest
// side, the sweep. Where no direction is asked for the block's own stands in.
func (s *Server) compareLayouts(x *exchange) error {
	var ask compareAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	base := ask.base()
	spec, err := base.spec()
	if err != nil {
		return err
	}
	outline, bearing, err := x.layoutGround(base)
	if err != nil {
		return err
	}
	if len(ask.Bearings) == 0 && ask.Sweep == nil && spec.Guide == nil && bearing != nil {
		ask.Bearings = []geo.Degrees{*bearing}
	}
	choices, err := ask.choices(spec, layout.LongestSide(outline))
	if err != nil {
		return err
	}
	return x.alone(func() error {
		options, err := layout.Compare(x.r.Context(), outline, choices, base.shortUnder())
		if err != nil {
			return err
		}
		out := struct {
			Options    []optionJSON      `json:"options"`
			ShortUnder float64           `json:"short_under_m"`
			How        map[string]string `json:"how"`
		}{[]optionJSON{}, float64(base.shortUnder()), map[string]string{"turns": howTurns.Plain().In(x.lang), "share": howShare.Plain().In(x.lang),
			"short_rows": howShortRows.With(words.Args{"metres": float64(base.shortUnder())}).In(x.lang)}}
		for _, o := range options {
			out.Options = append(out.Options, optionJSON{float64(o.Spec.RowSpacing), float64(o.Spec.PlantSpacing), float64(o.Spec.Bearing), o.Kind,
				o.Rows, float64(o.RowLength), o.Plants, o.Turns, o.ShortRows, o.Share, float64(o.Shortest), float64(o.Longest)})
		}
		return x.json(http.StatusOK, out)
	})
}

func (a compareAsk) choices(spec layout.Spec, longest geo.Degrees) ([]layout.Choice, error) {
	var details []fault.Detail
	for _, f := range []struct {
		field string
		n     int
	}{{"row_spacing_m", len(a.RowSpacing)}, {"plant_spacing_m", len(a.PlantSpacing)}} {
		if f.n == 0 {
			details = append(details, fault.Detail{Text: noSpacings.Plain(), Field: f.field})
		}
	}
	if details != nil {
		return nil, fault.New(fault.Invalid, cannotLayOut.Plain(), details...)
	}
	guide := spec.Guide
	spec.Guide = nil
	var each []layout.Choice
	with := func(kind layout.Kind, change func(*layout.Spec)) {
		one := spec
		change(&one)
		each = append(each, layout.Choice{Kind: kind, Spec: one})
	}
	if len(a.Bearings) > layout.MaxOptions {
		return nil, tooManyChoices(len(a.Bearings))
	}
	for _, b := range a.Bearings {
		with(layout.Drawn, func(s *layout.Spec) { s.Bearing = b })
	}
	if guide != nil {
		with(layout.Guided, func(s *layout.Spec) { s.Guide = guide })
	}
	with(layout.LongestEdge, func(s *layout.Spec) { s.Bearing = longest })
	if a.Sweep != nil {
		swept, err := layout.Sweep(spec, *a.Sweep)
		if err != nil {
			return nil, err
		}
		each = append(each, swept...)
	}
	if n := len(a.RowSpacing) * len(a.PlantSpacing) * len(each); n > layout.MaxOptions {
		return nil, tooManyChoices(n)
	}
	var all []layout.Choice
	for _, rows := range a.RowSpacing {
		for _, plants := range a.PlantSpacing {
			for _, c := range each {
				c.Spec.RowSpacing, c.Spec.PlantSpacing = rows, plants
				all = append(all, c)
			}
		}
	}
	return all, nil
}

func tooManyChoices(n int) error {
	return fault.New(fault.TooCostly, tooManyLayouts.With(words.Args{"count": n, "limit": layout.MaxOptions}))
}

// layoutRoutes are the addresses round rows and plants.
func (s *Server) layoutRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	asOf := parameter{"as_of", "datetime", "a time with zone, or a day: the rows as they stood at its end"}
	return []route{
		{method: "POST", pattern: atFarm + "/layout", id: "layout", summary: "Rows and plants that fit an outline; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.layout,
			body: asked("layoutAsk"), replies: okJSON("layout", "the rows, what they come to, and the order where one is asked for")},
		{method: "POST", pattern: atFarm + "/layouts/compare", id: "compareLayouts", summary: "Layouts side by side; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.compareLayouts,
			body: asked("compareLayoutsAsk"), replies: okJSON("layoutOptions", "one option for each pair of spacings and each direction")},
		{method: "POST", pattern: atFarm + "/layouts/revise", id: "reviseLayout", summary: "What an edited outline or another layout means for rows that stand; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.reviseLayout,
			body: asked("layoutAsk"), replies: okJSON("layoutRevision", "rows to store, what goes, and the records in the way")},
		{method: "GET", pattern: atBlock + "/near", id: "nearPlants", summary: "The plants nearest to a position, and the chance of each row", needs: farm, right: people.Read, long: true, handle: s.nearPlants,
			query:   []parameter{{"lon", "number", "degrees east"}, {"lat", "number", "degrees north"}, {"accuracy_m", "number", "the radius the phone gives with its fix; without it no chances"}, {"n", "number", "how many plants; 5 where it is not said"}, asOf},
			replies: okJSON("near", "plants, rows with their chances, and the model behind them"), refuses: []int{404, 422}},
		{method: "GET", pattern: atBlock + "/rows", id: "rowsThen", summary: "A block's rows, as they stand or as they stood", needs: farm, right: people.Read, long: true, handle: s.rowsThen,
			query: []parameter{asOf}, replies: []reply{{200, []string{typeGeoJSON}, "featureCollection", "all rows of the block, by number"}}, refuses: []int{404, 422}},
		{method: "GET", pattern: atBlock + "/unplaced-finds", id: "unplacedFinds", summary: "Finds of a block whose row nobody has said, with the chance of each row", needs: farm, right: people.Read, long: true, handle: s.unplacedFinds,
			query: []parameter{asOf}, replies: okJSON("unplacedFinds", "newest first; nothing is written into the records"), refuses: []int{404, 422}},
	}
}

const atBlock = atFarm + "/collections/blocks/items/{id}"

// layoutSchemas name what the addresses above take and give.
func layoutSchemas() object {
	ground := ref("geometry")
	side := object{"type": "string", "enum": []string{"left", "right"}}
	end := object{"type": "string", "enum": []string{"start", "end"}}
	how := shape([]string{"what", "text", "value"}, object{"what": text("the figure"), "text": text("how it comes about"), "value": number, "unit": text("m, m2, plants, posts"), "source": text("where the rule stands")})
	common := func(more object) object {
		all := object{"outline": ground, "block": ref("id"), "headland_m": number, "side_margin_m": number, "guide": ground, "alley_every": whole, "alley_m": number,
			"post_spacing_m": number, "first_row_side": side, "first_plant_end": end, "short_under_m": number,
			"spare_percent": number, "wires": whole, "tie_off_m": number, "lines_per_row": whole}
		for name, s := range more {
			all[name] = s
		}
		return all
	}
	stretch := shape([]string{"row", "from", "to"}, object{"row": whole, "from": whole, "to": whole})
	near := list(shape([]string{"row", "plant", "m"}, object{"row": whole, "plant": whole, "m": number}))
	chances := list(shape([]string{"row", "chance"}, object{"row": whole, "chance": number}))
	return object{
		"layoutAsk": shape([]string{"row_spacing_m", "plant_spacing_m"}, common(object{"row_spacing_m": number, "plant_spacing_m": number, "bearing_deg": number, "skip": list(whole), "band_width_m": number})),
		"layout": shape([]string{"rows", "plants", "each"}, object{"rows": whole, "row_length_m": number, "plants": whole, "planted_m2": number, "outline_m2": number, "bearing_deg": number, "posts": whole, "end_posts": whole,
			"each":  list(shape(nil, object{"number": whole, "length_m": number, "plants": whole, "posts": whole, "skipped": truth, "parts": list(ref("any2"))})),
			"areas": shape(nil, object{"outline_m2": number, "planted_m2": number, "band_m2": number}), "turns": whole, "short_rows": whole, "short_under_m": number, "shortest_m": number, "longest_m": number, "share": number,
			"handbook":      shape(nil, object{"plants": number, "row_length_m": number, "how": text("the gross formula")}),
			"why_different": list(text("why the handbook's figure and the count differ")),
			"differences":   list(shape(nil, object{"key": text("for machines"), "ground_m2": number, "plants": number, "text": text("in words")})),
			"order":         shape(nil, object{"plants": whole, "spare_percent": number, "to_order": whole, "posts": whole, "end_posts": whole, "wire_m": number, "line_m": number, "how": list(how)}),
			"how":           list(how)}),
		"any2":              object{"type": "array", "items": object{}},
		"compareLayoutsAsk": shape([]string{"row_spacing_m", "plant_spacing_m"}, common(object{"row_spacing_m": list(number), "plant_spacing_m": list(number), "bearings_deg": list(number), "sweep_deg": number})),
		"layoutOptions": shape([]string{"options"}, object{"options": list(shape(nil, object{"row_spacing_m": number, "plant_spacing_m": number, "bearing_deg": number,
			"kind": object{"type": "string", "enum": []layout.Kind{layout.Drawn, layout.LongestEdge, layout.Swept, layout.Guided}}, "rows": whole, "row_length_m": number, "plants": whole, "turns": whole, "short_rows": whole, "share": number, "shortest_m": number, "longest_m": number})),
			"short_under_m": number, "how": ref("any")}),
		"layoutRevision": shape([]string{"kept", "moved", "added", "gone", "conflicts", "rows", "dropped"}, object{"kept": whole,
			"moved":     list(shape([]string{"row"}, object{"row": whole, "was_m": number, "is_m": number, "beside_m": number})),
			"added":     list(stretch),
			"gone":      list(stretch),
			"conflicts": list(shape([]string{"row", "plant", "kind", "id", "text"}, object{"row": whole, "plant": whole, "kind": ref("kind"), "id": ref("id"), "text": text("in words")})),
			"rows":      list(ref("feature")),
			"dropped":   list(shape([]string{"id", "base", "row"}, object{"id": ref("id"), "base": whole, "row": whole})),
			"how":       text("how numbers are kept")}),
		"near":          shape([]string{"plants", "rows", "none", "model", "says"}, object{"plants": near, "rows": chances, "none": number, "model": text("what the chances rest on"), "says": text("the likeliest row"), "sd_m": number}),
		"unplacedFinds": shape([]string{"finds"}, object{"finds": list(shape([]string{"id", "says"}, object{"id": ref("id"), "cause": text("as in the record"), "found_at": text("RFC 3339"), "accuracy_m": object{"type": "number", "nullable": true}, "says": text("the likeliest row"), "rows": chances, "none": number, "plants": near, "model": text("what the chances rest on")})), "more": truth}),
	}
}
