package table

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

func layer(name string, features ...wire.Feature) wire.Layer {
	return wire.Layer{Name: name, Features: func(yield func(wire.Feature, error) bool) {
		for _, f := range features {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

func write(t *testing.T, doc wire.Document) string {
	t.Helper()
	var out bytes.Buffer
	if err := Write(context.Background(), &out, doc); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func TestWrite(t *testing.T) {
	at := geo.Geometry{Flat: orb.Point{-94.44, 36.3125}}
	doc := wire.Document{Title: "Invented", Notice: "Invented data", Layers: []wire.Layer{
		layer("finds", wire.Feature{ID: "f-1", IDKind: wire.StringID, Geometry: at, Properties: json.RawMessage(` { "row" : 3, "note":"=cmd|' /C calc'!A0" } `)}),
		layer("blocks", wire.Feature{ID: "7", IDKind: wire.NumberID, Properties: json.RawMessage(`{"name":"B, \"4\"","row":null}`)}),
	}}
	const want = "\uFEFFlayer,id,wkt,row,note,name,notice,properties\r\n" +
		"finds,f-1,POINT (-94.44 36.3125),3,'=cmd|' /C calc'!A0,,Invented data,\"{\"\"row\"\":3,\"\"note\"\":\"\"=cmd|' /C calc'!A0\"\"}\"\r\n" +
		"blocks,7,,,,\"B, \"\"4\"\"\",Invented data,\"{\"\"name\"\":\"\"B, \\\"\"4\\\"\"\"\",\"\"row\"\":null}\"\r\n"
	if got := write(t, doc); got != want {
		t.Errorf("got\n%q; want\n%q", got, want)
	}
}

// TestNoFormula: no cell of text starts with what OWASP's page on CSV injection
// lists (from memory), read by the standard library's reader; numbers stay
// numbers.
func TestNoFormula(t *testing.T) {
	var all []wire.Feature
	for _, start := range []string{"=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'", "''="} {
		text, _ := json.Marshal(start + `1","x`)
		all = append(all, wire.Feature{ID: start, IDKind: wire.StringID, Properties: json.RawMessage(fmt.Sprintf(`{"note":%s,"sum":-5,%s:1}`, text, text))})
	}
	doc := wire.Document{Notice: "=1", Layers: []wire.Layer{layer("-x", all...)}}
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(write(t, doc), mark))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(all)+1 {
		t.Fatalf("%d rows; want %d", len(rows), len(all)+1)
	}
	for _, row := range rows {
		for i, cell := range row {
			if cell == "-5" && rows[0][i] == "sum" {
				continue
			}
			if cell != "" && strings.ContainsRune("=+-@\t\r\n＝＋－＠", []rune(cell)[0]) {
				t.Errorf("a cell of column %q starts with %q", rows[0][i], cell)
			}
		}
	}
	for i, f := range all {
		if id, kind := ReadID(rows[i+1][1]); id != f.ID || kind != wire.StringID {
			t.Errorf("id %q came back as %q", f.ID, id)
		}
	}
}

func TestUnguard(t *testing.T) {
	for _, text := range []string{"", "a", "'", "''", "'a", "=a", "'=a", "\t", "-1", "＝x", "''=a", "it's"} {
		if got := Unguard(Guard(text)); got != text {
			t.Errorf("%q became %q and came back as %q", text, Guard(text), got)
		}
	}
	// An apostrophe that Guard did not write stays.
	if got := Unguard("'tis"); got != "'tis" {
		t.Errorf("'tis became %q", got)
	}
}

func TestManyColumns(t *testing.T) {
	var object strings.Builder
	for i := range MaxColumns + 50 {
		fmt.Fprintf(&object, `,"p%d":%d`, i, i)
	}
	got := write(t, wire.Document{Layers: []wire.Layer{layer("x", wire.Feature{Properties: json.RawMessage("{" + object.String()[1:] + "}")})}})
	header, _, _ := strings.Cut(got, "\r\n")
	if n := strings.Count(header, ",") + 1; n != MaxColumns+4 || !strings.Contains(got, `""p449"":449`) {
		t.Errorf("%d columns; want %d and the rest in properties", n, MaxColumns+4)
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name string
		f    wire.Feature
		rule wire.Rule
	}{
		{"no object", wire.Feature{Properties: json.RawMessage(`[1]`)}, wire.RuleObject},
		{"no number", wire.Feature{Geometry: geo.Geometry{Flat: orb.Point{math.NaN(), 1}}}, wire.RuleNumber},
	} {
		err := Write(context.Background(), &bytes.Buffer{}, wire.Document{Layers: []wire.Layer{layer("x", wire.Feature{}, c.f)}})
		if e, ok := wire.As(err); !ok || e.Rule != c.rule || e.Feature != 2 {
			t.Errorf("%s: %v; want %s at feature 2", c.name, err, c.rule)
		}
	}
}
