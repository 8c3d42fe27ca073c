// Package problem turns refusals into problem documents (RFC 9457) and holds
// the one table from the kind of a refusal to an HTTP status.
package problem

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// MediaType is the type of every document, registered by RFC 9457.
const MediaType = "application/problem+json"

// Document is one problem. Type is a reference below /problems/ that names the
// kind; Instance is the path the client asked for. ID is set on internal
// failures only: the number under which the log holds the cause.
type Document struct {
	Type     string `json:"type"`
	Title    string `json:"title"`
	Status   int    `json:"status"`
	Detail   string `json:"detail,omitempty"`
	Instance string `json:"instance,omitempty"`
	Key      string `json:"key,omitempty"`
	ID       string `json:"id,omitempty"`
	Errors   []Item `json:"errors,omitempty"`

	// Wait is when asking again makes sense; it travels as Retry-After.
	Wait time.Duration `json:"-"`
}

// Item is one thing at fault. Numbers of features, parts, rings and vertices
// count from 1, bytes from 0, positions are longitude, latitude.
type Item struct {
	Detail   string      `json:"detail"`
	Key      string      `json:"key,omitempty"`
	Field    string      `json:"field,omitempty"`
	Pointer  string      `json:"pointer,omitempty"` // the field as a JSON Pointer (RFC 6901), below properties
	Entry    string      `json:"entry,omitempty"`
	Feature  *int        `json:"feature,omitempty"`
	Part     *int        `json:"part,omitempty"`
	Ring     *int        `json:"ring,omitempty"`
	Vertex   *int        `json:"vertex,omitempty"`
	Position *[2]float64 `json:"position,omitempty"`
	Line     *int        `json:"line,omitempty"`
	Byte     *int64      `json:"byte,omitempty"`
	Fix      string      `json:"fix,omitempty"`
}

// Sort is what one kind of refusal looks like from outside.
type Sort struct {
	Name   string // last part of the type
	Status int
	Title  words.Message
}

var sorts = map[fault.Kind]Sort{
	fault.Internal:     {"internal", http.StatusInternalServerError, words.New("problem-internal", "Something went wrong on the server", "Algo falló en el servidor")},
	fault.Malformed:    {"malformed", http.StatusBadRequest, words.New("problem-malformed", "The request cannot be read", "La solicitud no se puede leer")},
	fault.Invalid:      {"invalid", http.StatusUnprocessableEntity, words.New("problem-invalid", "The content breaks a rule", "El contenido incumple una regla")},
	fault.Missing:      {"missing", http.StatusNotFound, words.New("problem-missing", "There is no such thing here", "Aquí no hay tal cosa")},
	fault.Conflict:     {"conflict", http.StatusConflict, words.New("problem-conflict", "The state here forbids it", "El estado actual lo impide")},
	fault.Stale:        {"stale", http.StatusPreconditionFailed, words.New("problem-stale", "Somebody changed it in the meantime", "Alguien lo cambió entretanto")},
	fault.Precondition: {"precondition", http.StatusPreconditionRequired, words.New("problem-precondition", "Say which revision you replace", "Diga qué revisión reemplaza")},
	fault.SignInFirst:  {"sign-in-first", http.StatusUnauthorized, words.New("problem-sign-in-first", "Sign in first", "Inicie sesión primero")},
	fault.Forbidden:    {"forbidden", http.StatusForbidden, words.New("problem-forbidden", "Your role does not allow this", "Su función no lo permite")},
	fault.TooLarge:     {"too-large", http.StatusRequestEntityTooLarge, words.New("problem-too-large", "Over a size limit", "Supera un límite de tamaño")},
	fault.TooMany:      {"too-many", http.StatusTooManyRequests, words.New("problem-too-many", "Too many tries", "Demasiados intentos")},
	fault.Unsupported:  {"unsupported", http.StatusUnsupportedMediaType, words.New("problem-unsupported", "This format is not read here", "Este formato no se lee aquí")},
	fault.TooCostly:    {"too-costly", http.StatusUnprocessableEntity, words.New("problem-too-costly", "This would take too long", "Esto tardaría demasiado")},
	fault.Full:         {"full", http.StatusInsufficientStorage, words.New("problem-full", "There is no room left to store it", "No queda espacio para guardarlo")},
}

// Refusals that have no fault kind because only HTTP knows them.
var (
	method   = Sort{"method", http.StatusMethodNotAllowed, words.New("problem-method", "This address does not take that method", "Esta dirección no admite ese método")}
	timedOut = Sort{"timed-out", http.StatusServiceUnavailable, words.New("problem-timed-out", "It took longer than the server allows", "Tardó más de lo que permite el servidor")}
	upstream = Sort{"base-map", http.StatusBadGateway, words.New("problem-base-map", "The base map's server does not answer", "El servidor del mapa base no responde")}

	internalDetail = words.New("problem-internal-detail",
		"The cause stands in the server's log under {id}.",
		"La causa está en el registro del servidor con el número {id}.")
	timedOutDetail = words.New("problem-timed-out-detail",
		"Ask for less, or try again in a moment.",
		"Pida menos o inténtelo de nuevo en un momento.")
	methodDetail = words.New("problem-method-detail",
		"{method} is not taken here; these are: {allow}.",
		"Aquí no se admite {method}; se admiten: {allow}.")
)

// timedOutWait is common practice: long enough for a burst to pass.
const timedOutWait = 5 * time.Second

// SortOf is the table.
func SortOf(kind fault.Kind) Sort { return sorts[kind] }

// Sorts lists every kind of problem this server sends.
func Sorts() []Sort {
	all := []Sort{method, timedOut, upstream}
	for k := fault.Internal; k <= fault.Full; k++ {
		all = append(all, sorts[k])
	}
	return all
}

// StatusOf is the HTTP status an error answers with.
func StatusOf(err error) int {
	if isTimeout(err) {
		return timedOut.Status
	}
	return sorts[fault.KindOf(err)].Status
}

// From makes the document for any error. What is not a *fault.Error is
// internal: its text stays out, id stands in its place.
func From(err error, lang words.Language, instance, id string) Document {
	if isTimeout(err) {
		d := timedOut.document(lang, instance)
		d.Detail, d.Wait = timedOutDetail.Plain().In(lang), timedOutWait
		return d
	}
	var e *fault.Error
	if !errors.As(err, &e) || e.Kind == fault.Internal {
		d := sorts[fault.Internal].document(lang, instance)
		d.ID = id
		d.Detail = internalDetail.With(words.Args{"id": id}).In(lang)
		return d
	}
	d := sorts[e.Kind].document(lang, instance)
	d.Detail = e.Text.In(lang)
	d.Key = e.Text.Key()
	for _, at := range e.Details {
		d.Errors = append(d.Errors, item(at, lang))
	}
	var w *Waiting
	switch {
	case errors.As(err, &w):
		d.Wait = w.Wait
	case e.Kind == fault.TooMany:
		d.Wait = timedOutWait
	}
	return d
}

// Method is the refusal of a method; allow is the list for the Allow header.
func Method(name, allow string, lang words.Language, instance string) Document {
	d := method.document(lang, instance)
	d.Detail = methodDetail.With(words.Args{"method": name, "allow": allow}).In(lang)
	return d
}

// Upstream says that the base map's server gives nothing.
func Upstream(lang words.Language, instance string) Document {
	return upstream.document(lang, instance)
}

// Waiting is a refusal that passes by itself after Wait.
type Waiting struct {
	Err  error
	Wait time.Duration
}

// Error is the refusal's own.
func (w *Waiting) Error() string { return w.Err.Error() }

// Unwrap gives the refusal.
func (w *Waiting) Unwrap() error { return w.Err }

func (s Sort) document(lang words.Language, instance string) Document {
	return Document{Type: "/problems/" + s.Name, Title: s.Title.Plain().In(lang), Status: s.Status, Instance: instance}
}

func isTimeout(err error) bool {
	var e *fault.Error
	return errors.Is(err, context.DeadlineExceeded) && !errors.As(err, &e)
}

func item(d fault.Detail, lang words.Language) Item {
	return Item{
		Detail: d.Text.In(lang), Key: d.Text.Key(), Field: d.Field, Pointer: pointer(d.Field),
		Entry: d.Entry, Feature: d.Feature, Part: d.Part, Ring: d.Ring, Vertex: d.Vertex, Position: d.At,
		Line: d.Line, Byte: d.Byte, Fix: d.Fix.In(lang),
	}
}

// pointer turns "products[0].rate.unit" into "/products/0/rate/unit". The two
// characters RFC 6901 escapes are escaped.
func pointer(field string) string {
	if field == "" {
		return ""
	}
	out := make([]byte, 0, len(field)+2)
	out = append(out, '/')
	for i := 0; i < len(field); i++ {
		switch c := field[i]; c {
		case '.', '[':
			if out[len(out)-1] != '/' {
				out = append(out, '/')
			}
		case ']':
		case '~':
			out = append(out, "~0"...)
		case '/':
			out = append(out, "~1"...)
		default:
			out = append(out, c)
		}
	}
	return string(out)
}

// Send writes the document. A HEAD request gets its headers alone, which
// net/http sees to.
func Send(w http.ResponseWriter, lang words.Language, d Document) {
	body, err := json.Marshal(d)
	if err != nil { // a position of NaN is the only way here
		d.Errors = nil
		body, _ = json.Marshal(d)
	}
	h := w.Header()
	h.Del("ETag")
	h.Set("Content-Type", MediaType)
	h.Set("Content-Language", string(lang))
	h.Set("Cache-Control", "no-store")
	h.Add("Vary", "Accept-Language")
	if d.Status == http.StatusUnauthorized {
		// RFC 9110 section 15.5.2 wants a challenge; no browser opens a window for
		// a scheme it does not know.
		h.Set("WWW-Authenticate", `Session realm="caneward"`)
	}
	if d.Wait > 0 {
		h.Set("Retry-After", strconv.Itoa(int((d.Wait+time.Second-1)/time.Second)))
	}
	w.WriteHeader(d.Status)
	w.Write(append(body, '\n'))
}
