package entry

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/planting"
)

// namesShown is how many records a refusal names one by one.
const namesShown = 10

var (
	placeNamed = words.New("entry-place-named",
		"Plant {plant} would have no place any more, but it is named by: {records}.",
		"La planta {plant} ya no tendría lugar, pero la nombran: {records}.")
	placeNamedFix = words.New("entry-place-named-fix",
		"Keep its place, or name the plant in “gone” and say why. The records keep the number.",
		"Conserve su lugar, o nombre la planta en «gone» y diga por qué. Los registros conservan el número.")
	rowNamed = words.New("entry-row-named",
		"Row {row} keeps its number and its block: {count} record(s) name it or its plants, such as {records}.",
		"La hilera {row} conserva su número y su bloque: {count} registro(s) la nombran o nombran sus plantas, como {records}.")
	rowDeleteNamed = words.New("entry-row-delete-named",
		"Row {row} is named by {count} record(s), such as {records}; to delete it all the same, say why.",
		"La hilera {row} la nombran {count} registro(s), como {records}; para borrarla de todos modos, diga por qué.")
)

// keepsNumbers refuses to take away the number of a row or the place of a plant
// that finds or removals name. A place goes when the row says in "gone" why.
func keepsNumbers(s *scope, id records.ID, row blocks.Row) ([]fault.Detail, error) {
	rec, found, err := s.record(records.Rows, id)
	if err != nil || !found {
		return nil, err
	}
	old, _ := blocks.ParseRow(rec.Geometry, rec.Properties)
	names, err := s.names(records.ID(old.Block), old.Number)
	if err != nil || len(names) == 0 {
		return nil, err
	}
	for _, f := range []struct {
		field   string
		changed bool
	}{{"block", row.Block != old.Block}, {"number", row.Number != old.Number}} {
		if f.changed {
			return []fault.Detail{{Field: f.field, Text: rowNamed.With(words.Args{"row": old.Number, "count": len(names), "records": listed(names)})}}, nil
		}
	}
	lost := map[int][]planting.Name{}
	for _, n := range names {
		if n.Plant > 0 && old.HasPlace(n.Plant) && !row.HasPlace(n.Plant) && !saysGone(row, n.Plant) {
			lost[n.Plant] = append(lost[n.Plant], n)
		}
	}
	var plants []int
	for plant := range lost {
		plants = append(plants, plant)
	}
	slices.Sort(plants)
	var details []fault.Detail
	for _, plant := range plants {
		details = append(details, fault.Detail{Field: "places", Text: placeNamed.With(words.Args{"plant": plant, "records": listed(lost[plant])}),
			Fix: placeNamedFix.Plain()})
	}
	return details, nil
}

func saysGone(row blocks.Row, plant int) bool {
	return slices.ContainsFunc(row.Gone, func(g blocks.Gone) bool { return g.Plant == plant })
}

// rowDeleteRule asks for a reason where records name the row.
func rowDeleteRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	rec, found, err := s.record(records.Rows, w.ID)
	if err != nil || !found || strings.TrimSpace(w.By.Why) != "" {
		return nil, err
	}
	row, _ := blocks.ParseRow(rec.Geometry, rec.Properties)
	if _, here, err := s.record(records.Blocks, records.ID(row.Block)); err != nil || !here {
		return nil, err
	}
	names, err := s.names(records.ID(row.Block), row.Number)
	if err != nil || len(names) == 0 {
		return nil, err
	}
	return []fault.Detail{{Field: "why", Text: rowDeleteNamed.With(words.Args{"row": row.Number, "count": len(names), "records": listed(names)})}}, nil
}

// listed names records by kind and id, a few of them.
func listed(names []planting.Name) string {
	var b strings.Builder
	for i, n := range names {
		if i == namesShown {
			b.WriteString(", … (" + strconv.Itoa(len(names)) + ")")
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(string(n.Kind) + " " + string(n.ID))
	}
	return b.String()
}
