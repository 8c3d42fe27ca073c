package web

import (
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"sync"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/export"
	"caneward/records/people"
)

var (
	noSuchExport  = words.New("web-no-such-export", "There is no such export, or not in that format.", "No existe esa exportación, o no en ese formato.")
	exportsQueue  = words.New("web-exports-queue", "Other exports of yours are still being made. Wait until they are done.", "Aún se están haciendo otras exportaciones suyas. Espere a que terminen.")
	wholeFarmName = words.New("web-export-farm", "The whole farm", "Toda la finca")
)

// wholeFarm names the export of every kind in addresses.
const wholeFarm = "farm"

// readable are the kinds a role may read.
func readable(role records.Role) []records.Kind {
	var kinds []records.Kind
	for _, kind := range records.Kinds {
		if people.May(role, people.Read, kind) {
			kinds = append(kinds, kind)
		}
	}
	return kinds
}

func exportTypes() []string {
	var types []string
	for _, f := range export.Formats {
		if !contains(types, f.MediaType) {
			types = append(types, f.MediaType)
		}
	}
	return types
}

// exportKinds are the kinds the address names, as far as the role may read
// them.
func (x *exchange) exportKinds() ([]records.Kind, error) {
	name := x.vars["name"]
	if name == wholeFarm {
		return readable(x.role), nil
	}
	kind, err := records.ParseKind(name)
	if err != nil {
		return nil, fault.New(fault.Missing, noSuchExport.Plain())
	}
	if !people.May(x.role, people.Read, kind) {
		return nil, fault.New(fault.Forbidden, roleForbids.With(words.Args{"role": people.RoleName(x.role)}))
	}
	return []records.Kind{kind}, nil
}

// export answers with a file.
func (s *Server) export(x *exchange) error {
	kinds, err := x.exportKinds()
	if err != nil {
		return err
	}
	format, err := export.FormatOf(x.vars["form"])
	if err != nil {
		return fault.Wrap(fault.Missing, err, noSuchExport.Plain())
	}
	return s.exports.take(x.r.Context(), x.person.ID, func() error {
		return x.spooled(x.vars["name"]+"."+format.Ending, format.MediaType, format.Packed, func(w io.Writer) error {
			return x.alone(func() error {
				return x.view(func(r records.Reader) error {
					doc, err := export.Document(x.r.Context(), r, export.Selection{Kinds: kinds, Language: x.lang})
					if err != nil {
						return err
					}
					return format.Write(x.r.Context(), w, doc)
				})
			})
		})
	})
}

func (x *exchange) copyOut(f io.Reader, packed bool) error {
	if !packed {
		_, err := io.Copy(x.w, f)
		return err
	}
	z, err := gzip.NewWriterLevel(x.w, gzip.BestSpeed)
	if err != nil {
		return err
	}
	if _, err := io.Copy(z, f); err != nil {
		return err
	}
	return z.Close()
}

// listExports tells which files there are, and what to know of each before it
// is taken.
func (s *Server) listExports(x *exchange) error {
	type file struct {
		Form   string   `json:"form"`
		Format string   `json:"format"`
		Href   string   `json:"href"`
		Says   []string `json:"says,omitempty"`
	}
	type entry struct {
		Name  string `json:"name"`
		Title string `json:"title"`
		Count int    `json:"count"`
		Files []file `json:"files"`
	}
	farm := entry{Name: wholeFarm, Title: wholeFarmName.Plain().In(x.lang)}
	var filled []records.Kind
	entries := []entry{}
	files := func(name string, kinds []records.Kind) (out []file) {
		for _, f := range export.Formats {
			one := file{Form: f.Ending, Format: f.Name, Href: x.farmBase() + "/exports/" + name + "." + f.Ending}
			for _, w := range export.Warnings(f, kinds...) {
				one.Says = append(one.Says, w.In(x.lang))
			}
			out = append(out, one)
		}
		return out
	}
	err := x.view(func(r records.Reader) error {
		for _, kind := range readable(x.role) {
			n, err := r.Count(kind, records.Query{})
			if err != nil {
				return err
			}
			if n == 0 {
				continue
			}
			farm.Count += n
			filled = append(filled, kind)
			entries = append(entries, entry{string(kind), kindTitles[kind].Plain().In(x.lang), n, files(string(kind), []records.Kind{kind})})
		}
		return nil
	})
	if err != nil {
		return err
	}
	farm.Files = files(wholeFarm, filled)
	return x.json(http.StatusOK, map[string]any{"exports": append([]entry{farm}, entries...)})
}

// turns lets each person do one thing at a time; what else they ask for waits
// its turn.
type turns struct {
	lock    sync.Mutex
	waiting map[records.PersonID]*turn
}

type turn struct {
	free   chan struct{}
	people int // in it or waiting for it
}

// turnsMost is how many may wait for one person: the files a page offers side
// by side.
const turnsMost = 16

func newTurns() *turns { return &turns{waiting: map[records.PersonID]*turn{}} }

// take runs f when nothing else of the person runs; fault.TooMany when too much
// waits already, the context's error when it ends first.
func (t *turns) take(ctx context.Context, who records.PersonID, f func() error) error {
	mine, err := t.join(who)
	if err != nil {
		return err
	}
	defer t.leave(who, mine)
	select {
	case mine.free <- struct{}{}:
		defer func() { <-mine.free }()
	case <-ctx.Done():
		return ctx.Err()
	}
	return f()
}

func (t *turns) join(who records.PersonID) (*turn, error) {
	t.lock.Lock()
	defer t.lock.Unlock()
	mine := t.waiting[who]
	if mine == nil {
		mine = &turn{free: make(chan struct{}, 1)}
		t.waiting[who] = mine
	}
	if mine.people >= turnsMost {
		return nil, fault.New(fault.TooMany, exportsQueue.Plain())
	}
	mine.people++
	return mine, nil
}

func (t *turns) leave(who records.PersonID, mine *turn) {
	t.lock.Lock()
	defer t.lock.Unlock()
	if mine.people--; mine.people == 0 {
		delete(t.waiting, who)
	}
}
