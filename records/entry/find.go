package entry

import (
	"context"
	"math"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/records"
	"caneward/records/scouting"
)

func findRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	find, details := scouting.ParseFind(w.Record.Geometry, w.Record.Properties)
	if len(details) > 0 {
		return details, nil
	}
	for _, r := range []struct {
		field string
		kind  records.Kind
		id    records.ID
	}{{"block", records.Blocks, find.Block}, {"visit", records.Visits, find.Visit}, {"surroundings", records.Surroundings, find.Surroundings}, {"again_of", records.Finds, find.AgainOf}} {
		more, err := refer(s, r.field, r.kind, r.id)
		if err != nil {
			return nil, err
		}
		details = append(details, more...)
	}
	if len(details) > 0 {
		return details, nil
	}
	more, err := findPlace(s, w.ID, find)
	if err != nil {
		return nil, err
	}
	details = append(details, more...)
	if more, err = againOf(s, w.ID, find); err != nil {
		return nil, err
	}
	details = append(details, more...)
	more, err = mayConfirm(s, w, find)
	return append(details, more...), err
}

// againOf: a find repeats another on the same plant, not itself.
func againOf(s *scope, id records.ID, find scouting.Find) ([]fault.Detail, error) {
	if find.AgainOf == "" {
		return nil, nil
	}
	before, _, err := findBefore(s, find.AgainOf)
	if err != nil {
		return nil, err
	}
	if find.AgainOf == id || before.Block != find.Block || before.Row != find.Row || before.Plant != find.Plant {
		return []fault.Detail{{Field: "again_of", Text: againElsewhere.Plain()}}, nil
	}
	return nil, nil
}

// findPlace holds a find against the ground it names or, where it names none,
// against every block.
func findPlace(s *scope, id records.ID, find scouting.Find) ([]fault.Detail, error) {
	slack := edgeFix
	if find.Accuracy != nil {
		slack += fixReach * *find.Accuracy
	}
	if find.Block != "" {
		g, _, err := s.ground(find.Block)
		if err != nil {
			return nil, err
		}
		details, err := findPlant(s, g, id, find)
		if err != nil {
			return nil, err
		}
		if find.Row > 0 {
			slack = max(slack, strayFix)
		}
		if find.At == nil {
			return details, nil
		}
		if d := g.outside(*find.At); d > slack {
			details = append(details, fault.Detail{Field: "geometry", At: place(*find.At), Fix: findFix.Plain(),
				Text: findFarFromBlock.With(words.Args{"block": g.block.Name, "metres": math.Ceil(float64(d))})})
		}
		return details, nil
	}
	if find.Surroundings != "" || find.At == nil {
		return nil, nil
	}
	return outsideEveryBlock(s, *find.At, slack)
}

// findPlant holds the plant a find names against the rows. A find that named it
// before keeps it: its row may have lost the place since.
func findPlant(s *scope, g *ground, id records.ID, find scouting.Find) ([]fault.Detail, error) {
	details := scouting.Check(find, g.rowPlants())
	if len(details) == 0 {
		return nil, nil
	}
	rec, found, err := s.record(records.Finds, id)
	if err != nil || !found {
		return details, err
	}
	if old, _ := scouting.ParseFind(rec.Geometry, rec.Properties); old.Block == find.Block && old.Row == find.Row && old.Plant == find.Plant {
		return nil, nil
	}
	return details, nil
}

func outsideEveryBlock(s *scope, at geo.Position, slack geo.Metres) ([]fault.Detail, error) {
	for _, reach := range []geo.Metres{slack, nearestSearch} {
		box := around(at, reach)
		nearest, name := geo.Metres(math.Inf(1)), ""
		err := s.each(records.Blocks, records.Query{Box: &box}, func(id records.ID, _ records.Record) error {
			g, _, err := s.ground(id)
			if err != nil {
				return err
			}
			// Beyond the frame's reach the ellipsoid to the block's middle will do:
			// it only names the nearest block in a refusal.
			d := measure.Distance(at, g.frame.Origin())
			if d < nearestSearch {
				d = g.outside(at)
			}
			if d < nearest {
				nearest, name = d, g.block.Name
			}
			return nil
		})
		switch {
		case err != nil:
			return nil, err
		case nearest <= slack:
			return nil, nil
		case !math.IsInf(float64(nearest), 1):
			return []fault.Detail{{Field: "geometry", At: place(at), Fix: findFix.Plain(),
				Text: findOutside.With(words.Args{"block": name, "metres": math.Ceil(float64(nearest))})}}, nil
		}
	}
	return []fault.Detail{{Field: "geometry", At: place(at), Fix: findFix.Plain(), Text: findNowhere.Plain()}}, nil
}

func place(at geo.Position) *[2]float64 { return &[2]float64{at[0], at[1]} }

// mayConfirm: what a scout sees is a suspicion. A find is confirmed or refuted
// by an adviser, or by a laboratory's result that covers it. What was proved so
// stays, with its cause, until an adviser or such a result takes it back and
// says why.
func mayConfirm(s *scope, w records.Write, find scouting.Find) ([]fault.Detail, error) {
	old, found, err := findBefore(s, w.ID)
	if err != nil {
		return nil, err
	}
	state := func(text words.Message) []fault.Detail {
		return []fault.Detail{{Field: "state", Text: text.With(words.Args{"state": scouting.StateName(find.State), "before": scouting.StateName(old.State)})}}
	}
	correction := found && scouting.StepOf(old.State, find.State) == scouting.Correction
	if correction && w.By.Why == "" {
		return state(correctionNeedsWhy), nil
	}
	proved := find.State == scouting.Confirmed || find.State == scouting.Refuted
	wasProved := old.State == scouting.Confirmed || old.State == scouting.Refuted
	same := old.State == find.State && (old.State != scouting.Confirmed || old.Cause == find.Cause && old.Organism == find.Organism)
	if w.By.Role == records.Adviser || found && same || !proved && !wasProved {
		return nil, nil
	}
	backed, err := labBacks(s, w.ID, find)
	switch {
	case err != nil || proved && backed:
		return nil, err
	case wasProved && !proved, old.State == scouting.Confirmed:
		return state(provedStays), nil
	}
	return state(confirmNeedsLab), nil
}

func findBefore(s *scope, id records.ID) (scouting.Find, bool, error) {
	before, found, err := s.record(records.Finds, id)
	if err != nil || !found {
		return scouting.Find{}, false, err
	}
	old, _ := scouting.ParseFind(before.Geometry, before.Properties)
	return old, true, nil
}

// labBacks looks for a recorded result that covers the find and says so.
func labBacks(s *scope, id records.ID, find scouting.Find) (bool, error) {
	samples, err := s.samplesOf(id)
	return slices.ContainsFunc(samples, func(sample scouting.Sample) bool { return sample.Backs(find.State, find.Cause) }), err
}

// findDeleteRule: a confirmed find is not deleted by who may not refute it.
func findDeleteRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	if w.By.Role == records.Adviser && w.By.Why != "" {
		return nil, nil
	}
	old, found, err := findBefore(s, w.ID)
	if err != nil || !found || old.State != scouting.Confirmed {
		return nil, err
	}
	return []fault.Detail{{Field: "state", Text: confirmedNotDeleted.Plain()}}, nil
}
