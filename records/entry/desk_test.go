package entry_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/entry"
	"caneward/records/memory"
)

// bench is a farm with one laid-out block of 200 m x 150 m.
type bench struct {
	t     *testing.T
	store records.Store
	desk  *entry.Desk
	frame plane.Frame
	ids   *records.IDs
	block records.ID
}

func newBench(t *testing.T) *bench {
	t.Helper()
	store := memory.New(time.Now)
	frame, err := plane.FrameAt(geo.Position{-81.5, 41.9})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.CreateFarm(context.Background(), records.Farm{ID: "f", Name: "F", Zone: "UTC", Created: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, store: store, desk: &entry.Desk{Store: store}, frame: frame, ids: records.NewIDs(time.Now, zeros{})}
	b.block = b.ids.New()
	b.must(b.write(records.Owner, records.Blocks, b.block, 0, orb.Polygon{b.ring(0, 0, 200, 0, 200, 150, 0, 150)},
		`{"name":"Home block","row_spacing_m":3,"plant_spacing_m":1}`))
	b.must(b.write(records.Owner, records.Rows, b.ids.New(), 0, orb.LineString{b.at(0, 30), b.at(200, 30)},
		fmt.Sprintf(`{"block":%q,"number":10,"plants":201}`, b.block)))
	return b
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func (b *bench) at(e, n float64) geo.Position { return b.frame.Position(plane.XY{X: e, Y: n}) }

func (b *bench) ring(en ...float64) orb.Ring {
	var r orb.Ring
	for i := 0; i < len(en); i += 2 {
		r = append(r, b.at(en[i], en[i+1]))
	}
	return append(r, r[0])
}

func (b *bench) write(role records.Role, kind records.Kind, id records.ID, base int, shape orb.Geometry, properties string) records.Write {
	return records.Write{Kind: kind, ID: id, Base: base, By: records.Author{Person: "p", Name: "P", Role: role},
		Record: records.Record{Geometry: geo.Geometry{Flat: shape}, Properties: json.RawMessage(properties)}}
}

func (b *bench) put(w ...records.Write) []records.Outcome {
	b.t.Helper()
	out, err := b.desk.Put(context.Background(), "f", w)
	if err != nil {
		b.t.Fatal(err)
	}
	return out
}

func (b *bench) must(w ...records.Write) []records.Outcome {
	b.t.Helper()
	out := b.put(w...)
	for _, o := range out {
		if o.Err != nil {
			b.t.Fatal(o.Err)
		}
	}
	return out
}

const find = `{"cause":"orange-rust","state":%q,"found_at":"2026-04-14T09:30:00-04:00"%s}`

func (b *bench) find(role records.Role, id records.ID, base int, shape orb.Geometry, state, more string) records.Write {
	return b.write(role, records.Finds, id, base, shape, fmt.Sprintf(find, state, more))
}

func TestWhatIsRefused(t *testing.T) {
	b := newBench(t)
	inBlock := fmt.Sprintf(`,"block":%q`, b.block)
	for _, c := range []struct {
		name  string
		write records.Write
		kind  fault.Kind
		field string
		says  string
	}{
		{"a ring that crosses itself", b.write(records.Owner, records.Blocks, b.ids.New(), 0, orb.Polygon{b.ring(0, 300, 100, 400, 100, 300, 0, 400)}, `{"name":"Bow"}`), fault.Invalid, "", "cross"},
		{"a block without a name", b.write(records.Owner, records.Blocks, b.ids.New(), 0, orb.Polygon{b.ring(0, 0, 9, 0, 9, 9)}, `{}`), fault.Invalid, "name", ""},
		{"a find outside every block", b.find(records.Scout, b.ids.New(), 0, b.at(500, 75), "suspected", ""), fault.Invalid, "geometry", "300 m away"},
		{"a find on another continent", b.find(records.Scout, b.ids.New(), 0, geo.Position{20, 50}, "suspected", ""), fault.Invalid, "geometry", "none within 50 km"},
		{"a find far outside the block it names", b.find(records.Scout, b.ids.New(), 0, b.at(500, 75), "suspected", inBlock), fault.Invalid, "geometry", "300 m outside"},
		{"a row the block does not have", b.find(records.Scout, b.ids.New(), 0, b.at(5, 30), "suspected", inBlock+`,"row":11,"plant":1`), fault.Invalid, "row", "10"},
		{"a plant the row does not have", b.find(records.Scout, b.ids.New(), 0, b.at(5, 30), "suspected", inBlock+`,"row":10,"plant":202`), fault.Invalid, "plant", "201"},
		{"a block that is not there", b.find(records.Scout, b.ids.New(), 0, b.at(5, 30), "suspected", fmt.Sprintf(`,"block":%q`, b.ids.New())), fault.Invalid, "block", "no record"},
		{"a scout who confirms", b.find(records.Scout, b.ids.New(), 0, b.at(5, 30), "confirmed", inBlock), fault.Invalid, "state", "adviser"},
		{"a scout who redraws a block", b.write(records.Scout, records.Blocks, b.block, 1, orb.Polygon{b.ring(0, 0, 9, 0, 9, 9)}, `{"name":"x"}`), fault.Forbidden, "", "scout"},
		{"a viewer", b.find(records.Viewer, b.ids.New(), 0, b.at(5, 30), "suspected", inBlock), fault.Forbidden, "", "reader"},
		{"a row twice", b.write(records.Owner, records.Rows, b.ids.New(), 0, orb.LineString{b.at(0, 33), b.at(200, 33)}, fmt.Sprintf(`{"block":%q,"number":10,"plants":201}`, b.block)), fault.Invalid, "number", "10"},
		{"a row beyond the outline", b.write(records.Owner, records.Rows, b.ids.New(), 0, orb.LineString{b.at(0, 33), b.at(260, 33)}, fmt.Sprintf(`{"block":%q,"number":11,"plants":201}`, b.block)), fault.Invalid, "geometry", "60 m outside"},
		{"an id that is none", b.find(records.Scout, "not-an-id", 0, b.at(5, 30), "suspected", inBlock), fault.Invalid, "", ""},
		{"a kind that is none", b.write(records.Owner, "weeds", b.ids.New(), 0, nil, `{}`), fault.Missing, "", "weeds"},
	} {
		out := b.put(c.write)
		err := out[0].Err
		if fault.KindOf(err) != c.kind {
			t.Errorf("%s: %v, want kind %d", c.name, err, c.kind)
			continue
		}
		if !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), c.field) {
			t.Errorf("%s: %q should name %q and say %q", c.name, err, c.field, c.says)
		}
	}
}

func TestFindsOnTheEdge(t *testing.T) {
	b := newBench(t)
	hedge := b.ids.New()
	b.must(b.write(records.Owner, records.Surroundings, hedge, 0, b.at(300, 75), `{"kind":"wild-brambles","name":"Hedge"}`))
	b.must(
		// Without a block: 10 m outside is a headland, with a poor fix 40 m is.
		b.find(records.Scout, b.ids.New(), 0, b.at(210, 75), "suspected", ""),
		b.find(records.Scout, b.ids.New(), 0, b.at(240, 75), "suspected", `,"accuracy_m":10`),
		// Row and plant outrank a stray fix.
		b.find(records.Scout, b.ids.New(), 0, b.at(280, 30), "suspected", fmt.Sprintf(`,"block":%q,"row":10,"plant":200`, b.block)),
		b.find(records.Scout, b.ids.New(), 0, b.at(300, 75), "suspected", fmt.Sprintf(`,"surroundings":%q`, hedge)),
	)
}

func TestALaboratoryResultLetsAScoutConfirm(t *testing.T) {
	b := newBench(t)
	id := b.ids.New()
	inBlock := fmt.Sprintf(`,"block":%q`, b.block)
	b.must(b.find(records.Scout, id, 0, b.at(5, 30), "suspected", inBlock))
	sample := b.ids.New()
	b.must(b.write(records.Scout, records.Samples, sample, 0, nil, fmt.Sprintf(`{"finds":[%q],"sent_on":"2026-04-15"}`, id)))
	if out := b.put(b.find(records.Scout, id, 1, b.at(5, 30), "confirmed", inBlock)); !fault.Is(out[0].Err, fault.Invalid) {
		t.Fatalf("confirmed by a sample without a result: %+v", out[0])
	}
	b.must(b.write(records.Scout, records.Samples, sample, 1, nil, fmt.Sprintf(`{"finds":[%q],"sent_on":"2026-04-15","result":"Gymnoconia nitens","result_on":"2026-04-20"}`, id)))
	b.must(b.find(records.Scout, id, 1, b.at(5, 30), "confirmed", inBlock))
	b.must(b.find(records.Adviser, b.ids.New(), 0, b.at(6, 30), "confirmed", inBlock))
}

// A phone may repeat a whole batch at any time, also after the farm has moved on.
func TestRepeats(t *testing.T) {
	b := newBench(t)
	id := b.ids.New()
	inBlock := fmt.Sprintf(`,"block":%q`, b.block)
	batch := []records.Write{
		b.find(records.Scout, id, 0, b.at(5, 30), "suspected", inBlock),
		b.find(records.Scout, id, 1, b.at(5, 31), "suspected", inBlock),
		b.find(records.Scout, b.ids.New(), 0, geo.Position{20, 50}, "suspected", inBlock),
	}
	first := b.put(batch...)
	if !first[0].Created || first[1].Revision.Number != 2 || first[2].Err == nil {
		t.Fatalf("first time: %+v", first)
	}
	current := b.must(b.find(records.Scout, id, 2, b.at(5, 32), "suspected", inBlock))
	del := records.Write{Kind: records.Blocks, ID: b.block, Base: 1, Delete: true, By: records.Author{Role: records.Owner}}
	b.must(del)
	again := b.put(batch...)
	for i := range 2 {
		if !again[i].Repeated || again[i].Revision.Number != first[i].Revision.Number || again[i].Revision.Sequence != first[i].Revision.Sequence {
			t.Errorf("write %d again: %+v, first %+v", i, again[i], first[i])
		}
	}
	if again[2].Err == nil {
		t.Error("a refused write was taken the second time")
	}
	if current[0].Revision.Number != 3 {
		t.Errorf("current revision %d, want 3", current[0].Revision.Number)
	}
	if out := b.must(del); !out[0].Repeated {
		t.Errorf("delete again: %+v", out[0])
	}
}

// A record may refer to one that stands earlier in its batch, never later.
func TestBatchOrder(t *testing.T) {
	b := newBench(t)
	block := b.ids.New()
	blockWrite := b.write(records.Owner, records.Blocks, block, 0, orb.Polygon{b.ring(0, 300, 50, 300, 50, 340, 0, 340)}, `{"name":"New"}`)
	row := b.write(records.Owner, records.Rows, b.ids.New(), 0, orb.LineString{b.at(0, 310), b.at(50, 310)}, fmt.Sprintf(`{"block":%q,"number":1,"plants":10}`, block))
	if out := b.put(row, blockWrite); out[0].Err == nil || out[1].Err != nil {
		t.Fatalf("row before its block: %+v", out)
	}
	other := b.ids.New()
	blockWrite.ID = other
	row.Record.Properties = json.RawMessage(fmt.Sprintf(`{"block":%q,"number":1,"plants":10}`, other))
	row.ID = b.ids.New()
	twin := row
	twin.ID = b.ids.New()
	if out := b.put(blockWrite, row, twin); out[0].Err != nil || out[1].Err != nil || out[2].Err == nil {
		t.Fatalf("block, row, same row number again: %+v", out)
	}
}

func TestAnAppliedPassStaysApplied(t *testing.T) {
	b := newBench(t)
	id := b.ids.New()
	pass := func(base int, state string) records.Write {
		return b.write(records.Applicator, records.Passes, id, base, nil, fmt.Sprintf(`{"state":%q,"blocks":[%q]}`, state, b.block))
	}
	b.must(pass(0, "draft"), pass(1, "applied"))
	if out := b.put(pass(2, "draft")); !fault.Is(out[0].Err, fault.Invalid) || !strings.Contains(out[0].Err.Error(), "applied") {
		t.Errorf("back to draft: %+v", out[0])
	}
}

func TestBatchTooLarge(t *testing.T) {
	b := newBench(t)
	if _, err := b.desk.Put(context.Background(), "f", make([]records.Write, entry.BatchLimit+1)); !fault.Is(err, fault.TooLarge) {
		t.Errorf("%v, want too large", err)
	}
	if _, err := b.desk.Put(context.Background(), "nowhere", nil); !fault.Is(err, fault.Missing) {
		t.Errorf("%v, want missing", err)
	}
}
