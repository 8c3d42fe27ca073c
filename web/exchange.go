package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"
	"regexp"
	"sort"
	"strings"
	"time"

	"github.com/gorilla/mux"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/entry"
	"caneward/records/people"
	"caneward/web/problem"
)

// What the edge itself refuses.
var (
	noSuchAddress  = words.New("web-no-such-address", "There is nothing at this address.", "No hay nada en esta dirección.")
	noSuchFarm     = words.New("web-no-such-farm", "There is no such farm, or it is not for you to see.", "No existe esa finca, o no le corresponde verla.")
	noSuchKind     = words.New("web-no-such-kind", "There is no such kind of record.", "No existe ese tipo de registro.")
	otherSite      = words.New("web-other-site", "Another website asked for this change. Open the page itself and try again.", "Otro sitio web pidió este cambio. Abra la página misma e inténtelo de nuevo.")
	signInFirst    = words.New("web-sign-in-first", "Nobody is signed in here, or the session has ended.", "Aquí nadie ha iniciado sesión, o la sesión terminó.")
	roleForbids    = words.New("web-role-forbids", "Your role on this farm ({role}) does not do this. Ask the owner.", "Su función en esta finca ({role}) no hace esto. Pregunte al dueño.")
	badQuery       = words.New("web-bad-query", "The part of the address after ? cannot be read.", "No se puede leer la parte de la dirección después de ?.")
	unknownParam   = words.New("web-unknown-parameter", "There is no parameter “{name}” here; there are: {known}.", "Aquí no hay ningún parámetro «{name}»; hay: {known}.")
	noParams       = words.New("web-no-parameters", "There is no parameter “{name}” here, nor any other.", "Aquí no hay ningún parámetro «{name}», ni ningún otro.")
	repeatedParam  = words.New("web-repeated-parameter", "The parameter “{name}” stands there more than once.", "El parámetro «{name}» aparece más de una vez.")
	wrongType      = words.New("web-wrong-media-type", "A body of type “{got}” is not read here; send {want}.", "Aquí no se lee un cuerpo de tipo «{got}»; envíe {want}.")
	packedBody     = words.New("web-packed-body", "A compressed body is not read here.", "Aquí no se lee un cuerpo comprimido.")
	bodyTooLarge   = words.New("web-body-too-large", "The body may hold at most {limit} bytes.", "El cuerpo puede tener como máximo {limit} bytes.")
	bodyCut        = words.New("web-body-cut", "The body ended before all of it arrived.", "El cuerpo terminó antes de llegar completo.")
	brokenJSON     = words.New("web-broken-json", "This is not JSON: it breaks at byte {byte}.", "Esto no es JSON: se rompe en el byte {byte}.")
	wrongJSONType  = words.New("web-wrong-json-type", "Something else stands here than what is read.", "Aquí hay algo distinto de lo que se lee.")
	unknownMember  = words.New("web-unknown-member", "There is no member {name} here.", "Aquí no hay ningún miembro {name}.")
	unfinishedJSON = words.New("web-unfinished-json", "The JSON ends before it is complete.", "El JSON termina antes de estar completo.")
)

// exchange is one request on its way through a handler: who asks, on which
// farm, as what.
type exchange struct {
	s      *Server
	w      http.ResponseWriter
	r      *http.Request
	route  *route
	vars   map[string]string
	query  url.Values
	lang   words.Language
	person people.Person
	farm   records.FarmID
	role   records.Role
	member people.Membership
	token  *people.Grant // nil: signed in by a cookie
	// handled counts the revisions looked at or taken in, for the list of who saw what.
	handled int64
}

type methods map[string]*route

// allow is the value of the Allow header.
func (m methods) allow() string {
	names := []string{http.MethodOptions}
	for name := range m {
		names = append(names, name)
		if name == http.MethodGet {
			names = append(names, http.MethodHead)
		}
	}
	sort.Strings(names)
	return strings.Join(names, ", ")
}

// dispatch answers all methods of one pattern.
func (s *Server) dispatch(pattern string, m methods) http.Handler {
	allow := m.allow()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		traceOf(r).route = pattern
		name := r.Method
		if name == http.MethodHead {
			name = http.MethodGet
		}
		switch route := m[name]; {
		case route != nil:
			s.answer(w, r, route)
		case r.Method == http.MethodOptions:
			w.Header().Set("Allow", allow)
			w.WriteHeader(http.StatusNoContent)
		default:
			w.Header().Set("Allow", allow)
			problem.Send(w, language(r), problem.Method(knownMethod(r.Method), allow, language(r), r.URL.Path))
		}
	})
}

// answer takes a request through everything its line of the table asks for.
func (s *Server) answer(w http.ResponseWriter, r *http.Request, route *route) {
	limit := s.Limits.Time
	if route.long {
		limit = s.Limits.LongTime
	}
	ctx, cancel := context.WithTimeout(r.Context(), limit)
	defer cancel()
	x := &exchange{s: s, w: w, r: r.WithContext(ctx), route: route, vars: mux.Vars(r), lang: language(r)}
	if route.page {
		w.Header().Add("Vary", "Accept")
		if wantsHTML(r) {
			s.servePage(x)
			return
		}
	}
	status := http.StatusOK
	// Also where a client leaves in the middle of a file, which is a panic.
	defer func() { x.noted(status) }()
	if err := x.pass(); err != nil {
		if ctx.Err() != nil && fault.KindOf(err) == fault.Internal {
			err = ctx.Err()
		}
		s.refuse(w, x.r, err)
		status = problem.StatusOf(err)
	}
}

func (x *exchange) pass() error {
	for _, gate := range []func() error{x.signedIn, x.fenced, x.entitled, x.asked, x.measured} {
		if err := gate(); err != nil {
			return err
		}
	}
	return x.route.handle(x)
}

// signedIn finds out who asks, where the route wants to know.
func (x *exchange) signedIn() error {
	if x.route.needs == public {
		return nil
	}
	return x.s.recognise(x)
}

// fenced lets people onto their own farms alone. A farm of others answers
// byte for byte as one that does not exist.
func (x *exchange) fenced() error {
	if x.route.needs != farm {
		return nil
	}
	id, err := records.ParseFarmID(x.vars["farm"])
	if err == nil {
		x.member, err = x.s.Store.MembershipOn(x.r.Context(), x.person.ID, id)
		x.role = x.member.Role
	}
	if err != nil && !fault.Is(err, fault.Missing) && !fault.Is(err, fault.Invalid) {
		return err
	}
	if err != nil || !people.IsRole(x.role) || x.token != nil && x.token.Farm != id {
		return fault.New(fault.Missing, noSuchFarm.Plain())
	}
	x.farm = id
	if kind, named := x.vars["kind"]; named {
		if _, err := records.ParseKind(kind); err != nil {
			return fault.New(fault.Missing, noSuchKind.Plain())
		}
	}
	return nil
}

// entitled asks the table of rights, and what a token was made for. Kinds inside
// a body are asked for by the desk, each on its own.
func (x *exchange) entitled() error {
	if x.token != nil && !x.token.Writes && x.route.method != http.MethodGet && !x.route.computes {
		return fault.New(fault.Forbidden, tokenReads.Plain())
	}
	if x.route.right == "" || people.May(x.role, x.route.right, x.kind()) {
		return nil
	}
	return fault.New(fault.Forbidden, roleForbids.With(words.Args{"role": people.RoleName(x.role)}))
}

func (x *exchange) kind() records.Kind { return records.Kind(x.vars["kind"]) }

// asked reads the query: every parameter must be declared, and stand once.
func (x *exchange) asked() error {
	if x.route.anyQuery {
		return nil
	}
	query, err := url.ParseQuery(x.r.URL.RawQuery)
	if err != nil {
		return fault.Wrap(fault.Malformed, err, badQuery.Plain())
	}
	known := x.route.parameters(x.kind())
	for _, name := range sortedNames(query) {
		if !known[name] {
			text := noParams.With(words.Args{"name": shorten(name)})
			if len(known) > 0 {
				text = unknownParam.With(words.Args{"name": shorten(name), "known": strings.Join(sortedNames(known), ", ")})
			}
			return fault.New(fault.Malformed, text)
		}
		if len(query[name]) > 1 {
			return fault.New(fault.Malformed, repeatedParam.With(words.Args{"name": name}))
		}
	}
	x.query = query
	return nil
}

func sortedNames[V any](m map[string]V) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// shorten keeps what is repeated to a client short.
func shorten(s string) string {
	const most = 60
	s = strings.ToValidUTF8(s, "�")
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// measured refuses a body of the wrong type, and one that says it is too large
// before any of it is read.
func (x *exchange) measured() error {
	b := x.route.body
	if b == nil {
		return nil
	}
	if x.r.Header.Get("Content-Encoding") != "" {
		return fault.New(fault.Unsupported, packedBody.Plain())
	}
	got, _, err := mime.ParseMediaType(x.r.Header.Get("Content-Type"))
	if err != nil || !contains(b.types, got) {
		return fault.New(fault.Unsupported, wrongType.With(words.Args{"got": shorten(got), "want": strings.Join(b.types, ", ")}))
	}
	limit := x.bodyLimit()
	if x.r.ContentLength > limit {
		x.linger()
		return tooLarge(limit)
	}
	x.r.Body = http.MaxBytesReader(x.w, x.r.Body, limit)
	return nil
}

func contains(list []string, s string) bool {
	for _, v := range list {
		if v == s {
			return true
		}
	}
	return false
}

func (x *exchange) bodyLimit() int64 {
	if most := x.route.body.most; most > 0 {
		return most
	}
	if x.route.body.large {
		return x.s.Limits.Import
	}
	return x.s.Limits.JSON
}

func tooLarge(limit int64) error {
	return fault.New(fault.TooLarge, bodyTooLarge.With(words.Args{"limit": limit}))
}

// A client that sends without listening would see a broken connection instead
// of the refusal, so a body that is too large is read away for a while: as much
// as 64 MB, for as long as five seconds.
const (
	lingerBytes = 64 << 20
	lingerTime  = 5 * time.Second
)

func (x *exchange) linger() {
	x.w.Header().Set("Connection", "close")
	http.NewResponseController(x.w).SetReadDeadline(time.Now().Add(lingerTime))
	io.CopyN(io.Discard, x.r.Body, lingerBytes)
}

// bodyBytes reads the whole body, which the route's limit bounds.
func (x *exchange) bodyBytes() ([]byte, error) {
	data, err := io.ReadAll(x.r.Body)
	return data, x.bodyError(err)
}

func (x *exchange) bodyError(err error) error {
	if err == nil {
		return nil
	}
	var over *http.MaxBytesError
	if errors.As(err, &over) {
		return tooLarge(over.Limit)
	}
	return fault.Wrap(fault.Malformed, err, bodyCut.Plain())
}

// bodyJSON reads the body into v. Members v does not know are refused, so that
// a misspelt one is not passed over in silence.
func (x *exchange) bodyJSON(v any) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	return readJSON(data, v)
}

func readJSON(data []byte, v any) error {
	if err := checkSyntax(data); err != nil {
		return err
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(v)
	var refusal *fault.Error
	var wrong *json.UnmarshalTypeError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &refusal):
		return refusal
	case errors.As(err, &wrong):
		return fault.New(fault.Invalid, wrongJSONType.Plain(), fault.Detail{Text: wrongJSONType.Plain(), Field: wrong.Field, Byte: fault.P(wrong.Offset)})
	}
	if m := unknownField.FindStringSubmatch(err.Error()); m != nil {
		return fault.New(fault.Invalid, unknownMember.With(words.Args{"name": shorten(m[1])}))
	}
	return fault.Wrap(fault.Invalid, err, wrongJSONType.Plain())
}

// encoding/json has no type for this error (go.dev/issue/29035); a test holds
// the wording.
var unknownField = regexp.MustCompile(`^json: unknown field ("(?:[^"\\]|\\.)*")$`)

func checkSyntax(data []byte) error {
	var at *json.SyntaxError
	var raw json.RawMessage
	err := json.Unmarshal(data, &raw)
	switch {
	case err == nil:
		return nil
	case errors.As(err, &at) && at.Offset < int64(len(data)):
		return malformedAt(brokenJSON.With(words.Args{"byte": max(at.Offset-1, 0)}), max(at.Offset-1, 0))
	}
	return malformedAt(unfinishedJSON.Plain(), int64(len(data)))
}

func malformedAt(text words.Text, offset int64) error {
	return fault.New(fault.Malformed, text, fault.Detail{Text: text, Byte: fault.P(offset)})
}

// Media types this server speaks.
const (
	typeJSON    = "application/json"
	typeGeoJSON = "application/geo+json"
	typeOpenAPI = "application/vnd.oai.openapi+json;version=3.0"
	typeForm    = "multipart/form-data"
)

// json writes an answer that nobody is to keep.
func (x *exchange) json(status int, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	x.w.Header().Set("Cache-Control", "no-store")
	return x.send(status, typeJSON, append(data, '\n'))
}

func (x *exchange) send(status int, mediaType string, data []byte) error {
	x.w.Header().Set("Content-Type", mediaType)
	x.w.WriteHeader(status)
	if x.r.Method != http.MethodHead {
		x.w.Write(data)
	}
	return nil
}

// tagged writes an answer that a client may keep and must ask about; a client
// that has it already gets 304.
func (x *exchange) tagged(etag, mediaType string, data []byte) error {
	h := x.w.Header()
	h.Set("ETag", etag)
	h.Set("Cache-Control", "private, no-cache")
	if matchesAny(x.r.Header.Get("If-None-Match"), etag) {
		x.w.WriteHeader(http.StatusNotModified)
		return nil
	}
	return x.send(http.StatusOK, mediaType, data)
}

// packLeast is the size below which packing saves no packet.
const packLeast = 1400

// packed is send with gzip where the client takes it. It is for answers without
// a strong tag, since packed bytes are other bytes.
func (x *exchange) packed(mediaType string, data []byte) error {
	x.w.Header().Add("Vary", "Accept-Encoding")
	if len(data) < packLeast || !takesGzip(x.r) {
		return x.send(http.StatusOK, mediaType, data)
	}
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	if err != nil {
		return err
	}
	if _, err := z.Write(data); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	x.w.Header().Set("Content-Encoding", "gzip")
	return x.send(http.StatusOK, mediaType, b.Bytes())
}

func takesGzip(r *http.Request) bool {
	for _, part := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, weight, _ := strings.Cut(strings.TrimSpace(part), ";")
		if strings.EqualFold(name, "gzip") {
			weight = strings.TrimSpace(weight)
			return weight != "q=0" && weight != "q=0.0" && weight != "q=0.00" && weight != "q=0.000"
		}
	}
	return false
}

// matchesAny is the weak comparison of RFC 9110 section 8.8.3.2 over a list.
func matchesAny(header, etag string) bool {
	if strings.TrimSpace(header) == "*" {
		return true
	}
	for _, tag := range strings.Split(header, ",") {
		if strings.TrimPrefix(strings.TrimSpace(tag), "W/") == strings.TrimPrefix(etag, "W/") {
			return true
		}
	}
	return false
}

// hostForm is what a host and port may look like in a link; anything else in
// the request's Host would be another's text in our answer.
var hostForm = regexp.MustCompile(`^(?:[A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::[0-9]{1,5})?$`)

// base is what every link begins with, without a slash at the end.
func (x *exchange) base() string {
	if p := x.s.public; p != nil {
		return p.String()
	}
	scheme, host := "http", x.r.Host
	if x.r.TLS != nil || x.s.Secure {
		scheme = "https"
	}
	if !hostForm.MatchString(host) {
		host = "localhost"
	}
	return scheme + "://" + host
}

// farmBase is base with the farm.
func (x *exchange) farmBase() string { return x.base() + "/farms/" + string(x.farm) }

// records gives the farm's records as far as who asks may see them. Handlers
// reach records through it, through view and through desk alone; a test holds
// them to it.
func (x *exchange) records() records.Store { return x.s.fences.Store(x.s.Store, x.member) }

// view reads the farm in one state.
func (x *exchange) view(f func(records.Reader) error) error {
	return x.records().View(x.r.Context(), x.farm, func(r records.Reader) error { return f(counted{r, &x.handled}) })
}

// viewTag tells the parts of a farm apart that members are limited to; empty for
// the whole.
func (x *exchange) viewTag() string {
	if x.member.Limits.None() {
		return ""
	}
	sum := sha256.Sum256([]byte(x.member.Limits.Key()))
	return "-" + hex.EncodeToString(sum[:6])
}

// desk takes records in from who asks.
func (x *exchange) desk() *entry.Desk {
	desk := *x.s.Desk
	desk.Store = x.records()
	return &desk
}

// wantsHTML reports whether a browser asks for a page rather than a program for
// data: text/html stands before every kind of JSON.
func wantsHTML(r *http.Request) bool {
	for _, part := range strings.Split(r.Header.Get("Accept"), ",") {
		switch t, _, _ := strings.Cut(strings.TrimSpace(part), ";"); strings.ToLower(t) {
		case "text/html", "application/xhtml+xml":
			return true
		case "*/*", "application/json", "application/geo+json", "application/*":
			return false
		}
	}
	return false
}
