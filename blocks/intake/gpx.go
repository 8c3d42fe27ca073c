package intake

import (
	"context"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/gpx"
)

// gpxFile reads GPX.
type gpxFile struct{}

func (gpxFile) Name() string { return "GPX" }

func (gpxFile) Detects(data []byte, _ string) bool { return rootOf(data) == "gpx" }

func (gpxFile) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	src, err := gpx.Open(ctx, data, wire.Options{Limits: o.Limits, Raw: true})
	if err != nil {
		return p.refuseOr(err)
	}
	return p.gather(ctx, src, o)
}

var gpxMends = []wire.Rule{gpx.RuleComma}

var gpxSayings = map[wire.Rule]saying{
	gpx.RuleRoot: {fault.Malformed, words.New("intake-gpx-root",
		"This is XML but not GPX: its outermost element is “{got}”.",
		"Esto es XML pero no GPX: su elemento exterior es «{got}»."), noFix},
	gpx.RulePosition: {fault.Malformed, words.New("intake-gpx-position",
		"A point's {path} is missing or is no number: “{got}”.",
		"El {path} de un punto falta o no es un número: «{got}»."), words.New("intake-gpx-position-fix",
		"Each point needs lat and lon in degrees, such as lat=\"36.3127\" lon=\"-94.4418\".",
		"Cada punto necesita lat y lon en grados, como lat=\"36.3127\" lon=\"-94.4418\".")},
	gpx.RuleComma: {fault.Invalid, words.New("intake-gpx-comma",
		"{count} number(s) are written with a decimal comma, such as “{got}”; they were read with a point. Check the places on the map.",
		"{count} número(s) llevan coma decimal, como «{got}»; se leyeron con punto. Revise los lugares en el mapa."), noFix},
	gpx.RuleParts: {fault.Invalid, words.New("intake-gpx-parts",
		"An area written here has other rings now; it was read as lines.",
		"Un área escrita aquí tiene ahora otros anillos; se leyó como líneas."), noFix},
}
