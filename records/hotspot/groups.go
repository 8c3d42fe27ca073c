package hotspot

import (
	"context"
	"errors"
	"slices"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/cluster"
	"caneward/geo/plane"
)

// surveySlack is added to both reaches when positions come from drawn rows:
// coordinates of seven decimals are off by a centimetre, and three spacings of
// 1 m shall be within 3 m.
const surveySlack geo.Metres = 0.01

// group clusters the infected plants and labels the finds.
func (s *study) group(ctx context.Context, a *Analysis) error {
	along, across := s.set.Along, s.set.Across
	if s.in.Surveyed {
		along, across = along+surveySlack, across+surveySlack
	}
	points, rank := make([]plane.XY, len(s.selected)), make([]int, len(s.selected))
	for k, i := range s.selected {
		points[k], rank[k] = s.xy(i.plant), k
	}
	r, err := cluster.Dense(ctx, points, cluster.Params{Along: along, Across: across, MinFinds: s.set.MinFinds, Rank: rank})
	if errors.Is(err, cluster.ErrCostly) || errors.Is(err, cluster.ErrSpread) {
		return fault.Wrap(fault.TooCostly, err, crowded.Plain())
	}
	if err != nil {
		return err
	}
	a.Groups = make([]Group, r.N)
	for n := range a.Groups {
		a.Groups[n] = Group{Number: n, Window: -1}
	}
	for k, i := range s.selected {
		i.group, i.core = r.Labels[k], r.Core[k]
		if i.group < 0 {
			a.Isolated = append(a.Isolated, i.plant)
			continue
		}
		g := &a.Groups[i.group]
		g.Finds = append(g.Finds, i.plant)
		if i.core {
			g.Core++
		}
	}
	s.label(a)
	s.hulls(a)
	return nil
}

func (s *study) label(a *Analysis) {
	for k, l := range a.Labels {
		if l.Unresolved.Empty() && slices.Contains(s.set.Causes, l.Find.Cause) && slices.Contains(s.set.States, l.Find.State) {
			a.Labels[k].Group = s.infected[l.Find.Plant].group
		}
	}
}

// hulls draws each group where its plants stand or, where that is not known,
// where its finds were pinned.
func (s *study) hulls(a *Analysis) {
	places := make([][]geo.Position, len(a.Groups))
	if s.in.Where != nil {
		for n, g := range a.Groups {
			for _, p := range g.Finds {
				if at, ok := s.in.Where[p]; ok {
					places[n] = append(places[n], at)
				}
			}
		}
	} else {
		for _, l := range a.Labels {
			if l.Group >= 0 && l.Find.Pin != nil {
				places[l.Group] = append(places[l.Group], *l.Find.Pin)
			}
		}
	}
	for n := range a.Groups {
		a.Groups[n].Hull = hullOf(places[n])
	}
}
