package layout

import (
	"math"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
)

// Bounds of what can be asked for; closer than 5 cm no bramble stands, and 100
// m between rows is no planting.
const (
	leastSpacing    geo.Metres = 0.05
	greatestSpacing geo.Metres = 100
	greatestHead    geo.Metres = 1000
	leastPosts      geo.Metres = 0.5
	greatestAlley   geo.Metres = 100
	maxAlleyEvery              = MaxRows
	// MaxGuide is how many corners a guide line may have as it is given.
	MaxGuide = 10_000
)

var (
	cannotPlan     = words.New("layout-cannot-plan", "These rows cannot be laid out.", "Estas hileras no se pueden trazar.")
	spacingBounds  = words.New("layout-spacing-bounds", "The spacing must lie between {least} m and {greatest} m; it is {value} m.", "La distancia debe estar entre {least} m y {greatest} m; es {value} m.")
	headlandBounds = words.New("layout-headland-bounds", "The headland must lie between 0 and {greatest} m; it is {value} m.", "La cabecera debe estar entre 0 y {greatest} m; es {value} m.")
	marginBounds   = words.New("layout-margin-bounds", "The side margin must lie between 0 and {greatest} m; it is {value} m.", "El margen lateral debe estar entre 0 y {greatest} m; es {value} m.")
	bearingBounds  = words.New("layout-bearing-bounds", "The bearing must be a number of degrees from 0 to 360, clockwise from true north; it is {value}.", "El rumbo debe ser un número de grados de 0 a 360, en sentido horario desde el norte verdadero; es {value}.")
	alleyBounds    = words.New("layout-alley-bounds", "An alley must be wider than 0 and at most {greatest} m; it is {value} m.", "Una calle debe medir más de 0 y como máximo {greatest} m; mide {value} m.")
	alleyPair      = words.New("layout-alley-pair", "Alleys need both: after how many rows one comes, and how wide it is.", "Las calles necesitan ambos datos: cada cuántas hileras viene una y qué ancho tiene.")
	alleyCount     = words.New("layout-alley-count", "The number of rows between alleys must lie between 1 and {greatest}; it is {value}.", "El número de hileras entre calles debe estar entre 1 y {greatest}; es {value}.")
	postBounds     = words.New("layout-post-bounds", "The distance between posts must lie between {least} m and {greatest} m; it is {value} m.", "La distancia entre postes debe estar entre {least} m y {greatest} m; es {value} m.")
	skipBounds     = words.New("layout-skip-bounds", "A skipped row is named by its number, from 1 to {greatest}; this is {value}.", "Una hilera omitida se nombra por su número, de 1 a {greatest}; este es {value}.")
	skipTwice      = words.New("layout-skip-twice", "Row {value} is skipped twice.", "La hilera {value} se omite dos veces.")
	guideShort     = words.New("layout-guide-short", "A guide line needs at least two different places.", "Una línea guía necesita al menos dos lugares distintos.")
	guideLong      = words.New("layout-guide-long", "A guide line may have at most {limit} corners; this one has {count}.", "Una línea guía puede tener como máximo {limit} vértices; esta tiene {count}.")
)

// Spec is what a grower asks for. The zero value of every field below Headland
// changes nothing.
type Spec struct {
	RowSpacing   geo.Metres
	PlantSpacing geo.Metres
	// Bearing the rows run along, clockwise from true north in the middle of the
	// outline. Not used with a Guide.
	Bearing  geo.Degrees
	Headland geo.Metres // free ground at both ends of every part of a row
	// FromRight numbers the rows from the right, looking along the bearing or the
	// guide, not from the left.
	FromRight bool
	// FromFarEnd numbers plants against the bearing or the guide.
	FromFarEnd bool
	// SideMargin is free ground along both outer sides, measured across the rows
	// from the outermost ground that the headlands leave.
	SideMargin geo.Metres
	// Guide is a line, in the direction the rows are looked along, that is the
	// middle of one row and that every other row runs beside.
	Guide orb.LineString
	// AlleyEvery and AlleyWidth open an alley after every so many rows, counted
	// from the side rows are numbered from; with a guide, from the guide's row.
	AlleyEvery int
	AlleyWidth geo.Metres
	// PostSpacing is the distance between posts along a row; 0 sets no posts.
	PostSpacing geo.Metres
	// Skip names rows that are left unplanted and keep their number.
	Skip []int
}

// Check refuses a spec whose figures cannot be meant.
func (s Spec) Check() error {
	var details []fault.Detail
	refuse := func(field string, m words.Message, args words.Args) {
		details = append(details, fault.Detail{Field: field, Text: m.With(args)})
	}
	for _, f := range []struct {
		field string
		value geo.Metres
	}{{"row_spacing_m", s.RowSpacing}, {"plant_spacing_m", s.PlantSpacing}} {
		if !(f.value >= leastSpacing && f.value <= greatestSpacing) {
			refuse(f.field, spacingBounds, words.Args{"least": float64(leastSpacing), "greatest": float64(greatestSpacing), "value": float64(f.value)})
		}
	}
	if !(s.Headland >= 0 && s.Headland <= greatestHead) {
		refuse("headland_m", headlandBounds, words.Args{"greatest": float64(greatestHead), "value": float64(s.Headland)})
	}
	if !(s.Bearing >= -360 && s.Bearing <= 360) {
		refuse("bearing_deg", bearingBounds, words.Args{"value": float64(s.Bearing)})
	}
	if !(s.SideMargin >= 0 && s.SideMargin <= greatestHead) {
		refuse("side_margin_m", marginBounds, words.Args{"greatest": float64(greatestHead), "value": float64(s.SideMargin)})
	}
	s.checkAlleys(refuse)
	if s.PostSpacing != 0 && !(s.PostSpacing >= leastPosts && s.PostSpacing <= greatestSpacing) {
		refuse("post_spacing_m", postBounds, words.Args{"least": float64(leastPosts), "greatest": float64(greatestSpacing), "value": float64(s.PostSpacing)})
	}
	s.checkSkip(refuse)
	if n := len(s.Guide); n > MaxGuide {
		refuse("guide", guideLong, words.Args{"limit": MaxGuide, "count": n})
	} else if s.Guide != nil && !twoPlaces(s.Guide) {
		refuse("guide", guideShort, nil)
	}
	if len(details) > 0 {
		return fault.New(fault.Invalid, cannotPlan.Plain(), details...)
	}
	return nil
}

type refuser func(field string, m words.Message, args words.Args)

func (s Spec) checkAlleys(refuse refuser) {
	if s.AlleyEvery == 0 && s.AlleyWidth == 0 {
		return
	}
	switch {
	case s.AlleyEvery == 0:
		refuse("alley_every", alleyPair, nil)
	case s.AlleyEvery < 1 || s.AlleyEvery > maxAlleyEvery:
		refuse("alley_every", alleyCount, words.Args{"greatest": maxAlleyEvery, "value": s.AlleyEvery})
	}
	switch {
	case s.AlleyWidth == 0:
		refuse("alley_m", alleyPair, nil)
	case !(s.AlleyWidth > 0 && s.AlleyWidth <= greatestAlley):
		refuse("alley_m", alleyBounds, words.Args{"greatest": float64(greatestAlley), "value": float64(s.AlleyWidth)})
	}
}

func (s Spec) checkSkip(refuse refuser) {
	seen := map[int]bool{}
	for _, n := range s.Skip {
		switch {
		case n < 1 || n > MaxRows:
			refuse("skip", skipBounds, words.Args{"greatest": MaxRows, "value": n})
			return // one is enough to find the slip
		case seen[n]:
			refuse("skip", skipTwice, words.Args{"value": n})
			return
		}
		seen[n] = true
	}
}

func twoPlaces(l orb.LineString) bool {
	for _, p := range l {
		if p != l[0] {
			return true
		}
	}
	return false
}

// alleysBefore counts the alleys before strip i, counted from 0 on the side the
// rows are numbered from; strips before the first, as a guide has, are negative.
func (s Spec) alleysBefore(i int) float64 {
	if s.AlleyEvery == 0 {
		return 0
	}
	return math.Floor(float64(i) / float64(s.AlleyEvery))
}

// fitting is how many strips, alleys between them, fit in a width.
func (s Spec) fitting(width float64) int {
	spacing, alley := float64(s.RowSpacing), float64(s.AlleyWidth)
	if s.AlleyEvery == 0 {
		return int(math.Floor((width + exactFit) / spacing))
	}
	group := float64(s.AlleyEvery)*spacing + alley
	groups := math.Floor((width + exactFit + alley) / group)
	rest := width + exactFit - groups*group
	return int(groups)*s.AlleyEvery + min(s.AlleyEvery, int(math.Floor(math.Max(0, rest)/spacing)))
}
