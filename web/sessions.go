package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/alexedwards/scs/v2"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

// cookieName is the session cookie's.
const cookieName = "caneward_session"

// What a session holds: who signed in, with which rights it was opened, when and
// with what browser, and on one that was renewed that another took its place.
const (
	personKey = "person"
	rightsKey = "rights"
	sinceKey  = "since"
	agentKey  = "agent"
	passedKey = "passed"
)

// passedTime is how long a session that was renewed still answers: requests that
// were under way with it must not sign a page out.
const passedTime = 10 * time.Second

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

// recognise fills in the person, by a token or by the session's cookie;
// fault.SignInFirst when nobody is signed in.
func (s *Server) recognise(x *exchange) error {
	if x.r.Header.Get("Authorization") != "" {
		return s.recogniseToken(x)
	}
	if err := x.loadSession(); err != nil {
		return err
	}
	ctx := x.r.Context()
	id := s.sessions.GetString(ctx, personKey)
	if id == "" {
		return fault.New(fault.SignInFirst, signInFirst.Plain())
	}
	p, err := s.Store.Person(ctx, records.PersonID(id))
	if fault.Is(err, fault.Missing) {
		return fault.New(fault.SignInFirst, signInFirst.Plain())
	}
	if err != nil {
		return err
	}
	x.person = p
	if s.sessions.GetString(ctx, rightsKey) != strconv.Itoa(p.Rights) && s.sessions.GetString(ctx, passedKey) == "" {
		return s.renewSession(x)
	}
	return nil
}

// renewSession gives a session another token once its person's rights have
// changed. The old one answers for passedTime more and then no longer.
func (s *Server) renewSession(x *exchange) error {
	ctx := x.r.Context()
	old := people.Session{TokenHash: people.TokenHash(s.sessions.Token(ctx)), Person: x.person.ID, Expires: s.Now().Add(passedTime)}
	var err error
	old.Data, err = sessionCodec{}.Encode(old.Expires, map[string]any{personKey: string(x.person.ID), passedKey: "yes"})
	if err != nil {
		return err
	}
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	if err := s.commitSession(x); err != nil {
		return err
	}
	return s.Store.SaveSession(ctx, old)
}

// commitSession keeps the session under its token and hands that out.
func (s *Server) commitSession(x *exchange) error {
	ctx := x.r.Context()
	s.sessions.Put(ctx, personKey, string(x.person.ID))
	s.sessions.Put(ctx, rightsKey, strconv.Itoa(x.person.Rights))
	token, expires, err := s.sessions.Commit(ctx)
	if err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(ctx, x.w, token, expires)
	return nil
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
	// Limits is what of the farm is seen; absent for the whole.
	Limits *people.Limits `json:"limits,omitempty"`
}

// signIn answers POST /sessions. A name nobody has costs the same work as a
// wrong password and answers the same. With a second factor the right password
// alone is answered with the question for its code, and is no failed try.
func (s *Server) signIn(x *exchange) error {
	var asked struct{ Name, Password, Code string }
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	name := people.NormalName(asked.Name)
	pass, err := s.signIns.enter(x.r.Context(), name, x.limitAddress())
	if err != nil {
		s.metrics.signIns.WithLabelValues("limited").Inc()
		return err
	}
	failed := true // also when checking panics
	defer func() { pass.leave(failed) }()
	p, err := s.checkPassword(x.r.Context(), name, asked.Password)
	if err == nil {
		err = s.checkSecond(x, p, asked.Code)
	}
	failed = fault.Is(err, fault.SignInFirst) && !errors.Is(err, errCodeWanted)
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
	s.sessions.Remove(ctx, passedKey)
	s.sessions.Put(ctx, sinceKey, s.Now().UTC().Format(time.RFC3339))
	s.sessions.Put(ctx, agentKey, shorten(x.r.UserAgent()))
	x.person = p
	if err := s.commitSession(x); err != nil {
		return err
	}
	return s.Store.DeleteExpiredSessions(ctx, s.Now())
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
		if x.token != nil && x.token.Farm != m.Farm {
			continue
		}
		var limits *people.Limits
		if !m.Limits.None() {
			limits = &m.Limits
		}
		err := s.Store.View(ctx, m.Farm, func(r records.Reader) error {
			f := r.Farm()
			answer.Farms = append(answer.Farms, whoFarm{f.ID, f.Name, m.Role, f.Invented, f.Zone, limits})
			return nil
		})
		if err != nil {
			return err
		}
	}
	return x.json(http.StatusOK, answer)
}
