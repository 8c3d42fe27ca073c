package fields

import (
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// said lists faults as "path key", in their order.
func said(faults []fault.Detail) string {
	var all []string
	for _, d := range faults {
		all = append(all, strings.TrimSpace(d.Field+" "+strings.TrimPrefix(d.Text.Key(), "fields-")))
	}
	return strings.Join(all, "; ")
}

type colour string

func parseID(s string) (string, error) {
	if s != "known" {
		return "so", errors.New("unknown")
	}
	return s, nil
}

func TestReader(t *testing.T) {
	zoned := time.Date(2026, 4, 14, 9, 30, 0, 0, time.FixedZone("", -4*3600))
	text := func(r Reader) any { return r.Text("x") }
	number := func(r Reader) any { return r.Number("x", 1, 9) }
	size := func(r Reader) any { return r.Size("x") }
	whole := func(r Reader) any { n, _ := r.Whole("x", 1, 9); return n }
	moment := func(r Reader) any { return r.Moment("x").UTC() }
	day := func(r Reader) any { return r.Day("x") }
	choose := func(r Reader) any { return Choose(r, "x", []colour{"red", "black"}) }
	ids := func(r Reader) any { return IDs(r, "x", 2, parseID) }
	ordinals := func(r Reader) any { return r.Ordinals("x", 3, 5) }
	need := func(r Reader) any { return r.Need("x") }
	each := func(r Reader) any {
		rows := []int{}
		for e := range r.Each("x", 2) {
			n, _ := e.Whole("row", 1, 9)
			rows = append(rows, n)
		}
		return rows
	}
	for _, c := range []struct {
		name, raw string
		read      func(Reader) any
		want      any
		faults    string
	}{
		{"absent text", `{}`, text, "", ""},
		{"null text", `{"x":null}`, text, "", ""},
		{"text keeps its white space", `{"x":" a "}`, text, " a ", ""},
		{"a number for text", `{"x":7}`, text, "", "x not-text"},
		{"4000 characters", `{"x":"` + strings.Repeat("ä", MaxText) + `"}`, text, strings.Repeat("ä", MaxText), ""},
		{"4001 characters", `{"x":"` + strings.Repeat("ä", MaxText+1) + `"}`, text, "", "x text-too-long"},
		{"number at the bound", `{"x":9}`, number, fault.P(9.0), ""},
		{"number beyond", `{"x":9.5}`, number, (*float64)(nil), "x out-of-bounds"},
		{"number below", `{"x":0}`, number, (*float64)(nil), "x out-of-bounds"},
		{"no number", `{"x":"5"}`, number, (*float64)(nil), "x not-number-within"},
		{"more than numbers hold", `{"x":1e400}`, number, (*float64)(nil), "x not-number-within"},
		{"size of nothing", `{"x":0}`, size, fault.P(0.0), ""},
		{"size below nothing", `{"x":-1}`, size, (*float64)(nil), "x below-zero"},
		{"whole", `{"x":3.0}`, whole, 3, ""},
		{"half", `{"x":1.5}`, whole, 0, "x not-whole"},
		{"whole beyond", `{"x":1e30}`, whole, 0, "x not-whole"},
		{"yes", `{"x":true}`, func(r Reader) any { return r.Yes("x") }, true, ""},
		{"yes in words", `{"x":"yes"}`, func(r Reader) any { return r.Yes("x") }, false, "x not-yes-no"},
		{"moment", `{"x":"2026-04-14T09:30:00-04:00"}`, moment, zoned.UTC(), ""},
		{"moment without zone", `{"x":"2026-04-14T09:30:00"}`, moment, time.Time{}, "x not-time"},
		{"empty moment", `{"x":""}`, moment, time.Time{}, ""},
		{"day", `{"x":"2024-02-29"}`, day, time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC), ""},
		{"no such day", `{"x":"2026-02-29"}`, day, time.Time{}, "x not-date"},
		{"one of the list", `{"x":"red"}`, choose, colour("red"), ""},
		{"one of the list, spaced", `{"x":" red"}`, choose, colour(""), "x not-one-of"},
		{"id", `{"x":"known"}`, func(r Reader) any { return ID(r, "x", parseID) }, "known", ""},
		{"id refused", `{"x":"other"}`, func(r Reader) any { return ID(r, "x", parseID) }, "", "x not-a-record-id"},
		{"ids keep their place", `{"x":[1,"known"]}`, ids, []string{"", "known"}, "x[0] not-a-record-id"},
		{"ids: null", `{"x":[null]}`, ids, []string{""}, "x[0] not-a-record-id"},
		{"too many ids", `{"x":["known","known","known"]}`, ids, []string(nil), "x list-too-long"},
		{"ids no list", `{"x":{}}`, ids, []string(nil), "x not-list"},
		{"ordinals", `{"x":[5,0,null]}`, ordinals, []int{5, 0, 0}, "x[1] not-whole; x[2] not-whole"},
		{"needed and there", `{"x":0}`, need, true, ""},
		{"needed and absent", `{}`, need, false, "x needed"},
		{"needed and null", `{"x":null}`, need, false, "x needed"},
		{"needed and blank", `{"x":" \u0020"}`, need, false, "x needed"},
		{"entries that are no objects", `{"x":[null,{"row":0}]}`, each, []int{0}, "x[0] not-object; x[1].row not-whole"},
		{"an object within", `{"x":{"y":1}}`, func(r Reader) any { return r.In("x").Text("y") }, "", "x.y not-text"},
		{"no object within", `{"x":3}`, func(r Reader) any { return r.In("x").Text("y") }, "", "x not-object"},
		{"misspelt", `{"xs":1,"x":1}`, func(r Reader) any { r.Only("x"); return nil }, nil, "xs unknown-member"},
		{"no properties", ``, text, "", ""},
		{"null properties", ` null `, text, "", ""},
		{"a list for properties", `[]`, text, "", "properties not-object"},
	} {
		r := Properties(json.RawMessage(c.raw))
		if got := c.read(r); !reflect.DeepEqual(got, c.want) || said(r.Faults()) != c.faults {
			t.Errorf("%s: %.60s: got %#v, faults %q; want %#v, %q", c.name, c.raw, got, said(r.Faults()), c.want, c.faults)
		}
	}
}

func TestPaths(t *testing.T) {
	var faults []fault.Detail
	r := Open(json.RawMessage(`{}`), "mix[2]", &faults)
	Open(json.RawMessage(`7`), "", &faults)
	r.Need("rate")
	r.Adopt("rate", fault.New(fault.Invalid, words.Verbatim("no details")))
	r.Adopt("rate", fault.New(fault.Invalid, words.Text{}, fault.Detail{Field: "unit"}, fault.Detail{}))
	r.Adopt("", fault.New(fault.Invalid, words.Text{}, fault.Detail{Field: "unit"}))
	r.Adopt("rate", errors.New("not a refusal"))
	day := time.Date(2026, 6, 10, 0, 0, 0, 0, time.UTC)
	r.InOrder("start", "end", day, day)
	r.InOrder("start", "end", day, time.Time{})
	r.InOrder("start", "end", day, day.Add(-time.Second))
	const want = "not-object; mix[2].rate needed; mix[2].rate; mix[2].rate.unit; mix[2].rate; mix[2].unit; mix[2].rate not-object; mix[2].end lies-before"
	if said(faults) != want {
		t.Errorf("faults %q; want %q", said(faults), want)
	}
}

func TestShorten(t *testing.T) {
	whole := strings.Repeat("ñ", maxShown)
	for given, want := range map[string]string{whole: whole, whole + "o": whole + "…"} {
		if got := Shorten(given); got != want {
			t.Errorf("%q: got %q; want %q", given, got, want)
		}
	}
}
