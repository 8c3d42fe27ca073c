package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"caneward/geo"
	"caneward/records"
)

// Features are read and written in steps, so that a page of many long tracks
// ends where it would grow too large; the next link then leads on.
const (
	listStep  = 500
	wholeStep = 5000 // of a walk over all of a kind, where nothing is kept
	pageBytes = 24 << 20
)

// lister gives a list in steps, over one box or two.
type lister struct {
	r    records.Reader
	kind records.Kind
	ask  listAsk
}

// step gives at most n records after an id.
func (l lister) step(after records.ID, n int) (records.Page, error) {
	q := l.ask.query
	q.After, q.Limit = after, n
	if len(l.ask.boxes) < 2 {
		if len(l.ask.boxes) == 1 {
			q.Box = &l.ask.boxes[0]
		}
		return l.r.List(l.kind, q)
	}
	var sides [2]records.Page
	for i := range sides {
		q.Box = &l.ask.boxes[i]
		var err error
		if sides[i], err = l.r.List(l.kind, q); err != nil {
			return records.Page{}, err
		}
	}
	return merge(sides[0], sides[1], n), nil
}

// merge joins two pages in order of id; a record on both is given once.
func merge(a, b records.Page, n int) records.Page {
	out := records.Page{More: a.More || b.More}
	i, j := 0, 0
	for i < len(a.Revisions) || j < len(b.Revisions) {
		if len(out.Revisions) == n {
			out.More = true
			break
		}
		switch {
		case j == len(b.Revisions) || i < len(a.Revisions) && a.Revisions[i].ID < b.Revisions[j].ID:
			out.Revisions = append(out.Revisions, a.Revisions[i])
			i++
		case i == len(a.Revisions) || b.Revisions[j].ID < a.Revisions[i].ID:
			out.Revisions = append(out.Revisions, b.Revisions[j])
			j++
		default:
			out.Revisions = append(out.Revisions, a.Revisions[i])
			i, j = i+1, j+1
		}
	}
	return out
}

// each walks the whole list.
func (l lister) each(f func(records.Revision) error) error {
	var after records.ID
	for {
		page, err := l.step(after, wholeStep)
		if err != nil {
			return err
		}
		for _, rev := range page.Revisions {
			if err := f(rev); err != nil {
				return err
			}
			after = rev.ID
		}
		if !page.More || len(page.Revisions) == 0 {
			return nil
		}
	}
}

// matched is how many records the whole list has.
func (l lister) matched() (int, error) {
	q := l.ask.query
	q.After = ""
	switch len(l.ask.boxes) {
	case 2:
		whole := l
		whole.ask.query = q
		n := 0
		err := whole.each(func(records.Revision) error { n++; return nil })
		return n, err
	case 1:
		q.Box = &l.ask.boxes[0]
	}
	return l.r.Count(l.kind, q)
}

// items answers with one page of a list as a FeatureCollection.
func (s *Server) items(x *exchange) error {
	var body []byte
	var etag string
	err := x.view(func(r records.Reader) error {
		zone, err := time.LoadLocation(r.Farm().Zone)
		if err != nil {
			return fmt.Errorf("zone of the farm: %w", err)
		}
		ask, err := x.listAsk(zone)
		if err != nil {
			return err
		}
		etag = `W/"` + strconv.FormatInt(r.Sequence(), 10) + x.viewTag() + `"`
		if matchesAny(x.r.Header.Get("If-None-Match"), etag) {
			return nil
		}
		body, err = x.collect(lister{r, x.kind(), ask})
		return err
	})
	if err != nil {
		return err
	}
	h := x.w.Header()
	h.Set("ETag", etag)
	h.Set("Cache-Control", "private, no-cache")
	if body == nil {
		x.w.WriteHeader(http.StatusNotModified)
		return nil
	}
	return x.packed(typeGeoJSON, body)
}

// collect writes the FeatureCollection.
func (x *exchange) collect(l lister) ([]byte, error) {
	total, err := l.matched()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	count, last, more := 0, l.ask.query.After, true
	for more && count < l.ask.limit && b.Len() < pageBytes {
		if err := x.r.Context().Err(); err != nil {
			return nil, err
		}
		page, err := l.step(last, min(listStep, l.ask.limit-count))
		if err != nil {
			return nil, err
		}
		more = page.More
		for i, rev := range page.Revisions {
			if b.Len() >= pageBytes {
				more = more || i < len(page.Revisions)
				break
			}
			data, err := encodeFeature(rev, nil)
			if err != nil {
				return nil, err
			}
			if count > 0 {
				b.WriteByte(',')
			}
			b.Write(data)
			count, last = count+1, rev.ID
		}
	}
	links := x.listLinks(last, more)
	tail, err := json.Marshal(struct {
		Matched  int    `json:"numberMatched"`
		Returned int    `json:"numberReturned"`
		At       string `json:"timeStamp"`
		Links    []link `json:"links"`
	}{total, count, stamp(x.s.Now().Truncate(time.Microsecond)), links})
	if err != nil {
		return nil, err
	}
	b.WriteString(`],`)
	b.Write(tail[1:])
	return b.Bytes(), nil
}

// listLinks keeps every parameter of the request in the next link.
func (x *exchange) listLinks(last records.ID, more bool) []link {
	path := x.farmBase() + "/collections/" + string(x.kind()) + "/items"
	with := func(q url.Values) string {
		if len(q) == 0 {
			return path
		}
		return path + "?" + q.Encode()
	}
	links := []link{
		{with(x.query), "self", typeGeoJSON, ""},
		{with(x.query), "alternate", typeJSON, ""},
		{x.farmBase() + "/collections/" + string(x.kind()), "collection", typeJSON, ""},
	}
	if more {
		next := url.Values{}
		for name, v := range x.query {
			next[name] = v
		}
		next.Set("after", string(last))
		links = append(links, link{with(next), "next", typeGeoJSON, ""})
	}
	return links
}

// extents holds per farm and kind the ground and time its records ever took;
// they grow with the feed of changes, so that no list is read for them.
type extents struct {
	lock  chan struct{}           // one farm's feed is read at a time
	farms map[string]*farmExtents // by farm and what of it is seen
}

type farmExtents struct {
	sequence int64
	kinds    map[records.Kind]*extent
}

type extent struct {
	box      *geo.Box
	from, to time.Time
}

func newExtents() *extents {
	return &extents{lock: make(chan struct{}, 1), farms: map[string]*farmExtents{}}
}

// extentsMost bounds how many are remembered; they are read anew.
const extentsMost = 10_000

// of brings a farm's extents up to the reader's state and gives a copy.
func (e *extents) of(x *exchange, r records.Reader) (map[records.Kind]extent, error) {
	select {
	case e.lock <- struct{}{}:
		defer func() { <-e.lock }()
	case <-x.r.Context().Done():
		return nil, x.r.Context().Err()
	}
	of := string(x.farm) + " " + x.member.Limits.Key()
	f := e.farms[of]
	if f == nil {
		if len(e.farms) >= extentsMost {
			clear(e.farms)
		}
		f = &farmExtents{kinds: map[records.Kind]*extent{}}
		e.farms[of] = f
	}
	for f.sequence < r.Sequence() {
		revisions, _, err := r.Since(f.sequence, listStep)
		if err != nil {
			return nil, err
		}
		if len(revisions) == 0 {
			break
		}
		for _, rev := range revisions {
			f.take(rev)
		}
	}
	out := map[records.Kind]extent{}
	for kind, at := range f.kinds {
		out[kind] = *at
	}
	return out, nil
}

// forget drops what is known of a farm that was erased.
func (e *extents) forget(farm records.FarmID) {
	e.lock <- struct{}{}
	maps.DeleteFunc(e.farms, func(of string, _ *farmExtents) bool { return strings.HasPrefix(of, string(farm)+" ") })
	<-e.lock
}

func (f *farmExtents) take(rev records.Revision) {
	f.sequence = rev.Sequence
	if rev.Deleted {
		return
	}
	at := f.kinds[rev.Kind]
	if at == nil {
		at = &extent{}
		f.kinds[rev.Kind] = at
	}
	facets := records.FacetsOf(rev.Kind, rev.Record)
	if b := facets.Box; b != nil {
		wider := *b
		if at.box != nil {
			wider = at.box.Union(*b)
		}
		at.box = &wider
	}
	if facets.From.IsZero() {
		return
	}
	if at.from.IsZero() || facets.From.Before(at.from) {
		at.from = facets.From
	}
	if facets.To.After(at.to) {
		at.to = facets.To
	}
}
