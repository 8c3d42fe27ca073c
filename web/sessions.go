package web

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"net/http"
	"time"

	"github.com/alexedwards/scs/v2"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

// cookieName is the session cookie's.
const cookieName = "caneward_session"

// personKey is where a session holds who signed in.
const personKey = "person"

var wrongSignIn = words.New("web-wrong-sign-in", "This name and password do not belong together.", "Este nombre y esta contraseña no corresponden.")

func newSessions(c Config) *scs.SessionManager {
	m := scs.New()
	m.Lifetime = c.Limits.SessionLife
	m.Store = sessionStore{store: c.Store, now: c.Now}
	m.Codec = sessionCodec{}
	m.Cookie.Name = cookieName
	m.Cookie.HttpOnly = true
	m.Cookie.SameSite = http.SameSiteLaxMode
	m.Cookie.Secure = c.Secure
	return m
}

// sessionCodec keeps a session readable: the store's adapter takes the person
// out of it.
type sessionCodec struct{}

type sessionData struct {
	Deadline time.Time         `json:"deadline"`
	Values   map[string]string `json:"values"`
}

// Encode takes text values only; this package puts in nothing else.
func (sessionCodec) Encode(deadline time.Time, values map[string]any) ([]byte, error) {
	d := sessionData{Deadline: deadline.UTC(), Values: map[string]string{}}
	for name, v := range values {
		text, ok := v.(string)
		if !ok {
			return nil, errors.New("web: a session value that is no text")
		}
		d.Values[name] = text
	}
	return json.Marshal(d)
}

func (sessionCodec) Decode(data []byte) (time.Time, map[string]any, error) {
	var d sessionData
	if err := json.Unmarshal(data, &d); err != nil {
		return time.Time{}, nil, err
	}
	values := map[string]any{}
	for name, v := range d.Values {
		values[name] = v
	}
	return d.Deadline, values, nil
}

// sessionStore keeps the library's sessions in ours, under a hash of the token.
type sessionStore struct {
	store people.Store
	now   func() time.Time
}

var _ scs.CtxStore = sessionStore{}

func (s sessionStore) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	found, err := s.store.Session(ctx, people.TokenHash(token), s.now())
	if fault.Is(err, fault.Missing) {
		return nil, false, nil
	}
	return found.Data, err == nil, err
}

func (s sessionStore) CommitCtx(ctx context.Context, token string, data []byte, expires time.Time) error {
	var d sessionData
	if err := json.Unmarshal(data, &d); err != nil {
		return err
	}
	return s.store.SaveSession(ctx, people.Session{
		TokenHash: people.TokenHash(token), Person: records.PersonID(d.Values[personKey]), Data: data, Expires: expires,
	})
}

func (s sessionStore) DeleteCtx(ctx context.Context, token string) error {
	return s.store.DeleteSession(ctx, people.TokenHash(token))
}

// The library asks for the calls without a context too, and uses them only
// where it has none.
func (s sessionStore) Find(token string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), token)
}

func (s sessionStore) Commit(token string, data []byte, expires time.Time) error {
	return s.CommitCtx(context.Background(), token, data, expires)
}

func (s sessionStore) Delete(token string) error { return s.DeleteCtx(context.Background(), token) }

// loadSession puts the session of the request's cookie, or a new one, into its
// context.
func (x *exchange) loadSession() error {
	token := ""
	if c, err := x.r.Cookie(cookieName); err == nil {
		token = c.Value
	}
	ctx, err := x.s.sessions.Load(x.r.Context(), token)
	if err != nil {
		return err
	}
	x.r = x.r.WithContext(ctx)
	return nil
}

// recognise fills in the person; fault.SignInFirst when nobody is signed in.
func (s *Server) recognise(x *exchange) error {
	if err := x.loadSession(); err != nil {
		return err
	}
	id := s.sessions.GetString(x.r.Context(), personKey)
	if id == "" {
		return fault.New(fault.SignInFirst, signInFirst.Plain())
	}
	p, err := s.Store.Person(x.r.Context(), records.PersonID(id))
	if fault.Is(err, fault.Missing) {
		return fault.New(fault.SignInFirst, signInFirst.Plain())
	}
	x.person = p
	return err
}

type who struct {
	Person whoPerson `json:"person"`
	Farms  []whoFarm `json:"farms"`
}

type whoPerson struct {
	ID      records.PersonID `json:"id"`
	Name    string           `json:"name"`
	Display string           `json:"display"`
}

type whoFarm struct {
	ID       records.FarmID `json:"id"`
	Name     string         `json:"name"`
	Role     records.Role   `json:"role"`
	Invented bool           `json:"invented"`
	Zone     string         `json:"zone"`
}

// signIn answers POST /sessions. A name nobody has costs the same work as a
// wrong password and answers the same.
func (s *Server) signIn(x *exchange) error {
	var asked struct{ Name, Password string }
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	name := people.NormalName(asked.Name)
	pass, err := s.signIns.enter(x.r.Context(), name, clientAddress(x.r))
	if err != nil {
		s.metrics.signIns.WithLabelValues("limited").Inc()
		return err
	}
	failed := true // also when checking panics
	defer func() { pass.leave(failed) }()
	p, err := s.checkPassword(x.r.Context(), name, asked.Password)
	failed = fault.Is(err, fault.SignInFirst)
	if err != nil {
		s.metrics.signIns.WithLabelValues("refused").Inc()
		return err
	}
	if err := s.openSession(x, p); err != nil {
		return err
	}
	s.metrics.signIns.WithLabelValues("taken").Inc()
	return s.whoAmI(x)
}

func (s *Server) checkPassword(ctx context.Context, name, password string) (people.Person, error) {
	p, err := s.Store.PersonByName(ctx, name)
	if err != nil && !fault.Is(err, fault.Missing) {
		return p, err
	}
	ok, err := people.CheckPassword(p.Password, password)
	if err != nil {
		return p, err
	}
	if !ok {
		return p, fault.New(fault.SignInFirst, wrongSignIn.Plain())
	}
	return p, nil
}

// openSession gives a new token whatever the client sent, so that nobody signs
// in under a token another person chose; the old session ends.
func (s *Server) openSession(x *exchange, p people.Person) error {
	if err := x.loadSession(); err != nil {
		return err
	}
	ctx := x.r.Context()
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	s.sessions.Put(ctx, personKey, string(p.ID))
	token, expires, err := s.sessions.Commit(ctx)
	if err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(ctx, x.w, token, expires)
	x.person = p
	if err := s.Store.DeleteExpiredSessions(ctx, s.Now()); err != nil {
		return err
	}
	return nil
}

// signOut answers DELETE /sessions/current: the session ends on the server.
func (s *Server) signOut(x *exchange) error {
	if err := s.sessions.Destroy(x.r.Context()); err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(x.r.Context(), x.w, "", time.Time{})
	x.w.Header().Set("Cache-Control", "no-store")
	x.w.WriteHeader(http.StatusNoContent)
	return nil
}

// whoAmI says who is signed in and on which farms, by farm id.
func (s *Server) whoAmI(x *exchange) error {
	ctx := x.r.Context()
	answer := who{Person: whoPerson{x.person.ID, x.person.Name, x.person.Display}, Farms: []whoFarm{}}
	member, err := s.Store.FarmsOf(ctx, x.person.ID)
	if err != nil {
		return err
	}
	for _, m := range member {
		err := s.Store.View(ctx, m.Farm, func(r records.Reader) error {
			f := r.Farm()
			answer.Farms = append(answer.Farms, whoFarm{f.ID, f.Name, m.Role, f.Invented, f.Zone})
			return nil
		})
		if err != nil {
			return err
		}
	}
	return x.json(http.StatusOK, answer)
}

// clientAddress is the address of the connection. Behind a proxy that is the
// proxy's: then the limit by address holds for all clients together.
func clientAddress(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}
