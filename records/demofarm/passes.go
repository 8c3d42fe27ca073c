package demofarm

import (
	"encoding/json"
	"fmt"
	"time"

	"github.com/paulmach/orb"

	"caneward/records"
	"caneward/records/spray"
)

// passPlan is a job as somebody would type it in.
type passPlan struct {
	on       string // start, local time
	minutes  int
	blocks   []string
	pattern  string
	band     float64 // m
	product  string
	rate     props
	carrier  float64 // gal per acre; 0: none
	setbacks []props
	windFrom float64 // degrees
	wind     float64 // m/s
	tempC    float64
	state    string
	note     string
}

func perAcre(value float64, unit string) props {
	return props{"value": value, "unit": unit, "per": "acre"}
}

var fromWater = props{"from": "water", "distance_m": 15.24, "side": "all"} // 50 ft

var passPlans = []passPlan{
	{"2025-04-05T09:00", 70, []string{"Gate Block", "Pond Block"}, "broadcast", 0, "Demo Polysulfide L", perAcre(10, "gal"), 200, []props{fromWater}, 250, 2.2, 9, "applied", "delayed dormant, 1/4 inch green"},
	{"2025-05-08T07:30", 55, []string{"Long Rows", "Creek Block"}, "broadcast", 0, "Demo Azole 40WP", perAcre(2.5, "oz_wt"), 50, []props{fromWater}, 265, 2.4, 14, "applied", "rust programme"},
	{"2025-06-16T19:30", 40, []string{"Gate Block"}, "broadcast", 0, "Demo Organo 57EC", perAcre(3, "pt"), 50, []props{fromWater, {"from": "hives", "distance_m": 60.0, "side": "downwind"}}, 80, 1.9, 21, "applied", "after sunset, hives closed"},
	{"2026-04-04T09:15", 65, []string{"Gate Block", "Pond Block"}, "broadcast", 0, "Demo Polysulfide L", perAcre(10, "gal"), 200, []props{fromWater}, 240, 2.6, 8, "applied", "delayed dormant"},
	{"2026-04-24T08:00", 60, []string{"Long Rows", "Creek Block"}, "broadcast", 0, "Demo Strobilurin 20WG", perAcre(14, "oz_wt"), 50, []props{fromWater}, 270, 2.1, 12, "applied", "rust programme, first"},
	{"2026-05-07T07:45", 60, []string{"Long Rows", "Creek Block"}, "broadcast", 0, "Demo Azole 40WP", perAcre(2.5, "oz_wt"), 50, []props{fromWater}, 300, 2.8, 15, "applied", "rust programme, other mode of action"},
	{"2026-05-12T10:00", 45, []string{"Gate Block", "Black Caps"}, "band", 0.9, "Demo Bipyr 2L", perAcre(3, "pt"), 30, nil, 200, 1.8, 19, "applied", "weed strip, shielded"},
	{"2026-05-20T06:40", 35, []string{"Hill Block"}, "broadcast", 0, "Demo Pyre 2EC", perAcre(6.4, "fl_oz"), 50, []props{{"from": "dwelling", "distance_m": 30.0, "side": "all"}}, 190, 2.5, 13, "applied", "clipper weevil"},
	{"2026-06-18T20:00", 50, []string{"Creek Block"}, "broadcast", 0, "Demo Spin 25WG", perAcre(6, "oz_wt"), 50, []props{fromWater}, 275, 2.0, 22, "applied", "fruit fly"},
	{"2026-06-24T20:00", 50, []string{"Creek Block"}, "broadcast", 0, "Demo Spin 25WG", perAcre(6, "oz_wt"), 50, []props{fromWater}, 280, 1.7, 23, "applied", "fruit fly, repeat"},
	{"2026-07-02T07:00", 50, []string{"Gate Block"}, "broadcast", 0, "Demo Shield 80DG", perAcre(2.5, "lb"), 50, []props{fromWater}, 260, 2.3, 20, "applied", "fruit rots"},
	{"2026-11-20T09:00", 60, []string{"Creek Block"}, "broadcast", 0, "Demo Azole 42EC", perAcre(6, "fl_oz"), 50, []props{{"from": "water", "distance_m": 30.48, "side": "downwind"}}, 270, 2.5, 8, "draft", "next spring's first, to be discussed"},
}

// passes works every job out with the same code as anybody's draft, and freezes
// the figures of those that were carried out.
func (b *builder) passes() error {
	for _, plan := range passPlans {
		start, err := time.ParseInLocation("2006-01-02T15:04", plan.on, b.zone)
		if err != nil {
			return err
		}
		b.clock = start
		p, shape, err := b.pass(plan, start)
		if err != nil {
			return fmt.Errorf("demo farm: pass of %s: %w", plan.on, err)
		}
		b.put(records.Applicator, records.Passes, shape, p)
	}
	return nil
}

func (b *builder) pass(plan passPlan, start time.Time) (props, orb.Geometry, error) {
	var ids []string
	for _, name := range plan.blocks {
		ids = append(ids, string(b.block(name).id))
	}
	line := props{"product": string(b.products[plan.product]), "rate": plan.rate}
	job := props{"blocks": ids, "pattern": plan.pattern, "products": []props{line}, "setbacks": plan.setbacks,
		"wind_from_deg": plan.windFrom, "start": stamp(start), "tank": props{"value": 50, "unit": "gal"}}
	if plan.setbacks == nil {
		job["setbacks"] = []props{}
	}
	if plan.band > 0 {
		job["band_width_m"], job["sides"] = plan.band, 2
	}
	if plan.carrier > 0 {
		job["carrier"] = perAcre(plan.carrier, "gal")
	}
	raw, err := json.Marshal(job)
	if err != nil {
		return nil, nil, err
	}
	answer, err := b.workOut(raw)
	if err != nil {
		return nil, nil, err
	}
	out := props{"state": plan.state, "pattern": plan.pattern, "blocks": ids, "products": []props{line}, "setbacks": job["setbacks"],
		"carrier": job["carrier"], "tank": job["tank"], "words": plan.note, "invented": true}
	if plan.carrier == 0 {
		delete(out, "carrier")
	}
	if plan.band > 0 {
		out["band_width_m"], out["sides"] = plan.band, 2
	}
	var ground orb.Geometry
	if len(answer.Treated) > 0 {
		ground = answer.Treated
	}
	if plan.state != "applied" {
		return out, ground, nil
	}
	out["started_at"], out["ended_at"] = stamp(start), stamp(start.Add(time.Duration(plan.minutes)*time.Minute))
	out["weather"] = props{"wind_from_deg": plan.windFrom, "wind_speed_m_s": plan.wind, "temperature_c": plan.tempC, "humidity_percent": 60}
	out["people"] = props{"applicator": "Applicator (invented)", "certification": "DEMO-0001"}
	frozen, err := spray.Freeze(answer)
	if err != nil {
		return nil, nil, err
	}
	var figures props
	if err := json.Unmarshal(frozen, &figures); err != nil {
		return nil, nil, err
	}
	for name, v := range figures {
		out[name] = v
	}
	return out, ground, nil
}

// workOut is the answer the page would get for the draft.
func (b *builder) workOut(job json.RawMessage) (answer spray.Answer, err error) {
	request, err := spray.ReadRequest(job)
	if err != nil {
		return answer, err
	}
	err = b.store.View(b.ctx, Farm, func(r records.Reader) error {
		ground, err := spray.Load(r, request)
		if err != nil {
			return err
		}
		answer, err = spray.Draft(b.ctx, ground, request)
		return err
	})
	return answer, err
}
