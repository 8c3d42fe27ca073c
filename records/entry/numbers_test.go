package entry_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/records"
)

// A row whose plants are named keeps its number and their places.
func TestNumbersStayUnderRecords(t *testing.T) {
	b := newBench(t)
	row := b.ids.New()
	line := orb.LineString{b.at(0, 60), b.at(200, 60)}
	write := func(base int, more string) records.Write {
		return b.write(records.Owner, records.Rows, row, base, line, fmt.Sprintf(`{"block":%q%s}`, b.block, more))
	}
	const whole = `,"number":20,"plants":201`
	b.must(write(0, whole))
	named := func(plant int) string { return fmt.Sprintf(`,"block":%q,"row":20,"plant":%d`, b.block, plant) }
	find := b.ids.New()
	b.must(b.find(records.Scout, find, 0, b.at(150, 60), "suspected", named(151)))
	b.must(b.write(records.Owner, records.Removals, b.ids.New(), 0, nil, fmt.Sprintf(`{"block":%q,"plants":[{"row":20,"plant":3}],"done_on":"2026-05-01"}`, b.block)))
	places := func(runs, more string) string { return `,"number":20,"plants":201,"places":[` + runs + `]` + more }
	for _, c := range []struct{ name, row, field, says string }{
		{"fewer plants", `,"number":20,"plants":150`, "places", string(find)},
		{"places without the find's", places(`{"from":1,"plants":100,"at_m":0,"spacing_m":1}`, ""), "places", "Plant 151"},
		{"places without the removal's", places(`{"from":100,"plants":101,"at_m":99,"spacing_m":1}`, ""), "places", "removals"},
		{"gone without a reason", places(`{"from":1,"plants":100,"at_m":0,"spacing_m":1}`, `,"gone":[{"plant":151}]`), "gone[0].why", ""},
		{"another number", `,"number":21,"plants":201`, "number", "2 record(s)"},
	} {
		out := b.put(write(1, c.row))
		if !fault.Is(out[0].Err, fault.Invalid) || !strings.Contains(out[0].Err.Error(), c.field) || !strings.Contains(out[0].Err.Error(), c.says) {
			t.Errorf("%s: %v; want a refusal at %s that says %q", c.name, out[0].Err, c.field, c.says)
		}
	}
	// What names nothing may go; what is named may go with a reason.
	b.must(write(1, places(`{"from":1,"plants":100,"at_m":0,"spacing_m":1}`, `,"gone":[{"plant":151,"why":"under the new road"}]`)))
	// The find itself may still be written, a new one at that number not.
	b.must(b.find(records.Adviser, find, 1, b.at(150, 60), "confirmed", named(151)))
	for _, plant := range []int{151, 120} {
		if out := b.put(b.find(records.Scout, b.ids.New(), 0, b.at(150, 60), "suspected", named(plant))); out[0].Err == nil || !strings.Contains(out[0].Err.Error(), "any more") {
			t.Errorf("a new find at the lost place %d: %v", plant, out[0].Err)
		}
	}
	del := records.Write{Kind: records.Rows, ID: row, Base: 2, Delete: true, By: records.Author{Role: records.Owner}}
	if out := b.put(del); !fault.Is(out[0].Err, fault.Invalid) || !strings.Contains(out[0].Err.Error(), "say why") {
		t.Errorf("deleted without a word: %v", out[0].Err)
	}
	del.By.Why = "grubbed"
	b.must(del)
}

// The same holds for finds that stand earlier in the batch, and is lifted by
// their deletion there.
func TestNumbersStayWithinABatch(t *testing.T) {
	b := newBench(t)
	row, find := b.ids.New(), b.ids.New()
	line := orb.LineString{b.at(0, 60), b.at(200, 60)}
	write := func(base, plants int) records.Write {
		return b.write(records.Owner, records.Rows, row, base, line, fmt.Sprintf(`{"block":%q,"number":20,"plants":%d}`, b.block, plants))
	}
	b.must(write(0, 201))
	out := b.put(b.find(records.Owner, find, 0, b.at(150, 60), "suspected", fmt.Sprintf(`,"block":%q,"row":20,"plant":151`, b.block)), write(1, 100))
	if out[0].Err != nil || out[1].Err == nil {
		t.Fatalf("find, then shorter row: %+v", out)
	}
	b.must(records.Write{Kind: records.Finds, ID: find, Base: 1, Delete: true, By: records.Author{Role: records.Owner}}, write(1, 100))
}
