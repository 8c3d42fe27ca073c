package demofarm

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/layout"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/entry"
	"caneward/records/people"
)

// Store is what the demo farm is written to.
type Store interface {
	records.Store
	people.Store
}

// seed of everything that varies.
const seed = 20260414

// props is a record's properties before they are written.
type props map[string]any

type builder struct {
	ctx      context.Context
	store    Store
	desk     *entry.Desk
	dice     *rand.Rand
	ids      *records.IDs
	clock    time.Time // moves on with the scenario, so that ids are in its order
	zone     *time.Location
	frame    plane.Frame
	people   map[records.Role]records.Author
	blocks   []*plantedBlock
	around   map[string]records.ID
	products map[string]records.ID
	waiting  []records.Write
}

type plantedBlock struct {
	id      records.ID
	plan    blockPlan
	layout  layout.Layout
	rowIDs  []records.ID
	visits  []*visit
	removed map[[2]int]bool
}

type visit struct {
	id     records.ID
	at     time.Time
	season int
	rows   map[int]bool // looked at; nil: all
}

// Build makes both farms, their people and every record. The store must hold
// neither farm yet.
func Build(ctx context.Context, store Store) error {
	zone, err := time.LoadLocation(Zone)
	if err != nil {
		return err
	}
	frame, err := plane.FrameAt(Origin)
	if err != nil {
		return err
	}
	b := &builder{
		ctx: ctx, store: store, desk: &entry.Desk{Store: store}, zone: zone, frame: frame,
		dice: rand.New(rand.NewPCG(seed, seed)), people: map[records.Role]records.Author{},
		around: map[string]records.ID{}, products: map[string]records.ID{},
		clock: time.Date(2025, 3, 3, 8, 0, 0, 0, zone),
	}
	b.ids = records.NewIDs(func() time.Time { return b.clock }, rand.NewChaCha8([32]byte{seed & 0xff, 1}))
	for _, step := range []func() error{b.farms, b.ground, b.labels, b.stages, b.scouting, b.removals, b.passes} {
		if err := step(); err != nil {
			return err
		}
		if err := b.flush(); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) farms() error {
	made := time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC)
	for _, f := range []records.Farm{
		{ID: Farm, Name: "Demo farm (invented)", Zone: Zone, Invented: true, Created: made},
		{ID: FarmTwo, Name: "Second demo farm (invented, empty)", Zone: Zone, Invented: true, Created: made},
	} {
		if err := b.store.CreateFarm(b.ctx, f); err != nil {
			return err
		}
	}
	// One password, printed for all to see: one hash.
	phc, err := people.HashAsIs(Password)
	if err != nil {
		return err
	}
	for _, p := range []struct {
		name, display string
		farm          records.FarmID
		role          records.Role
	}{
		{"grower", "Grower (invented)", Farm, records.Owner},
		{"applicator", "Applicator (invented)", Farm, records.Applicator},
		{"scout", "Scout (invented)", Farm, records.Scout},
		{"adviser", "Adviser (invented)", Farm, records.Adviser},
		{"neighbour", "Neighbour (invented)", FarmTwo, records.Owner},
	} {
		person := people.Person{ID: b.ids.NewPerson(), Name: p.name, Display: p.display, Password: phc, Created: made}
		if err := b.store.CreatePerson(b.ctx, person); err != nil {
			return err
		}
		if err := b.store.SetRole(b.ctx, people.Membership{Person: person.ID, Farm: p.farm, Role: p.role}); err != nil {
			return err
		}
		if p.farm == Farm {
			b.people[p.role] = records.Author{Person: person.ID, Name: p.display, Role: p.role}
		}
	}
	return nil
}

// put queues a record; everything queued goes through the desk in batches.
func (b *builder) put(by records.Role, kind records.Kind, shape orb.Geometry, p props) records.ID {
	id := b.ids.New()
	b.write(by, kind, id, 0, shape, p, "")
	return id
}

func (b *builder) write(by records.Role, kind records.Kind, id records.ID, base int, shape orb.Geometry, p props, why string) {
	raw, err := json.Marshal(p)
	if err != nil {
		panic(err) // properties here are made of literals only
	}
	author := b.people[by]
	author.Why = why
	b.waiting = append(b.waiting, records.Write{Kind: kind, ID: id, Base: base, By: author,
		Record: records.Record{Geometry: geo.Geometry{Flat: shape}, Properties: raw}})
}

func (b *builder) flush() error {
	for len(b.waiting) > 0 {
		n := min(len(b.waiting), entry.BatchLimit)
		outcomes, err := b.desk.Put(b.ctx, Farm, b.waiting[:n])
		if err != nil {
			return err
		}
		for i, o := range outcomes {
			if o.Err != nil {
				w := b.waiting[i]
				return fmt.Errorf("demo farm: %s %s: %w (%s)", w.Kind, w.ID, o.Err, w.Record.Properties)
			}
		}
		b.waiting = b.waiting[n:]
	}
	return nil
}

func (b *builder) at(c corner) geo.Position { return b.frame.Position(plane.XY{X: c.e, Y: c.n}) }

func (b *builder) ring(cs []corner) orb.Ring {
	var r orb.Ring
	for _, c := range append(append([]corner{}, cs...), cs[0]) {
		r = append(r, b.at(c))
	}
	return r
}

func (b *builder) ground() error {
	for _, plan := range blockPlans {
		outline := orb.Polygon{b.ring(plan.outline)}
		if plan.hole != nil {
			hole := b.ring(plan.hole)
			hole.Reverse()
			outline = append(outline, hole)
		}
		l, err := layout.Plan(b.ctx, outline, layout.Spec{RowSpacing: plan.rowSpacing, PlantSpacing: plan.plantSpacing, Bearing: plan.bearing, Headland: plan.headland})
		if err != nil {
			return err
		}
		p := &plantedBlock{plan: plan, layout: l, removed: map[[2]int]bool{}}
		p.id = b.put(records.Owner, records.Blocks, outline, props{
			"name": plan.name, "crop": plan.crop, "cultivar": plan.cultivar, "planted_on": plan.planted, "outline_follows": "posts",
			"row_spacing_m": float64(plan.rowSpacing), "plant_spacing_m": float64(plan.plantSpacing), "row_bearing_deg": float64(plan.bearing),
			"first_row_side": "left", "first_plant_end": "start", "headland_m": float64(plan.headland), "invented": true,
		})
		for _, row := range l.Rows {
			p.rowIDs = append(p.rowIDs, b.put(records.Owner, records.Rows, rowLine(row), p.rowProps(row, nil)))
		}
		b.blocks = append(b.blocks, p)
	}
	for _, s := range surroundingsPlans {
		var shape orb.Geometry
		switch s.shape {
		case "point":
			shape = b.at(s.at[0])
		case "line":
			var line orb.LineString
			for _, c := range s.at {
				line = append(line, b.at(c))
			}
			shape = line
		default:
			shape = orb.Polygon{b.ring(s.at)}
		}
		b.around[s.name] = b.put(records.Owner, records.Surroundings, shape, props{"kind": s.kind, "name": s.name, "drawn_by_eye": s.byEye, "invented": true})
	}
	return nil
}

func rowLine(row layout.Row) orb.Geometry {
	var lines orb.MultiLineString
	for _, p := range row.Parts {
		lines = append(lines, orb.LineString{p.From, p.To})
	}
	if len(lines) == 1 {
		return lines[0]
	}
	return lines
}

func (p *plantedBlock) rowProps(row layout.Row, missing []int) props {
	out := props{"block": string(p.id), "number": row.Number, "plants": row.Plants, "length_m": math.Round(float64(row.Length)*1000) / 1000}
	if len(missing) > 0 {
		out["missing"] = missing
	}
	return out
}

func (b *builder) block(name string) *plantedBlock {
	for _, p := range b.blocks {
		if p.plan.name == name {
			return p
		}
	}
	panic("demofarm: no block " + name)
}

func (b *builder) labels() error {
	for _, p := range products {
		raw, err := json.Marshal(p)
		if err != nil {
			return err
		}
		var asProps props
		if err := json.Unmarshal(raw, &asProps); err != nil {
			return err
		}
		asProps["invented"] = true
		b.products[p.Name] = b.put(records.Owner, records.Products, nil, asProps)
	}
	return nil
}

// stages notes the growth stage of every block, a week later on the hill.
func (b *builder) stages() error {
	for _, season := range []int{2025, 2026} {
		for _, s := range []struct {
			stage      string
			bbch       int
			month, day int
		}{
			{"dormant", 0, 3, 8}, {"bud break", 7, 4, 4}, {"leaf-out, first shoots", 11, 4, 18}, {"pre-bloom", 57, 5, 14},
			{"bloom", 65, 5, 28}, {"petal fall", 69, 6, 11}, {"green fruit", 75, 6, 25}, {"harvest", 85, 7, 14}, {"post-harvest", 91, 9, 2},
		} {
			for _, p := range b.blocks {
				day := time.Date(season, time.Month(s.month), s.day, 0, 0, 0, 0, b.zone)
				if p.plan.name == "Hill Block" {
					day = day.AddDate(0, 0, 7)
				}
				b.clock = day
				b.put(records.Scout, records.Stages, nil, props{"block": string(p.id), "stage": s.stage, "bbch": s.bbch, "observed_on": day.Format(time.DateOnly)})
			}
		}
	}
	return nil
}

var visitDays = []struct{ month, day int }{{4, 7}, {4, 21}, {5, 5}, {5, 19}, {6, 2}, {6, 23}}

// scouting walks every block six times a season. The second and third walk of a
// spring look at every row, the others at every third.
func (b *builder) scouting() error {
	for _, season := range []int{2025, 2026} {
		for k, d := range visitDays {
			for i, p := range b.blocks {
				start := time.Date(season, time.Month(d.month), d.day, 7, 30+i*35, 0, 0, b.zone)
				b.clock = start
				v := &visit{at: start, season: season}
				inspected := []props{{"rows": "all"}}
				if k != 1 && k != 2 {
					v.rows = map[int]bool{}
					inspected = nil
					for _, row := range p.layout.Rows {
						if (row.Number+k)%3 == 0 {
							v.rows[row.Number] = true
							inspected = append(inspected, props{"row": row.Number, "from": 1, "to": row.Plants})
						}
					}
				}
				v.id = b.put(records.Scout, records.Visits, nil, props{
					"block": string(p.id), "purpose": "weekly walk", "started_at": stamp(start), "ended_at": stamp(start.Add(30 * time.Minute)),
					"inspected": inspected, "counts": b.counts(p, d.month, season),
				})
				p.visits = append(p.visits, v)
			}
		}
	}
	for _, o := range outbreaks {
		b.spread(o)
	}
	for _, s := range scatters {
		b.throw(s)
	}
	return nil
}

// counts gives each walk the counting programme of its month.
func (b *builder) counts(p *plantedBlock, month, season int) []props {
	switch month {
	case 4:
		return []props{{"what": "galled-canes", "sampled": 200, "hits": b.dice.IntN(12)}}
	case 5:
		return []props{{"what": "clipped-buds", "sampled": 100, "hits": b.dice.IntN(3)}}
	}
	return []props{{"what": "fruit-larvae", "sampled": 25, "hits": b.dice.IntN(4)}}
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }

// spread draws an outbreak's plants: the weight of a plant falls with its
// distance from the first one, four times slower along the row than across.
func (b *builder) spread(o outbreak) {
	p := b.block(o.block)
	type candidate struct {
		row, plant int
		key        float64
	}
	var all []candidate
	for _, row := range p.layout.Rows {
		for n := 1; n <= row.Plants; n++ {
			across := float64(row.Number-o.row) * float64(p.plan.rowSpacing)
			along := float64(n-o.plant) * float64(p.plan.plantSpacing) / 2
			weight := math.Exp(-(across*across + along*along) / (2 * 2.6 * 2.6))
			// Drawing by the largest u^(1/w) is weighted sampling without
			// replacement (Efraimidis and Spirakis 2006).
			all = append(all, candidate{row.Number, n, math.Log(b.dice.Float64()) / weight})
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].key > all[j].key })
	for i, c := range all[:o.finds] {
		season := o.season
		if i%2 == 1 {
			season = 2026
		}
		b.find(p, o.cause, c.row, c.plant, season, i)
	}
}

func (b *builder) throw(s scatter) {
	p := b.block(s.block)
	taken := map[[2]int]bool{}
	for i := 0; i < s.finds; {
		row := p.layout.Rows[b.dice.IntN(len(p.layout.Rows))]
		plant := 1 + b.dice.IntN(row.Plants)
		if taken[[2]int{row.Number, plant}] {
			continue
		}
		taken[[2]int{row.Number, plant}] = true
		b.find(p, s.cause, row.Number, plant, s.season, i)
		i++
	}
}

var said = map[string][]string{
	"orange-rust":     {"spindly shoots, pale narrow leaves", "waxy orange under the leaf", "orange dust, leaf cupped", "weak bunch of shoots, no bloom"},
	"cane-leaf-rust":  {"lemon yellow on the bark", "yellow pustules, cane splits"},
	"late-leaf-rust":  {"small spots, pale powder below"},
	"cane-borer-gall": {"smooth swelling a hand above the soil"},
	"crown-gall":      {"rough knob at the soil line"},
	"other":           {"leaf edges brown, maybe drought"},
}

// find writes what the scout saw on a walk that looked at that row, and what
// became of it.
func (b *builder) find(p *plantedBlock, cause string, row, plant, season, i int) {
	var walks []*visit
	for _, v := range p.visits {
		if v.season == season && (v.rows == nil || v.rows[row]) {
			walks = append(walks, v)
		}
	}
	v := walks[b.dice.IntN(len(walks))]
	at, _ := p.layout.Rows[row-1].Plant(plant, p.plan.plantSpacing)
	// The phone's fix is off by a couple of metres each way.
	xy := b.frame.XY(at)
	fix := b.frame.Position(plane.XY{X: xy.X + b.dice.NormFloat64()*1.6, Y: xy.Y + b.dice.NormFloat64()*1.6})
	b.clock = v.at.Add(time.Duration(1+b.dice.IntN(28)) * time.Minute)
	words := said[cause]
	pr := props{
		"block": string(p.id), "row": row, "plant": plant, "cause": cause, "state": "suspected", "severity": 1 + b.dice.IntN(3),
		"words": words[b.dice.IntN(len(words))], "found_at": stamp(b.clock), "accuracy_m": math.Round(20+30*b.dice.Float64()) / 10,
		"fix_age_s": float64(b.dice.IntN(20)), "visit": string(v.id),
	}
	id := b.put(records.Scout, records.Finds, fix, pr)
	b.judge(p, cause, id, fix, pr, i)
}

// judge sends every second orange rust and some of the look-alikes to the
// laboratory; the adviser confirms or refutes.
func (b *builder) judge(p *plantedBlock, cause string, id records.ID, fix orb.Geometry, pr props, i int) {
	next := func(base int, by records.Role, state, why string) {
		changed := props{}
		for k, v := range pr {
			changed[k] = v
		}
		changed["state"] = state
		b.write(by, records.Finds, id, base, fix, changed, why)
	}
	sample := func(result string) {
		sent := b.clock.AddDate(0, 0, 1)
		pr := props{"finds": []string{string(id)}, "sent_on": sent.Format(time.DateOnly), "laboratory": "Invented plant clinic",
			"accession": fmt.Sprintf("DEMO-%d-%03d", sent.Year(), b.dice.IntN(1000)), "method": "spores under the microscope"}
		if result != "" {
			pr["result"], pr["result_on"] = result, sent.AddDate(0, 0, 6).Format(time.DateOnly)
		}
		b.put(records.Scout, records.Samples, nil, pr)
	}
	switch {
	case cause == "orange-rust" && i%4 == 0:
		sample("Gymnoconia nitens")
		next(1, records.Adviser, "confirmed", "laboratory result")
	case cause == "orange-rust" && i%4 != 3:
		next(1, records.Adviser, "confirmed", "seen in the field beside a confirmed plant")
	case cause == "orange-rust" && i%8 == 7:
		sample("")
		next(1, records.Scout, "sampled", "sent to the laboratory")
	case cause == "cane-leaf-rust" && i%5 == 0:
		sample("Kuehneola uredinis")
		next(1, records.Adviser, "confirmed", "laboratory result")
	case cause == "crown-gall" && i%2 == 0:
		next(1, records.Adviser, "refuted", "a graft scar, no gall")
	}
}
