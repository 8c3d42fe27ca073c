package web

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"net/http"
	"strings"
	"sync"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	"caneward/web/problem"
)

var (
	tokenUnknown  = words.New("web-token-unknown", "This token is not known here, was taken back, or has expired.", "Esta clave no se conoce aquí, fue retirada o venció.")
	tokenReads    = words.New("web-token-reads", "This token was made for reading only.", "Esta clave se hizo solo para leer.")
	tokenPersonal = words.New("web-token-personal", "This is done at the page, signed in; no token does it.", "Esto se hace en la página, con sesión iniciada; ninguna clave lo hace.")
	tokenQuota    = words.New("web-token-quota", "This token has asked {most} times within a minute. Go on in {seconds} s.", "Esta clave ya hizo {most} solicitudes en un minuto. Siga en {seconds} s.")
	nameWanted    = words.New("web-grant-name", "Say in up to {most} characters what or whom it is for.", "Diga en hasta {most} caracteres para qué o para quién es.")
	daysWanted    = words.New("web-grant-days", "It may be good for 1 to {most} days.", "Puede valer de 1 a {most} días.")
)

// tokenPrefix lets people and programs that look for lost secrets tell ours.
const tokenPrefix = "cwt_"

// newSecret makes a secret of 256 random bits.
func newSecret(prefix string) string {
	raw := make([]byte, 32)
	rand.Read(raw)
	return prefix + base64.RawURLEncoding.EncodeToString(raw)
}

// recogniseToken takes a bearer token (RFC 6750) or, for programs that know
// only names and passwords, a token in the place of the password (RFC 7617);
// the name beside it does not matter. A wrong one is not made up for by a
// cookie.
func (s *Server) recogniseToken(x *exchange) error {
	secret := ""
	scheme, rest, _ := strings.Cut(x.r.Header.Get("Authorization"), " ")
	switch {
	case strings.EqualFold(scheme, "Bearer"):
		secret = strings.TrimSpace(rest)
	case strings.EqualFold(scheme, "Basic"):
		_, secret, _ = x.r.BasicAuth()
	}
	ctx := x.r.Context()
	g, err := s.Store.GrantOf(ctx, people.Token, people.TokenHash(secret), s.Now())
	if err == nil {
		x.person, err = s.Store.Person(ctx, g.Person)
	}
	if fault.Is(err, fault.Missing) {
		return fault.New(fault.SignInFirst, tokenUnknown.Plain())
	}
	if err != nil {
		return err
	}
	if err := s.quotas.take(g.ID); err != nil {
		return err
	}
	if x.route.personal {
		return fault.New(fault.Forbidden, tokenPersonal.Plain())
	}
	x.token = &g
	// The day is enough to tell which tokens nobody needs.
	if now := s.Now(); now.Sub(g.Used) > 24*time.Hour {
		return s.Store.TokenUsed(context.WithoutCancel(ctx), g.ID, now)
	}
	return nil
}

// quotas count requests by token and minute.
type quotas struct {
	now  func() time.Time
	most int

	lock  sync.Mutex
	since time.Time
	used  map[string]int
}

func newQuotas(now func() time.Time, most int) *quotas {
	return &quotas{now: now, most: most, used: map[string]int{}}
}

func (q *quotas) take(id string) error {
	q.lock.Lock()
	defer q.lock.Unlock()
	now := q.now()
	if !now.Before(q.since.Add(time.Minute)) {
		q.since = now
		clear(q.used)
	}
	if q.used[id] >= q.most {
		wait := q.since.Add(time.Minute).Sub(now)
		seconds := int((wait + time.Second - 1) / time.Second)
		return &problem.Waiting{Err: fault.New(fault.TooMany, tokenQuota.With(words.Args{"most": q.most, "seconds": seconds})), Wait: wait}
	}
	q.used[id]++
	return nil
}

// shownGrant is a link or token as lists show it, without its secret.
type shownGrant struct {
	ID      string         `json:"id"`
	Purpose people.Purpose `json:"purpose"`
	Name    string         `json:"name"`
	Person  *namedPerson   `json:"person,omitempty"`
	By      *namedPerson   `json:"by,omitempty"`
	Role    records.Role   `json:"role,omitempty"`
	Limits  *people.Limits `json:"limits,omitempty"`
	Writes  bool           `json:"writes"`
	Created string         `json:"created"`
	Expires string         `json:"expires"`
	Used    string         `json:"used,omitempty"`
	State   string         `json:"state"` // open, used, ended, expired
}

type namedPerson struct {
	ID      records.PersonID `json:"id"`
	Display string           `json:"display"`
}

func (x *exchange) named(id records.PersonID) (*namedPerson, error) {
	if id == "" {
		return nil, nil
	}
	p, err := x.s.Store.Person(x.r.Context(), id)
	if err != nil {
		return nil, err
	}
	return &namedPerson{p.ID, displayed(p)}, nil
}

func displayed(p people.Person) string {
	if p.Display == "" {
		return p.Name
	}
	return p.Display
}

func limitsOrNil(l people.Limits) *people.Limits {
	if l.None() {
		return nil
	}
	return &l
}

func (x *exchange) shown(g people.Grant) (shownGrant, error) {
	out := shownGrant{ID: g.ID, Purpose: g.Purpose, Name: g.Name, Role: g.Role, Limits: limitsOrNil(g.Limits), Writes: g.Writes,
		Created: stamp(g.Created), Expires: stamp(g.Expires), State: "open"}
	if !g.Used.IsZero() {
		out.Used = g.Used.UTC().Format(time.DateOnly)
	}
	switch {
	case !g.Ended.IsZero():
		out.State = "ended"
	case g.Usable(x.s.Now()):
	case !g.Used.IsZero() && g.Purpose != people.Token:
		out.State = "used"
	default:
		out.State = "expired"
	}
	var err error
	if out.Person, err = x.named(g.Person); err != nil {
		return out, err
	}
	out.By, err = x.named(g.By)
	return out, err
}

// grants lists what the farm handed out that admit lets through.
func (x *exchange) grants(admit func(people.Grant) bool) ([]shownGrant, error) {
	all, err := x.s.Store.GrantsOn(x.r.Context(), x.farm)
	if err != nil {
		return nil, err
	}
	out := []shownGrant{}
	for _, g := range all {
		if !admit(g) {
			continue
		}
		one, err := x.shown(g)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, nil
}

// newGrant fills in what every grant has and keeps it; the secret is given once.
func (x *exchange) newGrant(g people.Grant, prefix string, days, mostDays int) (string, people.Grant, error) {
	if n := len([]rune(g.Name)); g.Purpose != people.Reset && (n == 0 || n > people.GrantNameMost) {
		text := nameWanted.With(words.Args{"most": people.GrantNameMost})
		return "", g, fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "name"})
	}
	if days < 1 || days > mostDays {
		text := daysWanted.With(words.Args{"most": mostDays})
		return "", g, fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "days"})
	}
	secret := newSecret(prefix)
	now := records.WholeMicroseconds(x.s.Now())
	g.ID, g.Hash, g.Farm, g.By = string(x.s.ids.New()), people.TokenHash(secret), x.farm, x.person.ID
	g.Created, g.Expires = now, now.AddDate(0, 0, days)
	return secret, g, x.s.Store.AddGrant(x.r.Context(), g)
}

// handOut answers with a grant and, this once, its secret.
func (x *exchange) handOut(secret string, g people.Grant) error {
	one, err := x.shown(g)
	if err != nil {
		return err
	}
	return x.json(http.StatusCreated, struct {
		shownGrant
		Secret string `json:"secret"`
	}{one, secret})
}

// Days a token is good for: a season, unless said otherwise.
const (
	tokenDays     = 180
	tokenMostDays = 730
)

// listTokens shows one's own tokens on the farm, and all of them to its owner.
func (s *Server) listTokens(x *exchange) error {
	tokens, err := x.grants(func(g people.Grant) bool {
		return g.Purpose == people.Token && g.Ended.IsZero() && (g.Person == x.person.ID || x.role == records.Owner)
	})
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"tokens": tokens})
}

// makeToken makes one that stands for who asks, on this farm.
func (s *Server) makeToken(x *exchange) error {
	asked := struct {
		Name   string `json:"name"`
		Writes bool   `json:"writes"`
		Days   int    `json:"days"`
	}{Days: tokenDays}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	secret, g, err := x.newGrant(people.Grant{Purpose: people.Token, Person: x.person.ID, Name: strings.TrimSpace(asked.Name), Writes: asked.Writes}, tokenPrefix, asked.Days, tokenMostDays)
	if err != nil {
		return err
	}
	return x.handOut(secret, g)
}

// endToken takes one back: one's own, or any as the owner.
func (s *Server) endToken(x *exchange) error {
	return x.endGrant(func(g people.Grant) bool {
		return g.Purpose == people.Token && (g.Person == x.person.ID || x.role == records.Owner)
	})
}

func (x *exchange) endGrant(admit func(people.Grant) bool) error {
	all, err := x.s.Store.GrantsOn(x.r.Context(), x.farm)
	if err != nil {
		return err
	}
	for _, g := range all {
		if g.ID != x.vars["grant"] || !admit(g) {
			continue
		}
		if err := x.s.Store.EndGrant(x.r.Context(), x.farm, g.ID, x.s.Now()); err != nil {
			return err
		}
		return x.nothing()
	}
	return people.GrantMissing()
}

// nothing answers that it is done.
func (x *exchange) nothing() error {
	x.w.Header().Set("Cache-Control", "no-store")
	x.w.WriteHeader(http.StatusNoContent)
	return nil
}
