package layout

import (
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
