package scouting_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/scouting"
)

const (
	block = "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a"
	visit = "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4b"
)

var pin = geo.Geometry{Flat: orb.Point{-80.42, 35.87}}

// fields gives the fields at fault, in order.
func fields(faults []fault.Detail) []string {
	names := []string{}
	for _, f := range faults {
		names = append(names, f.Field)
	}
	return names
}

// with is a good find's properties with some changed; "" takes one away.
func with(changes map[string]string) json.RawMessage {
	members := map[string]json.RawMessage{
		"block": json.RawMessage(`"` + block + `"`), "row": json.RawMessage("5"), "plant": json.RawMessage("10"),
		"cause": json.RawMessage(`"orange-rust"`), "state": json.RawMessage(`"suspected"`), "severity": json.RawMessage("2"),
		"found_at": json.RawMessage(`"2026-04-14T09:30:00-04:00"`), "accuracy_m": json.RawMessage("4"),
	}
	for k, v := range changes {
		members[k] = json.RawMessage(v)
		if v == "" {
			delete(members, k)
		}
	}
	data, err := json.Marshal(members)
	if err != nil {
		panic(err)
	}
	return data
}

func TestParseFindTakesWhatTheContractFixes(t *testing.T) {
	f, faults := scouting.ParseFind(pin, with(map[string]string{"visit": `"` + visit + `"`, "fix_age_s": "1.5",
		"words": `"orange under the leaf"`, "organism": `"Gymnoconia nitens"`, "colour of my own": "[1]"}))
	if len(faults) > 0 {
		t.Fatalf("faults %v", faults)
	}
	want := time.Date(2026, 4, 14, 13, 30, 0, 0, time.UTC)
	if f.Block != block || f.Row != 5 || f.Plant != 10 || f.Cause != scouting.OrangeRust || f.State != scouting.Suspected ||
		f.Severity == nil || *f.Severity != 2 || !f.FoundAt.Equal(want) || f.Accuracy == nil || *f.Accuracy != 4 ||
		f.FixAge == nil || *f.FixAge != 1.5 || f.Visit != visit || f.Words != "orange under the leaf" || f.At == nil || *f.At != (orb.Point{-80.42, 35.87}) {
		t.Errorf("read as %+v", f)
	}
}

func TestParseFindFaults(t *testing.T) {
	for _, c := range []struct {
		name    string
		place   geo.Geometry
		changes map[string]string
		want    []string
	}{
		{"good", pin, nil, []string{}},
		{"row and plant typed without a pin", geo.Geometry{}, nil, []string{}},
		{"a pin without row and plant", pin, map[string]string{"row": "", "plant": ""}, []string{}},
		{"wild brambles: a pin outside any block", pin, map[string]string{"block": "", "row": "", "plant": ""}, []string{}},
		{"null is absent", pin, map[string]string{"severity": "null", "row": "null", "plant": "null"}, []string{}},
		{"nowhere", geo.Geometry{}, map[string]string{"plant": ""}, []string{"geometry"}},
		{"an empty block is no place", geo.Geometry{}, map[string]string{"block": `""`}, []string{"block", "geometry"}},
		{"a line for a place", geo.Geometry{Flat: orb.LineString{{0, 0}, {1, 1}}}, nil, []string{"geometry"}},
		{"no cause", pin, map[string]string{"cause": ""}, []string{"cause"}},
		{"empty cause", pin, map[string]string{"cause": `""`}, []string{"cause"}},
		{"gall alone", pin, map[string]string{"cause": `"gall"`}, []string{"cause"}},
		{"state of another list", pin, map[string]string{"state": `"removed"`}, []string{"state"}},
		{"empty state", pin, map[string]string{"state": `""`}, []string{"state"}},
		{"severity 4", pin, map[string]string{"severity": "4"}, []string{"severity"}},
		{"severity between classes", pin, map[string]string{"severity": "1.5"}, []string{"severity"}},
		{"time without zone", pin, map[string]string{"found_at": `"2026-04-14T09:30:00"`}, []string{"found_at"}},
		{"time as a number", pin, map[string]string{"found_at": "1776000000"}, []string{"found_at"}},
		{"no time", pin, map[string]string{"found_at": ""}, []string{"found_at"}},
		{"accuracy below nothing", pin, map[string]string{"accuracy_m": "-1"}, []string{"accuracy_m"}},
		{"accuracy without end", pin, map[string]string{"accuracy_m": "1e999"}, []string{"accuracy_m"}},
		{"plant 0", pin, map[string]string{"plant": "0"}, []string{"plant"}},
		{"plant without row", pin, map[string]string{"row": ""}, []string{"row"}},
		{"row without block", pin, map[string]string{"block": ""}, []string{"block"}},
		{"block by name", pin, map[string]string{"block": `"North"`}, []string{"block"}},
		{"another disease's organism", pin, map[string]string{"organism": `"kuehneola uredinis"`}, []string{"organism"}},
		{"an organism not in the table", pin, map[string]string{"organism": `"Gymnoconia peckiana"`}, []string{}},
		{"several at once", pin, map[string]string{"cause": `"x"`, "state": `"y"`, "severity": `"z"`}, []string{"cause", "state", "severity"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			properties := with(c.changes)
			if _, faults := scouting.ParseFind(c.place, properties); !slices.Equal(fields(faults), c.want) {
				t.Errorf("ParseFind(%v, %s): faults at %v, want %v\n%v", c.place.Flat, properties, fields(faults), c.want, faults)
			}
		})
	}
}

// "Rust" and "gall" name several diseases that call for different work.
func TestCauseAsksWhich(t *testing.T) {
	for given, must := range map[string]string{
		"yellow rust": "yellow-rust", "rust": "cane-leaf-rust", "gall": "cane-borer-gall", "Roya amarilla": "yellow-rust", "mildew": "crown-gall, cane-borer-gall, other",
	} {
		quoted, _ := json.Marshal(given)
		_, faults := scouting.ParseFind(pin, with(map[string]string{"cause": string(quoted)}))
		if len(faults) != 1 || !strings.Contains(faults[0].Text.String(), must) {
			t.Errorf("cause %q: %v, want a question that offers %q", given, faults, must)
		}
	}
}

func TestProperties(t *testing.T) {
	for given, want := range map[string][]string{
		"":     {"cause", "state", "found_at"},
		"null": {"cause", "state", "found_at"},
		"[1]":  {"properties", "cause", "state", "found_at"},
	} {
		if _, faults := scouting.ParseFind(pin, json.RawMessage(given)); !slices.Equal(fields(faults), want) {
			t.Errorf("properties %q: faults at %v, want %v", given, fields(faults), want)
		}
	}
}

func TestCheckAgainstRows(t *testing.T) {
	rows := []scouting.RowPlants{{Number: 1, Plants: 40}, {Number: 2}, {Number: 3, Plants: 38}}
	for _, c := range []struct {
		name       string
		row, plant int
		rows       []scouting.RowPlants
		want       []string
	}{
		{"the last plant", 1, 40, rows, []string{}},
		{"one too far", 1, 41, rows, []string{"plant"}},
		{"a row nobody counted", 2, 900, rows, []string{}},
		{"no such row", 4, 1, rows, []string{"row"}},
		{"no row given", 0, 0, rows, []string{}},
		{"no rows known", 9, 9, nil, []string{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := fields(scouting.Check(scouting.Find{Row: c.row, Plant: c.plant}, c.rows)); !slices.Equal(got, c.want) {
				t.Errorf("Check(%d-%d): faults at %v, want %v", c.row, c.plant, got, c.want)
			}
		})
	}
}

func TestParseVisit(t *testing.T) {
	head := `{"block":"` + block + `","started_at":"2026-04-14T09:00:00-04:00",`
	for _, c := range []struct {
		name, properties string
		want             []string
	}{
		{"all rows, nothing found", head + `"ended_at":"2026-04-14T10:00:00-04:00","inspected":[{"rows":"all"}],"counts":[{"what":"clusters","sampled":100,"hits":0}]}`, []string{}},
		{"stretches", head + `"purpose":"rust walk","inspected":[{"row":1,"from":1,"to":40},{"row":2,"from":7,"to":7},{"row":3}]}`, []string{}},
		{"nothing but the start", `{"block":"` + block + `","started_at":"2026-04-14T09:00:00Z"}`, []string{}},
		{"no block, no start", `{}`, []string{"block", "started_at"}},
		{"ends before it begins", head + `"ended_at":"2026-04-14T08:59:59-04:00"}`, []string{"ended_at"}},
		{"later by the clock, earlier by the zone", head + `"ended_at":"2026-04-14T09:30:00+02:00"}`, []string{"ended_at"}},
		{"turned round", head + `"inspected":[{"row":1,"from":1,"to":2},{"row":1,"from":9,"to":3}]}`, []string{"inspected[1].to"}},
		{"half a stretch", head + `"inspected":[{"row":1,"from":9}]}`, []string{"inspected[0].to"}},
		{"all and one", head + `"inspected":[{"rows":"all","row":2}]}`, []string{"inspected[0].rows"}},
		{"rows some", head + `"inspected":[{"rows":"some"}]}`, []string{"inspected[0].rows"}},
		{"no row", head + `"inspected":[{}]}`, []string{"inspected[0].row"}},
		{"not objects", head + `"inspected":[7,null]}`, []string{"inspected[0]", "inspected[1]"}},
		{"several on one", head + `"counts":[{"what":"mites","sampled":10,"hits":11,"several":"many"}]}`, []string{"counts[0].several"}},
		{"paused and gone on", head + `"ended_at":"2026-04-14T11:00:00-04:00","state":"closed","pauses":[{"from":"2026-04-14T09:20:00-04:00","to":"2026-04-14T09:40:00-04:00"},{"from":"2026-04-14T10:00:00-04:00","to":"2026-04-14T10:30:00-04:00"}]}`, []string{}},
		{"in a break", head + `"state":"paused","pauses":[{"from":"2026-04-14T09:20:00-04:00"}]}`, []string{}},
		{"closed without an end", head + `"state":"closed"}`, []string{"ended_at"}},
		{"state of another list", head + `"state":"done"}`, []string{"state"}},
		{"a break before the walk", head + `"pauses":[{"from":"2026-04-14T08:20:00-04:00","to":"2026-04-14T09:40:00-04:00"}]}`, []string{"pauses[0].from"}},
		{"breaks within each other", head + `"pauses":[{"from":"2026-04-14T09:20:00-04:00","to":"2026-04-14T09:40:00-04:00"},{"from":"2026-04-14T09:30:00-04:00"}]}`, []string{"pauses[1].from"}},
		{"a break that ends before it begins", head + `"pauses":[{"from":"2026-04-14T09:20:00-04:00","to":"2026-04-14T09:10:00-04:00"}]}`, []string{"pauses[0].to"}},
		{"a second break in the first", head + `"pauses":[{"from":"2026-04-14T09:20:00-04:00"},{"from":"2026-04-14T09:30:00-04:00"}]}`, []string{"pauses[1].from"}},
		{"stops it took along", head + `"planned_stops":[{"row":1,"plant":7,"at":[-80.42,35.87]},{"row":2,"plant":3}]}`, []string{}},
		{"stops that are none", head + `"planned_stops":[{"row":1},{"row":1,"plant":7,"at":[-80.42]},{"row":1,"plant":7,"at":[-80.42,95]},7]}`, []string{"planned_stops[0].plant", "planned_stops[1].at", "planned_stops[2].at", "planned_stops[3]"}},
		{"a stop in place of stops", head + `"planned_stops":{"row":1,"plant":7}}`, []string{"planned_stops"}},
		{"percent without a sample", head + `"counts":[{"what":"canes","hits":5}]}`, []string{"counts[0].sampled"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, faults := scouting.ParseVisit(geo.Geometry{}, json.RawMessage(c.properties)); !slices.Equal(fields(faults), c.want) {
				t.Errorf("ParseVisit(%s): faults at %v, want %v", c.properties, fields(faults), c.want)
			}
		})
	}
}

func TestParseAfterwards(t *testing.T) {
	sample := func(g geo.Geometry, p json.RawMessage) []fault.Detail { _, f := scouting.ParseSample(g, p); return f }
	removal := func(g geo.Geometry, p json.RawMessage) []fault.Detail { _, f := scouting.ParseRemoval(g, p); return f }
	review := func(g geo.Geometry, p json.RawMessage) []fault.Detail { _, f := scouting.ParseReview(g, p); return f }
	stage := func(g geo.Geometry, p json.RawMessage) []fault.Detail { _, f := scouting.ParseStage(g, p); return f }
	for _, c := range []struct {
		name       string
		parse      func(geo.Geometry, json.RawMessage) []fault.Detail
		place      geo.Geometry
		properties string
		want       []string
	}{
		{"sample", sample, geo.Geometry{}, `{"finds":["` + block + `"],"sent_on":"2026-04-15","result_on":"2026-04-22","laboratory":"county plant clinic","result":"rust confirmed"}`, []string{}},
		{"a result for machines", sample, geo.Geometry{}, `{"finds":["` + block + `"],"result":"Kuehneola uredinis seen","answer":"confirmed","found":"cane-leaf-rust","organism":"Kuehneola uredinis"}`, []string{}},
		{"an answer without words", sample, geo.Geometry{}, `{"finds":["` + block + `"],"answer":"refuted"}`, []string{"result"}},
		{"an answer of another list", sample, geo.Geometry{}, `{"finds":["` + block + `"],"result":"x","answer":"yes"}`, []string{"answer"}},
		{"one disease, another's organism", sample, geo.Geometry{}, `{"finds":["` + block + `"],"result":"x","answer":"confirmed","found":"orange-rust","organism":"Kuehneola uredinis"}`, []string{"organism"}},
		{"sample of nothing", sample, geo.Geometry{}, `{"finds":[]}`, []string{"finds"}},
		{"sample of a word", sample, geo.Geometry{}, `{"finds":["` + block + `","x",3]}`, []string{"finds[1]", "finds[2]"}},
		{"result before it was sent", sample, geo.Geometry{}, `{"finds":["` + block + `"],"sent_on":"2026-04-15","result_on":"2026-04-14"}`, []string{"result_on"}},
		{"no such day", sample, geo.Geometry{}, `{"finds":["` + block + `"],"sent_on":"2026-02-30"}`, []string{"sent_on"}},
		{"sample with a place", sample, pin, `{"finds":["` + block + `"]}`, []string{"geometry"}},
		{"removal", removal, pin, `{"block":"` + block + `","plants":[{"row":4,"plant":17}],"roots_out":true,"done_on":"2026-04-20","checks":[{"on":"2026-06-01","regrowth":false}]}`, []string{}},
		{"removal planned", removal, geo.Geometry{}, `{"block":"` + block + `","plants":[{"row":4,"plant":17}]}`, []string{}},
		{"removal of nothing", removal, geo.Geometry{}, `{"block":"` + block + `","plants":[]}`, []string{"plants"}},
		{"the same plant twice", removal, geo.Geometry{}, `{"block":"` + block + `","plants":[{"row":4,"plant":17},{"row":4,"plant":17}]}`, []string{"plants[1].plant"}},
		{"checked before it was done", removal, geo.Geometry{}, `{"block":"` + block + `","plants":[{"row":4,"plant":17}],"done_on":"2026-04-20","checks":[{"on":"2026-04-19"}]}`, []string{"checks[0].on"}},
		{"roots perhaps", removal, geo.Geometry{}, `{"block":"` + block + `","plants":[{"row":4,"plant":17}],"roots_out":"perhaps"}`, []string{"roots_out"}},
		{"review draft", review, geo.Geometry{}, `{"block":"` + block + `"}`, []string{}},
		{"review signed without reasons", review, geo.Geometry{}, `{"signed_at":"2026-04-14T09:30:00Z"}`, []string{"reasons"}},
		{"stage", stage, geo.Geometry{}, `{"block":"` + block + `","stage":"leaf-out","bbch":11,"observed_on":"2026-04-02"}`, []string{}},
		{"stage without one", stage, geo.Geometry{}, `{"block":"` + block + `"}`, []string{"stage"}},
		{"code of three digits", stage, geo.Geometry{}, `{"block":"` + block + `","bbch":100}`, []string{"bbch"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if faults := c.parse(c.place, json.RawMessage(c.properties)); !slices.Equal(fields(faults), c.want) {
				t.Errorf("%s: faults at %v, want %v", c.properties, fields(faults), c.want)
			}
		})
	}
}

func TestNamesStandInBothLanguages(t *testing.T) {
	var all []words.Text
	for _, c := range scouting.Causes {
		all = append(all, scouting.CauseName(c), scouting.CauseAdvice(c))
	}
	for _, s := range scouting.States {
		all = append(all, scouting.StateName(s))
	}
	for s := scouting.Severity(0); s <= scouting.MaxSeverity; s++ {
		all = append(all, scouting.SeverityName(s))
	}
	for i, text := range all {
		if text.Empty() || text.In(words.Spanish) == text.In(words.English) {
			t.Errorf("text %d: %q and %q", i, text.In(words.English), text.In(words.Spanish))
		}
	}
	if !scouting.SeverityName(4).Empty() || !scouting.CauseName("rust").Empty() {
		t.Error("names for values that do not exist")
	}
}

// Domain table: which causes take the whole plant (orange rust, crown gall) and
// which leave it standing.
func TestWhichPlantsGo(t *testing.T) {
	var going []scouting.Cause
	for _, c := range scouting.Causes {
		if scouting.PlantGoes(c) {
			going = append(going, c)
		}
	}
	if want := []scouting.Cause{scouting.OrangeRust, scouting.CrownGall}; !slices.Equal(going, want) {
		t.Errorf("plants go for %v, want %v", going, want)
	}
}

func TestSteps(t *testing.T) {
	for _, c := range []struct {
		from, to scouting.State
		want     scouting.Step
	}{
		{"", scouting.Confirmed, scouting.Ordinary},
		{scouting.Suspected, scouting.Sampled, scouting.Ordinary},
		{scouting.Suspected, scouting.Refuted, scouting.Ordinary},
		{scouting.Sampled, scouting.Confirmed, scouting.Ordinary},
		{scouting.Sampled, scouting.Suspected, scouting.Correction},
		{scouting.Confirmed, scouting.Confirmed, scouting.Ordinary},
		{scouting.Confirmed, scouting.Refuted, scouting.Correction},
		{scouting.Refuted, scouting.Suspected, scouting.Correction},
		{scouting.Suspected, "gone", scouting.Impossible},
		{"gone", scouting.Confirmed, scouting.Impossible},
	} {
		if got := scouting.StepOf(c.from, c.to); got != c.want {
			t.Errorf("StepOf(%q, %q) = %v, want %v", c.from, c.to, got, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(with(nil)))
	f.Add([]byte(`{"block":1,"inspected":[{"row":1e30}],"plants":[{}],"finds":{},"checks":[null]}`))
	f.Fuzz(func(t *testing.T, properties []byte) {
		scouting.ParseFind(pin, properties)
		scouting.ParseVisit(pin, properties)
		scouting.ParseSample(pin, properties)
		scouting.ParseRemoval(pin, properties)
		scouting.ParseReview(pin, properties)
		scouting.ParseStage(pin, properties)
	})
}

func TestVisitAgainstRows(t *testing.T) {
	rows := []scouting.RowPlants{{Number: 1, Plants: 40}, {Number: 2}}
	v := scouting.Visit{Inspected: []scouting.Stretch{{AllRows: true}, {Row: 1}, {Row: 1, From: 3, To: 40}, {Row: 1, From: 3, To: 41}, {Row: 2, From: 1, To: 900}, {Row: 3}}}
	if got, want := fields(scouting.CheckVisit(v, rows)), []string{"inspected[3].to", "inspected[5].row"}; !slices.Equal(got, want) {
		t.Errorf("faults at %v, want %v", got, want)
	}
	if got := scouting.CheckVisit(v, nil); got != nil {
		t.Errorf("without rows: %v", got)
	}
}

func TestWalked(t *testing.T) {
	at := func(minute int) time.Time { return time.Date(2026, 4, 14, 9, minute, 0, 0, time.UTC) }
	v := scouting.Visit{StartedAt: at(0), EndedAt: at(50), Pauses: []scouting.Pause{{From: at(10), To: at(25)}}}
	if d, ok := v.Walked(); !ok || d != 35*time.Minute {
		t.Errorf("walked %v %v, want 35 minutes", d, ok)
	}
	v.Pauses[0].To = time.Time{}
	if _, ok := v.Walked(); ok {
		t.Error("a walk in a break has a length")
	}
}

func TestWhatAResultBacks(t *testing.T) {
	for _, c := range []struct {
		sample scouting.Sample
		state  scouting.State
		cause  scouting.Cause
		want   bool
	}{
		{scouting.Sample{}, scouting.Confirmed, scouting.OrangeRust, false},
		{scouting.Sample{Result: "rust"}, scouting.Confirmed, scouting.OrangeRust, true},
		{scouting.Sample{Result: "rust", Answer: scouting.SaysRefuted}, scouting.Confirmed, scouting.OrangeRust, false},
		{scouting.Sample{Result: "rust", Answer: scouting.SaysRefuted}, scouting.Refuted, scouting.OrangeRust, true},
		{scouting.Sample{Result: "rust", Answer: scouting.SaysNothing}, scouting.Confirmed, scouting.OrangeRust, false},
		{scouting.Sample{Result: "rust", Answer: scouting.SaysConfirmed, Found: scouting.CaneLeafRust}, scouting.Confirmed, scouting.OrangeRust, false},
		{scouting.Sample{Result: "rust", Answer: scouting.SaysConfirmed, Found: scouting.CaneLeafRust}, scouting.Confirmed, scouting.CaneLeafRust, true},
	} {
		if got := c.sample.Backs(c.state, c.cause); got != c.want {
			t.Errorf("%+v backs %s %s: %v, want %v", c.sample, c.state, c.cause, got, c.want)
		}
	}
}
