package web

import (
	"encoding/hex"
	"errors"
	"net/http"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

var (
	codeWanted   = words.New("web-code-wanted", "Type the six digits your authenticator shows now, or a recovery code.", "Escriba las seis cifras que su autenticador muestra ahora, o un código de recuperación.")
	wrongCode    = words.New("web-wrong-code", "This code does not fit. Codes change every 30 seconds; the clocks of phone and server must agree.", "Este código no corresponde. Los códigos cambian cada 30 segundos; los relojes del teléfono y del servidor deben coincidir.")
	wrongNow     = words.New("web-wrong-password-now", "This is not your password.", "Esta no es su contraseña.")
	noSuchSignIn = words.New("web-no-such-session", "This sign-in has ended already.", "Este inicio de sesión ya terminó.")
	factorOn     = words.New("web-second-factor-on", "A second factor is on already. Turn it off first.", "Ya hay un segundo factor activado. Desactívelo primero.")
)

// errCodeWanted marks the question for a code: no failed try.
var errCodeWanted = errors.New("web: the sign-in has a second factor")

// checkSecond asks for the code of a person who has a second factor on.
func (s *Server) checkSecond(x *exchange, p people.Person, code string) error {
	ctx := x.r.Context()
	f, err := s.Store.SecondFactorOf(ctx, p.ID)
	if fault.Is(err, fault.Missing) || err == nil && !f.On {
		return nil
	}
	if err != nil {
		return err
	}
	if code = strings.TrimSpace(code); code == "" {
		return fault.Wrap(fault.SignInFirst, errCodeWanted, codeWanted.Plain())
	}
	pass, err := s.codes.enter(ctx, string(p.ID), x.limitAddress())
	if err != nil {
		return err
	}
	right := false
	defer func() { pass.leave(!right) }()
	right, err = s.spendCode(x, p.ID, f, code)
	if err == nil && !right {
		err = fault.New(fault.SignInFirst, wrongCode.Plain())
	}
	return err
}

// spendCode reports whether a code fits and uses it up. A factor that another
// key sealed, as after records were taken to another machine without its key,
// leaves the recovery codes.
func (s *Server) spendCode(x *exchange, id records.PersonID, f people.SecondFactor, code string) (bool, error) {
	ctx := x.r.Context()
	err := s.Store.SpendRecovery(ctx, id, people.RecoveryHash(code))
	if err == nil || !fault.Is(err, fault.Missing) {
		return err == nil, err
	}
	key, err := people.Open(s.SecretKey, f.Secret, string(id))
	if err != nil {
		s.Logger.WarnContext(ctx, "second factor", "id", traceOf(x.r).id, "err", err)
		return false, nil
	}
	step, ok := people.CheckCode(key, strings.ReplaceAll(code, " ", ""), s.Now())
	if !ok {
		return false, nil
	}
	err = s.Store.SpendStep(ctx, id, step)
	if fault.Is(err, fault.Stale) {
		return false, nil
	}
	return err == nil, err
}

// limitAddress is what tries are counted by: of IPv6 the network of 64 bits,
// which is one customer's.
func (x *exchange) limitAddress() string { return network(x.address()) }

type shownSession struct {
	ID      string `json:"id"`
	Since   string `json:"since"`
	Expires string `json:"expires"`
	Agent   string `json:"agent"`
	Current bool   `json:"current"`
}

// account shows one's own sign-ins and second factor.
func (s *Server) account(x *exchange) error {
	ctx := x.r.Context()
	all, err := s.Store.SessionsOf(ctx, x.person.ID, s.Now())
	if err != nil {
		return err
	}
	sessions := []shownSession{}
	for _, one := range all {
		_, values, err := sessionCodec{}.Decode(one.Data)
		if err != nil {
			return err
		}
		if _, passed := values[passedKey]; passed {
			continue
		}
		since, _ := values[sinceKey].(string)
		agent, _ := values[agentKey].(string)
		sessions = append(sessions, shownSession{sessionName(one), since, stamp(one.Expires), agent, one.TokenHash == people.TokenHash(s.sessions.Token(ctx))})
	}
	f, err := s.Store.SecondFactorOf(ctx, x.person.ID)
	if err != nil && !fault.Is(err, fault.Missing) {
		return err
	}
	return x.json(http.StatusOK, map[string]any{
		"person":        whoPerson{x.person.ID, x.person.Name, x.person.Display},
		"sessions":      sessions,
		"second_factor": map[string]any{"on": f.On, "recovery_codes": len(f.Recovery)},
	})
}

// sessionName names a session in addresses; it is part of a hash and signs
// nobody in.
func sessionName(one people.Session) string { return hex.EncodeToString(one.TokenHash[:8]) }

// endSession ends one of one's own sign-ins.
func (s *Server) endSession(x *exchange) error {
	all, err := s.Store.SessionsOf(x.r.Context(), x.person.ID, s.Now())
	if err != nil {
		return err
	}
	for _, one := range all {
		if sessionName(one) == x.vars["session"] {
			if err := s.Store.DeleteSession(x.r.Context(), one.TokenHash); err != nil {
				return err
			}
			return x.nothing()
		}
	}
	return fault.New(fault.Missing, noSuchSignIn.Plain())
}

// confirmed asks for the password again, under the limits of sign-ins, before
// something that would keep its owner out.
func (x *exchange) confirmed(password string) error {
	pass, err := x.s.signIns.enter(x.r.Context(), x.person.Name, x.limitAddress())
	if err != nil {
		return err
	}
	right := false
	defer func() { pass.leave(!right) }()
	right, err = people.CheckPassword(x.person.Password, password)
	if err == nil && !right {
		err = fault.New(fault.Invalid, wrongNow.Plain(), fault.Detail{Text: wrongNow.Plain(), Field: "password"})
	}
	return err
}

// changePassword sets a new one; every other session ends and this one gets
// another token.
func (s *Server) changePassword(x *exchange) error {
	var asked struct {
		Password string `json:"password"`
		New      string `json:"new"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	if err := x.confirmed(asked.Password); err != nil {
		return err
	}
	phc, err := people.HashPassword(asked.New)
	if err != nil {
		return err
	}
	if err := s.Store.SetPassword(x.r.Context(), x.person.ID, phc); err != nil {
		return err
	}
	if err := s.openSession(x, x.person); err != nil {
		return err
	}
	return x.nothing()
}

// confirmedBody reads a body that is the password alone, and checks it.
func (x *exchange) confirmedBody() error {
	var asked struct {
		Password string `json:"password"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	return x.confirmed(asked.Password)
}

// beginSecondFactor makes a key; it is on once a code of it was shown.
func (s *Server) beginSecondFactor(x *exchange) error {
	if err := x.confirmedBody(); err != nil {
		return err
	}
	ctx := x.r.Context()
	if f, err := s.Store.SecondFactorOf(ctx, x.person.ID); err == nil && f.On {
		return fault.New(fault.Conflict, factorOn.Plain())
	} else if err != nil && !fault.Is(err, fault.Missing) {
		return err
	}
	key := people.NewCodeKey()
	sealed, err := people.Seal(s.SecretKey, key, string(x.person.ID))
	if err != nil {
		return err
	}
	if err := s.Store.SetSecondFactor(ctx, x.person.ID, &people.SecondFactor{Secret: sealed}); err != nil {
		return err
	}
	address, typed := people.CodeAddress(key, x.person.Name, "caneward")
	return x.json(http.StatusCreated, map[string]any{"address": address, "key": typed})
}

// finishSecondFactor turns it on by a code of it, and gives the recovery codes.
func (s *Server) finishSecondFactor(x *exchange) error {
	var asked struct {
		Code string `json:"code"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	ctx := x.r.Context()
	f, err := s.Store.SecondFactorOf(ctx, x.person.ID)
	if err != nil {
		return err
	}
	if f.On {
		return fault.New(fault.Conflict, factorOn.Plain())
	}
	pass, err := s.codes.enter(ctx, string(x.person.ID), x.limitAddress())
	if err != nil {
		return err
	}
	right := false
	defer func() { pass.leave(!right) }()
	if right, err = s.spendCode(x, x.person.ID, f, strings.TrimSpace(asked.Code)); err != nil {
		return err
	}
	if !right {
		return fault.New(fault.Invalid, wrongCode.Plain(), fault.Detail{Text: wrongCode.Plain(), Field: "code"})
	}
	codes, hashes := people.NewRecovery()
	if f, err = s.Store.SecondFactorOf(ctx, x.person.ID); err != nil {
		return err
	}
	f.On, f.Recovery = true, hashes
	if err := s.Store.SetSecondFactor(ctx, x.person.ID, &f); err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"recovery": codes})
}

// endSecondFactor turns it off, by the password.
func (s *Server) endSecondFactor(x *exchange) error {
	if err := x.confirmedBody(); err != nil {
		return err
	}
	if err := s.Store.SetSecondFactor(x.r.Context(), x.person.ID, nil); err != nil {
		return err
	}
	return x.nothing()
}

// resetDays is how long a link that sets a new password is good for.
const resetDays = 1

// makeReset makes a link that sets a member's password. An owner does so only
// for people all of whose farms are hers: another's farm is not opened that way.
func (s *Server) makeReset(x *exchange) error {
	ctx := x.r.Context()
	p, err := x.memberNamed()
	if err != nil {
		return err
	}
	farms, err := s.Store.FarmsOf(ctx, p.Person)
	if err != nil {
		return err
	}
	for _, m := range farms {
		mine, err := s.Store.MembershipOn(ctx, x.person.ID, m.Farm)
		if err != nil && !fault.Is(err, fault.Missing) {
			return err
		}
		if err != nil || mine.Role != records.Owner {
			return fault.New(fault.Forbidden, resetElsewhere.Plain())
		}
	}
	secret, g, err := x.newGrant(people.Grant{Purpose: people.Reset, Person: p.Person}, "", resetDays, resetDays)
	if err != nil {
		return err
	}
	return x.handOut(secret, g)
}

// useReset sets a password by a link. A second factor stays on.
func (s *Server) useReset(x *exchange) error {
	var asked struct {
		Secret   string `json:"secret"`
		Password string `json:"password"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	return x.tried("reset", func() error {
		hash := people.TokenHash(asked.Secret)
		if _, err := s.Store.GrantOf(x.r.Context(), people.Reset, hash, s.Now()); err != nil {
			return err
		}
		phc, err := people.HashPassword(asked.Password)
		if err != nil {
			return err
		}
		if _, err := s.Store.UseReset(x.r.Context(), hash, phc, s.Now()); err != nil {
			return err
		}
		return x.nothing()
	})
}

// tried counts uses of links that do not exist as failed sign-ins of the
// address.
func (x *exchange) tried(what string, f func() error) error {
	pass, err := x.s.signIns.enter(x.r.Context(), "/"+what, x.limitAddress())
	if err != nil {
		return err
	}
	failed := true
	defer func() { pass.leave(failed) }()
	err = f()
	failed = fault.Is(err, fault.Missing)
	return err
}
