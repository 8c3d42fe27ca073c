// Package web is the server's edge: the table of addresses, what every request
// passes through, sessions, the fence around each farm, and the page. It knows
// no SQL and decides no rules; it reads a request, calls, and writes the answer.
package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"runtime"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/gorilla/mux"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/entry"
	"caneward/records/fence"
	"caneward/records/people"
	"caneward/tiles"
	"caneward/web/problem"
)

// Store is what the server keeps things in.
type Store interface {
	records.Store
	people.Store
	records.Documents
	records.Custody
}

// Config is everything a server needs. Store and Desk must be set; zero
// elsewhere is usable.
type Config struct {
	Store   Store
	Desk    *entry.Desk
	BaseMap tiles.BaseMap // nil: none
	Version string
	// Secure says that clients reach the server over TLS, here or at a proxy;
	// session cookies then travel over TLS alone.
	Secure bool
	// PublicURL is what the server is called from outside, such as
	// https://farm.example/records; empty: links follow the request's own host.
	PublicURL string
	// Proxies are the addresses of proxies in front whose X-Forwarded-For is
	// believed; from anybody else it is not.
	Proxies []netip.Prefix
	// MetricsTo are who may read /metrics; nil: this machine.
	MetricsTo []netip.Prefix
	// SecretKey, of people.SecretKeyBytes, seals second factors. nil: one is made
	// that lasts as long as the server.
	SecretKey []byte
	Logger    *slog.Logger     // nil: slog.Default
	Now       func() time.Time // nil: time.Now
	Page      fs.FS            // the built page; nil: the one in this binary
	Limits    Limits
	// Copies tells how the copies of the records stand; nil: none are made here.
	Copies func() records.CopyState
}

// Limits bound what one request or one client may take. Zero fields take the
// defaults.
type Limits struct {
	JSON        int64         // bytes of a JSON body: 5 MB, a track of a season and room beside
	Import      int64         // bytes of an imported file and its form: 50 MB
	Time        time.Duration // of most requests: 30 s
	LongTime    time.Duration // of analyses and imports: 170 s
	Account     int           // failed sign-ins a minute under one name from one address: 5
	Anywhere    int           // failed sign-ins a minute under one name from anywhere: 50
	Address     int           // failed sign-ins a minute from one address: 100, since all phones of a yard may share one
	Token       int           // requests a minute by one token: 600, as a map with tiles asks for
	SessionLife time.Duration // 30 days: a phone must stay signed in over weeks without signal
	Archive     int64         // bytes of an archive that brings a farm in: 1 GB
	AuditKept   time.Duration // how long it is known who saw what: 800 days, two years and a season's work beyond
	EraseAfter  time.Duration // from the wish to have a farm erased to its erasing: 30 days
}

func (l Limits) filled() Limits {
	set := func(v *int64, d int64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&l.JSON, 5_000_000)
	set(&l.Import, 50_000_000)
	set((*int64)(&l.Time), int64(30*time.Second))
	set((*int64)(&l.LongTime), int64(170*time.Second))
	set((*int64)(&l.SessionLife), int64(30*24*time.Hour))
	l.Account = cmp.Or(l.Account, 5)
	l.Anywhere = cmp.Or(l.Anywhere, 50)
	l.Address = cmp.Or(l.Address, 100)
	l.Token = cmp.Or(l.Token, 600)
	set(&l.Archive, 1_000_000_000)
	set((*int64)(&l.AuditKept), int64(800*24*time.Hour))
	set((*int64)(&l.EraseAfter), int64(30*24*time.Hour))
	return l
}

// Server answers requests. Use New.
type Server struct {
	Config
	public    *url.URL // nil: follow the request
	handler   http.Handler
	router    *mux.Router
	routes    []route
	sessions  *scs.SessionManager
	signIns   *signInLimits
	codes     *signInLimits
	quotas    *quotas
	fences    *fence.Books
	metrics   *metrics
	extents   *extents
	proposals *proposals
	readings  sync.WaitGroup // of imported files
	ids       *records.IDs
	heavy     chan struct{} // a place for each analysis that may run at once
	exports   *turns        // one export a person at a time
	audit     *audit
	summaries map[string]string // of routes, by their ids
	page      *page
	described map[string][]byte
}

// New makes a server. The error says what of the configuration cannot be used.
func New(c Config) (*Server, error) {
	if c.Store == nil || c.Desk == nil {
		return nil, errors.New("web: Config needs a Store and a Desk")
	}
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	c.Limits = c.Limits.filled()
	if c.MetricsTo == nil {
		c.MetricsTo = thisMachine
	}
	switch len(c.SecretKey) {
	case people.SecretKeyBytes:
	case 0:
		c.SecretKey = make([]byte, people.SecretKeyBytes)
		rand.Read(c.SecretKey)
	default:
		return nil, errors.New("web: the secret key has another length")
	}
	s := &Server{fences: fence.NewBooks(), quotas: newQuotas(c.Now, c.Limits.Token),
		Config: c, metrics: newMetrics(), extents: newExtents(), proposals: newProposals(c.Now),
		exports: newTurns(), ids: records.NewIDs(c.Now, rand.Reader), heavy: make(chan struct{}, max(1, runtime.GOMAXPROCS(0)-1))}
	if c.Copies != nil {
		s.metrics.watchCopies(c.Copies, c.Now)
	}
	if c.PublicURL != "" {
		u, err := url.Parse(strings.TrimSuffix(c.PublicURL, "/"))
		if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" {
			return nil, fmt.Errorf("web: %q is not a public address such as https://farm.example", c.PublicURL)
		}
		s.public = u
	}
	var err error
	if s.page, err = newPage(c.Page); err != nil {
		return nil, err
	}
	s.sessions = newSessions(c)
	s.signIns = newSignInLimits(c.Limits, c.Now)
	s.audit = newAudit(c.Store, c.Logger)
	s.metrics.watchAudit(s.audit)
	s.codes = newLimits(c.Now, codeWindow, [signInSorts]int{byBoth: codeTries, byName: codeTries, byAddress: 10 * codeTries})
	s.routes = s.table()
	s.summaries = map[string]string{}
	for _, r := range s.routes {
		s.summaries[r.id] = r.summary
	}
	if s.described, err = s.describe(); err != nil {
		return nil, err
	}
	s.router = s.mount()
	s.handler = chain(s.router,
		s.identified,
		s.logged,
		s.recovered,
		s.secured,
		s.sameOrigin,
	)
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// mount gives every pattern of the table to the router, and nothing else.
func (s *Server) mount() *mux.Router {
	router := mux.NewRouter().SkipClean(true)
	byPattern := map[string]methods{}
	var order []string
	for i := range s.routes {
		r := &s.routes[i]
		if byPattern[r.pattern] == nil {
			byPattern[r.pattern] = methods{}
			order = append(order, r.pattern)
		}
		byPattern[r.pattern][r.method] = r
	}
	for _, pattern := range order {
		router.Handle(pattern, s.dispatch(pattern, byPattern[pattern]))
	}
	router.NotFoundHandler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, fault.New(fault.Missing, noSuchAddress.Plain()))
	})
	return router
}

// chain wraps a handler; the first of the list sees a request first.
func chain(h http.Handler, wraps ...func(http.Handler) http.Handler) http.Handler {
	for i := len(wraps) - 1; i >= 0; i-- {
		h = wraps[i](h)
	}
	return h
}

// Time limits of the connection; those of the request stand in Limits. A phone
// with one bar needs a minute for 200 kB. Headers fit 32 kB many times over.
var connectionTimes = times{header: 10 * time.Second, read: 2 * time.Minute, write: 4 * time.Minute, idle: 2 * time.Minute}

type times struct{ header, read, write, idle time.Duration }

const (
	stopTime    = 10 * time.Second
	headerBytes = 32 << 10
)

// Serve answers on a listener until ctx ends, then lets running requests end
// for ten seconds. With a TLS configuration it speaks TLS. It returns nil after
// an orderly end.
func Serve(ctx context.Context, l net.Listener, h http.Handler, t *tls.Config) error {
	return serve(ctx, l, h, t, connectionTimes)
}

func serve(ctx context.Context, l net.Listener, h http.Handler, t *tls.Config, limits times) error {
	server := &http.Server{
		Handler:           h,
		TLSConfig:         t,
		ReadHeaderTimeout: limits.header,
		ReadTimeout:       limits.read,
		WriteTimeout:      limits.write,
		IdleTimeout:       limits.idle,
		MaxHeaderBytes:    headerBytes,
		ErrorLog:          slog.NewLogLogger(slog.Default().Handler(), slog.LevelWarn),
	}
	ended := make(chan error, 1)
	go func() {
		if t != nil {
			ended <- server.ServeTLS(l, "", "")
			return
		}
		ended <- server.Serve(l)
	}()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	if err := server.Shutdown(last); err != nil {
		server.Close()
		return fmt.Errorf("web: requests were still running at the end: %w", err)
	}
	return nil
}

// refuse writes an error as a problem document; an internal one goes to the log.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, err error) {
	t := traceOf(r)
	if problem.StatusOf(err) == http.StatusInternalServerError && r.Context().Err() == nil {
		s.Logger.LogAttrs(r.Context(), slog.LevelError, "request failed", slog.String("id", t.id), slog.String("route", t.route), slog.Any("err", err))
	}
	problem.Send(w, language(r), problem.From(err, language(r), r.URL.Path, t.id))
}
