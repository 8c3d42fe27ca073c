package fence

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/records"
	"caneward/records/memory"
	"caneward/records/people"
)

var bg = context.Background()

// plot is a farm of two blocks, of which a member may see "open".
type plot struct {
	t            *testing.T
	random       *rand.Rand
	ids          *records.IDs
	store        *memory.Store
	open, closed records.ID
	member       people.Membership
	made         map[records.Kind][]records.ID
}

type fixedBytes struct{ r *rand.Rand }

func (f fixedBytes) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = byte(f.r.IntN(256))
	}
	return len(b), nil
}

func newPlot(t *testing.T, seed uint64) *plot {
	random := rand.New(rand.NewPCG(seed, 8))
	p := &plot{t: t, random: random, store: memory.New(time.Now), ids: records.NewIDs(time.Now, fixedBytes{random}), made: map[records.Kind][]records.ID{}}
	if err := p.store.CreateFarm(bg, records.Farm{ID: "f", Zone: "America/Chicago"}); err != nil {
		t.Fatal(err)
	}
	p.open, p.closed = p.ids.New(), p.ids.New()
	p.member = people.Membership{Person: p.ids.NewPerson(), Farm: "f", Role: records.Adviser, Limits: people.Limits{Blocks: []records.ID{p.open}}}
	p.write(records.Blocks, p.open, `{"name":"open"}`, 0)
	p.write(records.Blocks, p.closed, `{"name":"closed"}`, 0)
	return p
}

func (p *plot) write(kind records.Kind, id records.ID, properties string, base int) records.Outcome {
	p.t.Helper()
	w := records.Write{Kind: kind, ID: id, Base: base, Record: records.Record{Properties: []byte(properties), Geometry: geo.Geometry{Flat: orb.Point{1, 2}}}}
	if properties == "" {
		w.Delete, w.Record = true, records.Record{}
	}
	out, err := p.store.Write(bg, "f", []records.Write{w})
	if err != nil {
		p.t.Fatal(err)
	}
	return out[0]
}

func (p *plot) pick(kind records.Kind) records.ID {
	if all := p.made[kind]; len(all) > 0 {
		return all[p.random.IntN(len(all))]
	}
	return p.ids.New()
}

// step changes something: finds move between the blocks, samples follow finds,
// tracks follow passes, records are closed and come back.
func (p *plot) step() {
	kinds := []records.Kind{records.Finds, records.Finds, records.Samples, records.Passes, records.Tracks, records.Surroundings}
	kind := kinds[p.random.IntN(len(kinds))]
	id := p.pick(kind)
	if p.random.IntN(3) == 0 {
		id = p.ids.New()
		p.made[kind] = append(p.made[kind], id)
	}
	block := p.open
	if p.random.IntN(2) == 0 {
		block = p.closed
	}
	var properties string
	switch kind {
	case records.Finds:
		properties = fmt.Sprintf(`{"block":%q,"n":%d}`, block, p.random.Int())
	case records.Passes:
		properties = fmt.Sprintf(`{"blocks":[%q],"n":%d}`, block, p.random.Int())
		if p.random.IntN(3) == 0 {
			properties = fmt.Sprintf(`{"blocks":[%q,%q],"n":%d}`, p.open, p.closed, p.random.Int())
		}
	case records.Samples:
		properties = fmt.Sprintf(`{"finds":[%q],"n":%d}`, p.pick(records.Finds), p.random.Int())
	case records.Tracks:
		properties = fmt.Sprintf(`{"pass":%q,"n":%d}`, p.pick(records.Passes), p.random.Int())
	case records.Surroundings:
		properties = fmt.Sprintf(`{"kind":"water","n":%d}`, p.random.Int())
	}
	if p.random.IntN(6) == 0 {
		properties = ""
	}
	p.write(kind, id, properties, records.Any)
}

// visible says by the plain rule, from the whole farm, which records are seen.
func (p *plot) visible() map[records.ID]string {
	all := map[records.ID]string{}
	err := p.store.View(bg, "f", func(r records.Reader) error {
		current := func(kind records.Kind) []records.Revision {
			page, err := r.List(kind, records.Query{})
			if err != nil {
				p.t.Fatal(err)
			}
			return page.Revisions
		}
		for _, rev := range current(records.Blocks) {
			if rev.ID == p.open {
				all[rev.ID] = string(rev.Record.Properties)
			}
		}
		for _, kind := range []records.Kind{records.Finds, records.Passes, records.Surroundings} {
			for _, rev := range current(kind) {
				if !strings.Contains(string(rev.Record.Properties), string(p.closed)) {
					all[rev.ID] = string(rev.Record.Properties)
				}
			}
		}
		for _, kind := range []records.Kind{records.Samples, records.Tracks} {
			for _, rev := range current(kind) {
				var props struct {
					Finds []records.ID
					Pass  records.ID
				}
				if err := json.Unmarshal(rev.Record.Properties, &props); err != nil {
					p.t.Fatal(err)
				}
				if _, seen := all[append(props.Finds, props.Pass)[0]]; seen {
					all[rev.ID] = string(rev.Record.Properties)
				}
			}
		}
		return nil
	})
	if err != nil {
		p.t.Fatal(err)
	}
	return all
}

// phone follows the feed as a phone does.
type phone struct {
	sequence int64
	held     map[records.ID]string
}

func (ph *phone) pull(t *testing.T, r records.Reader, step int) {
	t.Helper()
	for more := true; more; {
		revisions, others, err := r.Since(ph.sequence, step)
		if err != nil {
			t.Fatal(err)
		}
		for _, rev := range revisions {
			if rev.Sequence != ph.sequence+1 {
				t.Fatalf("the feed goes from %d to %d: a gap tells of what is not seen", ph.sequence, rev.Sequence)
			}
			ph.sequence = rev.Sequence
			if rev.Deleted {
				delete(ph.held, rev.ID)
			} else {
				ph.held[rev.ID] = string(rev.Record.Properties)
			}
		}
		more = others
	}
	if ph.sequence != r.Sequence() {
		t.Fatalf("the feed ends at %d, the farm stands at %d", ph.sequence, r.Sequence())
	}
}

// Random histories: after any of them a limited member lists exactly what the
// plain rule gives, a phone that followed the feed holds exactly that, whenever
// it asked, one that begins anew as well, and no answer ever names the other
// block.
func TestHistories(t *testing.T) {
	rounds := 150
	if os.Getenv("SOAK") != "" {
		rounds = 2000
	}
	for seed := range uint64(rounds) {
		p := newPlot(t, seed)
		books := NewBooks()
		limited := books.Store(p.store, p.member)
		follower := &phone{held: map[records.ID]string{}}
		for range 60 {
			p.step()
			if p.random.IntN(5) > 0 {
				continue
			}
			want := p.visible()
			err := limited.View(bg, "f", func(r records.Reader) error {
				listed := map[records.ID]string{}
				for _, kind := range records.Kinds {
					var after records.ID
					n := 0
					for more := true; more; {
						page, err := r.List(kind, records.Query{After: after, Limit: 1 + p.random.IntN(4)})
						if err != nil {
							return err
						}
						for _, rev := range page.Revisions {
							listed[rev.ID] = string(rev.Record.Properties)
							after = rev.ID
							n++
							if one, err := r.Current(kind, rev.ID); err != nil || one.Hash != rev.Hash || one.Sequence < 1 || one.Sequence > r.Sequence() {
								t.Fatalf("seed %d: Current of a listed record: %+v, %v", seed, one, err)
							}
						}
						more = page.More
					}
					if counted, err := r.Count(kind, records.Query{}); err != nil || counted != n {
						t.Fatalf("seed %d: %s counted %d, %v, listed %d", seed, kind, counted, err, n)
					}
				}
				if !maps.Equal(listed, want) {
					t.Fatalf("seed %d: listed %v\nwant %v", seed, listed, want)
				}
				follower.pull(t, r, 1+p.random.IntN(7))
				anew := &phone{held: map[records.ID]string{}}
				anew.pull(t, r, 3)
				if !maps.Equal(follower.held, want) || !maps.Equal(anew.held, want) {
					t.Fatalf("seed %d: a phone holds %v\nanew %v\nwant %v", seed, follower.held, anew.held, want)
				}
				revisions, _, err := r.Since(0, 0)
				if err != nil {
					return err
				}
				for _, rev := range revisions {
					if strings.Contains(string(rev.Record.Properties), string(p.closed)) || rev.ID == p.closed {
						t.Fatalf("seed %d: the feed names the closed block: %+v", seed, rev)
					}
					history, err := r.Revisions(rev.Kind, rev.ID)
					if err != nil && !fault.Is(err, fault.Missing) {
						return err
					}
					for _, h := range history {
						if strings.Contains(string(h.Record.Properties), string(p.closed)) {
							t.Fatalf("seed %d: a revision names the closed block: %+v", seed, h)
						}
					}
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		// A feed read in one go is the feed read bit by bit.
		once := NewBooks().of("f", p.member.Limits)
		bits := books.of("f", p.member.Limits)
		p.store.View(bg, "f", func(r records.Reader) error {
			a, _, err := once.upTo(bg, r, sight{limits: p.member.Limits, zone: time.UTC})
			if err != nil {
				t.Fatal(err)
			}
			b, _, err := bits.upTo(bg, r, sight{limits: p.member.Limits, zone: time.UTC})
			if err != nil || !slices.Equal(a, b) {
				t.Fatalf("seed %d: in one go %v\nbit by bit %v, %v", seed, a, b, err)
			}
			return nil
		})
	}
}

// A limited member writes within the limits and nowhere else; a record that is
// not seen is not overwritten, by no base.
func TestWrites(t *testing.T) {
	p := newPlot(t, 1)
	limited := NewBooks().Store(p.store, p.member)
	hidden, shown := p.ids.New(), p.ids.New()
	p.write(records.Finds, hidden, fmt.Sprintf(`{"block":%q}`, p.closed), 0)
	p.write(records.Finds, shown, fmt.Sprintf(`{"block":%q}`, p.open), 0)
	find := func(block records.ID) records.Record {
		return records.Record{Properties: fmt.Appendf(nil, `{"block":%q,"more":1}`, block)}
	}
	sample := func(find records.ID) records.Record {
		return records.Record{Properties: fmt.Appendf(nil, `{"finds":[%q]}`, find)}
	}
	fresh := p.ids.New()
	writes := []records.Write{
		{Kind: records.Finds, ID: p.ids.New(), Record: find(p.closed)},
		{Kind: records.Finds, ID: hidden, Base: records.Any, Record: find(p.open)},
		{Kind: records.Finds, ID: hidden, Base: 1, Record: find(p.open)},
		{Kind: records.Finds, ID: hidden, Base: 1, Delete: true},
		{Kind: records.Finds, ID: shown, Base: 1, Record: find(p.closed)},
		{Kind: records.Samples, ID: p.ids.New(), Record: sample(hidden)},
		{Kind: records.Blocks, ID: p.closed, Base: 1, Record: records.Record{Properties: []byte(`{}`)}},
		{Kind: records.Finds, ID: fresh, Record: find(p.open)},
		{Kind: records.Samples, ID: p.ids.New(), Record: sample(fresh)},
		{Kind: records.Finds, ID: shown, Base: 1, Record: find(p.open)},
	}
	outcomes, err := limited.Write(bg, "f", writes)
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range outcomes {
		if refused := fault.Is(o.Err, fault.Forbidden); refused != (i < 7) || !refused && o.Err != nil {
			t.Errorf("write %d, %+v: %v, want refused %v", i, writes[i], o.Err, i < 7)
		}
	}
	together, err := limited.WriteTogether(bg, "f", []records.Write{
		{Kind: records.Finds, ID: p.ids.New(), Record: find(p.open)},
		{Kind: records.Finds, ID: p.ids.New(), Record: find(p.closed)},
	})
	if err != nil || together[0].Revision.Number != 0 || !fault.Is(together[1].Err, fault.Forbidden) {
		t.Errorf("together: %+v, %v, want nothing stored", together, err)
	}
}

// A season is a calendar year in the farm's zone; a bare day counts by its date.
func TestSeasons(t *testing.T) {
	p := newPlot(t, 2)
	p.member.Limits = people.Limits{Seasons: []int{2026}}
	limited := NewBooks().Store(p.store, p.member)
	for _, c := range []struct {
		name       string
		kind       records.Kind
		properties string
		seen       bool
	}{
		{"in the year", records.Finds, `{"found_at":"2026-05-01T12:00:00-05:00"}`, true},
		{"the last evening before, in the zone", records.Finds, `{"found_at":"2026-01-01T03:00:00Z"}`, false},
		{"the last evening, in the zone", records.Finds, `{"found_at":"2027-01-01T03:00:00Z"}`, true},
		{"New Year's Day as a day", records.Removals, `{"done_on":"2026-01-01"}`, true},
		{"New Year's Eve as a day", records.Removals, `{"done_on":"2025-12-31"}`, false},
		{"the day after", records.Removals, `{"done_on":"2027-01-01"}`, false},
		{"over the turn", records.Passes, `{"started_at":"2025-12-31T22:00:00-06:00","ended_at":"2026-01-01T02:00:00-06:00"}`, true},
		{"no time", records.Finds, `{}`, false},
		{"a row has none", records.Rows, `{}`, true},
	} {
		id := p.ids.New()
		p.write(c.kind, id, c.properties, 0)
		err := limited.View(bg, "f", func(r records.Reader) error { _, err := r.Current(c.kind, id); return err })
		if (err == nil) != c.seen {
			t.Errorf("%s, %s: %v, want seen %v", c.name, c.properties, err, c.seen)
		}
	}
}

// A picture is seen through the records that name it, and by who took it.
func TestPhotos(t *testing.T) {
	p := newPlot(t, 3)
	limited := NewBooks().Store(p.store, p.member)
	png := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00\x3a\x7e\x9b\x55")
	keep := func(by records.PersonID) records.ID {
		id := p.ids.New()
		if _, err := p.store.PutPhoto(bg, "f", records.Photo{ID: id, Type: "image/png", Data: png, By: records.Author{Person: by}}); err != nil {
			t.Fatal(err)
		}
		return id
	}
	other := p.ids.NewPerson()
	mine, open, closed, unnamed := keep(p.member.Person), keep(other), keep(other), keep(other)
	p.write(records.Finds, p.ids.New(), fmt.Sprintf(`{"block":%q,"photos":[%q]}`, p.open, open), 0)
	p.write(records.Finds, p.ids.New(), fmt.Sprintf(`{"block":%q,"photos":[%q]}`, p.closed, closed), 0)
	for id, want := range map[records.ID]bool{mine: true, open: true, closed: false, unnamed: false, p.ids.New(): false} {
		if _, err := limited.Photo(bg, "f", id); (err == nil) != want || err != nil && err.Error() != records.PhotoMissing().Error() {
			t.Errorf("photo %s: %v, want seen %v", id, err, want)
		}
	}
	n := 0
	if err := limited.EachPhoto(bg, "f", func(records.Photo) error { n++; return nil }); err != nil || n != 2 {
		t.Errorf("EachPhoto gave %d, %v, want 2", n, err)
	}
}

// Reading a part of a large farm costs about what that part costs: printed, not
// asserted.
func BenchmarkListOfOneBlock(b *testing.B) {
	store := memory.New(time.Now)
	if err := store.CreateFarm(bg, records.Farm{ID: "f", Zone: "America/Chicago"}); err != nil {
		b.Fatal(err)
	}
	ids := records.NewIDs(time.Now, fixedBytes{rand.New(rand.NewPCG(1, 1))})
	blocks := make([]records.ID, 20)
	for i := range blocks {
		blocks[i] = ids.New()
	}
	var writes []records.Write
	for i := range 20_000 {
		writes = append(writes, records.Write{Kind: records.Finds, ID: ids.New(), Record: records.Record{Properties: fmt.Appendf(nil, `{"block":%q,"n":%d}`, blocks[i%20], i)}})
	}
	if _, err := store.Write(bg, "f", writes); err != nil {
		b.Fatal(err)
	}
	limited := NewBooks().Store(store, people.Membership{Farm: "f", Role: records.Viewer, Limits: people.Limits{Blocks: blocks[:1]}})
	for b.Loop() {
		err := limited.View(bg, "f", func(r records.Reader) error {
			n, err := r.Count(records.Finds, records.Query{})
			if n != 1000 {
				b.Fatalf("counted %d, %v", n, err)
			}
			return err
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}
