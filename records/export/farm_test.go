package export_test

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"caneward/geo"
	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/memory"

	"github.com/paulmach/orb"
)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

var demo = sync.OnceValues(func() (*memory.Store, error) {
	store := memory.New(time.Now)
	return store, demofarm.Build(context.Background(), store)
})

const oddFarm records.FarmID = "odd"

// odd is an invented farm of records that formats have trouble with. They go
// past the rules of the kinds: what stands in the store must come out, however
// it came in.
var odd = sync.OnceValues(func() (*memory.Store, error) { return farmOf(oddRecords()) })

func farmOf(all []oddRecord) (*memory.Store, error) {
	store := memory.New(time.Now)
	farm := records.Farm{ID: oddFarm, Name: `Ödland “A & B” <east>, invented`, Zone: "Pacific/Auckland", Invented: true, Created: time.Unix(0, 0)}
	if err := store.CreateFarm(context.Background(), farm); err != nil {
		return nil, err
	}
	ids := records.NewIDs(func() time.Time { return time.Unix(1_780_000_000, 0) }, rand.NewChaCha8([32]byte{7}))
	author := records.Author{Person: ids.NewPerson(), Name: "Nobody", Role: records.Owner}
	var writes []records.Write
	for _, o := range all {
		writes = append(writes, records.Write{Kind: o.kind, ID: ids.New(), By: author,
			Record: records.Record{Geometry: o.place, Properties: json.RawMessage(o.properties)}})
	}
	outcomes, err := store.Write(context.Background(), oddFarm, writes)
	for _, o := range outcomes {
		if o.Err != nil {
			return nil, o.Err
		}
	}
	return store, err
}

type oddRecord struct {
	kind       records.Kind
	place      geo.Geometry
	properties string
}

func flat(g orb.Geometry) geo.Geometry { return geo.Geometry{Flat: g} }

// ring is a closed rectangle, counter-clockwise unless turned.
func ring(west, south, east, north float64) orb.Ring {
	return orb.Ring{{west, south}, {east, south}, {east, north}, {west, north}, {west, south}}
}

func turned(r orb.Ring) orb.Ring {
	r = r.Clone()
	r.Reverse()
	return r
}

func oddRecords() []oddRecord {
	field := orb.Polygon{ring(172.5, -41.3, 172.503, -41.298)}
	holed := orb.Polygon{ring(172.51, -41.3, 172.515, -41.295), turned(ring(172.511, -41.299, 172.512, -41.298)), turned(ring(172.513, -41.297, 172.514, -41.296))}
	parts := orb.MultiPolygon{{ring(172.52, -41.3, 172.522, -41.298)}, holedAt(172.53), {ring(172.54, -41.3, 172.541, -41.299)}}
	across := orb.MultiPolygon{{ring(179.999, -17, 180, -16.999)}, {ring(-180, -17, -179.998, -16.999)}}
	exact := orb.Polygon{orb.Ring{{172.55000000000001, -41.300000000000004}, {172.55123456789012, -41.3}, {172.5512345678901, -41.29876543210988}, {172.55000000000001, -41.300000000000004}}}
	line := orb.LineString{{172.5, -41.3}, {172.501, -41.3}, {172.502, -41.2995}}
	lines := orb.MultiLineString{{{172.5, -41.301}, {172.501, -41.301}}, {{172.502, -41.301}, {172.503, -41.301}, {172.504, -41.3012}}}
	long := strings.Repeat("Lang, länger, am längsten; 「長い」 ", 40)
	quote := func(s string) string {
		out, err := json.Marshal(s)
		if err != nil {
			panic(err) // texts here are literals
		}
		return string(out)
	}
	return []oddRecord{
		{records.Blocks, flat(field), `{"name":"Ñandú «Nord» 🌿 畑 שדה","crop":"blackberry","row_spacing_m":3.05,"planted_on":"2019-04-10"}`},
		{records.Blocks, flat(holed), `{"name":"said \"North, upper\"; 'it'","crop":"raspberry","row_spacing_m":3,"planted_on":null}`},
		{records.Blocks, flat(parts), `{"name":"line one\nline two\r\nline three","row_spacing_m":2.74}`},
		{records.Blocks, flat(across), `{"name":"=SUM(A1:A9)","crop":"@cmd","note":"+1","minus":"-1"}`},
		{records.Blocks, flat(exact), `{"name":"  spaces around  ","tab":"a\tb","empty":"","markup":"<b>&amp;</b> ]]> <!-- -->","backslash":"C:\\a\\b","percent":"%41"}`},
		{records.Blocks, geo.Geometry{Flat: field, Heights: []float64{12.5, 13, 0.25, -3, 12.5}}, `{"name":` + quote(long) + `}`},
		{records.Blocks, flat(field), `{}`},
		{records.Blocks, flat(field), `{"name":7}`},
		{records.Blocks, flat(field), `{"name":"types","big":123456789012345678901234567890,"bigger":9007199254740993,"edge":9223372036854775807,"beyond":9223372036854775808,"tiny":5e-324,"huge":1e300,"minus_nought":-0.0,"tenth":0.1,"one":1.0,"yes":true,"no":false,"nothing":null,"list":[1,[2,{"a":[]}],"x",null,true],"object":{"a":{"b":{"c":[1.5,"d"]}},"":0},"empty_list":[],"empty_object":{}}`},
		{records.Blocks, flat(field), `{"name":"looks like","digits":"007","number_text":"1e5","true_text":"true","null_text":"null","json_text":"{\"a\":1}","list_text":"[1]","date":"2024-02-30","time":"2026-04-12T08:00:00-04:00","quoted":"\"x\"","day":"1/2/2026"}`},
		{records.Blocks, flat(field), `{"name":"names","Name":"upper","NAME":"all upper","id":"mine","ID":5,"fid":-1,"geom":"g","geometry":"h","Shape":"s","rowid":1,"wkt":"w","ogc_fid":2,"":"no name","a.b":1,"a b":2,"comma,name":3,"quote\"name":4,"a_very_long_property_name_one":1,"a_very_long_property_name_two":2,"ключ":"значение","` + strings.Repeat("n", 300) + `":1}`},
		{records.Blocks, flat(field), `{"name":"mixed a","mixed":1,"several":"2026-01-01"}`},
		{records.Blocks, flat(field), `{"name":"mixed b","mixed":"1","several":5}`},
		{records.Blocks, flat(field), `{"name":"mixed c","mixed":true,"several":null}`},
		{records.Blocks, flat(field), `{"name":"mixed d","mixed":[1],"several":1.5}`},
		{records.Rows, flat(line), `{"block":"none","number":1,"plants":12,"missing":[3,4]}`},
		{records.Rows, flat(lines), `{"block":"none","number":2,"plants":24}`},
		{records.Rows, geo.Geometry{Flat: line, Heights: []float64{1, 2, 3.5}}, `{"block":"none","number":3}`},
		{records.Surroundings, flat(orb.Point{172.5, -41.3}), `{"kind":"well","name":"Well"}`},
		{records.Surroundings, geo.Geometry{Flat: orb.Point{172.5, -41.31}, Heights: []float64{-12.25}}, `{"kind":"hives","name":"Hives"}`},
		{records.Surroundings, flat(orb.MultiPoint{{172.5, -41.3}, {172.6, -41.31}}), `{"kind":"other","name":"Posts"}`},
		{records.Surroundings, flat(line), `{"kind":"road","name":"Road"}`},
		{records.Surroundings, flat(holed), `{"kind":"water","name":"Lake with islands"}`},
		{records.Surroundings, flat(orb.Point{180, 0}), `{"kind":"other","name":"edge of the map"}`},
		{records.Surroundings, flat(orb.Point{-180, -90}), `{"kind":"other","name":"corner of the map"}`},
		{records.Surroundings, geo.Geometry{}, `{"kind":"other","name":"nowhere"}`},
		{records.Surroundings, flat(orb.Point{172.5, -41.3}), `{"kind":"other","name":"bells \u0007 and \u0000 nought","text":"\u000b\u001b[31m\ufeff\u200b\u202e"}`},
		{records.Finds, flat(orb.Point{172.5005, -41.2995}), `{"cause":"orange-rust","state":"suspected","words":"=1+1","found_at":"2026-04-12T08:00:00.5+12:00","accuracy_m":2.5,"severity":0,"unknown":{"kept":[1,2]}}`},
		{records.Finds, flat(orb.Point{172.50050000000002, -41.29950000000001}), `{"cause":"other","state":"refuted","words":"` + strings.Repeat("wort ", 200) + `","found_at":"2026-04-12T08:00:00Z"}`},
		{records.Products, geo.Geometry{}, `{"name":"Invented product","ingredients":[{"name":"sulfur","amount":{"value":80,"unit":"%"}}],"restricted":false,"phi_days":0}`},
		{records.Products, geo.Geometry{}, `{"name":"Second","rates":[]}`},
		{records.Passes, flat(parts), `{"state":"applied","pattern":"band","areas":{"treated_m2":1234.5678901234567,"covered_m2":2e3},"products":[{"product":"x","rate":{"value":12,"unit":"fl_oz"}}]}`},
		{records.Passes, geo.Geometry{}, `{"state":"draft","pattern":"spot"}`},
		{records.Tracks, geo.Geometry{Flat: line, Measures: []float64{1_776_000_000, 1_776_000_000.5, 1_776_000_002.125}}, `{"width_m":2.4}`},
		{records.Tracks, geo.Geometry{Flat: lines, Heights: []float64{1, 2, 3, 4, 5}, Measures: []float64{1_776_000_000, 1_776_000_001, 1_776_000_100, 1_776_000_101, 1_776_000_102}}, `{"width_m":2.4,"pass":"none"}`},
		{records.Tracks, flat(line), `{"width_m":2.4}`},
		{records.Tracks, geo.Geometry{Flat: line, Heights: []float64{1, math.NaN(), 3}}, `{"width_m":1}`},
		{records.Visits, geo.Geometry{}, `{"purpose":"rust","inspected":[{"row":1,"from":1,"to":9},{"rows":"all"}]}`},
	}
}

func holedAt(west float64) orb.Polygon {
	return orb.Polygon{ring(west, -41.3, west+0.003, -41.297), turned(ring(west+0.001, -41.299, west+0.002, -41.298))}
}
