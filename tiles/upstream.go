package tiles

import (
	"container/list"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"
)

// ErrUpstream says that the tile server did not answer, or not with a picture.
var ErrUpstream = errors.New("tiles: the base map's server gives no picture")

const (
	upstreamTimeout = 10 * time.Second
	upstreamAtOnce  = 8              // connections a polite client keeps open
	upstreamKeep    = 24 * time.Hour // how old a kept tile may grow
	upstreamMemory  = 64 << 20       // bytes of tiles kept
)

// upstream fetches tiles from a server named on the command line and keeps
// the last ones. Visitors choose the tile, never the address.
type upstream struct {
	template string
	info     Info
	client   *http.Client
	slots    chan struct{}
	now      func() time.Time

	lock  sync.Mutex
	kept  map[Address]*list.Element
	order *list.List // most recent first
	bytes int
}

type keptTile struct {
	at      Address
	image   Image // no data: the server said there is none
	fetched time.Time
}

func openUpstream(template string) (BaseMap, error) {
	for _, part := range []string{"{z}", "{x}", "{y}"} {
		if strings.Count(template, part) != 1 {
			return nil, fmt.Errorf("base map address needs %s once", part)
		}
	}
	u, err := url.Parse(fill(template, Address{}))
	if err != nil || u.Host == "" {
		return nil, errors.New("base map address is not a web address")
	}
	if strings.ContainsAny(template[:strings.Index(template, u.Host)+len(u.Host)], "{}") {
		return nil, errors.New("base map address has a placeholder in its host")
	}
	host := u.Host
	return &upstream{
		template: template,
		info:     Info{Kind: "server", Name: u.Hostname(), MaxZoom: MaxZoom},
		client: &http.Client{
			Timeout: upstreamTimeout,
			CheckRedirect: func(r *http.Request, via []*http.Request) error {
				if r.URL.Host != host || len(via) > 3 {
					return http.ErrUseLastResponse
				}
				return nil
			},
		},
		slots: make(chan struct{}, upstreamAtOnce),
		now:   time.Now,
		kept:  map[Address]*list.Element{},
		order: list.New(),
	}, nil
}

func fill(template string, a Address) string {
	n := func(v uint32) string { return strconv.FormatUint(uint64(v), 10) }
	return strings.NewReplacer("{z}", n(a.Z), "{x}", n(a.X), "{y}", n(a.Y)).Replace(template)
}

func (u *upstream) Info() Info { return u.info }

func (u *upstream) Close() error {
	u.client.CloseIdleConnections()
	return nil
}

func (u *upstream) Tile(ctx context.Context, a Address) (Image, error) {
	if kept, ok := u.recall(a); ok {
		return answer(kept)
	}
	select {
	case u.slots <- struct{}{}:
		defer func() { <-u.slots }()
	case <-ctx.Done():
		return Image{}, ctx.Err()
	}
	if kept, ok := u.recall(a); ok {
		return answer(kept)
	}
	image, err := u.fetch(ctx, a)
	if err != nil {
		return Image{}, err
	}
	u.keep(keptTile{at: a, image: image, fetched: u.now()})
	return answer(image)
}

func answer(image Image) (Image, error) {
	if len(image.Data) == 0 {
		return Image{}, ErrNoTile
	}
	return image, nil
}

// fetch gives an image without data where the server has none. The address may
// hold a key, so it stays out of every error.
func (u *upstream) fetch(ctx context.Context, a Address) (Image, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, fill(u.template, a), nil)
	if err != nil {
		return Image{}, ErrUpstream
	}
	req.Header.Set("Accept", "image/webp,image/png,image/jpeg")
	req.Header.Set("User-Agent", "caneward")
	reply, err := u.client.Do(req)
	if err != nil {
		var at *url.Error
		if errors.As(err, &at) {
			err = at.Err
		}
		return Image{}, fmt.Errorf("%w: %w", ErrUpstream, err)
	}
	defer reply.Body.Close()
	switch reply.StatusCode {
	case http.StatusOK:
	case http.StatusNoContent, http.StatusNotFound, http.StatusGone:
		return Image{}, nil
	default:
		return Image{}, fmt.Errorf("%w: status %d", ErrUpstream, reply.StatusCode)
	}
	data, err := io.ReadAll(io.LimitReader(reply.Body, maxImage+1))
	if err != nil {
		return Image{}, fmt.Errorf("%w: %w", ErrUpstream, err)
	}
	kind := imageType(data)
	if len(data) > maxImage || kind == "" {
		return Image{}, fmt.Errorf("%w: %d bytes that are no png, jpg or webp", ErrUpstream, len(data))
	}
	return Image{Data: data, Type: kind}, nil
}

func (u *upstream) recall(a Address) (Image, bool) {
	u.lock.Lock()
	defer u.lock.Unlock()
	at, ok := u.kept[a]
	if !ok {
		return Image{}, false
	}
	k := at.Value.(keptTile)
	if u.now().Sub(k.fetched) > upstreamKeep {
		u.drop(at)
		return Image{}, false
	}
	u.order.MoveToFront(at)
	return k.image, true
}

// keptOverhead is what an entry costs beside its picture, so that a walk over
// empty tiles is bounded too.
const keptOverhead = 256

func (u *upstream) keep(k keptTile) {
	u.lock.Lock()
	defer u.lock.Unlock()
	if at, twice := u.kept[k.at]; twice {
		u.drop(at)
	}
	u.kept[k.at] = u.order.PushFront(k)
	u.bytes += len(k.image.Data) + keptOverhead
	for u.bytes > upstreamMemory {
		u.drop(u.order.Back())
	}
}

func (u *upstream) drop(at *list.Element) {
	k := u.order.Remove(at).(keptTile)
	delete(u.kept, k.at)
	u.bytes -= len(k.image.Data) + keptOverhead
}
