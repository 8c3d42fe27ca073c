package web

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/measure"
	"caneward/records"
)

var noSuchReport = words.New("web-no-such-report", "There is no such report, or not in that form.", "No existe ese informe, o no en ese formato.")

// column of a report: a name with its unit, and how a record fills it. An empty
// text means that the record does not say.
type column struct {
	name string
	of   func(rev records.Revision, members map[string]json.RawMessage) string
}

// reports are tables of records as they stand. They certify nothing.
var reports = map[string]struct {
	kind    records.Kind
	columns []column
}{
	"blocks": {records.Blocks, []column{
		property("name"), property("crop"), property("cultivar"), property("planted_on"), property("outline_follows"), property("row_spacing_m"), property("plant_spacing_m"), property("row_bearing_deg"),
		{"outline_m2", outlineArea},
	}},
	"finds": {records.Finds, []column{
		property("found_at"), property("block"), property("row"), property("plant"), property("cause"), property("organism"), property("state"), property("severity"), property("words"), property("accuracy_m"),
		{"longitude", pointPart(0)}, {"latitude", pointPart(1)},
	}},
	"passes": {records.Passes, []column{
		property("state"), property("pattern"), property("started_at"), property("ended_at"), property("products"), property("carrier"), property("areas"), property("totals"),
	}},
}

// property takes a member as it stands: texts without quotes, anything nested
// as JSON.
func property(name string) column {
	return column{name, func(_ records.Revision, members map[string]json.RawMessage) string {
		raw := members[name]
		var s string
		switch {
		case len(raw) == 0 || string(raw) == "null":
			return ""
		case json.Unmarshal(raw, &s) == nil:
			return harmless(s)
		}
		return string(raw)
	}}
}

// harmless keeps a spreadsheet from taking a text for a formula: it gets an
// apostrophe in front, as spreadsheets themselves write such texts.
func harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func pointPart(i int) func(records.Revision, map[string]json.RawMessage) string {
	return func(rev records.Revision, _ map[string]json.RawMessage) string {
		if p, ok := rev.Record.Geometry.Flat.(orb.Point); ok {
			return strconv.FormatFloat(p[i], 'f', -1, 64)
		}
		return ""
	}
}

// outlineArea is the area on the ellipsoid to a hundredth of a square metre.
func outlineArea(rev records.Revision, _ map[string]json.RawMessage) string {
	area := float64(measure.Area(rev.Record.Geometry.Flat))
	if math.IsNaN(area) {
		return ""
	}
	return strconv.FormatFloat(area, 'f', 2, 64)
}

// report answers with a table of records, as CSV (RFC 4180) or GeoJSON.
func (s *Server) report(x *exchange) error {
	r, known := reports[x.vars["name"]]
	form := x.vars["form"]
	if !known || form != "csv" && form != "geojson" {
		return fault.New(fault.Missing, noSuchReport.Plain())
	}
	var b bytes.Buffer
	write, finish := csvReport(&b, r.columns)
	mediaType := "text/csv; charset=utf-8; header=present"
	if form == "geojson" {
		write, finish = geojsonReport(&b)
		mediaType = typeGeoJSON
	}
	err := x.view(func(reader records.Reader) error {
		return lister{r: reader, kind: r.kind}.each(func(rev records.Revision) error {
			if err := write(rev); err != nil {
				return err
			}
			return x.r.Context().Err()
		})
	})
	if err != nil {
		return err
	}
	if err := finish(); err != nil {
		return err
	}
	h := x.w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", `attachment; filename="`+string(x.farm)+"-"+x.vars["name"]+"."+form+`"`)
	if x.r.Method == http.MethodHead {
		return x.send(http.StatusOK, mediaType, b.Bytes())
	}
	return x.packed(mediaType, b.Bytes())
}

func csvReport(b *bytes.Buffer, columns []column) (func(records.Revision) error, func() error) {
	w := csv.NewWriter(b)
	w.UseCRLF = true
	head := []string{"id", "revision"}
	for _, c := range columns {
		head = append(head, c.name)
	}
	w.Write(head)
	write := func(rev records.Revision) error {
		var members map[string]json.RawMessage
		if err := json.Unmarshal(rev.Record.Properties, &members); err != nil {
			return err
		}
		line := []string{string(rev.ID), strconv.Itoa(rev.Number)}
		for _, c := range columns {
			line = append(line, c.of(rev, members))
		}
		return w.Write(line)
	}
	return write, func() error { w.Flush(); return w.Error() }
}

func geojsonReport(b *bytes.Buffer) (func(records.Revision) error, func() error) {
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	first := true
	write := func(rev records.Revision) error {
		data, err := encodeFeature(rev, nil)
		if err != nil {
			return err
		}
		if !first {
			b.WriteByte(',')
		}
		first = false
		b.Write(data)
		return nil
	}
	return write, func() error { b.WriteString("]}\n"); return nil }
}
