package storetest

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/records"
	"caneward/records/memory"
)

// modelSteps random operations are run on the store and on the memory store
// with one seed, and every answer is compared.
const modelSteps = 3000

func testModel(t *testing.T, s Store) {
	model := memory.New(time.Now)
	random := rand.New(rand.NewPCG(2026, 7))
	g := ids(40)
	farms := []records.FarmID{"one", "two", "three"}
	for _, f := range farms {
		farm(t, s, f)
		farm(t, model, f)
	}
	kinds := []records.Kind{records.Finds, records.Visits, records.Blocks}
	var known []records.ID
	for range 30 {
		known = append(known, g.New())
	}
	for step := range modelSteps {
		f := farms[random.IntN(len(farms))]
		if random.IntN(4) > 0 {
			batch := randomBatch(random, kinds, known)
			got, want := write(t, s, f, batch...), write(t, model, f, batch...)
			for i := range batch {
				if d := outcomeDifference(got[i], want[i]); d != "" {
					t.Fatalf("step %d, write %d %+v: %s", step, i+1, batch[i], d)
				}
			}
			continue
		}
		kind, q := kinds[random.IntN(len(kinds))], randomQuery(random, known)
		var got, want answer
		view(t, s, f, func(r records.Reader) { got = ask(r, kind, q, known[random.IntN(len(known))]) })
		random2 := got.id
		view(t, model, f, func(r records.Reader) { want = ask(r, kind, q, random2) })
		if d := got.difference(want); d != "" {
			t.Fatalf("step %d, %s %+v box %v: %s", step, kind, q, q.Box, d)
		}
	}
	for _, f := range farms {
		checkChain(t, s, f)
	}
}

func randomShape(random *rand.Rand) geo.Geometry {
	at := func() orb.Point { return orb.Point{float64(random.IntN(8)), float64(random.IntN(8))} }
	switch random.IntN(5) {
	case 0:
		return geo.Geometry{}
	case 1:
		return geo.Geometry{Flat: orb.LineString{at(), at(), at()}}
	case 2:
		a := at()
		return geo.Geometry{Flat: orb.Polygon{{a, {a[0] + 2, a[1]}, {a[0] + 1, a[1] + 3}, a}}}
	}
	return geo.Geometry{Flat: at()}
}

func randomBatch(random *rand.Rand, kinds []records.Kind, known []records.ID) []records.Write {
	var batch []records.Write
	for range 1 + random.IntN(4) {
		w := records.Write{
			Kind: kinds[random.IntN(len(kinds))], ID: known[random.IntN(len(known))],
			Base: random.IntN(6) - 1, Delete: random.IntN(5) == 0, By: author,
		}
		w.Record.Geometry = randomShape(random)
		day := 1 + random.IntN(9)
		w.Record.Properties = fmt.Appendf(nil, `{"state":"s%d","block":%q,"found_at":"2026-05-0%dT00:00:00Z","started_at":"2026-05-0%dT08:00:00Z"}`,
			random.IntN(3), known[random.IntN(3)], day, day)
		batch = append(batch, w)
	}
	return batch
}

func randomQuery(random *rand.Rand, known []records.ID) records.Query {
	var q records.Query
	if random.IntN(2) == 0 {
		west, south := float64(random.IntN(16))/2, float64(random.IntN(16))/2
		q.Box = box(west, south, west+float64(random.IntN(8))/2, south+float64(random.IntN(8))/2)
	}
	if random.IntN(3) == 0 {
		q.From = time.Date(2026, 5, 1+random.IntN(9), 0, 0, 0, 0, time.UTC)
	}
	if random.IntN(3) == 0 {
		q.To = time.Date(2026, 5, 12+random.IntN(9), 0, 0, 0, 0, time.UTC)
	}
	switch random.IntN(4) {
	case 0:
		q.Equal = map[string]string{"state": fmt.Sprintf("s%d", random.IntN(3))}
	case 1:
		q.Equal = map[string]string{"block": string(known[random.IntN(3)])}
	}
	if random.IntN(2) == 0 {
		q.Limit = 1 + random.IntN(6)
	}
	if random.IntN(3) == 0 {
		q.After = known[random.IntN(len(known))]
	}
	return q
}

func outcomeDifference(got, want records.Outcome) string {
	if got.Created != want.Created || got.Repeated != want.Repeated || got.Current != want.Current ||
		(got.Err == nil) != (want.Err == nil) || fault.KindOf(got.Err) != fault.KindOf(want.Err) {
		return fmt.Sprintf("got %+v, want %+v", got, want)
	}
	return stateDifference(got.Revision, want.Revision)
}

// stateDifference leaves out what two clocks tell.
func stateDifference(got, want records.Revision) string {
	got.At, want.At = time.Time{}, time.Time{}
	got.Hash, want.Hash = [32]byte{}, [32]byte{}
	return difference(got, want)
}

// answer is everything a reader says to one question.
type answer struct {
	id       records.ID
	sequence int64
	page     records.Page
	count    int
	history  []records.Revision
	current  records.Revision
	errs     [4]fault.Kind
}

func ask(r records.Reader, kind records.Kind, q records.Query, id records.ID) answer {
	a := answer{id: id, sequence: r.Sequence()}
	var errs [4]error
	a.page, errs[0] = r.List(kind, q)
	a.count, errs[1] = r.Count(kind, q)
	a.history, errs[2] = r.Revisions(kind, id)
	a.current, errs[3] = r.Current(kind, id)
	for i, err := range errs {
		a.errs[i] = -1
		if err != nil {
			a.errs[i] = fault.KindOf(err)
		}
	}
	return a
}

func (a answer) difference(b answer) string {
	if a.sequence != b.sequence || a.count != b.count || a.errs != b.errs || a.page.More != b.page.More ||
		len(a.page.Revisions) != len(b.page.Revisions) || len(a.history) != len(b.history) {
		return fmt.Sprintf("got %+v, want %+v", a, b)
	}
	for i := range a.page.Revisions {
		if d := stateDifference(a.page.Revisions[i], b.page.Revisions[i]); d != "" {
			return "listed: " + d
		}
	}
	for i := range a.history {
		if d := stateDifference(a.history[i], b.history[i]); d != "" {
			return "history: " + d
		}
	}
	return stateDifference(a.current, b.current)
}
