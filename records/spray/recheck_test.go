package spray

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"caneward/records"
	"caneward/records/memory"
)

// 40,468.564224 m2 are 10 acres exactly; 12 fl oz an acre make 120.
func TestRecheckFindsAWrongTotal(t *testing.T) {
	for _, c := range []struct {
		name, more string
		value      string
		wrong      int
	}{
		{"as worked out", "", "120", 0},
		{"one digit off", "", "121", 1},
		{"another amount used, the plan kept", `,"planned_totals":[{"name":"x","amount":{"value":120,"unit":"fl_oz"}}]`, "118", 0},
		{"another amount used, the plan wrong", `,"planned_totals":[{"name":"x","amount":{"value":12,"unit":"fl_oz"}}]`, "118", 1},
	} {
		store := memory.New(time.Now)
		if err := store.CreateFarm(context.Background(), records.Farm{ID: "f", Zone: "UTC", Created: time.Unix(0, 0)}); err != nil {
			t.Fatal(err)
		}
		pass := json.RawMessage(`{"state":"applied","areas":{"treated_m2":40468.564224},
			"products":[{"product":{"name":"x"},"rate":{"value":12,"unit":"fl_oz","per":"acre"}}],
			"totals":[{"name":"x","amount":{"value":` + c.value + `,"unit":"fl_oz"}}]` + c.more + `}`)
		if _, faults := ParsePass(records.Record{}.Geometry, pass); len(faults) > 0 {
			t.Fatalf("%s: %v", c.name, faults)
		}
		out, err := store.Write(context.Background(), "f", []records.Write{{Kind: records.Passes, ID: "01955c17-8480-7f07-850f-412c6ecb847a", Record: records.Record{Properties: pass}}})
		if err != nil || out[0].Err != nil {
			t.Fatal(err, out)
		}
		err = store.View(context.Background(), "f", func(r records.Reader) error {
			problems, err := Recheck(context.Background(), r)
			if len(problems) != c.wrong {
				t.Errorf("%s: %v, want %d problems", c.name, problems, c.wrong)
			}
			for _, p := range problems {
				if !strings.Contains(p.String(), "120") {
					t.Errorf("%s: %s does not name the right figure", c.name, p)
				}
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
