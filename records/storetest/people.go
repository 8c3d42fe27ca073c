package storetest

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/people"
)

func person(t *testing.T, s Store, id records.PersonID, name string) people.Person {
	t.Helper()
	p := people.Person{ID: id, Name: name, Display: "Señora " + name, Password: "$argon2id$x", Created: time.Date(2026, 1, 1, 0, 0, 0, 123456000, time.UTC)}
	if err := s.CreatePerson(bg, p); err != nil {
		t.Fatalf("CreatePerson(%s): %v", name, err)
	}
	return p
}

func testPeople(t *testing.T, s Store) {
	g := ids(30)
	zoe, ann := person(t, s, g.NewPerson(), "zoe"), person(t, s, g.NewPerson(), "ann")
	if got, err := s.PersonByName(bg, "zoe"); err != nil || got != zoe {
		t.Errorf("PersonByName: %+v, %v, want %+v", got, err, zoe)
	}
	if got, err := s.Person(bg, ann.ID); err != nil || got != ann {
		t.Errorf("Person: %+v, %v, want %+v", got, err, ann)
	}
	if got, err := s.People(bg); err != nil || len(got) != 2 || got[0] != ann || got[1] != zoe {
		t.Errorf("People: %+v, %v, want ann, zoe", got, err)
	}
	_, err := s.PersonByName(bg, "nobody")
	wantKind(t, "PersonByName of nobody", err, fault.Missing)
	_, err = s.Person(bg, g.NewPerson())
	wantKind(t, "Person of nobody", err, fault.Missing)
	wantKind(t, "a name twice", s.CreatePerson(bg, people.Person{ID: g.NewPerson(), Name: "zoe"}), fault.Conflict)
	wantKind(t, "an id twice", s.CreatePerson(bg, people.Person{ID: zoe.ID, Name: "zoe2"}), fault.Conflict)
	for _, bad := range []string{"", "Zoe", "zoe ", "-zoe", "zoë", "a/b", "a234567890123456789012345678901234567890x"} {
		wantKind(t, fmt.Sprintf("name %q", bad), s.CreatePerson(bg, people.Person{ID: g.NewPerson(), Name: bad}), fault.Invalid)
	}
	wantKind(t, "no id", s.CreatePerson(bg, people.Person{Name: "noid"}), fault.Invalid)
	if err := s.SetPassword(bg, zoe.ID, "$other"); err != nil {
		t.Fatal(err)
	}
	zoe.Password = "$other"
	if got, err := s.Person(bg, zoe.ID); err != nil || got != zoe {
		t.Errorf("after SetPassword: %+v, %v, want %+v", got, err, zoe)
	}
	wantKind(t, "SetPassword of nobody", s.SetPassword(bg, g.NewPerson(), "x"), fault.Missing)
}

func testRoles(t *testing.T, s Store) {
	g := ids(31)
	zoe, ann := person(t, s, g.NewPerson(), "zoe"), person(t, s, g.NewPerson(), "ann")
	farm(t, s, "f")
	farm(t, s, "e")
	set := func(p people.Person, f records.FarmID, role records.Role) {
		t.Helper()
		if err := s.SetRole(bg, people.Membership{Person: p.ID, Farm: f, Role: role}); err != nil {
			t.Fatal(err)
		}
	}
	set(zoe, "f", records.Scout)
	set(zoe, "e", records.Owner)
	set(ann, "f", records.Viewer)
	set(zoe, "f", records.Adviser)
	onF := people.Membership{Person: zoe.ID, Farm: "f", Role: records.Adviser}
	if m, err := s.MembershipOn(bg, zoe.ID, "f"); !reflect.DeepEqual(m, onF) || err != nil {
		t.Errorf("MembershipOn: %+v, %v, want adviser", m, err)
	}
	if got, err := s.FarmsOf(bg, zoe.ID); err != nil || len(got) != 2 || !reflect.DeepEqual(got[0], people.Membership{Person: zoe.ID, Farm: "e", Role: records.Owner}) || got[1].Farm != "f" {
		t.Errorf("FarmsOf: %+v, %v", got, err)
	}
	if got, err := s.Members(bg, "f"); err != nil || len(got) != 2 || got[0].Person != ann.ID || !reflect.DeepEqual(got[1], onF) {
		t.Errorf("Members: %+v, %v, want ann, zoe", got, err)
	}
	_, none := s.MembershipOn(bg, ann.ID, "e")
	_, nowhere := s.MembershipOn(bg, ann.ID, "nowhere")
	wantKind(t, "no role", none, fault.Missing)
	if none.Error() != nowhere.Error() {
		t.Errorf("a farm without a role says %q, no farm %q: want the same", none, nowhere)
	}
	_, err := s.Members(bg, "nowhere")
	wantKind(t, "Members of no farm", err, fault.Missing)
	wantKind(t, "role for nobody", s.SetRole(bg, people.Membership{Person: g.NewPerson(), Farm: "f", Role: records.Owner}), fault.Missing)
	wantKind(t, "role nowhere", s.SetRole(bg, people.Membership{Person: zoe.ID, Farm: "nowhere", Role: records.Owner}), fault.Missing)
	wantKind(t, "no such role", s.SetRole(bg, people.Membership{Person: zoe.ID, Farm: "f", Role: "king"}), fault.Invalid)
	testLimits(t, s, g, zoe)
	set(zoe, "f", "")
	set(zoe, "f", "") // taking off twice is no fault
	_, err = s.MembershipOn(bg, zoe.ID, "f")
	wantKind(t, "role taken away", err, fault.Missing)
	if got, err := s.FarmsOf(bg, g.NewPerson()); len(got) != 0 || err != nil {
		t.Errorf("FarmsOf nobody: %v, %v", got, err)
	}
}

// testLimits: limits come back as they were set, sorted; an owner has none; and
// every change of rights shows in the person.
func testLimits(t *testing.T, s Store, g *records.IDs, zoe people.Person) {
	t.Helper()
	a, b := g.New(), g.New()
	limited := people.Membership{Person: zoe.ID, Farm: "f", Role: records.Adviser, Limits: people.Limits{Blocks: []records.ID{b, a, b}, Seasons: []int{2026, 2024}}}
	before, err := s.Person(bg, zoe.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.SetRole(bg, limited); err != nil {
		t.Fatal(err)
	}
	want := people.Limits{Blocks: []records.ID{a, b}, Seasons: []int{2024, 2026}}
	if m, err := s.MembershipOn(bg, zoe.ID, "f"); err != nil || !reflect.DeepEqual(m.Limits, want) {
		t.Errorf("limits: %+v, %v, want %+v", m.Limits, err, want)
	}
	if after, err := s.Person(bg, zoe.ID); err != nil || after.Rights != before.Rights+1 {
		t.Errorf("rights went from %d to %d, %v, want one more", before.Rights, after.Rights, err)
	}
	for name, m := range map[string]people.Membership{
		"an owner":     {Person: zoe.ID, Farm: "f", Role: records.Owner, Limits: want},
		"no block id":  {Person: zoe.ID, Farm: "f", Role: records.Viewer, Limits: people.Limits{Blocks: []records.ID{"x"}}},
		"no such year": {Person: zoe.ID, Farm: "f", Role: records.Viewer, Limits: people.Limits{Seasons: []int{26}}},
	} {
		wantKind(t, "limits on "+name, s.SetRole(bg, m), fault.Invalid)
	}
}

func testGrants(t *testing.T, s Store) {
	g := ids(33)
	zoe, ann := person(t, s, g.NewPerson(), "zoe"), person(t, s, g.NewPerson(), "ann")
	farm(t, s, "f")
	farm(t, s, "e")
	now := time.Date(2026, 5, 1, 12, 0, 0, 123456000, time.UTC)
	add := func(secret string, change func(*people.Grant)) people.Grant {
		t.Helper()
		made := people.Grant{ID: string(g.New()), Hash: people.TokenHash(secret), Purpose: people.Invitation, Farm: "f", By: zoe.ID, Name: "for Señora " + secret,
			Role: records.Adviser, Limits: people.Limits{Seasons: []int{2026}}, Created: now, Expires: now.Add(time.Hour)}
		if change != nil {
			change(&made)
		}
		if err := s.AddGrant(bg, made); err != nil {
			t.Fatalf("AddGrant %s: %v", secret, err)
		}
		return made
	}
	first := add("first", nil)
	token := add("token", func(g *people.Grant) {
		g.Purpose, g.Person, g.Writes, g.Created = people.Token, ann.ID, true, now.Add(time.Second)
	})
	if got, err := s.GrantOf(bg, people.Invitation, first.Hash, now); err != nil || !reflect.DeepEqual(got, first) {
		t.Errorf("GrantOf: %+v, %v, want %+v", got, err, first)
	}
	if got, err := s.GrantsOn(bg, "f"); err != nil || !reflect.DeepEqual(got, []people.Grant{first, token}) {
		t.Errorf("GrantsOn f: %+v, %v", got, err)
	}
	if got, err := s.GrantsOn(bg, "e"); err != nil || len(got) != 0 {
		t.Errorf("GrantsOn e: %+v, %v, want none", got, err)
	}
	wantKind(t, "a secret twice", s.AddGrant(bg, people.Grant{ID: string(g.New()), Hash: first.Hash, Purpose: people.Token, Farm: "f", By: zoe.ID, Created: now, Expires: now}), fault.Conflict)
	wantKind(t, "an id twice", s.AddGrant(bg, people.Grant{ID: first.ID, Hash: people.TokenHash("x"), Purpose: people.Token, Farm: "f", By: zoe.ID, Created: now, Expires: now}), fault.Conflict)
	wantKind(t, "no such farm", s.AddGrant(bg, people.Grant{ID: string(g.New()), Purpose: people.Token, Farm: "nowhere", By: zoe.ID}), fault.Missing)
	wantKind(t, "by nobody", s.AddGrant(bg, people.Grant{ID: string(g.New()), Hash: people.TokenHash("y"), Purpose: people.Token, Farm: "f", By: g.NewPerson()}), fault.Missing)
	unusable := func(what string, purpose people.Purpose, hash [32]byte, at time.Time) {
		t.Helper()
		_, err := s.GrantOf(bg, purpose, hash, at)
		wantKind(t, what, err, fault.Missing)
		if err != nil && err.Error() != people.GrantMissing().Error() {
			t.Errorf("%s says %q: the reason stays unsaid", what, err)
		}
	}
	unusable("an unknown secret", people.Invitation, people.TokenHash("?"), now)
	unusable("another purpose", people.Reset, first.Hash, now)
	unusable("expired", people.Invitation, first.Hash, first.Expires)

	m, err := s.Accept(bg, first.Hash, ann, false, now)
	if err != nil || !reflect.DeepEqual(m, people.Membership{Person: ann.ID, Farm: "f", Role: records.Adviser, Limits: first.Limits}) {
		t.Errorf("Accept: %+v, %v", m, err)
	}
	if got, err := s.MembershipOn(bg, ann.ID, "f"); err != nil || !reflect.DeepEqual(got, m) {
		t.Errorf("after Accept: %+v, %v, want %+v", got, err, m)
	}
	unusable("used", people.Invitation, first.Hash, now)
	_, err = s.Accept(bg, first.Hash, zoe, false, now)
	wantKind(t, "used twice", err, fault.Missing)
	second := add("second", nil)
	_, err = s.Accept(bg, second.Hash, ann, false, now)
	wantKind(t, "on the farm already", err, fault.Conflict)
	_, err = s.Accept(bg, second.Hash, people.Person{ID: g.NewPerson(), Name: "ann", Created: now}, true, now)
	wantKind(t, "a name taken", err, fault.Conflict)
	bob := people.Person{ID: g.NewPerson(), Name: "bob", Display: "Bob", Password: "$p", Created: now}
	if _, err := s.Accept(bg, second.Hash, bob, true, now); err != nil {
		t.Errorf("Accept by a newcomer: %v", err)
	}
	bob.Rights = 1
	if got, err := s.PersonByName(bg, "bob"); err != nil || got != bob {
		t.Errorf("the newcomer: %+v, %v, want %+v", got, err, bob)
	}
	third := add("third", nil)
	wantKind(t, "taken back on another farm", s.EndGrant(bg, "e", third.ID, now), fault.Missing)
	if err := s.EndGrant(bg, "f", third.ID, now); err != nil {
		t.Fatal(err)
	}
	if err := s.EndGrant(bg, "f", third.ID, now.Add(time.Second)); err != nil {
		t.Errorf("taken back twice: %v", err)
	}
	unusable("taken back", people.Invitation, third.Hash, now)

	reset := add("reset", func(g *people.Grant) { g.Purpose, g.Person = people.Reset, bob.ID })
	if err := s.SaveSession(bg, people.Session{TokenHash: people.TokenHash("b"), Person: bob.ID, Expires: now.Add(time.Hour)}); err != nil {
		t.Fatal(err)
	}
	if got, err := s.SessionsOf(bg, bob.ID, now); err != nil || len(got) != 1 || got[0].TokenHash != people.TokenHash("b") {
		t.Errorf("SessionsOf: %+v, %v", got, err)
	}
	if id, err := s.UseReset(bg, reset.Hash, "$q", now); err != nil || id != bob.ID {
		t.Errorf("UseReset: %s, %v", id, err)
	}
	if got, err := s.Person(bg, bob.ID); err != nil || got.Password != "$q" {
		t.Errorf("after UseReset: %+v, %v", got, err)
	}
	if got, err := s.SessionsOf(bg, bob.ID, now); err != nil || len(got) != 0 {
		t.Errorf("a reset ends sessions: %+v, %v", got, err)
	}
	_, err = s.UseReset(bg, reset.Hash, "$r", now)
	wantKind(t, "a reset twice", err, fault.Missing)

	if err := s.TokenUsed(bg, token.ID, now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if got, err := s.GrantOf(bg, people.Token, token.Hash, now); err != nil || !got.Used.Equal(now.Add(time.Minute)) || !got.Writes || got.Person != ann.ID {
		t.Errorf("a token used: %+v, %v", got, err)
	}
	if err := s.SetRole(bg, people.Membership{Person: ann.ID, Farm: "f"}); err != nil {
		t.Fatal(err)
	}
	unusable("a token of who left", people.Token, token.Hash, now)
}

func testSecondFactors(t *testing.T, s Store) {
	g := ids(34)
	zoe := person(t, s, g.NewPerson(), "zoe")
	_, err := s.SecondFactorOf(bg, zoe.ID)
	wantKind(t, "none set up", err, fault.Missing)
	wantKind(t, "a step of none", s.SpendStep(bg, zoe.ID, 1), fault.Missing)
	want := people.SecondFactor{Secret: []byte("\x00sealed"), On: true, Step: 5, Recovery: []string{"aa", "bb", "cc"}}
	wantKind(t, "for nobody", s.SetSecondFactor(bg, g.NewPerson(), &want), fault.Missing)
	if err := s.SetSecondFactor(bg, zoe.ID, &want); err != nil {
		t.Fatal(err)
	}
	if got, err := s.SecondFactorOf(bg, zoe.ID); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("SecondFactorOf: %+v, %v, want %+v", got, err, want)
	}
	if err := s.SpendStep(bg, zoe.ID, 7); err != nil {
		t.Errorf("a later step: %v", err)
	}
	wantKind(t, "the same step", s.SpendStep(bg, zoe.ID, 7), fault.Stale)
	wantKind(t, "an earlier step", s.SpendStep(bg, zoe.ID, 6), fault.Stale)
	if err := s.SpendRecovery(bg, zoe.ID, "bb"); err != nil {
		t.Errorf("a recovery code: %v", err)
	}
	wantKind(t, "a recovery code twice", s.SpendRecovery(bg, zoe.ID, "bb"), fault.Missing)
	want.Step, want.Recovery = 7, []string{"aa", "cc"}
	if got, err := s.SecondFactorOf(bg, zoe.ID); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("afterwards: %+v, %v, want %+v", got, err, want)
	}
	if err := s.SetSecondFactor(bg, zoe.ID, nil); err != nil {
		t.Fatal(err)
	}
	_, err = s.SecondFactorOf(bg, zoe.ID)
	wantKind(t, "taken away", err, fault.Missing)
}

func testSessions(t *testing.T, s Store) {
	g := ids(32)
	zoe, ann := person(t, s, g.NewPerson(), "zoe"), person(t, s, g.NewPerson(), "ann")
	now := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	save := func(token string, p records.PersonID, data string, ends time.Time) {
		t.Helper()
		if err := s.SaveSession(bg, people.Session{TokenHash: people.TokenHash(token), Person: p, Data: []byte(data), Expires: ends}); err != nil {
			t.Fatal(err)
		}
	}
	there := func(token string, at time.Time) bool {
		t.Helper()
		_, err := s.Session(bg, people.TokenHash(token), at)
		if err != nil && !fault.Is(err, fault.Missing) {
			t.Fatal(err)
		}
		return err == nil
	}
	save("a", "", "first", now.Add(time.Hour))
	save("a", zoe.ID, "\x00\xffsecond", now.Add(2*time.Hour))
	got, err := s.Session(bg, people.TokenHash("a"), now)
	if err != nil || got.Person != zoe.ID || string(got.Data) != "\x00\xffsecond" || !got.Expires.Equal(now.Add(2*time.Hour)) || got.TokenHash != people.TokenHash("a") {
		t.Errorf("Session: %+v, %v", got, err)
	}
	if !there("a", now.Add(2*time.Hour-time.Microsecond)) || there("a", now.Add(2*time.Hour)) {
		t.Error("a session ends when it expires, not before")
	}
	if there("b", now) {
		t.Error("a session that was never saved is there")
	}
	wantKind(t, "session of nobody", s.SaveSession(bg, people.Session{TokenHash: people.TokenHash("n"), Person: g.NewPerson(), Expires: now}), fault.Missing)
	save("zoe2", zoe.ID, "", now.Add(time.Hour))
	save("ann", ann.ID, "", now.Add(time.Hour))
	save("nobody", "", "", now.Add(time.Hour))
	if err := s.SetPassword(bg, zoe.ID, "new"); err != nil {
		t.Fatal(err)
	}
	if there("a", now) || there("zoe2", now) || !there("ann", now) || !there("nobody", now) {
		t.Error("a new password ends all sessions of that person and no other")
	}
	if err := s.DeleteSession(bg, people.TokenHash("ann")); err != nil || there("ann", now) {
		t.Errorf("DeleteSession: %v, still there: %v", err, there("ann", now))
	}
	if err := s.DeleteSession(bg, people.TokenHash("ann")); err != nil {
		t.Errorf("DeleteSession twice: %v", err)
	}
	save("later", "", "", now.Add(2*time.Hour))
	if err := s.DeleteExpiredSessions(bg, now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if there("nobody", now) || !there("later", now) {
		t.Error("DeleteExpiredSessions takes what has expired and nothing else")
	}
}
