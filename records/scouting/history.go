package scouting

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"caneward/blocks"
	"caneward/records"
)

// Seen is one find as part of a plant's history.
type Seen struct {
	ID    records.ID
	Find  Find
	Again bool // not the first of its episode
}

// Episode is everything found of one cause on one plant: several finds, one
// plant. A plant set anew at a place begins a new one.
type Episode struct {
	Place
	Cause    Cause
	Organism string // the newest that was named
	Finds    []Seen // by time, then id
	// State is the plant's: once confirmed it stays so, however it looks later,
	// until the confirmed finds themselves are refuted.
	State     State
	Seasons   []int // years with a find, ascending
	Severity  *Severity
	Removed   time.Time // the day it was taken out; zero while it stands
	Regrowth  bool      // seen again at the place after it was taken out
	Replanted time.Time // the day another plant was set there; zero for none
	// Generation is 1 for the plant first set at the place, one more for each
	// set anew before the episode began.
	Generation int
}

// First and Last are when it was first and last found.
func (e Episode) First() time.Time { return e.Finds[0].Find.FoundAt }

// Last is First's counterpart.
func (e Episode) Last() time.Time { return e.Finds[len(e.Finds)-1].Find.FoundAt }

// Live is whether the episode still says something of a plant that stands: not
// refuted, and its plant not replaced.
func (e Episode) Live() bool { return e.State != Refuted && e.Replanted.IsZero() }

// episodeKey is what makes two finds one plant's one trouble. Other things are
// told apart by organism or, failing that, by the scout's words.
type episodeKey struct {
	Place
	cause      Cause
	other      string
	generation int
}

func otherKey(f Find) string {
	if f.Cause != Other {
		return ""
	}
	return strings.ToLower(strings.Join(strings.Fields(cmp.Or(f.Organism, f.Words)), " "))
}

// Episodes links a block's finds, each plant and cause one; finds without row
// and plant are in none. zone says which year a moment belongs to. The result
// is ordered by row, plant, cause and first find.
func Episodes(finds map[records.ID]Find, removals []Removal, rows []blocks.Row, zone *time.Location) []Episode {
	replants := replantDays(rows, zone)
	byKey := map[episodeKey][]Seen{}
	for id, f := range finds {
		if f.Row == 0 || f.Plant == 0 {
			continue
		}
		k := episodeKey{Place{f.Row, f.Plant}, f.Cause, otherKey(f), 1}
		for _, day := range replants[k.Place] {
			if !f.FoundAt.Before(day) {
				k.generation++
			}
		}
		byKey[k] = append(byKey[k], Seen{ID: id, Find: f})
	}
	out := make([]Episode, 0, len(byKey))
	for k, seen := range byKey {
		e := episode(k, seen, zone)
		if days := replants[k.Place]; k.generation <= len(days) {
			e.Replanted = days[k.generation-1]
		}
		out = append(out, e)
	}
	slices.SortFunc(out, compareEpisodes)
	markRemoved(out, removals, zone)
	return out
}

func compareEpisodes(a, b Episode) int {
	return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Plant, b.Plant), cmp.Compare(slices.Index(Causes, a.Cause), slices.Index(Causes, b.Cause)),
		a.First().Compare(b.First()), cmp.Compare(a.Finds[0].ID, b.Finds[0].ID))
}

func episode(k episodeKey, seen []Seen, zone *time.Location) Episode {
	slices.SortFunc(seen, func(a, b Seen) int { return cmp.Or(a.Find.FoundAt.Compare(b.Find.FoundAt), cmp.Compare(a.ID, b.ID)) })
	e := Episode{Place: k.Place, Cause: k.cause, Finds: seen, Generation: k.generation, State: Refuted}
	for i := range seen {
		f := seen[i].Find
		seen[i].Again = i > 0
		e.State = stronger(e.State, f.State)
		if f.Organism != "" {
			e.Organism = f.Organism
		}
		if f.Severity != nil {
			e.Severity = f.Severity
		}
		if year := f.FoundAt.In(zone).Year(); !slices.Contains(e.Seasons, year) {
			e.Seasons = append(e.Seasons, year)
		}
	}
	slices.Sort(e.Seasons)
	return e
}

// stronger: a proof outweighs a suspicion; a refuted find says nothing against
// another one of the same plant.
func stronger(a, b State) State {
	order := []State{Refuted, Suspected, Sampled, Confirmed}
	if slices.Index(order, b) > slices.Index(order, a) {
		return b
	}
	return a
}

// replantDays are the days plants were set anew, ascending, the first of a month
// or year where no more is known; each day's midnight
// in the farm's zone.
func replantDays(rows []blocks.Row, zone *time.Location) map[Place][]time.Time {
	days := map[Place][]time.Time{}
	for _, r := range rows {
		for _, p := range r.Replanted {
			at := Place{r.Number, p.Plant}
			days[at] = append(days[at], time.Date(p.On.Year, max(p.On.Month, 1), max(p.On.Day, 1), 0, 0, 0, 0, zone))
		}
	}
	for _, all := range days {
		slices.SortFunc(all, time.Time.Compare)
	}
	return days
}

func dayIn(day time.Time, zone *time.Location) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, zone)
}

// markRemoved says of each episode when its plant was taken out: by the first
// removal on or after the day it began, before another plant was set there.
func markRemoved(episodes []Episode, removals []Removal, zone *time.Location) {
	type taken struct {
		on       time.Time
		regrowth bool
	}
	out := map[Place][]taken{}
	for _, m := range removals {
		if m.DoneOn.IsZero() {
			continue
		}
		regrown := m.Regrown()
		for _, p := range m.Plants {
			_, back := regrown[p]
			out[p] = append(out[p], taken{dayIn(m.DoneOn, zone), back})
		}
	}
	for i := range episodes {
		e := &episodes[i]
		for _, t := range out[e.Place] {
			ended := t.on.AddDate(0, 0, 1)
			if !e.First().Before(ended) || !e.Replanted.IsZero() && t.on.After(e.Replanted) {
				continue
			}
			if e.Removed.IsZero() || t.on.Before(e.Removed) {
				e.Removed = t.on
			}
			e.Regrowth = e.Regrowth || t.regrowth || !e.Last().Before(ended)
		}
	}
}

// LookAgain are the plants to look at again in a season: those that stand, or
// whose place was not planted anew, with a find that was not refuted in one of
// the two seasons before, and every confirmed plant that was not taken out. A
// plant confirmed once stays so; a clean spring clears nothing (trade notes 2.1;
// two springs after the last find are our own reading of them).
func LookAgain(episodes []Episode, season int) []Episode {
	var out []Episode
	for _, e := range episodes {
		if !e.Live() || e.Seasons[0] >= season {
			continue
		}
		before := 0
		for _, year := range e.Seasons {
			if year < season {
				before = year
			}
		}
		if before >= season-springs || e.State == Confirmed && e.Removed.IsZero() {
			out = append(out, e)
		}
	}
	return out
}

// springs is how many springs after the last find a plant is looked at again.
const springs = 2
