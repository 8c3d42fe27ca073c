package web

import (
	"context"
	"encoding/hex"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"os"
	"strconv"
	"syscall"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	farmfile "caneward/records/whole"
)

const (
	typeCSV = "text/csv; charset=utf-8; header=present"
	typeZIP = "application/zip"
)

var (
	typeFarm = words.New("web-type-farm",
		"Type the farm's own id, {farm}, to have it erased.",
		"Escriba el id de la finca, {farm}, para que se borre.")
	leavingAlready = words.New("web-leaving-already",
		"The farm is to be erased already. Take that back first.",
		"La finca ya está por borrarse. Retire eso primero.")
	notLeaving = words.New("web-not-leaving",
		"Nobody has asked for this farm to be erased.",
		"Nadie ha pedido que se borre esta finca.")
	copiesLate = words.New("web-copies-late",
		"The copies of the records are overdue: the newest is of {last}. Ask whoever runs the server.",
		"Las copias de los registros están atrasadas: la más nueva es de {last}. Avise a quien lleva el servidor.")
	copiesFailed = words.New("web-copies-failed",
		"The newest try to copy the records failed; the newest copy is of {last}. Whoever runs the server finds the cause in its log.",
		"El último intento de copiar los registros falló; la copia más nueva es de {last}. Quien lleva el servidor halla la causa en su registro.")
	copiesFull = words.New("web-copies-full",
		"There is no room left where the copies of the records go; the newest copy is of {last}. Whoever runs the server must make room.",
		"No queda espacio donde van las copias de los registros; la copia más nueva es de {last}. Quien lleva el servidor debe liberar espacio.")
	copiesNone = words.New("web-copies-none",
		"This server makes no copies of the records by itself. Whoever runs it starts it with --backup-to, or copies in another way.",
		"Este servidor no hace copias de los registros por sí mismo. Quien lo lleva lo arranca con --backup-to, o copia de otra manera.")
	noSpool = words.New("web-no-spool",
		"There is no room on the server's disk for this file on its way. Records are safe. Free some space and try again.",
		"No hay espacio en el disco del servidor para este archivo de paso. Los registros están a salvo. Libere espacio e inténtelo de nuevo.")
	neverCopied = words.New("web-never-copied", "never", "nunca")
	erasedLater = words.New("web-erased-later",
		"On that day records, history, photos, memberships and this list are erased from the server's file. Copies made before hold the farm until their own time is over; a copy that is restored erases it again. Take everything with you before.",
		"Ese día se borran del archivo del servidor los registros, el historial, las fotos, los miembros y esta lista. Las copias hechas antes contienen la finca hasta que pase su tiempo; una copia restaurada la borra de nuevo. Llévese todo antes.")
	broughtSays = words.New("web-brought-says",
		"The first {count} revisions were brought in from an archive on {day}; until there, who wrote what is the archive's word.",
		"Las primeras {count} revisiones se trajeron de un archivo el {day}; hasta ahí, quién escribió qué es palabra del archivo.")
)

type keepingLeaving struct {
	At   time.Time `json:"at"`
	By   string    `json:"by"`
	Says string    `json:"says"`
}

type keepingCopies struct {
	Made    bool       `json:"made_here"`
	Last    *time.Time `json:"last"`
	Oldest  *time.Time `json:"oldest"`
	Copies  int        `json:"copies"`
	Bytes   int64      `json:"bytes"`
	Every   float64    `json:"every_s"`
	Rule    string     `json:"keep"`
	Trouble string     `json:"trouble"` // "" while all is well
}

type keepingHistory struct {
	Sequence int64  `json:"sequence"`
	Head     string `json:"head"` // hash of the newest revision
	Chain    string `json:"chain"`
	Says     string `json:"says,omitempty"`
}

type keepingOut struct {
	Leaving   *keepingLeaving `json:"leaving"` // null: the farm stays
	EraseDays int             `json:"erase_days"`
	Copies    *keepingCopies  `json:"copies,omitempty"`  // for the owner
	History   *keepingHistory `json:"history,omitempty"` // for the owner
	AuditDays int             `json:"audit_days"`
	Empty     bool            `json:"empty"` // for the owner: a history can be brought in
}

// keeping tells how the farm is kept, and whether it is to be erased.
func (s *Server) keeping(x *exchange) error {
	days := func(d time.Duration) int { return int(d / (24 * time.Hour)) }
	out := keepingOut{EraseDays: days(s.Limits.EraseAfter), AuditDays: days(s.Limits.AuditKept)}
	err := x.view(func(r records.Reader) error {
		f := r.Farm()
		if !f.Leaving.IsZero() {
			out.Leaving = &keepingLeaving{f.Leaving, f.LeavingBy, erasedLater.Plain().In(x.lang)}
		}
		if !people.May(x.role, people.Keep, "") {
			return nil
		}
		out.Empty = r.Sequence() == 0
		out.Copies = s.copiesOut(x)
		h, err := historyOut(x, r)
		out.History = h
		return err
	})
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, out)
}

func historyOut(x *exchange, r records.Reader) (*keepingHistory, error) {
	f := r.Farm()
	h := &keepingHistory{Sequence: r.Sequence(), Chain: string(f.ChainID())}
	if !f.Brought.IsZero() {
		h.Says = broughtSays.With(words.Args{"count": f.BroughtTo, "day": f.Brought.Format(time.DateOnly)}).In(x.lang)
	}
	if h.Sequence == 0 {
		return h, nil
	}
	newest, _, err := r.Since(h.Sequence-1, 1)
	if err == nil && len(newest) == 1 {
		h.Head = hex.EncodeToString(newest[0].Hash[:])
	}
	return h, err
}

func (s *Server) copiesOut(x *exchange) *keepingCopies {
	if s.Copies == nil {
		return &keepingCopies{Trouble: copiesNone.Plain().In(x.lang)}
	}
	c := s.Copies()
	out := &keepingCopies{Made: true, Copies: c.Copies, Bytes: c.Bytes, Every: c.Every.Seconds(), Rule: c.Rule}
	var last any = neverCopied.Plain()
	if !c.Last.IsZero() {
		out.Last, out.Oldest = &c.Last, &c.Oldest
		last = c.Last.Format(time.RFC3339)
	}
	with := words.Args{"last": last}
	switch {
	case c.Full:
		out.Trouble = copiesFull.With(with).In(x.lang)
	case !c.Failed.IsZero():
		out.Trouble = copiesFailed.With(with).In(x.lang)
	case c.Late(s.Now()):
		out.Trouble = copiesLate.With(with).In(x.lang)
	}
	return out
}

// askErasure begins the waiting time after which the farm is erased.
func (s *Server) askErasure(x *exchange) error {
	var asked struct {
		Farm string `json:"farm"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	if asked.Farm != string(x.farm) {
		text := typeFarm.With(words.Args{"farm": string(x.farm)})
		return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "farm"})
	}
	return x.setLeaving(true, s.Now().Add(s.Limits.EraseAfter))
}

// takeBackErasure keeps the farm after all.
func (s *Server) takeBackErasure(x *exchange) error { return x.setLeaving(false, time.Time{}) }

func (x *exchange) setLeaving(leaves bool, at time.Time) error {
	err := x.view(func(r records.Reader) error {
		switch is := !r.Farm().Leaving.IsZero(); {
		case leaves && is:
			return fault.New(fault.Conflict, leavingAlready.Plain())
		case !leaves && !is:
			return fault.New(fault.Conflict, notLeaving.Plain())
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := x.s.Store.SetLeaving(x.r.Context(), x.farm, at, x.author("").Name); err != nil {
		return err
	}
	return x.s.keeping(x)
}

// everything answers with the farm whole, in one archive.
func (s *Server) everything(x *exchange) error {
	return s.exports.take(x.r.Context(), x.person.ID, func() error {
		return x.spooled("everything.zip", typeZIP, true, func(w io.Writer) error {
			return x.alone(func() error {
				return farmfile.Write(x.r.Context(), w, wholeSource{x}, x.farm, farmfile.Options{Made: s.Now(), Program: s.Version, Language: x.lang})
			})
		})
	})
}

// wholeSource reads records as every handler does.
type wholeSource struct{ x *exchange }

func (w wholeSource) View(_ context.Context, _ records.FarmID, f func(records.Reader) error) error {
	return w.x.view(f)
}

func (w wholeSource) EachDocument(ctx context.Context, farm records.FarmID, f func(records.Document) error) error {
	return w.x.s.Store.EachDocument(ctx, farm, f)
}

func (w wholeSource) EachPhoto(ctx context.Context, farm records.FarmID, f func(records.Photo) error) error {
	return w.x.records().EachPhoto(ctx, farm, f)
}

// bringIn gives an empty farm the history of an archive.
func (s *Server) bringIn(x *exchange) error {
	// A large archive takes longer to arrive than any other body may.
	if err := http.NewResponseController(x.w).SetReadDeadline(time.Now().Add(s.Limits.LongTime)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	f, err := nameless()
	if err != nil {
		return err
	}
	defer f.Close()
	size, err := io.Copy(f, x.r.Body)
	if err = spoolError(err); err != nil {
		if fault.Is(err, fault.Full) {
			return err
		}
		return x.bodyError(err)
	}
	err = x.alone(func() error {
		a, err := farmfile.Open(x.r.Context(), f, size, farmfile.Limits{Bytes: s.Limits.Archive, Unpacked: 8 * s.Limits.Archive})
		if err != nil {
			return err
		}
		return s.Store.BringIn(x.r.Context(), x.farm, a.Arrival())
	})
	if err != nil {
		return err
	}
	return s.keeping(x)
}

// spoolError gives words to a disk without room for a file on its way.
func spoolError(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return fault.Wrap(fault.Full, err, noSpool.Plain())
	}
	return err
}

// nameless makes a file that is gone when it is closed, whatever becomes of us.
func nameless() (*os.File, error) {
	f, err := os.CreateTemp("", "caneward-*")
	if err != nil {
		return nil, err
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// spooled answers with a file. It is made whole before any of it is sent, so
// that a client never holds a part that looks complete, and a slow one holds
// neither the records nor a processor.
func (x *exchange) spooled(name, mediaType string, isPacked bool, write func(io.Writer) error) error {
	f, err := nameless()
	if err != nil {
		return err
	}
	defer f.Close()
	if err := spoolError(write(f)); err != nil {
		return err
	}
	return x.sendFile(f, name, mediaType, isPacked)
}

// sendFile sends what was written to a file, from its start.
func (x *exchange) sendFile(f *os.File, name, mediaType string, isPacked bool) error {
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	h := x.w.Header()
	h.Set("Cache-Control", "private, no-store")
	h.Set("Content-Type", mediaType)
	h.Set("Content-Disposition", `attachment; filename="`+string(x.farm)+"-"+name+`"`)
	h.Add("Vary", "Accept-Encoding")
	pack := !isPacked && size >= packLeast && takesGzip(x.r)
	if pack {
		h.Set("Content-Encoding", "gzip")
	} else {
		h.Set("Content-Length", strconv.FormatInt(size, 10))
	}
	x.w.WriteHeader(http.StatusOK)
	if x.r.Method == http.MethodHead {
		return nil
	}
	if err := x.copyOut(f, pack); err != nil {
		panic(http.ErrAbortHandler) // the client must not take a part for the whole
	}
	return nil
}

// tendEvery is how often Tend looks.
const tendEvery = time.Minute

// Tend erases farms whose waiting time is over and forgets who saw what long
// ago, until the context ends.
func (s *Server) Tend(ctx context.Context) {
	tick := time.NewTicker(tendEvery)
	defer tick.Stop()
	for {
		if err := s.tend(ctx); err != nil && ctx.Err() == nil {
			s.Logger.LogAttrs(ctx, slog.LevelError, "tending the farms failed", slog.Any("err", err))
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

func (s *Server) tend(ctx context.Context) error {
	now := s.Now()
	gone, err := s.Store.EraseDue(ctx, now)
	for _, farm := range gone {
		s.extents.forget(farm)
		s.Logger.LogAttrs(ctx, slog.LevelWarn, "a farm was erased, as its owner had asked", slog.String("farm", string(farm)))
	}
	return errors.Join(err, s.Store.ForgetSeen(ctx, now.Add(-s.Limits.AuditKept)))
}

func keepingSchemas() object {
	when := object{"type": "string", "format": "date-time"}
	maybe := object{"type": "string", "format": "date-time", "nullable": true}
	return object{
		"erasureAsk": shape([]string{"farm"}, object{"farm": text("the farm's id, typed once more")}),
		"keeping": shape([]string{"leaving", "erase_days", "audit_days", "empty"}, object{
			"leaving":    object{"type": "object", "nullable": true, "properties": object{"at": when, "by": text("who asked"), "says": text("what that means")}},
			"erase_days": whole, "audit_days": whole, "empty": truth,
			"copies": shape(nil, object{"made_here": truth, "last": maybe, "oldest": maybe, "copies": whole, "bytes": whole, "every_s": number,
				"keep": text("which copies stay"), "trouble": text("empty while all is well")}),
			"history": shape(nil, object{"sequence": whole, "head": text("hash of the newest revision"), "chain": text("the id the hashes are made with"), "says": text("of a history brought in")}),
		}),
		"audit": shape([]string{"entries", "total", "kept_days", "says"}, object{
			"entries": list(shape(nil, object{"hour": when, "person": text("an id"), "name": text("as shown"), "role": ref("role"), "token": text("name of the token"),
				"what": text("operationId"), "what_says": text("its summary"), "kind": text("of records"), "refused": truth, "changes": truth,
				"times": whole, "records": whole, "first": when, "last": when})),
			"total": whole, "kept_days": whole, "says": text("what the list holds and what not"),
		}),
	}
}
