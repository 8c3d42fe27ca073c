// Package fence shows a member who is limited to chosen blocks and seasons a
// farm that holds nothing else: a store whose readers give what may be seen,
// whose feed counts only that, and which takes no write beyond it.
//
// A record belongs to the blocks its properties name, at any depth. It is seen
// when all of them are allowed and, for the kinds that stand on blocks, at least
// one is named. Samples follow their finds, tracks their pass. Surroundings and
// products stand on no block and are seen by everybody on the farm. A season is
// a calendar year in the farm's zone; blocks, rows, surroundings and products
// belong to every season.
package fence

import (
	"bytes"
	"context"
	"encoding/json"
	"slices"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/people"
)

// sight says which revisions a member may see.
type sight struct {
	limits people.Limits
	zone   *time.Location
	// known are the farm's blocks, seen or not, closed ones included.
	known map[records.ID]bool
	// shown reports whether a record that others follow is seen.
	shown func(records.Kind, records.ID) (bool, error)
}

// needsBlock are the kinds that stand on blocks.
var needsBlock = map[records.Kind]bool{
	records.Rows: true, records.Stages: true, records.Visits: true, records.Finds: true,
	records.Removals: true, records.Reviews: true, records.Passes: true,
}

// oneBlock are those whose property "block" names one, which stores narrow by.
var oneBlock = map[records.Kind]bool{
	records.Rows: true, records.Stages: true, records.Visits: true, records.Finds: true, records.Removals: true, records.Reviews: true,
}

// lasting are the kinds that belong to every season.
var lasting = map[records.Kind]bool{records.Blocks: true, records.Rows: true, records.Surroundings: true, records.Products: true}

func (s sight) allows(block records.ID) bool {
	if len(s.limits.Blocks) == 0 {
		return true
	}
	_, there := slices.BinarySearch(s.limits.Blocks, block) // Normal sorts them
	return there
}

// sees judges one revision that is not a closing one.
func (s sight) sees(rev records.Revision) (bool, error) {
	if len(s.limits.Seasons) > 0 && !lasting[rev.Kind] && !s.inSeason(rev) {
		return false, nil
	}
	if len(s.limits.Blocks) == 0 {
		return true, nil
	}
	if rev.Kind == records.Blocks && !s.allows(rev.ID) {
		return false, nil
	}
	if slices.ContainsFunc(blocksOf(rev), func(id records.ID) bool { return !s.allows(id) }) {
		return false, nil
	}
	named := 0
	for _, id := range idsIn(rev.Record.Properties) {
		if s.allows(id) {
			named++
		} else if s.known[id] {
			return false, nil
		}
	}
	if needsBlock[rev.Kind] {
		return named > 0, nil
	}
	return s.followed(rev, named > 0)
}

// followed judges samples by their finds and tracks by their pass: all of them
// must be seen. One that follows nothing must name a block.
func (s sight) followed(rev records.Revision, named bool) (bool, error) {
	leads := leadersOf(rev)
	if len(leads) == 0 {
		return named || rev.Kind != records.Samples && rev.Kind != records.Tracks, nil
	}
	for _, lead := range leads {
		if seen, err := s.shown(lead.kind, lead.id); err != nil || !seen {
			return false, err
		}
	}
	return true, nil
}

type key struct {
	kind records.Kind
	id   records.ID
}

// leadersOf are the records that a sample or a track follows.
func leadersOf(rev records.Revision) (leads []key) {
	var p struct {
		Finds []records.ID `json:"finds"`
		Pass  records.ID   `json:"pass"`
	}
	switch rev.Kind {
	case records.Samples:
		if json.Unmarshal(rev.Record.Properties, &p) != nil {
			return nil
		}
		for _, id := range p.Finds {
			leads = append(leads, key{records.Finds, id})
		}
	case records.Tracks:
		if json.Unmarshal(rev.Record.Properties, &p) == nil && p.Pass != "" {
			leads = append(leads, key{records.Passes, p.Pass})
		}
	}
	return leads
}

// blocksOf are those a record stands on by its properties "block" and "blocks",
// known or not.
func blocksOf(rev records.Revision) []records.ID {
	var p struct {
		Block, Blocks json.RawMessage
	}
	if json.Unmarshal(rev.Record.Properties, &p) != nil {
		return nil
	}
	var all []records.ID
	var one records.ID
	if len(p.Block) > 0 && json.Unmarshal(p.Block, &one) == nil && one != "" {
		all = append(all, one)
	}
	var several []records.ID
	if len(p.Blocks) > 0 && json.Unmarshal(p.Blocks, &several) == nil {
		all = append(all, several...)
	}
	return all
}

// photosOf are the pictures a record names.
func photosOf(rev records.Revision) []records.ID {
	var p struct {
		Photos []records.ID `json:"photos"`
	}
	if json.Unmarshal(rev.Record.Properties, &p) != nil {
		return nil
	}
	return p.Photos
}

// inSeason reports whether a record's own time meets a season. A day, which has
// no zone, counts by its date; a record without a time is in none.
func (s sight) inSeason(rev records.Revision) bool {
	f := records.FacetsOf(rev.Kind, rev.Record)
	if f.From.IsZero() {
		return false
	}
	year := func(t time.Time) int {
		if f.From.Equal(f.From.Truncate(day)) && f.To.Equal(f.To.Truncate(day).Add(day-time.Microsecond)) {
			return t.Year()
		}
		return t.In(s.zone).Year()
	}
	first, last := year(f.From), year(f.To)
	return slices.ContainsFunc(s.limits.Seasons, func(y int) bool { return y >= first && y <= last })
}

const day = 24 * time.Hour

// idLength is that of an id in its written form.
const idLength = 36

// idsIn finds every id in a text, without reading it as JSON: an id may stand
// at any depth, and as the name of a member.
func idsIn(text []byte) (ids []records.ID) {
	for at := 0; ; {
		quote := bytes.IndexByte(text[at:], '"')
		if quote < 0 {
			return ids
		}
		at += quote + 1
		if len(text)-at <= idLength || text[at+idLength] != '"' || text[at+8] != '-' {
			continue
		}
		if id, err := records.ParseID(string(text[at : at+idLength])); err == nil {
			ids = append(ids, id)
		}
	}
}

// store is one farm as one member may see it.
type store struct {
	inner  records.Store
	books  *Books
	limits people.Limits
	person records.PersonID
}

// Store gives the records of farms as a member with these limits may see them.
// It makes no farms and lists none. Without limits it is the store itself.
func (b *Books) Store(inner records.Store, m people.Membership) records.Store {
	if m.Limits.None() {
		return inner
	}
	return &store{inner: inner, books: b, limits: m.Limits.Normal(), person: m.Person}
}

// CreateFarm and Farms are for nobody who is limited.
func (s *store) CreateFarm(context.Context, records.Farm) error { return records.FarmMissing() }

// Farms gives none.
func (s *store) Farms(context.Context) ([]records.Farm, error) { return nil, nil }

// Close does nothing: the store below is another's.
func (s *store) Close() error { return nil }

// View implements records.Store.
func (s *store) View(ctx context.Context, farm records.FarmID, f func(records.Reader) error) error {
	return s.inner.View(ctx, farm, func(r records.Reader) error {
		seen, err := s.reader(ctx, r)
		if err != nil {
			return err
		}
		return f(seen)
	})
}

func (s *store) reader(ctx context.Context, r records.Reader) (*reader, error) {
	zone, err := time.LoadLocation(r.Farm().Zone)
	if err != nil {
		return nil, err
	}
	b := s.books.of(r.Farm().ID, s.limits)
	lines, known, err := b.upTo(ctx, r, sight{limits: s.limits, zone: zone})
	if err != nil {
		return nil, err
	}
	seen := &reader{ctx: ctx, inner: r, book: b, lines: lines}
	seen.sight = sight{limits: s.limits, zone: zone, known: known, shown: seen.showsNow}
	return seen, nil
}

// Write implements records.Store: a write that names what may not be seen, or
// meets a record that may not, is refused; the rest goes on.
func (s *store) Write(ctx context.Context, farm records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	return s.write(ctx, farm, writes, s.inner.Write)
}

// WriteTogether implements records.Store.
func (s *store) WriteTogether(ctx context.Context, farm records.FarmID, writes []records.Write) ([]records.Outcome, error) {
	return s.write(ctx, farm, writes, func(ctx context.Context, farm records.FarmID, good []records.Write) ([]records.Outcome, error) {
		if len(good) < len(writes) {
			return make([]records.Outcome, len(good)), nil
		}
		return s.inner.WriteTogether(ctx, farm, good)
	})
}

func (s *store) write(ctx context.Context, farm records.FarmID, writes []records.Write,
	pass func(context.Context, records.FarmID, []records.Write) ([]records.Outcome, error)) ([]records.Outcome, error) {
	outcomes := make([]records.Outcome, len(writes))
	var good []records.Write
	var places []int
	err := s.inner.View(ctx, farm, func(inner records.Reader) error {
		r, err := s.reader(ctx, inner)
		if err != nil {
			return err
		}
		within := map[key]bool{} // what earlier writes of the batch bring
		now := r.sight.shown
		r.sight.shown = func(kind records.Kind, id records.ID) (bool, error) {
			if seen, there := within[key{kind, id}]; there {
				return seen, nil
			}
			return now(kind, id)
		}
		for i, w := range writes {
			ok, err := r.takes(w)
			if err != nil {
				return err
			}
			if !ok {
				outcomes[i].Err = outside()
				continue
			}
			within[key{w.Kind, w.ID}] = !w.Delete
			good, places = append(good, w), append(places, i)
		}
		return nil
	})
	if err != nil || len(good) == 0 {
		return outcomes, err
	}
	stored, err := pass(ctx, farm, good)
	if err != nil {
		return nil, err
	}
	for k, o := range stored {
		outcomes[places[k]] = o
	}
	return outcomes, nil
}

// takes judges one write.
func (r *reader) takes(w records.Write) (bool, error) {
	history, err := r.inner.Revisions(w.Kind, w.ID)
	if err != nil && !fault.Is(err, fault.Missing) {
		return false, err
	}
	if len(history) > 0 {
		if seen, err := r.showsHistory(history); err != nil || !seen {
			return false, err
		}
	}
	if w.Delete {
		return true, nil
	}
	return r.sight.sees(records.Revision{Kind: w.Kind, ID: w.ID, Record: w.Record})
}

// PutPhoto implements records.Photos: a picture is its maker's until a record
// names it.
func (s *store) PutPhoto(ctx context.Context, farm records.FarmID, p records.Photo) (bool, error) {
	return s.inner.PutPhoto(ctx, farm, p)
}

// Photo implements records.Photos: one's own, and those that records name which
// may be seen.
func (s *store) Photo(ctx context.Context, farm records.FarmID, id records.ID) (records.Photo, error) {
	p, err := s.inner.Photo(ctx, farm, id)
	if err != nil {
		return records.Photo{}, err
	}
	err = s.inner.View(ctx, farm, func(inner records.Reader) error {
		r, err := s.reader(ctx, inner)
		if err != nil {
			return err
		}
		seen, err := r.seesPhoto(p, s.person)
		if err == nil && !seen {
			err = records.PhotoMissing()
		}
		return err
	})
	if err != nil {
		return records.Photo{}, err
	}
	return p, nil
}

// EachPhoto implements records.Photos.
func (s *store) EachPhoto(ctx context.Context, farm records.FarmID, f func(records.Photo) error) error {
	return s.inner.View(ctx, farm, func(inner records.Reader) error {
		r, err := s.reader(ctx, inner)
		if err != nil {
			return err
		}
		return s.inner.EachPhoto(ctx, farm, func(p records.Photo) error {
			seen, err := r.seesPhoto(p, s.person)
			if err != nil || !seen {
				return err
			}
			return f(p)
		})
	})
}

func (r *reader) seesPhoto(p records.Photo, person records.PersonID) (bool, error) {
	if p.By.Person == person {
		return true, nil
	}
	for _, k := range r.book.naming(p.ID) {
		rev, err := r.Current(k.kind, k.id)
		if fault.Is(err, fault.Missing) {
			continue
		}
		if err != nil {
			return false, err
		}
		if bytes.Contains(rev.Record.Properties, []byte(p.ID)) {
			return true, nil
		}
	}
	return false, nil
}
