package web

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"caneward/records"
)

// histories is how many random seasons of phones are lived through; SOAK=1
// lives through all of them.
const (
	histories       = 100
	historiesSoaked = 10_000
)

// phone is what a scout's phone knows: what waits to be sent, in order, and what
// it was told last of each record.
type phone struct {
	waiting []entryOf
	known   map[records.ID]int // revision, of what it was told
	dead    map[records.ID]bool
	after   int64
	sent    [][]entryOf // batches that once went out, to come again late
}

// entryOf is one change on its way.
type entryOf struct {
	ID     records.ID
	Word   string // the find's words; "" deletes
	Base   int
	Author int
}

// ledger is the plain model of the farm: every revision's words, "" for a
// closing one.
type ledger map[records.ID][]string

// take applies a change as the contract says it: revision base + 1 with equal
// content is a repeat, base equal to the newest is taken, anything else is a
// conflict. It answers the status and, when stored, the revision.
func (l ledger) take(e entryOf) (int, int) {
	h := l[e.ID]
	switch {
	case e.Base < len(h) && h[e.Base] == e.Word:
		return 200, e.Base + 1
	case e.Word == "" && (len(h) == 0 || h[len(h)-1] == ""):
		return 404, 0 // a delete that finds nothing
	case e.Base == len(h):
		l[e.ID] = append(h, e.Word)
		if e.Base == 0 {
			return 201, 1
		}
		return 200, e.Base + 1
	case e.Base == 0:
		return 409, 0
	}
	return 412, 0
}

// Two to four phones write to one block; batches are lost, answers are lost,
// batches come twice and late. In the end every store holds what the plain
// model holds, and every change a phone was told is stored stands in its
// record's history, once.
func TestSyncAgainstAPlainModel(t *testing.T) {
	t.Parallel()
	rounds := histories
	if os.Getenv("SOAK") != "" {
		rounds = historiesSoaked
	}
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("owner")
		s.make(c, "blocks", block(s.ids.New(), "Upper"))
		model := ledger{}
		sequence := int64(1) // the block
		changes := 0
		for round := range rounds {
			r := rand.New(rand.NewPCG(20261125, uint64(round)))
			phones := make([]*phone, 2+r.IntN(3))
			for i := range phones {
				phones[i] = &phone{known: map[records.ID]int{}, dead: map[records.ID]bool{}, after: sequence}
			}
			told := map[records.ID]map[int]string{}
			live := func(p *phone, batch []entryOf, heard bool) {
				answers := deliver(t, s, c, model, batch)
				for i, e := range batch {
					if heard && answers[i].status < 300 {
						if told[e.ID] == nil {
							told[e.ID] = map[int]string{}
						}
						told[e.ID][answers[i].revision] = e.Word
					}
				}
				if heard {
					p.hear(batch, answers)
				}
			}
			for range 10 + r.IntN(30) {
				i := r.IntN(len(phones))
				p := phones[i]
				switch k := r.IntN(10); {
				case k < 5:
					p.write(r, s, i)
					changes++
				case k < 8 && len(p.waiting) > 0:
					batch := slices.Clone(p.waiting[:1+r.IntN(len(p.waiting))])
					p.sent = append(p.sent, batch)
					switch r.IntN(5) {
					case 0: // lost on the way
					case 1:
						live(p, batch, false) // the answer is lost
					case 2:
						live(p, batch, false) // a proxy sends it twice
						live(p, batch, true)
					default:
						live(p, batch, true)
					}
				case k == 8 && len(p.sent) > 0: // an old batch comes late
					live(p, p.sent[r.IntN(len(p.sent))], false)
				default:
					p.catchUp(t, c)
				}
			}
			// Signal at last: everybody sends until nothing waits.
			for _, p := range phones {
				for tries := 0; len(p.waiting) > 0; tries++ {
					live(p, slices.Clone(p.waiting), true)
					if tries > 50 {
						t.Fatalf("round %d: %d changes wait for ever", round, len(p.waiting))
					}
				}
			}
			for id, revisions := range told {
				for number, word := range revisions {
					if number > len(model[id]) || model[id][number-1] != word {
						t.Fatalf("round %d: a phone was told that %q is revision %d of %s; the history is %q", round, word, number, id, model[id])
					}
				}
			}
			sequence = c.sequence(t)
		}
		compare(t, s, c, model)
		t.Logf("%d histories, %d changes, %d records", rounds, changes, len(model))
	})
}

func (c *client) sequence(t *testing.T) int64 {
	t.Helper()
	var page struct{ Sequence int64 }
	must(t, json.Unmarshal(c.do("GET", "/farms/mine/changes?after=0&limit=1", nil).body, &page))
	return page.Sequence
}

// write queues a new find, an edit or a removal of one the phone knows.
func (p *phone) write(r *rand.Rand, s *site, who int) {
	var mine []records.ID
	for id := range p.known {
		if !p.dead[id] {
			mine = append(mine, id)
		}
	}
	slices.Sort(mine)
	e := entryOf{ID: s.ids.New(), Word: fmt.Sprintf("phone %d saw %d", who, r.IntN(1_000_000)), Author: who}
	if len(mine) > 0 && r.IntN(2) == 0 {
		e.ID = mine[r.IntN(len(mine))]
		e.Base = p.known[e.ID]
		if r.IntN(5) == 0 {
			e.Word = ""
			p.dead[e.ID] = true
		}
	}
	// What the phone itself has queued counts as known.
	p.known[e.ID] = e.Base + 1
	p.waiting = append(p.waiting, e)
}

type answer struct{ status, revision, current int }

// deliver sends a batch to the server and to the model, which must answer alike.
func deliver(t *testing.T, s *site, c *client, model ledger, batch []entryOf) []answer {
	t.Helper()
	changes := make([]any, len(batch))
	for i, e := range batch {
		if e.Word == "" {
			changes[i] = map[string]any{"op": "delete", "kind": "finds", "id": e.ID, "base": e.Base}
			continue
		}
		changes[i] = put("finds", find(e.ID, e.Word, "2026-05-04T08:00:00-04:00"), e.Base)
	}
	out := c.send(t, changes...)
	answers := make([]answer, len(batch))
	for i, e := range batch {
		got := out.Outcomes[i]
		status, revision := model.take(e)
		if got.Status == 201 && status == 200 || got.Status == 200 && status == 201 {
			status = got.Status // whether a repeat says created or not is no matter here
		}
		if got.Status != status || got.Revision != revision {
			t.Fatalf("%+v: answered %d, revision %d; the model says %d, %d (history %q)", e, got.Status, got.Revision, status, revision, model[e.ID])
		}
		answers[i] = answer{got.Status, got.Revision, got.Current}
	}
	return answers
}

// hear takes in the answers: what is stored leaves the queue; what conflicts is
// given up, with everything queued on top of it.
func (p *phone) hear(batch []entryOf, answers []answer) {
	given := map[records.ID]bool{}
	for i, e := range batch {
		if answers[i].status >= 300 {
			given[e.ID] = true
			p.known[e.ID] = max(answers[i].current, 0)
			if p.known[e.ID] == 0 {
				delete(p.known, e.ID)
			}
		}
	}
	sent := len(batch)
	rest := p.waiting[:0:0]
	for i, e := range p.waiting {
		if i < sent && slices.Contains(batch, e) || given[e.ID] {
			continue
		}
		rest = append(rest, e)
	}
	p.waiting = rest
}

// catchUp reads what others wrote; what waits here keeps its own base.
func (p *phone) catchUp(t *testing.T, c *client) {
	t.Helper()
	g := c.do("GET", fmt.Sprintf("/farms/mine/changes?after=%d&limit=200", p.after), nil)
	var page struct {
		Changes []struct {
			Sequence int64
			Kind     string
			ID       records.ID
			Revision int
			Deleted  bool
		}
		Sequence int64
	}
	must(t, json.Unmarshal(g.body, &page))
	queued := map[records.ID]bool{}
	for _, e := range p.waiting {
		queued[e.ID] = true
	}
	for _, change := range page.Changes {
		p.after = change.Sequence
		if change.Kind == "finds" && !queued[change.ID] {
			p.known[change.ID] = change.Revision
			p.dead[change.ID] = change.Deleted
		}
	}
}

// compare holds every record's history against the model's.
func compare(t *testing.T, s *site, c *client, model ledger) {
	t.Helper()
	must(t, s.srv.Store.View(t.Context(), "mine", func(r records.Reader) error {
		n := 0
		for id, want := range model {
			history, err := r.Revisions(records.Finds, id)
			if err != nil {
				return err
			}
			if len(history) != len(want) {
				t.Errorf("%s has %d revisions, the model %d", id, len(history), len(want))
				continue
			}
			for i, rev := range history {
				var p struct{ Name string }
				if !rev.Deleted {
					if err := json.Unmarshal(rev.Record.Properties, &p); err != nil {
						return err
					}
				}
				if p.Name != want[i] {
					t.Errorf("%s revision %d says %q, the model %q", id, i+1, p.Name, want[i])
				}
			}
			n += len(want)
		}
		if got := int(r.Sequence()) - 1; got != n {
			t.Errorf("the farm holds %d revisions of finds, the model %d", got, n)
		}
		return nil
	}))
}
