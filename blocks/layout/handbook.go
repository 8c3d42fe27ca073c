package layout

import (
	"math"

	"caneward/blocks/words"
	"caneward/geo"
)

// The gross figure is W01 to W08 of testdata/reference/trade/worked-examples.csv
// in metres: 43,560 square feet over the plant's rectangle, or over the row
// spacing.
var (
	handbookHow = words.New("layout-handbook-how",
		"Gross figure as handbooks give it: {outline} m2 / ({row} m x {plant} m) = {plants} plants; {outline} m2 / {row} m = {metres} m of row. Holes are taken off the area; headlands, margins, alleys and row ends are not thought of.",
		"Cifra bruta como la dan los manuales: {outline} m2 / ({row} m x {plant} m) = {plants} plantas; {outline} m2 / {row} m = {metres} m de hilera. Los huecos están descontados del área; no se consideran cabeceras, márgenes, calles ni extremos de hilera.")
	whyHeadlands = words.New("layout-why-headlands", "Headlands of {width} m at the row ends take {ground} m2: {plants} plants fewer.", "Las cabeceras de {width} m en los extremos ocupan {ground} m2: {plants} plantas menos.")
	whyHoleHeads = words.New("layout-why-hole-headlands", "Headlands of {width} m before and behind the holes take {ground} m2: {plants} plants fewer.", "Las cabeceras de {width} m antes y después de los huecos ocupan {ground} m2: {plants} plantas menos.")
	whyMargins   = words.New("layout-why-margins", "Side margins of {width} m take {ground} m2: {plants} plants fewer.", "Los márgenes laterales de {width} m ocupan {ground} m2: {plants} plantas menos.")
	whyAlleys    = words.New("layout-why-alleys", "Alleys of {width} m take {ground} m2: {plants} plants fewer.", "Las calles de {width} m ocupan {ground} m2: {plants} plantas menos.")
	whyLeftOver  = words.New("layout-why-left-over", "Beside the outermost rows {ground} m2 are too narrow for another one: {plants} plants fewer.", "Junto a las hileras exteriores {ground} m2 son demasiado estrechos para otra: {plants} plantas menos.")
	whyNoParts   = words.New("layout-why-no-parts", "Strips whose middle meets no ground hold {ground} m2: {plants} plants fewer.", "Las franjas cuyo centro no toca terreno tienen {ground} m2: {plants} plantas menos.")
	whySkipped   = words.New("layout-why-skipped", "Rows left unplanted hold {ground} m2: {plants} plants fewer.", "Las hileras sin plantar tienen {ground} m2: {plants} plantas menos.")
	whyWider     = words.New("layout-why-wider", "Beside the rows' middle lines the strips hold {ground} m2 more than row length x row spacing: {plants} plants fewer.", "Junto a las líneas medias las franjas tienen {ground} m2 más que largo de hilera x distancia entre hileras: {plants} plantas menos.")
	whyNarrower  = words.New("layout-why-narrower", "Beside the rows' middle lines the strips hold {ground} m2 less than row length x row spacing: {plants} plants more.", "Junto a las líneas medias las franjas tienen {ground} m2 menos que largo de hilera x distancia entre hileras: {plants} plantas más.")
	whyRowEnds   = words.New("layout-why-row-ends", "Each of the {parts} parts of rows begins with a plant: {plants} plants more than row length / plant spacing.", "Cada uno de los {parts} tramos de hilera empieza con una planta: {plants} plantas más que largo de hilera / distancia entre plantas.")
)

// Handbook is the gross figure over the outline, holes taken off.
type Handbook struct {
	Plants    float64
	RowLength geo.Metres
	How       words.Text
}

// Difference is one reason why the layout holds more or fewer plants than the
// handbook says.
type Difference struct {
	Key    string           // for machines: "headlands", "row-ends", …
	Ground geo.SquareMetres // that the reason takes; negative where it gives; 0 for row ends
	Plants float64          // more, or fewer when negative
	Text   words.Text
}

// Handbook gives the gross figure.
func (l Layout) Handbook() Handbook {
	h := Handbook{RowLength: geo.Metres(float64(l.Outline) / float64(l.Spec.RowSpacing))}
	h.Plants = float64(h.RowLength) / float64(l.Spec.PlantSpacing)
	h.How = handbookHow.With(words.Args{"outline": tenths(float64(l.Outline)), "row": float64(l.Spec.RowSpacing), "plant": float64(l.Spec.PlantSpacing),
		"plants": tenths(h.Plants), "metres": tenths(float64(h.RowLength))})
	return h
}

// Differences lead from the handbook's plants to the layout's: their Plants add
// up to Plants less Handbook().Plants, and their Ground over the row spacing to
// the handbook's row length less the layout's. Reasons of less than
// geo.SliverArea are left out.
func (l Layout) Differences() []Difference {
	perPlant := float64(l.Spec.RowSpacing) * float64(l.Spec.PlantSpacing)
	var out []Difference
	takes := func(key string, m words.Message, ground geo.SquareMetres, width geo.Metres) {
		if math.Abs(float64(ground)) < float64(geo.SliverArea) {
			return
		}
		plants := float64(ground) / perPlant
		args := words.Args{"ground": tenths(math.Abs(float64(ground))), "plants": tenths(math.Abs(plants))}
		if width > 0 {
			args["width"] = float64(width)
		}
		out = append(out, Difference{key, ground, -plants, m.With(args)})
	}
	takes("headlands", whyHeadlands, l.Rest.Headlands, l.Spec.Headland)
	takes("hole-headlands", whyHoleHeads, l.Rest.HoleHeads, l.Spec.Headland)
	takes("margins", whyMargins, l.Rest.Margins, l.Spec.SideMargin)
	takes("alleys", whyAlleys, l.Rest.Alleys, l.Spec.AlleyWidth)
	takes("left-over", whyLeftOver, l.Rest.LeftOver, 0)
	takes("without-middle", whyNoParts, l.Rest.WithoutParts, 0)
	takes("skipped", whySkipped, l.Rest.Skipped, 0)
	beside := l.Planted - geo.SquareMetres(float64(l.RowLength)*float64(l.Spec.RowSpacing))
	if beside > 0 {
		takes("beside-rows", whyWider, beside, 0)
	} else {
		takes("beside-rows", whyNarrower, beside, 0)
	}
	if n := l.parts(); n > 0 {
		more := float64(l.Plants) - float64(l.RowLength)/float64(l.Spec.PlantSpacing)
		out = append(out, Difference{Key: "row-ends", Plants: more, Text: whyRowEnds.With(words.Args{"parts": n, "plants": tenths(more)})})
	}
	return out
}

// tenths rounds for people.
func tenths(v float64) float64 { return math.Round(v*10) / 10 }
