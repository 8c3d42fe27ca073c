package entry

import (
	"bytes"
	"encoding/json"
	"reflect"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/spray"
)

var (
	appliedFrozen = words.New("entry-applied-frozen",
		"This pass was applied; what its record says here stays. Record a new pass that names it in “corrects”.",
		"Esta pasada ya se aplicó; lo que dice aquí su registro se conserva. Registre una pasada nueva que la nombre en «corrects».")
	correctsApplied = words.New("entry-corrects-applied",
		"Only an applied pass is corrected; the one named is “{state}”.",
		"Solo se corrige una pasada aplicada; la nombrada está «{state}».")
	correctsItself = words.New("entry-corrects-itself", "A pass does not correct itself.", "Una pasada no se corrige a sí misma.")
)

// frozenMembers of an applied pass are never changed; those that were missing may
// be added, since a record is completed before its deadline.
var frozenMembers = []string{"blocks", "rows", "pattern", "band_width_m", "sides", "setbacks", "products", "labels", "carrier", "carrier_total", "tank", "tanks",
	"areas", "totals", "planned_totals", "row_length_m", "plants", "checks", "distances", "withheld", "stop_reason", "started_at", "ended_at", "weather", "people",
	"equipment", "target", "coverage", "corrects"}

// frozen faults what a write changes of a pass that was applied.
func frozen(before, after records.Record) []fault.Detail {
	var details []fault.Detail
	was, now := fields.Properties(before.Properties), fields.Properties(after.Properties)
	for _, name := range frozenMembers {
		if was.Has(name) && !holds(now.Raw(name), was.Raw(name)) {
			details = append(details, fault.Detail{Field: name, Text: appliedFrozen.Plain()})
		}
	}
	if !before.Geometry.Empty() {
		a, errA := wire.EncodeEWKB(before.Geometry)
		b, errB := wire.EncodeEWKB(after.Geometry)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			details = append(details, fault.Detail{Field: "geometry", Text: appliedFrozen.Plain()})
		}
	}
	return details
}

// holds: an object may gain members, anything else stays as it is. Numbers are
// compared as numbers: a page writes 1.0 back as 1.
func holds(now, was json.RawMessage) bool {
	var old, fresh any
	if json.Unmarshal(was, &old) != nil || json.Unmarshal(now, &fresh) != nil {
		return false
	}
	members, isObject := old.(map[string]any)
	more, stillObject := fresh.(map[string]any)
	if !isObject || !stillObject {
		return reflect.DeepEqual(old, fresh)
	}
	for name, v := range members {
		if !reflect.DeepEqual(v, more[name]) {
			return false
		}
	}
	return true
}

// afterRule judges what is recorded of a pass besides the pass itself: signs,
// conditions met, what it corrects.
func afterRule(s *scope, w records.Write) ([]fault.Detail, error) {
	_, _, details := clock.ReadAfter(w.Record.Properties)
	r := fields.Properties(w.Record.Properties)
	id := fields.ID(r, "corrects", records.ParseID)
	details = append(details, r.Faults()...)
	if id == w.ID {
		return append(details, fault.Detail{Field: "corrects", Text: correctsItself.Plain()}), nil
	}
	more, err := refer(s, "corrects", records.Passes, id)
	if err != nil || id == "" || len(more) > 0 {
		return append(details, more...), err
	}
	old, _, err := s.record(records.Passes, id)
	if err != nil {
		return nil, err
	}
	if p, _ := spray.ParsePass(old.Geometry, old.Properties); p.State != spray.Applied {
		details = append(details, fault.Detail{Field: "corrects", Text: correctsApplied.With(words.Args{"state": string(p.State)})})
	}
	return details, nil
}
