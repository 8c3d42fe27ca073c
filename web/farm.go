package web

import (
	"net/http"
	"time"

	"caneward/blocks/words"
	"caneward/records"
)

// classes are the conformance classes that hold here, and no others. Replacing
// and deleting are built after the draft of part 4, whose class also asks for a
// POST with ids made by the server; here clients make them, so it is not
// claimed.
var classes = []string{
	"http://www.opengis.net/spec/ogcapi-common-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-common-2/1.0/conf/collections",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/oas30",
}

// crs84 is longitude, latitude in degrees on WGS 84.
const crs84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"

var (
	kindTitles = map[records.Kind]words.Message{
		records.Blocks:       words.New("web-kind-blocks", "Blocks", "Bloques"),
		records.Rows:         words.New("web-kind-rows", "Rows", "Hileras"),
		records.Surroundings: words.New("web-kind-surroundings", "Surroundings", "Alrededores"),
		records.Stages:       words.New("web-kind-stages", "Growth stages", "Etapas de crecimiento"),
		records.Visits:       words.New("web-kind-visits", "Scouting visits", "Recorridos de monitoreo"),
		records.Finds:        words.New("web-kind-finds", "Finds", "Hallazgos"),
		records.Samples:      words.New("web-kind-samples", "Samples", "Muestras"),
		records.Removals:     words.New("web-kind-removals", "Removals", "Arranques"),
		records.Reviews:      words.New("web-kind-reviews", "Reviews", "Revisiones firmadas"),
		records.Products:     words.New("web-kind-products", "Products", "Productos"),
		records.Passes:       words.New("web-kind-passes", "Spray passes", "Aplicaciones"),
		records.Tracks:       words.New("web-kind-tracks", "Tracks", "Trazas"),
	}
	farmDescription     = words.New("web-farm-description", "Blocks, scouting and spray records of one farm.", "Bloques, monitoreo y registros de aplicación de una finca.")
	inventedDescription = words.New("web-invented-description", "Invented for trying out: no such farm, no such people.", "Inventada para probar: no existe tal finca ni tales personas.")
)

// landing is the farm's entry for programs; browsers get the page.
func (s *Server) landing(x *exchange) error {
	var f records.Farm
	if err := x.view(func(r records.Reader) error { f = r.Farm(); return nil }); err != nil {
		return err
	}
	at := x.farmBase()
	text := farmDescription
	if f.Invented {
		text = inventedDescription
	}
	return x.json(http.StatusOK, map[string]any{
		"title":       f.Name,
		"description": text.Plain().In(x.lang),
		"invented":    f.Invented,
		"zone":        f.Zone,
		"links": []link{
			{at + "/", "self", typeJSON, f.Name},
			{at + "/", "alternate", "text/html", f.Name},
			{at + "/api", "service-desc", typeOpenAPI, ""},
			{x.base() + "/", "service-doc", "text/html", ""},
			{at + "/conformance", "conformance", typeJSON, ""},
			{at + "/conformance", "http://www.opengis.net/def/rel/ogc/1.0/conformance", typeJSON, ""},
			{at + "/collections", "data", typeJSON, ""},
			{at + "/collections", "http://www.opengis.net/def/rel/ogc/1.0/data", typeJSON, ""},
		},
	})
}

func (s *Server) conformance(x *exchange) error {
	return x.json(http.StatusOK, map[string]any{"conformsTo": classes})
}

// collection as both lists and single answers show it.
type collection struct {
	ID       records.Kind `json:"id"`
	Title    string       `json:"title"`
	ItemType string       `json:"itemType"`
	CRS      []string     `json:"crs"`
	Extent   any          `json:"extent,omitempty"`
	Links    []link       `json:"links"`
}

func (x *exchange) describeKind(kind records.Kind, known map[records.Kind]extent) collection {
	at := x.farmBase() + "/collections/" + string(kind)
	title := kindTitles[kind].Plain().In(x.lang)
	c := collection{ID: kind, Title: title, ItemType: "feature", CRS: []string{crs84}, Links: []link{
		{at, "self", typeJSON, title},
		{at + "/items", "items", typeGeoJSON, title},
	}}
	ext := map[string]any{}
	if e := known[kind]; e.box != nil {
		ext["spatial"] = map[string]any{"bbox": [][4]float64{{e.box.Min[0], e.box.Min[1], e.box.Max[0], e.box.Max[1]}}, "crs": crs84}
	}
	if e := known[kind]; !e.from.IsZero() {
		ext["temporal"] = map[string]any{"interval": [][2]string{{e.from.UTC().Format(time.RFC3339), e.to.UTC().Format(time.RFC3339)}},
			"trs": "http://www.opengis.net/def/uom/ISO-8601/0/Gregorian"}
	}
	if len(ext) > 0 {
		c.Extent = ext
	}
	return c
}

func (x *exchange) extents() (known map[records.Kind]extent, err error) {
	err = x.view(func(r records.Reader) error {
		known, err = x.s.extents.of(x, r)
		return err
	})
	return known, err
}

func (s *Server) collections(x *exchange) error {
	known, err := x.extents()
	if err != nil {
		return err
	}
	list := make([]collection, 0, len(records.Kinds))
	for _, kind := range records.Kinds {
		list = append(list, x.describeKind(kind, known))
	}
	at := x.farmBase() + "/collections"
	return x.json(http.StatusOK, map[string]any{
		"links":       []link{{at, "self", typeJSON, ""}, {at, "alternate", typeJSON, ""}},
		"collections": list,
	})
}

func (s *Server) collection(x *exchange) error {
	known, err := x.extents()
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, x.describeKind(x.kind(), known))
}
