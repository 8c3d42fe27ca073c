package spray_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/memory"
	"caneward/records/spray"
)

const farm = records.FarmID("testing")

func id(n int) records.ID { return records.ID(fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-%012d", n)) }

// stored is a farm with a block of 60 x 30 m, its rows, a stream and a label.
func stored(t *testing.T) *memory.Store {
	t.Helper()
	ctx := context.Background()
	s := memory.New(time.Now)
	if err := s.CreateFarm(ctx, records.Farm{ID: farm, Name: "Testing", Zone: "America/New_York"}); err != nil {
		t.Fatal(err)
	}
	f, err := plane.FrameAt(orb.Point{-80.42, 35.87})
	if err != nil {
		t.Fatal(err)
	}
	at := func(x, y float64) orb.Point { return f.Position(plane.XY{X: x, Y: y}) }
	by := records.Author{Person: records.PersonID(id(99)), Name: "grower", Role: records.Owner}
	write := func(kind records.Kind, n int, flat orb.Geometry, properties string) records.Write {
		return records.Write{Kind: kind, ID: id(n), By: by, Record: records.Record{Geometry: geo.Geometry{Flat: flat}, Properties: json.RawMessage(properties)}}
	}
	writes := []records.Write{
		write(records.Blocks, 1, orb.Polygon{{at(0, 0), at(60, 0), at(60, 30), at(0, 30), at(0, 0)}}, `{"name": "Bar", "row_spacing_m": 3, "plant_spacing_m": 1}`),
		write(records.Surroundings, 2, orb.LineString{at(-50, -10), at(100, -10)}, `{"kind": "water", "name": "Stream", "drawn_by_eye": true}`),
		write(records.Products, 3, nil, `{"name": "Demo", "phi_days": 3, "rei_hours": 12, "rates": [{"value": 4, "unit": "lb", "per": "acre"}]}`),
		write(records.Rows, 40, orb.LineString{at(0, 1), at(60, 1)}, `{"block": "`+string(id(77))+`", "number": 1, "plants": 61}`),
	}
	for i := range 10 {
		y := 3*float64(i) + 1.5
		writes = append(writes, write(records.Rows, 30-i, orb.LineString{at(0, y), at(60, y)}, fmt.Sprintf(`{"block": %q, "number": %d, "plants": 61}`, id(1), i+1)))
	}
	outcomes, err := s.Write(ctx, farm, writes)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range outcomes {
		if o.Err != nil {
			t.Fatal(o.Err)
		}
	}
	return s
}

func work(t *testing.T, s *memory.Store, body string) (spray.Answer, error) {
	t.Helper()
	q, err := spray.ReadRequest([]byte(body))
	if err != nil {
		t.Fatal(err)
	}
	var a spray.Answer
	err = s.View(context.Background(), farm, func(r records.Reader) error {
		g, err := spray.Load(r, q)
		if err != nil {
			return err
		}
		a, err = spray.Draft(context.Background(), g, q)
		return err
	})
	return a, err
}

// The band of rows 3 to 10 is free of the 16 m kept from the stream at y = -10.
func TestDraftFromTheStore(t *testing.T) {
	a, err := work(t, stored(t), fmt.Sprintf(`{"blocks": [%q], "pattern": "band", "band_width_m": 1, "sides": 2,
		"setbacks": [{"from": "water", "distance_m": 16, "side": "all"}], "start": "2026-06-10T06:30:00-04:00",
		"products": [{"product": %q, "rate": {"value": 4, "unit": "lb", "per": "acre"}}]}`, id(1), id(3)))
	if err != nil {
		t.Fatal(err)
	}
	if got := float64(a.Areas.Treated); math.Abs(got-480) > 0.5 {
		t.Errorf("treated %v m2, want 480", got)
	}
	if *a.Plants != 488 {
		t.Errorf("%d plants, want 8 rows of 61", *a.Plants)
	}
	if total := a.Totals[0]; total.Product != string(id(3)) || total.Name != "Demo" || math.Abs(total.Amount.Value-480/geo.SquareMetresPerAcre*4) > 1e-3 {
		t.Errorf("%+v", total)
	}
	if got := a.FirstHarvest.Format(time.DateOnly); got != "2026-06-13" {
		t.Errorf("first harvest %s", got)
	}
	if !slices.ContainsFunc(a.Checks, func(c spray.Check) bool { return c.Rule == "drawn-by-eye" }) {
		t.Error("no word about the stream drawn by eye")
	}
}

func TestLoadNamesWhatIsNotThere(t *testing.T) {
	_, err := work(t, stored(t), fmt.Sprintf(`{"blocks": [%q, %q], "pattern": "broadcast",
		"setbacks": [{"from": %q, "distance_m": 16, "side": "all"}],
		"products": [{"product": %q, "rate": {"value": 4, "unit": "lb", "per": "acre"}}]}`, id(1), id(50), id(51), id(52)))
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Invalid {
		t.Fatalf("got %v", err)
	}
	var fields []string
	for _, d := range f.Details {
		fields = append(fields, d.Field)
	}
	if want := []string{"blocks[1]", "products[0].product", "setbacks[0].from"}; !slices.Equal(fields, want) {
		t.Errorf("fields %v, want %v", fields, want)
	}
}

func TestRowsChosenFromTheStore(t *testing.T) {
	s := stored(t)
	a, err := work(t, s, fmt.Sprintf(`{"blocks": [%q], "rows": {%q: [2, 3]}, "pattern": "broadcast"}`, id(1), id(1)))
	if err != nil || *a.Plants != 122 || math.Abs(float64(a.Areas.Treated)-360) > 0.5 {
		t.Errorf("%v: %+v", err, a.Areas)
	}
	if _, err := work(t, s, fmt.Sprintf(`{"blocks": [%q], "rows": {%q: [11]}, "pattern": "broadcast"}`, id(1), id(1))); !fault.Is(err, fault.Invalid) {
		t.Errorf("row 11 of 10: %v", err)
	}
}

// A wrong record that was corrected elsewhere binds nothing on the ground it named.
func TestCorrectedPassBindsNothing(t *testing.T) {
	s := stored(t)
	f, err := plane.FrameAt(orb.Point{-80.42, 35.87})
	if err != nil {
		t.Fatal(err)
	}
	square := func(x float64) orb.Polygon {
		at := func(x, y float64) orb.Point { return f.Position(plane.XY{X: x, Y: y}) }
		return orb.Polygon{{at(x, 0), at(x+60, 0), at(x+60, 30), at(x, 30), at(x, 0)}}
	}
	add := func(n int, kind records.Kind, flat orb.Geometry, properties string) {
		t.Helper()
		outcomes, err := s.Write(context.Background(), farm, []records.Write{{Kind: kind, ID: id(n), By: records.Author{Person: records.PersonID(id(99)), Name: "grower", Role: records.Owner},
			Record: records.Record{Geometry: geo.Geometry{Flat: flat}, Properties: json.RawMessage(properties)}}})
		if err != nil || outcomes[0].Err != nil {
			t.Fatal(err, outcomes)
		}
	}
	binds := func() bool {
		t.Helper()
		a, err := work(t, s, fmt.Sprintf(`{"blocks": [%q], "pattern": "broadcast", "start": "2026-06-10T06:30:00-04:00",
			"products": [{"product": %q, "rate": {"value": 4, "unit": "lb", "per": "acre"}}]}`, id(1), id(5)))
		if err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(a.Checks, func(c spray.Check) bool { return c.Answer == spray.Stop && len(c.Passes) > 0 })
	}
	pass := func(more string) string {
		return fmt.Sprintf(`{"state": "applied", "pattern": "broadcast", "blocks": [%q], "started_at": "2026-06-08T06:30:00-04:00", "ended_at": "2026-06-08T07:30:00-04:00",
			"products": [{"product": %q, "rate": {"value": 4, "unit": "lb", "per": "acre"}}]%s}`, id(1), id(5), more)
	}
	add(5, records.Products, nil, `{"name": "Weekly", "interval_days": 7, "rates": [{"value": 4, "unit": "lb", "per": "acre"}]}`)
	add(6, records.Passes, square(0), pass(""))
	if !binds() {
		t.Fatal("two days after a pass with an interval of seven nothing stops")
	}
	add(7, records.Passes, square(5000), pass(fmt.Sprintf(`, "corrects": %q`, id(6))))
	if binds() {
		t.Error("the corrected pass still stops")
	}
}
