package calc

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// misprinted are rows of the worked examples whose figure is wrong beyond its
// own tolerance, with the exact value and its derivation. They are held to
// that, and to the printed figure more loosely.
var misprinted = map[string]struct {
	exact, loose float64
	why          string
}{
	"W83": {29.5735295625 / 0.40468564224, 2e-5,
		"1 fl oz/acre is 29.5735295625 mL over 0.40468564224 ha = 73.0777830; the row prints 73.077794 with a tolerance of 1e-5"},
}

type example struct {
	id, topic, inputs, want, unit string
	tolerance                     float64
}

func examples(t *testing.T) []example {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "trade", "worked-examples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []example
	for _, r := range rows[1:] {
		tolerance, err := strconv.ParseFloat(r[4], 64)
		if err != nil {
			t.Fatalf("%s: %v", r[0], err)
		}
		list = append(list, example{id: r[0], topic: r[1], inputs: r[2], want: r[3], tolerance: tolerance, unit: r[5]})
	}
	return list
}

// words of the command line, as somebody would type the row.
func args(t *testing.T, inputs string) []string {
	t.Helper()
	var m map[string]json.RawMessage
	if err := json.Unmarshal([]byte(inputs), &m); err != nil {
		t.Fatal(err)
	}
	var list []string
	for k, v := range m {
		s := string(v)
		if u, err := strconv.Unquote(s); err == nil {
			s = u
		}
		list = append(list, k+"="+s)
	}
	return list
}

// The source of every figure stands in its row; testdata/reference/trade.
func TestWorkedExamples(t *testing.T) {
	list := examples(t)
	if len(list) < 86 {
		t.Fatalf("%d rows, want 86 or more", len(list))
	}
	for _, e := range list {
		t.Run(e.id+" "+e.topic, func(t *testing.T) {
			given, err := ParseArgs(args(t, e.inputs))
			if err != nil {
				t.Fatal(err)
			}
			got, err := Do(e.topic, given)
			if err != nil {
				t.Fatalf("%s: %v", e.inputs, err)
			}
			compare(t, e, got)
			if got.Unit != e.unit && got.Unit != rateUnit {
				t.Errorf("unit %q, want %q", got.Unit, e.unit)
			}
			for _, l := range []words.Language{words.English, words.Spanish} {
				if s := got.How.In(l); s == "" || strings.ContainsAny(s, "{}") {
					t.Errorf("says %q in %s", s, l)
				}
			}
			if got.Formula == "" || got.Source == "" {
				t.Error("an answer without formula or source")
			}
		})
	}
}

func compare(t *testing.T, e example, got Answer) {
	t.Helper()
	switch v := got.Value.(type) {
	case float64:
		want, err := strconv.ParseFloat(e.want, 64)
		if err != nil {
			t.Fatal(err)
		}
		tolerance := e.tolerance
		if m, ok := misprinted[e.id]; ok {
			tolerance = m.loose
			if math.Abs(v-m.exact) > 1e-12*m.exact {
				t.Errorf("%s: got %v, want exactly %v: %s", e.inputs, v, m.exact, m.why)
			}
		}
		if !(math.Abs(v-want) <= tolerance+1e-12) {
			t.Errorf("%s: got %v, want %v within %v", e.inputs, v, want, tolerance)
		}
	case [2]float64:
		var want [2]float64
		if err := json.Unmarshal([]byte(e.want), &want); err != nil {
			t.Fatal(err)
		}
		for i := range v {
			if !(math.Abs(v[i]-want[i]) <= e.tolerance) {
				t.Errorf("%s: got %v, want %v", e.inputs, v, want)
			}
		}
	case string:
		if v != e.want {
			t.Errorf("%s: got %v, want %v", e.inputs, v, e.want)
		}
	default:
		t.Errorf("%s: a value of type %T", e.inputs, v)
	}
}

// Further cases that follow from the rule by hand.
func TestBeyondTheExamples(t *testing.T) {
	for _, c := range []struct {
		name, topic string
		args        []string
		want        any
	}{
		{"leap day, 14 days on", "rup_record_due", []string{"applied=2028-02-20"}, "2028-03-05"},
		{"from a leap day", "rup_keep_until", []string{"applied=2028-02-29"}, "2030-03-01"},
		{"harvest over a leap day", "first_harvest_day", []string{"applied=2028-02-27", "phi_days=3"}, "2028-03-01"},
		{"PHI of 0", "first_harvest_day", []string{"applied=2026-12-31", "phi_days=0"}, "2026-12-31"},
		{"over new year", "rei_end", []string{"ended=2026-12-31T20:00", "rei_h=48"}, "2027-01-02T20:00"},
		{"half an hour", "rei_end", []string{"ended=2026-06-10T14:45", "rei_h=0.5"}, "2026-06-10T15:15"},
		{"wall clock over the hour change", "rei_end", []string{"ended=2026-03-07T20:00", "rei_h=12"}, "2026-03-08T08:00"},
		{"real hours, clocks forward", "rei_end", []string{"ended=2026-03-07T20:00", "rei_h=12", "zone=America/Chicago"}, "2026-03-08T09:00"},
		{"real hours, clocks back", "rei_end", []string{"ended=2026-10-31T20:00", "rei_h=12", "zone=America/Chicago"}, "2026-11-01T07:00"},
		{"the hour that came twice is the later", "rei_end", []string{"ended=2026-11-01T01:30", "rei_h=1", "zone=America/Chicago"}, "2026-11-01T02:30"},
		{"display over February", "wps_display_until", []string{"rei_end=2027-01-31T02:30"}, "2027-03-02T02:30"},
		{"tanks come out even", "full_tanks", []string{"treated_acres=0.3", "gpa=1", "tank_gal=0.1"}, 3.0},
		{"nothing left over", "partial_tank_gal", []string{"treated_acres=0.3", "gpa=1", "tank_gal=0.1"}, 0.0},
		{"less than one tank", "full_tanks", []string{"treated_acres=1", "gpa=40", "tank_gal=50"}, 0.0},
		{"credits over 100", "buffer_after_reduction_ft", []string{"buffer_ft=50", "reductions_percent=[80,50]"}, 0.0},
		{"12 in is not more than 12 in", "aez_ft", []string{"method=spray", "droplet=medium", "height_in=12"}, 0.0},
		{"drench", "aez_ft", []string{"method=drench"}, 0.0},
		{"fog", "aez_ft", []string{"method=fog", "droplet=ultra-coarse"}, 100.0},
		{"pints to fluid ounces", "rate_acre_to_1000_row_ft", []string{"rate_per_acre=3.6", "unit=pt", "out_unit=fl_oz", "row_spacing_ft=10"}, 13.223140495867769},
		{"oz beside pints is fluid", "convert", []string{"value=1", "from=pt", "to=oz"}, 16.0},
		{"oz beside grams is weight", "convert", []string{"value=16", "from=oz", "to=g"}, 453.59237},
		{"named unit", "product_total", []string{"treated_acres=3.4", "rate_per_acre=12", "unit=fl_oz"}, 40.8},
	} {
		t.Run(c.name, func(t *testing.T) {
			given, err := ParseArgs(c.args)
			if err != nil {
				t.Fatal(err)
			}
			got, err := Do(c.topic, given)
			if err != nil {
				t.Fatal(err)
			}
			if f, ok := c.want.(float64); ok {
				if v, is := got.Value.(float64); !is || math.Abs(v-f) > 1e-12*math.Abs(f) {
					t.Errorf("%v: got %v, want %v", c.args, got.Value, f)
				}
			} else if got.Value != c.want {
				t.Errorf("%v: got %v, want %v", c.args, got.Value, c.want)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name, topic string
		args        []string
		field, says string
	}{
		{"unknown topic", "acres_per_mule", nil, "", "no topic here"},
		{"missing key", "speed_mph", []string{"feet=300"}, "seconds", "needs seconds"},
		{"unknown key", "speed_mph", []string{"feet=300", "seconds=5", "metres=3"}, "metres", "has no input metres"},
		{"zero divisor", "speed_mph", []string{"feet=300", "seconds=0"}, "seconds", "it is 0"},
		{"negative", "speed_mph", []string{"feet=-3", "seconds=4"}, "feet", "it is -3"},
		{"not a number", "speed_mph", []string{"feet=NaN", "seconds=4"}, "feet", "it is NaN"},
		{"infinite", "speed_mph", []string{"feet=Inf", "seconds=4"}, "feet", "it is Inf"},
		{"overflow", "speed_mph", []string{"feet=1e999", "seconds=4"}, "feet", "it is 1e999"},
		{"huge", "speed_mph", []string{"feet=1e30", "seconds=4"}, "feet", "it is 1e30"},
		{"text", "speed_mph", []string{"feet=far", "seconds=4"}, "feet", "it is far"},
		{"decimal comma", "speed_mph", []string{"feet=3,5", "seconds=4"}, "feet", "it is 3,5"},
		{"true", "speed_mph", []string{"feet=true", "seconds=4"}, "feet", "it is true"},
		{"half a plant", "drench_total", []string{"plants=4.5", "volume_per_plant_fl_oz=1"}, "plants", "whole number"},
		{"no such day", "rup_record_due", []string{"applied=2026-02-29"}, "applied", "day of the calendar"},
		{"a time for a day", "rup_record_due", []string{"applied=2026-02-20T10:00"}, "applied", "day of the calendar"},
		{"year 9999", "rup_record_due", []string{"applied=9999-12-31"}, "applied", "day of the calendar"},
		{"a day for a time", "rei_end", []string{"ended=2026-02-20", "rei_h=4"}, "ended", "local time"},
		{"skipped hour", "rei_end", []string{"ended=2026-03-08T02:30", "rei_h=4", "zone=America/Chicago"}, "ended", "clocks skipped"},
		{"unknown zone", "rei_end", []string{"ended=2026-03-08T02:30", "rei_h=4", "zone=Mars/Base"}, "zone", "no time zone"},
		{"a path for a zone", "rei_end", []string{"ended=2026-03-08T02:30", "rei_h=4", "zone=../../etc/passwd"}, "zone", "no time zone"},
		{"more than sampled", "percent", []string{"count=3", "sample=2"}, "count", "larger than the sample"},
		{"no sample", "percent", []string{"count=0", "sample=0"}, "sample", "it is 0"},
		{"limits of more than sampled", "exact_ci_percent", []string{"count=3", "sample=2"}, "count", "larger than the sample"},
		{"level in percent", "exact_ci_percent", []string{"count=1", "sample=2", "level=95"}, "level", "it is 95"},
		{"empty list", "rei_of_mix_h", []string{"rei_h=[]"}, "rei_h", "must be a list"},
		{"a number for a list", "rei_of_mix_h", []string{"rei_h=12"}, "rei_h", "must be a list"},
		{"text in a list", "rei_of_mix_h", []string{`rei_h=[12,"x"]`}, "rei_h", "must be a list"},
		{"bare ounce", "convert", []string{"value=1", "from=oz", "to=oz"}, "from", "weight or volume"},
		{"unknown unit", "convert", []string{"value=1", "from=smoot", "to=m"}, "from", "smoot is no unit"},
		{"mass to volume", "convert", []string{"value=1", "from=lb", "to=gal"}, "to", "measures mass"},
		{"bare ounce as rate unit", "product_total", []string{"treated_acres=1", "rate_per_acre=1", "unit=oz"}, "unit", "weight or volume"},
		{"spray without droplet", "aez_ft", []string{"method=spray", "height_in=3"}, "droplet", "needs droplet"},
		{"spray without height", "aez_ft", []string{"method=spray", "droplet=coarse"}, "height_in", "needs height_in"},
		{"unknown method", "aez_ft", []string{"method=catapult"}, "method", "catapult"},
		{"unknown pattern", "rup_area_covered", []string{"block_acres=1", "pattern=zigzag"}, "pattern", "zigzag"},
	} {
		t.Run(c.name, func(t *testing.T) {
			given, err := ParseArgs(c.args)
			if err != nil {
				t.Fatal(err)
			}
			_, err = Do(c.topic, given)
			var f *fault.Error
			if !errors.As(err, &f) || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("%v: got %v, want a refusal saying %q", c.args, err, c.says)
			}
			if c.field != "" && (len(f.Details) != 1 || f.Details[0].Field != c.field) {
				t.Errorf("%v: details %+v, want field %s", c.args, f.Details, c.field)
			}
		})
	}
}

func TestParseArgs(t *testing.T) {
	for _, bad := range [][]string{{"feet"}, {"=3"}, {"a=1", "a=2"}, {"a=" + strings.Repeat("9", 5000)}} {
		if _, err := ParseArgs(bad); !fault.Is(err, fault.Malformed) {
			t.Errorf("%.40v: got %v, want Malformed", bad, err)
		}
	}
	got, err := ParseArgs([]string{"zone=America/Chicago", "list=[1,2]", "day=2026-05-01", "n=12", "empty=", "odd=12 lb"})
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range map[string]any{"zone": "America/Chicago", "day": "2026-05-01", "n": json.Number("12"), "empty": "", "odd": "12 lb"} {
		if got[k] != want {
			t.Errorf("%s: got %#v, want %#v", k, got[k], want)
		}
	}
}

// No input, however odd, may panic or give an answer that is no number.
func FuzzDo(f *testing.F) {
	for i, topic := range Describe() {
		f.Add(topic.Name, float64(i), "x", "2026-05-01")
	}
	f.Fuzz(func(t *testing.T, topic string, n float64, word, when string) {
		given := map[string]any{}
		for _, known := range Describe() {
			if known.Name != topic {
				continue
			}
			for _, k := range known.Keys {
				switch k.Kind {
				case "text":
					given[k.Name] = word
				case "list":
					given[k.Name] = []any{n}
				case "date", "local-time":
					given[k.Name] = when
				default:
					given[k.Name] = n
				}
			}
		}
		a, err := Do(topic, given)
		if v, ok := a.Value.(float64); err == nil && ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Errorf("%s %v: %v", topic, given, v)
		}
	})
}
