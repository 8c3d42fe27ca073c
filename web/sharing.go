package web

import (
	"cmp"
	"net/http"
	"strconv"
	"strings"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

var (
	noSuchMember   = words.New("web-no-such-member", "Nobody of this farm is meant by this.", "Esto no nombra a nadie de esta finca.")
	lastOwner      = words.New("web-last-owner", "A farm keeps at least one grower. Make somebody else one first.", "Una finca conserva al menos un productor. Nombre antes a otra persona.")
	resetElsewhere = words.New("web-reset-elsewhere", "This sign-in is not this farm's alone to reset. Whoever runs the server can, from its console.", "Este acceso no le corresponde solo a esta finca. Quien administra el servidor puede cambiarlo desde su consola.")
	roleWanted     = words.New("web-role-wanted", "Say which role: owner, applicator, scout, adviser or viewer.", "Indique la función: owner, applicator, scout, adviser o viewer.")
	blockUnknown   = words.New("web-limit-block-unknown", "One of these blocks is not on this farm.", "Uno de estos bloques no está en esta finca.")
	seenBy         = words.New("web-seen-by", "Seen by: {people}.", "Lo ven: {people}.")
	seenByOne      = words.New("web-seen-by-one", "{name} ({role})", "{name} ({role})")
	seenBySeasons  = words.New("web-seen-by-seasons", "{name} ({role}; seasons {seasons})", "{name} ({role}; temporadas {seasons})")
)

// peopleRoutes are who is on a farm, what they were handed, and one's own
// sign-in. None of them is done by a token.
func (s *Server) peopleRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	done := []reply{{http.StatusNoContent, nil, "", "done"}}
	made := func(schema, says string) []reply {
		return []reply{{http.StatusCreated, []string{typeJSON}, schema, says}}
	}
	const atPeople, atInvitations, atTokens = atFarm + "/people", atFarm + "/invitations", atFarm + "/tokens"
	all := []route{
		{method: "GET", pattern: atPeople, id: "people", summary: "Who is on the farm, and the links and tokens that were handed out", needs: farm, right: people.Govern, handle: s.listPeople,
			replies: okJSON("people", "members and invitations")},
		{method: "PATCH", pattern: atPeople + "/{person}", id: "changeMember", summary: "Change a member's role and limits", needs: farm, right: people.Govern, handle: s.changeMember,
			body: asked("member"), replies: okJSON("person", "the member"), refuses: []int{409}},
		{method: "DELETE", pattern: atPeople + "/{person}", id: "removeMember", summary: "Take a member off the farm, at once", needs: farm, right: people.Govern, handle: s.removeMember,
			replies: done, refuses: []int{409}},
		{method: "POST", pattern: atPeople + "/{person}/reset", id: "makeReset", summary: "A link that sets a member's password, once, within a day", needs: farm, right: people.Govern, handle: s.makeReset,
			replies: made("grantMade", "the link's secret, shown this once")},
		{method: "POST", pattern: atInvitations, id: "invite", summary: "A link that puts somebody on the farm, once", needs: farm, right: people.Govern, handle: s.invite,
			body: asked("invitationAsk"), replies: made("grantMade", "the link's secret, shown this once")},
		{method: "DELETE", pattern: atInvitations + "/{grant}", id: "endInvitation", summary: "Take an invitation back", needs: farm, right: people.Govern, handle: s.endInvitation,
			replies: done},
		{method: "DELETE", pattern: atFarm + "/membership", id: "leaveFarm", summary: "Leave the farm", needs: farm, right: people.Read, handle: s.leaveFarm,
			replies: done, refuses: []int{409}},
		{method: "GET", pattern: atTokens, id: "tokens", summary: "One's own tokens on the farm; its owner sees all", needs: farm, right: people.Read, handle: s.listTokens,
			replies: okJSON("tokens", "without their secrets")},
		{method: "POST", pattern: atTokens, id: "makeToken", summary: "A token for a program, with one's own rights or to read only", needs: farm, right: people.Read, handle: s.makeToken,
			body: asked("tokenAsk"), replies: made("grantMade", "the token, shown this once")},
		{method: "DELETE", pattern: atTokens + "/{grant}", id: "endToken", summary: "Take a token back", needs: farm, right: people.Read, handle: s.endToken,
			replies: done},
		{method: "GET", pattern: atFarm + "/seen-by", id: "seenBy", summary: "Who can see a block", needs: farm, right: people.Read, handle: s.seenBy,
			query: []parameter{{"block", "id", "the block"}}, replies: okJSON("seenBy", "the people, and a line that says so")},

		{method: "POST", pattern: "/invitations/look", id: "lookAtInvitation", summary: "What an invitation is for", handle: s.lookAtInvitation,
			body: asked("secretAsk"), replies: okJSON("invitation", "farm, role and limits"), refuses: []int{404, 429}},
		{method: "POST", pattern: "/invitations/accept", id: "acceptInvitation", summary: "Take an invitation up: as who is signed in, or with a new sign-in", handle: s.acceptInvitation,
			body: asked("acceptAsk"), replies: okJSON("who", "who signed in, and the cookie of the session"), refuses: []int{404, 409, 429}},
		{method: "POST", pattern: "/resets", id: "useReset", summary: "Set a password by a link", handle: s.useReset,
			body: asked("resetAsk"), replies: done, refuses: []int{404, 429}},

		{method: "GET", pattern: "/account", id: "account", summary: "One's own sign-ins and second factor", needs: session, handle: s.account,
			replies: okJSON("account", "sessions and second factor")},
		{method: "PUT", pattern: "/account/password", id: "changePassword", summary: "A new password; every other session ends", needs: session, handle: s.changePassword,
			body: asked("passwordAsk"), replies: done, refuses: []int{429}},
		{method: "DELETE", pattern: "/account/sessions/{session}", id: "endSession", summary: "End one of one's own sign-ins", needs: session, handle: s.endSession,
			replies: done, refuses: []int{404}},
		{method: "POST", pattern: "/account/second-factor", id: "beginSecondFactor", summary: "A key for codes; it is on once a code was shown", needs: session, handle: s.beginSecondFactor,
			body: asked("passwordOnly"), replies: made("codeKey", "the key"), refuses: []int{409, 429}},
		{method: "PUT", pattern: "/account/second-factor", id: "finishSecondFactor", summary: "Turn the second factor on by a code", needs: session, handle: s.finishSecondFactor,
			body: asked("codeAsk"), replies: okJSON("recovery", "recovery codes, shown this once"), refuses: []int{404, 409, 429}},
		{method: "POST", pattern: "/account/second-factor/off", id: "endSecondFactor", summary: "Turn the second factor off", needs: session, handle: s.endSecondFactor,
			body: asked("passwordOnly"), replies: done, refuses: []int{429}},
	}
	for i := range all {
		all[i].personal = all[i].needs != public && all[i].id != "seenBy"
	}
	return all
}

// shownMember is a member as the owner sees them.
type shownMember struct {
	ID           records.PersonID `json:"id"`
	Name         string           `json:"name"`
	Display      string           `json:"display"`
	Role         records.Role     `json:"role"`
	Limits       *people.Limits   `json:"limits,omitempty"`
	SecondFactor bool             `json:"second_factor"`
	You          bool             `json:"you"`
}

func (x *exchange) shownMember(m people.Membership) (shownMember, error) {
	ctx := x.r.Context()
	p, err := x.s.Store.Person(ctx, m.Person)
	if err != nil {
		return shownMember{}, err
	}
	f, err := x.s.Store.SecondFactorOf(ctx, m.Person)
	if err != nil && !fault.Is(err, fault.Missing) {
		return shownMember{}, err
	}
	return shownMember{p.ID, p.Name, displayed(p), m.Role, limitsOrNil(m.Limits), f.On, p.ID == x.person.ID}, nil
}

// listPeople answers with members and invitations.
func (s *Server) listPeople(x *exchange) error {
	all, err := s.Store.Members(x.r.Context(), x.farm)
	if err != nil {
		return err
	}
	members := []shownMember{}
	for _, m := range all {
		one, err := x.shownMember(m)
		if err != nil {
			return err
		}
		members = append(members, one)
	}
	invitations, err := x.grants(func(g people.Grant) bool { return g.Purpose == people.Invitation && g.Ended.IsZero() })
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"people": members, "invitations": invitations})
}

// memberNamed is the membership of the person in the path.
func (x *exchange) memberNamed() (people.Membership, error) {
	m, err := x.s.Store.MembershipOn(x.r.Context(), records.PersonID(x.vars["person"]), x.farm)
	if fault.Is(err, fault.Missing) {
		err = fault.New(fault.Missing, noSuchMember.Plain())
	}
	return m, err
}

// keepsOwner refuses to leave a farm without one.
func (x *exchange) keepsOwner(without records.PersonID) error {
	all, err := x.s.Store.Members(x.r.Context(), x.farm)
	if err != nil {
		return err
	}
	for _, m := range all {
		if m.Role == records.Owner && m.Person != without {
			return nil
		}
	}
	return fault.New(fault.Conflict, lastOwner.Plain())
}

// knownBlocks refuses limits to blocks that never were on the farm.
func (x *exchange) knownBlocks(l people.Limits) error {
	if err := l.Check(); err != nil {
		return err
	}
	return x.view(func(r records.Reader) error {
		for _, id := range l.Blocks {
			_, err := r.Revisions(records.Blocks, id)
			if fault.Is(err, fault.Missing) {
				return fault.New(fault.Invalid, blockUnknown.Plain(), fault.Detail{Text: blockUnknown.Plain(), Field: "limits.blocks"})
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// changeMember sets role and limits; both are said whole.
func (s *Server) changeMember(x *exchange) error {
	var asked struct {
		Role   records.Role  `json:"role"`
		Limits people.Limits `json:"limits"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	m, err := x.memberNamed()
	if err != nil {
		return err
	}
	if !people.IsRole(asked.Role) {
		return fault.New(fault.Invalid, roleWanted.Plain(), fault.Detail{Text: roleWanted.Plain(), Field: "role"})
	}
	if err := x.knownBlocks(asked.Limits); err != nil {
		return err
	}
	if asked.Role != records.Owner {
		if err := x.keepsOwner(m.Person); err != nil {
			return err
		}
	}
	m.Role, m.Limits = asked.Role, asked.Limits.Normal()
	if err := s.Store.SetRole(x.r.Context(), m); err != nil {
		return err
	}
	one, err := x.shownMember(m)
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, one)
}

// removeMember takes a member off: from the next request on the farm is not
// there for them.
func (s *Server) removeMember(x *exchange) error {
	m, err := x.memberNamed()
	if err != nil {
		return err
	}
	return x.takeOff(m.Person)
}

// leaveFarm takes oneself off.
func (s *Server) leaveFarm(x *exchange) error { return x.takeOff(x.person.ID) }

func (x *exchange) takeOff(person records.PersonID) error {
	if err := x.keepsOwner(person); err != nil {
		return err
	}
	if err := x.s.Store.SetRole(x.r.Context(), people.Membership{Person: person, Farm: x.farm}); err != nil {
		return err
	}
	return x.nothing()
}

// Days an invitation is good for, unless said otherwise, and at most.
const (
	invitationDays     = 7
	invitationMostDays = 30
)

// invite makes a link.
func (s *Server) invite(x *exchange) error {
	asked := struct {
		Name   string        `json:"name"`
		Role   records.Role  `json:"role"`
		Limits people.Limits `json:"limits"`
		Days   int           `json:"days"`
	}{Days: invitationDays}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	if !people.IsRole(asked.Role) {
		return fault.New(fault.Invalid, roleWanted.Plain(), fault.Detail{Text: roleWanted.Plain(), Field: "role"})
	}
	if err := (people.Membership{Role: asked.Role, Limits: asked.Limits}).Check(); err != nil {
		return err
	}
	if err := x.knownBlocks(asked.Limits); err != nil {
		return err
	}
	secret, g, err := x.newGrant(people.Grant{Purpose: people.Invitation, Name: strings.TrimSpace(asked.Name), Role: asked.Role, Limits: asked.Limits.Normal()}, "", asked.Days, invitationMostDays)
	if err != nil {
		return err
	}
	return x.handOut(secret, g)
}

func (s *Server) endInvitation(x *exchange) error {
	return x.endGrant(func(g people.Grant) bool { return g.Purpose == people.Invitation })
}

// lookAtInvitation says what a link is for, to who holds it.
func (s *Server) lookAtInvitation(x *exchange) error {
	var asked struct {
		Secret string `json:"secret"`
	}
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	return x.tried("invitation", func() error {
		g, err := s.Store.GrantOf(x.r.Context(), people.Invitation, people.TokenHash(asked.Secret), s.Now())
		if err != nil {
			return err
		}
		by, err := x.named(g.By)
		if err != nil {
			return err
		}
		answer := map[string]any{"name": g.Name, "role": g.Role, "by": by.Display, "expires": stamp(g.Expires)}
		err = s.Store.View(x.r.Context(), g.Farm, func(r records.Reader) error {
			answer["farm"] = r.Farm().Name
			if g.Limits.None() {
				return nil
			}
			names := []string{}
			for _, id := range g.Limits.Blocks {
				name, err := blockName(r, id)
				if err != nil {
					return err
				}
				names = append(names, name)
			}
			answer["blocks"], answer["seasons"] = names, g.Limits.Seasons
			return nil
		})
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, answer)
	})
}

// acceptInvitation puts whoever is signed in on the farm or, with a name and a
// password, makes a sign-in for a newcomer; either way a new session begins.
func (s *Server) acceptInvitation(x *exchange) error {
	var asked struct{ Secret, Name, Display, Password string }
	if err := x.bodyJSON(&asked); err != nil {
		return err
	}
	return x.tried("invitation", func() error {
		ctx := x.r.Context()
		hash := people.TokenHash(asked.Secret)
		if _, err := s.Store.GrantOf(ctx, people.Invitation, hash, s.Now()); err != nil {
			return err
		}
		newcomer := asked.Name != ""
		p := people.Person{ID: s.ids.NewPerson(), Name: people.NormalName(asked.Name), Display: shorten(strings.TrimSpace(asked.Display)), Created: s.Now()}
		if newcomer {
			if err := p.Check(); err != nil {
				return err
			}
			var err error
			if p.Password, err = people.HashPassword(asked.Password); err != nil {
				return err
			}
		} else {
			if err := s.recognise(x); err != nil {
				return err
			}
			if x.token != nil {
				return fault.New(fault.Forbidden, tokenPersonal.Plain())
			}
			p = x.person
		}
		if _, err := s.Store.Accept(ctx, hash, p, newcomer, s.Now()); err != nil {
			return err
		}
		p, err := s.Store.Person(ctx, p.ID)
		if err != nil {
			return err
		}
		if err := s.openSession(x, p); err != nil {
			return err
		}
		return s.whoAmI(x)
	})
}

// seenBy says who can see a block: those without limits to blocks, and those
// who were given it.
func (s *Server) seenBy(x *exchange) error {
	text, _ := x.given("block")
	id, err := records.ParseID(text)
	if err != nil {
		return records.RecordMissing()
	}
	if err := x.view(func(r records.Reader) error { _, err := r.Current(records.Blocks, id); return err }); err != nil {
		return err
	}
	members, err := s.Store.Members(x.r.Context(), x.farm)
	if err != nil {
		return err
	}
	type seer struct {
		Display string       `json:"display"`
		Role    records.Role `json:"role"`
		Seasons []int        `json:"seasons,omitempty"`
	}
	list, said := []seer{}, []string{}
	for _, m := range members {
		if !m.Limits.Sees(id) {
			continue
		}
		p, err := s.Store.Person(x.r.Context(), m.Person)
		if err != nil {
			return err
		}
		list = append(list, seer{displayed(p), m.Role, m.Limits.Seasons})
		args := words.Args{"name": displayed(p), "role": people.RoleName(m.Role).In(x.lang), "seasons": years(m.Limits.Seasons)}
		line := seenByOne
		if len(m.Limits.Seasons) > 0 {
			line = seenBySeasons
		}
		said = append(said, line.With(args).In(x.lang))
	}
	return x.json(http.StatusOK, map[string]any{"people": list, "says": seenBy.With(words.Args{"people": strings.Join(said, ", ")}).In(x.lang)})
}

// blockName is a block's newest name; its id where it has none.
func blockName(r records.Reader, id records.ID) (string, error) {
	rev, err := r.Current(records.Blocks, id)
	if fault.Is(err, fault.Missing) {
		return string(id), nil
	}
	if err != nil {
		return "", err
	}
	b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
	return cmp.Or(b.Name, string(id)), nil
}

func years(seasons []int) string {
	var all []string
	for _, y := range seasons {
		all = append(all, strconv.Itoa(y))
	}
	return strings.Join(all, ", ")
}
