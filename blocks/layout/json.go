package layout

import (
	"caneward/blocks/words"
	"caneward/geo"
)

// JSON is the layout in the form of the command and the API: each row's parts
// as lists of [lon, lat], lengths in metres. What only some layouts have is left
// out of the others: posts without a post spacing, skipped rows where none is.
type JSON struct {
	Rows      int       `json:"rows"` // planted ones
	RowLength float64   `json:"row_length_m"`
	Plants    int       `json:"plants"`
	Planted   float64   `json:"planted_m2"`
	Outline   float64   `json:"outline_m2"`
	Bearing   float64   `json:"bearing_deg"` // with a guide: from its first place to its last
	Posts     int       `json:"posts,omitempty"`
	EndPosts  int       `json:"end_posts,omitempty"`
	Each      []RowJSON `json:"each"`
}

// RowJSON is one row of JSON. A part has two positions where it is straight.
type RowJSON struct {
	Number  int              `json:"number"`
	Length  float64          `json:"length_m"`
	Plants  int              `json:"plants"`
	Posts   int              `json:"posts,omitempty"`
	Skipped bool             `json:"skipped,omitempty"`
	Parts   [][]geo.Position `json:"parts"`
}

// JSON gives the machine form.
func (l Layout) JSON() JSON {
	out := JSON{Rows: l.PlantedRows(), RowLength: float64(l.RowLength), Plants: l.Plants, Planted: float64(l.Planted),
		Outline: float64(l.Outline), Bearing: float64(l.Spec.Bearing), Posts: l.Posts, EndPosts: l.EndPosts, Each: make([]RowJSON, 0, len(l.Rows))}
	for _, r := range l.Rows {
		row := RowJSON{Number: r.Number, Length: float64(r.Length), Plants: r.Plants, Posts: r.Posts, Skipped: r.Skipped, Parts: make([][]geo.Position, 0, len(r.Parts))}
		for _, p := range r.Parts {
			row.Parts = append(row.Parts, p.Line())
		}
		out.Each = append(out.Each, row)
	}
	return out
}

// FullJSON is the layout with what it comes to, why it is not what a handbook
// says, and, where asked for, what to order.
type FullJSON struct {
	JSON
	Areas        AreasJSON    `json:"areas"`
	Turns        int          `json:"turns"`
	ShortRows    int          `json:"short_rows"`
	Share        float64      `json:"share"` // of the outline that is planted
	Handbook     HandbookJSON `json:"handbook"`
	WhyDifferent []string     `json:"why_different"`
	Order        *OrderJSON   `json:"order,omitempty"`
}

// AreasJSON is the outline less its holes and the planted part of it.
type AreasJSON struct {
	Outline float64 `json:"outline_m2"`
	Planted float64 `json:"planted_m2"`
}

// HandbookJSON is the gross figure.
type HandbookJSON struct {
	Plants    float64 `json:"plants"`
	RowLength float64 `json:"row_length_m"`
	How       string  `json:"how"`
}

// OrderJSON is an Order.
type OrderJSON struct {
	Plants       int          `json:"plants"`
	SparePercent float64      `json:"spare_percent"`
	Exact        float64      `json:"exact"`
	ToOrder      int          `json:"to_order"`
	Posts        int          `json:"posts"`
	EndPosts     int          `json:"end_posts"`
	Wire         float64      `json:"wire_m"`
	Line         float64      `json:"line_m"`
	How          []FigureJSON `json:"how"`
}

// FigureJSON shows how a number of an order comes about.
type FigureJSON struct {
	What   string  `json:"what"`
	Text   string  `json:"text"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

// OptionJSON is an Option.
type OptionJSON struct {
	RowSpacing   float64 `json:"row_spacing_m"`
	PlantSpacing float64 `json:"plant_spacing_m"`
	Bearing      float64 `json:"bearing_deg"`
	Kind         Kind    `json:"kind"`
	Rows         int     `json:"rows"`
	RowLength    float64 `json:"row_length_m"`
	Plants       int     `json:"plants"`
	Turns        int     `json:"turns"`
	ShortRows    int     `json:"short_rows"`
	Share        float64 `json:"share"`
	Shortest     float64 `json:"shortest_m"`
	Longest      float64 `json:"longest_m"`
}

// Full gives the machine form with everything, an order only where one was drawn
// up; rows under shortUnder count as short.
func (l Layout) Full(lang words.Language, shortUnder geo.Metres, order *Order) FullJSON {
	f, h := l.Figures(shortUnder), l.Handbook()
	out := FullJSON{JSON: l.JSON(), Areas: AreasJSON{float64(l.Outline), float64(l.Planted)}, Turns: f.Turns, ShortRows: f.ShortRows, Share: f.Share,
		Handbook: HandbookJSON{h.Plants, float64(h.RowLength), h.How.In(lang)}, WhyDifferent: []string{}}
	for _, d := range l.Differences() {
		out.WhyDifferent = append(out.WhyDifferent, d.Text.In(lang))
	}
	if order != nil {
		j := order.JSON(lang)
		out.Order = &j
	}
	return out
}

// JSON gives the machine form.
func (o Order) JSON(lang words.Language) OrderJSON {
	out := OrderJSON{Plants: o.Plants, SparePercent: o.SparePercent, Exact: o.Exact, ToOrder: o.ToOrder, Posts: o.Posts, EndPosts: o.EndPosts,
		Wire: float64(o.Wire), Line: float64(o.Line), How: []FigureJSON{}}
	for _, f := range o.How {
		out.How = append(out.How, FigureJSON{f.What, f.Text.In(lang), f.Value, f.Unit, f.Source.In(lang)})
	}
	return out
}

// JSON gives the machine form.
func (o Option) JSON() OptionJSON {
	return OptionJSON{RowSpacing: float64(o.Spec.RowSpacing), PlantSpacing: float64(o.Spec.PlantSpacing), Bearing: float64(o.Spec.Bearing), Kind: o.Kind,
		Rows: o.Rows, RowLength: float64(o.RowLength), Plants: o.Plants, Turns: o.Turns, ShortRows: o.ShortRows, Share: o.Share,
		Shortest: float64(o.Shortest), Longest: float64(o.Longest)}
}
