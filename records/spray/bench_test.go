package spray

import (
	"testing"

	"caneward/blocks/setback"
)

// A block of 500 x 300 m with 100 rows of 3 m beside a winding stream: a large
// one.
func BenchmarkDraft(b *testing.B) {
	s := at(b, -80.42, 35.87)
	var stream []float64
	for x := -200.0; x < 700; x += 5 {
		stream = append(stream, x, -10+5*float64(int(x)%3))
	}
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 500, 300), RowSpacing: 3, PlantSpacing: 1, Rows: s.rows(500, 300, 3, 1)}},
		Around: []Surroundings{{Feature: setback.Feature{ID: idWater, Kind: "water", Shape: s.line(stream...)}}}}
	for _, pattern := range []string{`"broadcast"`, `"band", "band_width_m": 1, "sides": 2`, `"alternate-middles"`} {
		b.Run(pattern[1:5], func(b *testing.B) {
			for b.Loop() {
				draft(b, g, `{"blocks": ["`+idA+`"], "pattern": `+pattern+`, "setbacks": [{"from": "water", "distance_m": 25, "side": "all"}]}`)
			}
		})
	}
}
