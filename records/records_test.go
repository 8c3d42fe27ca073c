package records_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/records"
)

func TestParseID(t *testing.T) {
	const good = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f" // RFC 9562 appendix A.6
	for s, want := range map[string]bool{
		good: true, strings.ToUpper(good): false, "{" + good + "}": false, "urn:uuid:" + good: false, " " + good: false,
		strings.Replace(good, "-7cc3", "-4cc3", 1): false, strings.Replace(good, "-98c4", "-78c4", 1): false,
		strings.Replace(good, "-98c4", "-c8c4", 1): false, strings.Replace(good, "-98c4", "-b8c4", 1): true,
		strings.ReplaceAll(good, "-", ""): false, good[:35]: false, good[:35] + "g": false, "": false,
		"017f22e2079b0-7cc3-98c4-dc0c0c07398f": false,
	} {
		id, err := records.ParseID(s)
		if (err == nil) != want || err != nil && !fault.Is(err, fault.Invalid) {
			t.Errorf("ParseID(%q): %q, %v, want good %v", s, id, err, want)
		}
	}
	u, ok := records.ID(good).Bytes()
	if !ok || records.FormatUUID(u) != good || hex.EncodeToString(u[:]) != strings.ReplaceAll(good, "-", "") {
		t.Errorf("Bytes: %x, %v", u, ok)
	}
}

func TestParseFarmID(t *testing.T) {
	for s, want := range map[string]bool{
		"demo": true, "demo-two": true, "a": true, "7": true, strings.Repeat("a", 40): true,
		"": false, "-a": false, "a-": false, "A": false, "a_b": false, "ñ": false, "a b": false, "a/b": false, strings.Repeat("a", 41): false,
	} {
		if _, err := records.ParseFarmID(s); (err == nil) != want {
			t.Errorf("ParseFarmID(%q): %v, want good %v", s, err, want)
		}
	}
}

// New ids are read back by another implementation and grow, also within a
// millisecond, when the clock goes back, and when the random part is at its end.
func TestNewIDs(t *testing.T) {
	at := time.UnixMilli(0x017f22e279b0) // RFC 9562 appendix A.6: 2022-02-22 19:22:22 UTC
	clock := func() time.Time { return at }
	for name, random := range map[string]interface{ Read([]byte) (int, error) }{
		"random": rand.NewChaCha8([32]byte{1}), "all ones": ones{}, "all zero": zeros{},
	} {
		g := records.NewIDs(clock, random)
		at = time.UnixMilli(0x017f22e279b0)
		var all []string
		for i := range 5000 {
			if i == 2000 {
				at = at.Add(-time.Hour)
			}
			if i == 4000 {
				at = at.Add(2 * time.Hour)
			}
			all = append(all, string(g.New()))
		}
		if !slices.IsSorted(all) || len(slices.Compact(slices.Clone(all))) != 5000 {
			t.Errorf("%s: ids do not grow", name)
		}
		u, err := uuid.Parse(all[0])
		if err != nil || u.Version() != 7 || u.Variant() != uuid.RFC4122 {
			t.Errorf("%s: %s: %v, version %d", name, all[0], err, u.Version())
		}
		if sec, nsec := u.Time().UnixTime(); time.Unix(sec, nsec).UnixMilli() != 0x017f22e279b0 {
			t.Errorf("%s: %s is of %v, want 2022-02-22 19:22:22", name, all[0], time.Unix(sec, nsec))
		}
		for _, s := range all {
			if _, err := records.ParseID(s); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
}

type ones struct{}

func (ones) Read(p []byte) (int, error) {
	copy(p, bytes.Repeat([]byte{255}, len(p)))
	return len(p), nil
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func TestETag(t *testing.T) {
	r := records.Revision{Number: 12, Hash: sha256.Sum256([]byte("a"))}
	tag := records.ETag(r)
	if tag != `"12-ca978112ca1bbdca"` {
		t.Errorf("ETag: %s", tag)
	}
	if n, ok := records.ParseETag(tag); n != 12 || !ok {
		t.Errorf("ParseETag(%s): %d, %v", tag, n, ok)
	}
	for _, bad := range []string{"", `""`, "*", "12", `W/"12-ca978112ca1bbdca"`, `"12-ca978112ca1bbdc"`, `"12-CA978112CA1BBDCA"`, `"0-ca978112ca1bbdca"`,
		`"-1-ca978112ca1bbdca"`, `"012-ca978112ca1bbdca"`, `"+1-ca978112ca1bbdca"`, `"12-ca978112ca1bbdcg"`, `"99999999999999999999-ca978112ca1bbdca"`, `12-ca978112ca1bbdca`} {
		if n, ok := records.ParseETag(bad); ok {
			t.Errorf("ParseETag(%s): %d, want refused", bad, n)
		}
	}
}

// The encoding of Link, written out a second time from its description.
func TestLink(t *testing.T) {
	previous := sha256.Sum256([]byte("before"))
	r := records.Revision{
		Kind: records.Finds, ID: "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", Number: 3, Sequence: 258, Deleted: true,
		By: records.Author{Person: "p", Name: "Ñ", Role: records.Scout, Why: ""}, At: time.UnixMicro(1_700_000_000_123_456).UTC(),
	}
	c := records.Content{Shape: []byte{1, 2}, Properties: []byte(`{}`)}
	var all []byte
	put := func(b []byte) {
		all = binary.BigEndian.AppendUint64(all, uint64(len(b)))
		all = append(all, b...)
	}
	put([]byte("caneward revision 1"))
	put(previous[:])
	for _, s := range []string{"demo", "finds", "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "\x00\x00\x00\x00\x00\x00\x00\x03", "\x00\x00\x00\x00\x00\x00\x01\x02",
		"\x01", "p", "\xc3\x91", "scout", ""} {
		put([]byte(s))
	}
	put(binary.BigEndian.AppendUint64(nil, 1_700_000_000_123_456))
	put([]byte{1, 2})
	put([]byte(`{}`))
	if got, want := records.Link(previous, "demo", r, c), sha256.Sum256(all); got != want {
		t.Errorf("Link: %x, want %x", got, want)
	}
}

func TestContentOf(t *testing.T) {
	at := func(x, y float64) geo.Geometry { return geo.Geometry{Flat: orb.Point{x, y}} }
	of := func(g geo.Geometry, p string) records.Content {
		t.Helper()
		c, err := records.ContentOf(records.Record{Geometry: g, Properties: json.RawMessage(p)})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	base := of(at(1, 2), `{"a":1,"b":{"c":[true,null]}}`)
	for name, c := range map[string]struct {
		other records.Content
		same  bool
	}{
		"order and blanks":      {of(at(1, 2), "{ \"b\" : {\"c\":[true,null]},\n\"a\":1}"), true},
		"escapes":               {of(at(1, 2), `{"\u0061":1,"b":{"c":[true,null]}}`), true},
		"another number":        {of(at(1, 2), `{"a":2,"b":{"c":[true,null]}}`), false},
		"another way to say it": {of(at(1, 2), `{"a":1.0,"b":{"c":[true,null]}}`), false},
		"another order in list": {of(at(1, 2), `{"a":1,"b":{"c":[null,true]}}`), false},
		"another place":         {of(at(1, math.Nextafter(2, 3)), `{"a":1,"b":{"c":[true,null]}}`), false},
		"a height":              {of(geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{0}}, `{"a":1,"b":{"c":[true,null]}}`), false},
		"no place":              {of(geo.Geometry{}, `{"a":1,"b":{"c":[true,null]}}`), false},
	} {
		if got := base.Equal(c.other); got != c.same || (base.Hash() == c.other.Hash()) != c.same {
			t.Errorf("%s: equal %v, hashes equal %v, want %v", name, got, base.Hash() == c.other.Hash(), c.same)
		}
	}
}

// Meets against a second way: random shapes of small integers, each edge
// clipped by the box in rational numbers.
func TestMeetsAgainstRationals(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	point := func() orb.Point { return orb.Point{float64(random.IntN(9)), float64(random.IntN(9))} }
	for range 20000 {
		a, b, c := point(), point(), point()
		w, s := float64(random.IntN(9)), float64(random.IntN(9))
		box := geo.Box{Min: orb.Point{w, s}, Max: orb.Point{w + float64(random.IntN(4)), s + float64(random.IntN(4))}}
		triangle := orb.Ring{a, b, c, a}
		if got, want := records.Meets(orb.LineString{a, b}, box), clipped(a, b, box); got != want {
			t.Fatalf("line %v %v in %v: %v, want %v", a, b, box, got, want)
		}
		want := clipped(a, b, box) || clipped(b, c, box) || clipped(c, a, box) || within(triangle, box.Min)
		if got := records.Meets(orb.Polygon{triangle}, box); got != want {
			t.Fatalf("triangle %v in %v: %v, want %v", triangle, box, got, want)
		}
	}
}

// clipped cuts a segment by the four sides one after the other (the parameter
// form of Liang and Barsky, 1984) in rational numbers.
func clipped(a, b orb.Point, box geo.Box) bool {
	r := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	low, high := r(0), r(1)
	for axis := range 2 {
		d := new(big.Rat).Sub(r(b[axis]), r(a[axis]))
		for _, side := range []struct {
			at   float64
			sign int64
		}{{box.Min[axis], 1}, {box.Max[axis], -1}} {
			// sign * (a + t d - at) >= 0
			p := new(big.Rat).Mul(d, big.NewRat(side.sign, 1))
			q := new(big.Rat).Mul(new(big.Rat).Sub(r(side.at), r(a[axis])), big.NewRat(side.sign, 1))
			if p.Sign() == 0 {
				if q.Sign() > 0 {
					return false
				}
				continue
			}
			t := new(big.Rat).Quo(q, p)
			if p.Sign() > 0 && t.Cmp(low) > 0 {
				low = t
			}
			if p.Sign() < 0 && t.Cmp(high) < 0 {
				high = t
			}
		}
	}
	return low.Cmp(high) <= 0
}

// within: inside a triangle, or on it, by three signs; small integers are exact.
func within(r orb.Ring, p orb.Point) bool {
	left, right := false, false
	for i := range 3 {
		a, b := r[i], r[i+1]
		cross := (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0])
		left, right = left || cross > 0, right || cross < 0
	}
	return left != right
}

// Corners and edges that touch by construction, moved by single bits, where
// floating point without care answers wrongly.
func TestMeetsToTheBit(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 2000 {
		p := orb.Point{-90 + random.Float64(), 38 + random.Float64()}
		d := orb.Point{float64(random.IntN(1000)) / 1024, float64(1+random.IntN(1000)) / 1024}
		// p is exactly halfway between a and b: both differences are exact or the row is passed over.
		a, b := orb.Point{p[0] - d[0], p[1] + d[1]}, orb.Point{p[0] + d[0], p[1] - d[1]}
		if p[0]-a[0] != d[0] || b[0]-p[0] != d[0] || a[1]-p[1] != d[1] || p[1]-b[1] != d[1] {
			continue
		}
		touching := geo.Box{Min: orb.Point{p[0] - 5, p[1] - 5}, Max: p}
		if !records.Meets(orb.LineString{a, b}, touching) {
			t.Fatalf("line %v %v through the corner of %v: want touching", a, b, touching)
		}
		apart := touching
		apart.Max[1] = math.Nextafter(p[1], 0)
		if d[0] > 0 && records.Meets(orb.LineString{a, b}, apart) {
			t.Fatalf("line %v %v past the corner of %v by one bit: want apart", a, b, apart)
		}
	}
}

func TestFacetsOf(t *testing.T) {
	block := records.ID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
	f := records.FacetsOf(records.Finds, records.Record{
		Geometry:   geo.Geometry{Flat: orb.LineString{{1, 5}, {3, 2}}},
		Properties: json.RawMessage(`{"block":"` + string(block) + `","found_at":"2026-05-01T10:00:00.0000019-05:00","done_on":"2020-01-01"}`),
	})
	at := time.Date(2026, 5, 1, 15, 0, 0, 1000, time.UTC)
	if *f.Box != (geo.Box{Min: orb.Point{1, 2}, Max: orb.Point{3, 5}}) || f.From != at || f.To != at || f.Block != block {
		t.Errorf("got %+v, box %v", f, f.Box)
	}
	f = records.FacetsOf(records.Finds, records.Record{Properties: json.RawMessage(`{"block":7,"found_at":[]}`)})
	if f != (records.Facets{}) {
		t.Errorf("nothing readable: %+v, want none", f)
	}
	f = records.FacetsOf(records.Removals, records.Record{Properties: json.RawMessage(`{"done_on":"2026-05-01"}`)})
	if from, to := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 5, 1, 23, 59, 59, 999999000, time.UTC); f.From != from || f.To != to {
		t.Errorf("a day: %v to %v, want %v to %v", f.From, f.To, from, to)
	}
}
