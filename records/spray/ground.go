package spray

import (
	"slices"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/scouting"
)

// Ground is what a draft stands on: the records it names and all the
// surroundings of the farm, as they were when it was read.
type Ground struct {
	Blocks   []Block // in the order of the request
	Around   []Surroundings
	Products map[records.ID]Product
	Zone     *time.Location // the farm's; nil takes the zone of the times given
	Kept     map[records.ID]Kept
	Earlier  []Earlier // applied on or beside this ground, in the order they were begun
	Now      time.Time // the day of a job without a start; zero when not known
}

// Block is a block with its rows, if any were laid out.
type Block struct {
	ID           records.ID
	Name         string
	Crop         string
	Outline      orb.MultiPolygon
	RowSpacing   geo.Metres // 0 when not given
	PlantSpacing geo.Metres // 0 when not given
	Rows         []blocks.Row
	Removed      map[scouting.Place]time.Time // plants dug out: the last day, midnight UTC
	Stages       []scouting.Stage             // noted in it, in time order
}

// Surroundings is one thing round the blocks.
type Surroundings struct {
	setback.Feature
	Name       string
	DrawnByEye bool
	Accuracy   geo.Metres // how far the line may lie off, 0 when not said
	Strip      bool       // ground kept in plants between a field and water
}

var (
	sayNoBlock = words.New("spray-no-such-block",
		"There is no block with the id {id} on this farm.",
		"No hay en esta finca ningún bloque con el identificador {id}.")
	sayNoProduct = words.New("spray-no-such-product",
		"There is no product with the id {id} on this farm.",
		"No hay en esta finca ningún producto con el identificador {id}.")
	sayNoFrom = words.New("spray-no-such-surroundings",
		"“{from}” is neither a kind of surroundings ({kinds}) nor the id of one on this farm.",
		"«{from}» no es un tipo de entorno ({kinds}) ni el identificador de uno de esta finca.")
)

// Load reads what a request names, and the farm's surroundings. Unknown blocks,
// products and surroundings are fault.Invalid at their fields, all at once.
func Load(r records.Reader, q Request) (Ground, error) {
	g := Ground{Products: map[records.ID]Product{}, Kept: map[records.ID]Kept{}}
	if zone, err := time.LoadLocation(r.Farm().Zone); err == nil {
		g.Zone = zone
	}
	var details []fault.Detail
	for i, id := range q.Blocks {
		rev, err := r.Current(records.Blocks, id)
		if fault.Is(err, fault.Missing) {
			details = append(details, fault.Detail{Field: "blocks[" + itoa(i) + "]", Text: sayNoBlock.With(words.Args{"id": string(id)})})
			continue
		}
		if err != nil {
			return Ground{}, err
		}
		b, err := loadBlock(r, id, rev.Record)
		if err != nil {
			return Ground{}, err
		}
		g.Blocks = append(g.Blocks, b)
	}
	for i, l := range q.Products {
		if l.ID == "" {
			continue
		}
		rev, err := r.Current(records.Products, l.ID)
		if fault.Is(err, fault.Missing) {
			details = append(details, fault.Detail{Field: "products[" + itoa(i) + "].product", Text: sayNoProduct.With(words.Args{"id": string(l.ID)})})
			continue
		}
		if err != nil {
			return Ground{}, err
		}
		g.Products[l.ID], _ = ParseProduct(rev.Record.Geometry, rev.Record.Properties)
		g.Kept[l.ID] = Kept{Product: string(l.ID), Revision: rev.Number, Label: rev.Record.Properties}
	}
	page, err := r.List(records.Surroundings, records.Query{})
	if err != nil {
		return Ground{}, err
	}
	for _, rev := range page.Revisions {
		s, _ := blocks.ParseSurroundings(rev.Record.Geometry, rev.Record.Properties)
		if s.Shape != nil {
			feature := setback.Feature{ID: string(rev.ID), Kind: string(s.Kind), Shape: s.Shape, Edge: setback.Edge(s.Follows), Bank: s.Bank}
			g.Around = append(g.Around, Surroundings{Feature: feature, Name: s.Name, DrawnByEye: s.DrawnByEye, Accuracy: s.Accuracy, Strip: s.Strip})
		}
	}
	details = append(details, unknownFrom(g, q)...)
	if len(details) > 0 {
		return Ground{}, refusal(details)
	}
	if box := g.box(q); !box.IsEmpty() && len(q.Products) > 0 {
		if g.Earlier, err = loadEarlier(r, box); err != nil {
			return Ground{}, err
		}
		g.Earlier = slices.DeleteFunc(g.Earlier, func(e Earlier) bool { return e.ID == q.Pass })
	}
	return g, nil
}

// box is round all the ground a request can treat.
func (g Ground) box(q Request) geo.Box {
	var all orb.MultiPolygon
	for _, b := range g.Blocks {
		all = append(all, b.Outline...)
	}
	if len(all) == 0 {
		all = multi(q.Area.Flat)
	}
	return all.Bound()
}

func loadBlock(r records.Reader, id records.ID, rec records.Record) (Block, error) {
	// What was stored had passed the rules; a field they have since come to
	// refuse reads as not given.
	parsed, _ := blocks.Parse(rec.Geometry, rec.Properties)
	b := Block{ID: id, Name: parsed.Name, Crop: parsed.Crop, Outline: parsed.Outline, RowSpacing: parsed.RowSpacing, PlantSpacing: parsed.PlantSpacing}
	page, err := r.List(records.Rows, records.Query{Equal: map[string]string{"block": string(id)}})
	if err != nil {
		return Block{}, err
	}
	for _, rev := range page.Revisions {
		row, _ := blocks.ParseRow(rev.Record.Geometry, rev.Record.Properties)
		if row.Number > 0 && len(row.Parts) > 0 {
			b.Rows = append(b.Rows, row)
		}
	}
	slices.SortStableFunc(b.Rows, func(x, y blocks.Row) int { return x.Number - y.Number })
	if b.Removed, err = loadRemoved(r, id); err != nil {
		return Block{}, err
	}
	stages, err := r.List(records.Stages, records.Query{Equal: map[string]string{"block": string(id)}})
	if err != nil {
		return Block{}, err
	}
	for _, rev := range stages.Revisions {
		if s, _ := scouting.ParseStage(rev.Record.Geometry, rev.Record.Properties); !s.On.IsZero() {
			b.Stages = append(b.Stages, s)
		}
	}
	slices.SortStableFunc(b.Stages, func(x, y scouting.Stage) int { return x.On.Compare(y.On) })
	return b, nil
}

func loadRemoved(r records.Reader, block records.ID) (map[scouting.Place]time.Time, error) {
	page, err := r.List(records.Removals, records.Query{Equal: map[string]string{"block": string(block)}})
	if err != nil {
		return nil, err
	}
	removed := map[scouting.Place]time.Time{}
	for _, rev := range page.Revisions {
		m, _ := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		for _, p := range m.Plants {
			if !m.DoneOn.IsZero() && m.DoneOn.After(removed[p]) {
				removed[p] = m.DoneOn
			}
		}
	}
	return removed, nil
}

// unknownFrom faults setbacks from what is not there. A kind of which the farm
// has none is no fault, but Draft says so.
func unknownFrom(g Ground, q Request) []fault.Detail {
	var details []fault.Detail
	for i, rule := range q.Setbacks {
		known := isKind(rule.From) || slices.ContainsFunc(g.Around, func(s Surroundings) bool { return s.ID == rule.From })
		if !known {
			details = append(details, fault.Detail{Field: "setbacks[" + itoa(i) + "].from",
				Text: sayNoFrom.With(words.Args{"from": fields.Shorten(rule.From), "kinds": kindNames()})})
		}
	}
	return details
}

func isKind(s string) bool {
	return slices.Contains(blocks.SurroundingsKinds, blocks.SurroundingsKind(s))
}

func kindNames() string {
	names := ""
	for i, k := range blocks.SurroundingsKinds {
		if i > 0 {
			names += ", "
		}
		names += string(k)
	}
	return names
}
