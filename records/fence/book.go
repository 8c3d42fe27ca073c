package fence

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"sort"
	"strings"
	"sync"

	"caneward/records"
	"caneward/records/people"
)

// line is one entry of a limited member's feed: the farm's revision number "of"
// came into sight, or its record went out of it, when the farm stood at "at".
type line struct {
	at, of int64
	gone   bool
}

// place is the number of the last line of a revision, 0 for none.
func place(lines []line, of int64) int64 {
	// Lines follow the farm's sequence by at; a revision's own line has at == of.
	i := sort.Search(len(lines), func(i int) bool { return lines[i].at >= of })
	for ; i < len(lines) && lines[i].at == of; i++ {
		if lines[i].of == of {
			return int64(i) + 1
		}
	}
	for i := len(lines) - 1; i >= 0; i-- {
		if lines[i].of == of {
			return int64(i) + 1
		}
	}
	return 0
}

// Books keep the feeds of limited members, per farm and limits. They grow with
// the farm's own feed.
type Books struct {
	lock  sync.Mutex
	books map[bookKey]*book
	used  []bookKey // longest unused first
}

type bookKey struct {
	farm   records.FarmID
	limits string
}

// booksMost bounds how many feeds are remembered; one that was dropped is read
// anew.
const booksMost = 64

// NewBooks gives an empty collection.
func NewBooks() *Books { return &Books{books: map[bookKey]*book{}} }

func (b *Books) of(farm records.FarmID, limits people.Limits) *book {
	k := bookKey{farm, limits.Key()}
	b.lock.Lock()
	defer b.lock.Unlock()
	if at := slices.Index(b.used, k); at >= 0 {
		b.used = slices.Delete(b.used, at, at+1)
	}
	b.used = append(b.used, k)
	if len(b.used) > booksMost {
		delete(b.books, b.used[0])
		b.used = slices.Delete(b.used, 0, 1)
	}
	if b.books[k] == nil {
		b.books[k] = &book{turn: make(chan struct{}, 1), known: map[records.ID]bool{}, seen: map[key]bool{},
			left: map[key]bool{}, followers: map[key]map[key]bool{}, newest: map[key]int64{}, photos: map[records.ID][]key{}}
	}
	return b.books[k]
}

// book is the feed of one farm under one set of limits.
type book struct {
	turn chan struct{} // one reads the farm's feed at a time

	lock      sync.RWMutex
	sequence  int64               // of the farm, up to which the lines go
	lines     []line              // only grows
	known     map[records.ID]bool // replaced, never changed, when a block comes
	seen      map[key]bool
	left      map[key]bool         // records that went out of sight once
	followers map[key]map[key]bool // of a find or pass: who followed it once
	newest    map[key]int64        // of a follower: its newest revision
	photos    map[records.ID][]key // by photo: records whose revisions name it
}

// upTo reads the farm's feed up to the reader's state and gives the lines and
// blocks of that state.
func (b *book) upTo(ctx context.Context, r records.Reader, s sight) ([]line, map[records.ID]bool, error) {
	select {
	case b.turn <- struct{}{}:
		defer func() { <-b.turn }()
	case <-ctx.Done():
		return nil, nil, ctx.Err()
	}
	for b.sequence < r.Sequence() {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		revisions, _, err := r.Since(b.sequence, listStep)
		if err != nil {
			return nil, nil, err
		}
		if err := b.take(r, s, revisions); err != nil {
			return nil, nil, err
		}
	}
	n := sort.Search(len(b.lines), func(i int) bool { return b.lines[i].at > r.Sequence() })
	return b.lines[:n:n], b.known, nil
}

// take adds a part of the feed.
func (b *book) take(r records.Reader, s sight, revisions []records.Revision) error {
	b.lock.Lock()
	defer b.lock.Unlock()
	known := maps.Clone(b.known)
	for _, rev := range revisions {
		if rev.Kind == records.Blocks {
			known[rev.ID] = true
		}
	}
	if len(known) > len(b.known) {
		b.known = known
	}
	s.known = b.known
	s.shown = func(kind records.Kind, id records.ID) (bool, error) { return b.seen[key{kind, id}], nil }
	for _, rev := range revisions {
		if err := b.one(r, s, rev, rev.Sequence); err != nil {
			return err
		}
		b.sequence = rev.Sequence
	}
	return nil
}

// one judges a revision when the farm stands at a sequence number, and those
// that follow its record.
func (b *book) one(r records.Reader, s sight, rev records.Revision, at int64) error {
	k := key{rev.Kind, rev.ID}
	was, now := b.seen[k], false
	if k.kind == records.Samples || k.kind == records.Tracks {
		b.newest[k] = rev.Sequence
	}
	if !rev.Deleted {
		var err error
		if now, err = s.sees(rev); err != nil {
			return err
		}
		b.note(rev, k)
	}
	switch {
	case now:
		b.seen[k] = true
		b.lines = append(b.lines, line{at: at, of: rev.Sequence})
	case was:
		delete(b.seen, k)
		b.left[k] = true
		b.lines = append(b.lines, line{at: at, of: rev.Sequence, gone: true})
	}
	if now == was {
		return nil
	}
	for _, f := range slices.SortedFunc(maps.Keys(b.followers[k]), byID) {
		if b.seen[f] == now {
			continue
		}
		revisions, _, err := r.Since(b.newest[f]-1, 1)
		if err != nil {
			return err
		}
		if err := b.one(r, s, revisions[0], at); err != nil {
			return err
		}
	}
	return nil
}

func byID(a, b key) int {
	return cmp.Or(strings.Compare(string(a.id), string(b.id)), strings.Compare(string(a.kind), string(b.kind)))
}

// note remembers what a revision follows and which ids it names: some are
// photos.
func (b *book) note(rev records.Revision, k key) {
	for _, lead := range leadersOf(rev) {
		if b.followers[lead] == nil {
			b.followers[lead] = map[key]bool{}
		}
		b.followers[lead][k] = true
	}
	for _, id := range photosOf(rev) {
		if !slices.Contains(b.photos[id], k) {
			b.photos[id] = append(b.photos[id], k)
		}
	}
}

func (b *book) naming(photo records.ID) []key {
	b.lock.RLock()
	defer b.lock.RUnlock()
	return slices.Clone(b.photos[photo])
}

func (b *book) everLeft(k key) bool {
	b.lock.RLock()
	defer b.lock.RUnlock()
	return b.left[k]
}
