package web

import (
	"context"
	"encoding/csv"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

// audit gathers who saw or changed what and hands it to the store some seconds
// later, so that a read costs no write. What one person does over and over
// within an hour is one entry. A server that is killed forgets the last seconds
// of reads; changes stand in the revisions themselves.
type audit struct {
	store records.Custody
	log   *slog.Logger
	every time.Duration

	lock    sync.Mutex
	pending map[records.SeenKey]*records.Seen
	timer   *time.Timer // nil: nothing waits
	closed  bool
	lost    int64
	running sync.WaitGroup
}

const (
	auditEvery = 5 * time.Second
	auditTime  = 30 * time.Second // for one handing over
	// auditMost bounds what waits while the store takes nothing; beyond it entries
	// of new keys are lost, and counted.
	auditMost = 20_000
)

func newAudit(store records.Custody, log *slog.Logger) *audit {
	return &audit{store: store, log: log, every: auditEvery, pending: map[records.SeenKey]*records.Seen{}}
}

// note adds an entry.
func (a *audit) note(e records.Seen) {
	a.lock.Lock()
	defer a.lock.Unlock()
	a.add(e)
	a.arm()
}

func (a *audit) add(e records.Seen) {
	if before := a.pending[e.Key()]; before != nil {
		before.Add(e)
		return
	}
	if len(a.pending) >= auditMost {
		a.lost += e.Times
		return
	}
	a.pending[e.Key()] = &e
}

// arm sees to it that what waits is handed over. The lock is held.
func (a *audit) arm() {
	if a.timer != nil || a.closed || len(a.pending) == 0 {
		return
	}
	a.running.Add(1)
	a.timer = time.AfterFunc(a.every, func() {
		defer a.running.Done()
		if err := a.flush(context.Background()); err != nil {
			a.log.LogAttrs(context.Background(), slog.LevelWarn, "the list of who saw what waits", slog.Any("err", err))
		}
	})
}

// flush hands over what waits; on an error it waits on.
func (a *audit) flush(ctx context.Context) error {
	a.lock.Lock()
	if a.timer != nil && a.timer.Stop() {
		a.running.Done()
	}
	a.timer = nil
	all := make([]records.Seen, 0, len(a.pending))
	for _, e := range a.pending {
		all = append(all, *e)
	}
	clear(a.pending)
	a.lock.Unlock()
	if len(all) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, auditTime)
	defer cancel()
	err := a.store.AddSeen(ctx, all)
	if err == nil {
		return nil
	}
	a.lock.Lock()
	defer a.lock.Unlock()
	for _, e := range all {
		a.add(e)
	}
	a.arm()
	return err
}

// close hands over the last and takes no more.
func (a *audit) close() {
	a.lock.Lock()
	a.closed = true
	a.lock.Unlock()
	if err := a.flush(context.Background()); err != nil {
		a.log.LogAttrs(context.Background(), slog.LevelError, "the end of the list of who saw what is lost", slog.Any("err", err))
	}
	a.running.Wait()
}

func (a *audit) lostCount() float64 {
	a.lock.Lock()
	defer a.lock.Unlock()
	return float64(a.lost)
}

// noted puts a request that went through the fence on the farm's list: neither
// positions nor ids nor what was in it.
func (x *exchange) noted(status int) {
	if x.farm == "" {
		return
	}
	now := x.s.Now().UTC()
	kind := x.kind()
	if kind == "" {
		if named, err := records.ParseKind(x.vars["name"]); err == nil {
			kind = named // a report or an export of one kind
		}
	}
	by, token := x.author(""), ""
	if x.token != nil {
		token = x.token.Name
	}
	x.s.audit.note(records.Seen{
		Farm: x.farm, Hour: now.Truncate(time.Hour), Person: by.Person, Name: by.Name, Role: by.Role, Token: token, What: x.route.id, Kind: kind,
		Refused: status >= http.StatusBadRequest, Changes: x.route.changes(), First: now, Last: now, Times: 1, Records: x.handled,
	})
}

// changes reports whether a route stores or removes something.
func (r *route) changes() bool {
	switch {
	case r.method == http.MethodGet:
		return false
	case r.method == http.MethodPost:
		for _, status := range r.refuses {
			if status == http.StatusInsufficientStorage {
				return true
			}
		}
		return r.right == people.Keep
	}
	return true
}

// counted counts the revisions that a request is shown.
type counted struct {
	records.Reader
	n *int64
}

func (c counted) Current(kind records.Kind, id records.ID) (records.Revision, error) {
	r, err := c.Reader.Current(kind, id)
	if err == nil {
		*c.n++
	}
	return r, err
}

func (c counted) At(kind records.Kind, id records.ID, number int) (records.Revision, error) {
	r, err := c.Reader.At(kind, id, number)
	if err == nil {
		*c.n++
	}
	return r, err
}

func (c counted) List(kind records.Kind, q records.Query) (records.Page, error) {
	page, err := c.Reader.List(kind, q)
	*c.n += int64(len(page.Revisions))
	return page, err
}

func (c counted) Revisions(kind records.Kind, id records.ID) ([]records.Revision, error) {
	all, err := c.Reader.Revisions(kind, id)
	*c.n += int64(len(all))
	return all, err
}

func (c counted) Since(after int64, limit int) ([]records.Revision, bool, error) {
	all, more, err := c.Reader.Since(after, limit)
	*c.n += int64(len(all))
	return all, more, err
}

var auditColumns = []string{"hour", "person", "name", "role", "token", "what", "what_says", "kind", "refused", "changes", "times", "records", "first", "last"}

// auditEntry is an entry as it travels.
type auditEntry struct {
	Hour    time.Time        `json:"hour"`
	Person  records.PersonID `json:"person"`
	Name    string           `json:"name"`
	Role    records.Role     `json:"role"`
	Token   string           `json:"token"`
	What    string           `json:"what"`
	Says    string           `json:"what_says"`
	Kind    records.Kind     `json:"kind"`
	Refused bool             `json:"refused"`
	Changes bool             `json:"changes"`
	Times   int64            `json:"times"`
	Records int64            `json:"records"`
	First   time.Time        `json:"first"`
	Last    time.Time        `json:"last"`
}

func (s *Server) auditEntry(e records.Seen) auditEntry {
	return auditEntry{e.Hour, e.Person, e.Name, e.Role, e.Token, e.What, s.summaries[e.What], e.Kind, e.Refused, e.Changes, e.Times, e.Records, e.First, e.Last}
}

func (e auditEntry) cells() []string {
	at := func(t time.Time) string { return t.Format(time.RFC3339) }
	return []string{at(e.Hour), string(e.Person), harmless(e.Name), string(e.Role), harmless(e.Token), e.What, e.Says, string(e.Kind),
		strconv.FormatBool(e.Refused), strconv.FormatBool(e.Changes), strconv.FormatInt(e.Times, 10), strconv.FormatInt(e.Records, 10), at(e.First), at(e.Last)}
}

// auditReport answers with the list of who saw or changed what, whole or its
// newest entries.
func (s *Server) auditReport(x *exchange) error {
	if err := s.audit.flush(x.r.Context()); err != nil {
		return err
	}
	if strings.HasSuffix(x.route.pattern, ".csv") {
		return x.spooled("audit.csv", typeCSV, false, func(w io.Writer) error {
			out := csv.NewWriter(w)
			out.UseCRLF = true
			if err := out.Write(auditColumns); err != nil {
				return err
			}
			err := s.Store.EachSeen(x.r.Context(), x.farm, func(e records.Seen) error { return out.Write(s.auditEntry(e).cells()) })
			out.Flush()
			if err == nil {
				err = out.Error()
			}
			return err
		})
	}
	text, _ := x.given("limit")
	limit, err := parseLimit(text, usualChanges, mostChanges)
	if err != nil {
		return err
	}
	var newest []records.Seen // a ring of the last limit entries
	total := 0
	err = s.Store.EachSeen(x.r.Context(), x.farm, func(e records.Seen) error {
		if len(newest) < limit {
			newest = append(newest, e)
		} else {
			newest[total%limit] = e
		}
		total++
		return nil
	})
	if err != nil {
		return err
	}
	entries := make([]auditEntry, 0, len(newest))
	for i := range newest {
		entries = append(entries, s.auditEntry(newest[(total-1-i)%len(newest)]))
	}
	return x.json(http.StatusOK, struct {
		Entries []auditEntry `json:"entries"`
		Total   int          `json:"total"`
		Days    int          `json:"kept_days"`
		Says    string       `json:"says"`
	}{entries, total, int(s.Limits.AuditKept / (24 * time.Hour)), auditSays.Plain().In(x.lang)})
}

var auditSays = words.New("web-audit-says",
	"One line is what one person did in one hour at one address. “records” counts the record revisions the server looked at for it, or took in. There are no positions and no contents here; what was changed, and how, stands in each record's revisions. Reads of the last seconds before a crash may be missing.",
	"Una línea es lo que una persona hizo en una hora en una dirección. «records» cuenta las revisiones de registros que el servidor miró para ello, o que recibió. Aquí no hay posiciones ni contenidos; qué se cambió, y cómo, consta en las revisiones de cada registro. Pueden faltar las lecturas de los últimos segundos antes de una caída.")
