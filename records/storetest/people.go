package storetest

import (
	"fmt"
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
	if role, err := s.RoleOn(bg, zoe.ID, "f"); role != records.Adviser || err != nil {
		t.Errorf("RoleOn: %s, %v, want adviser", role, err)
	}
	if got, err := s.FarmsOf(bg, zoe.ID); err != nil || len(got) != 2 || got[0] != (people.Membership{Person: zoe.ID, Farm: "e", Role: records.Owner}) || got[1].Farm != "f" {
		t.Errorf("FarmsOf: %+v, %v", got, err)
	}
	if got, err := s.Members(bg, "f"); err != nil || len(got) != 2 || got[0].Person != ann.ID || got[1] != (people.Membership{Person: zoe.ID, Farm: "f", Role: records.Adviser}) {
		t.Errorf("Members: %+v, %v, want ann, zoe", got, err)
	}
	_, none := s.RoleOn(bg, ann.ID, "e")
	_, nowhere := s.RoleOn(bg, ann.ID, "nowhere")
	wantKind(t, "no role", none, fault.Missing)
	if none.Error() != nowhere.Error() {
		t.Errorf("a farm without a role says %q, no farm %q: want the same", none, nowhere)
	}
	_, err := s.Members(bg, "nowhere")
	wantKind(t, "Members of no farm", err, fault.Missing)
	wantKind(t, "role for nobody", s.SetRole(bg, people.Membership{Person: g.NewPerson(), Farm: "f", Role: records.Owner}), fault.Missing)
	wantKind(t, "role nowhere", s.SetRole(bg, people.Membership{Person: zoe.ID, Farm: "nowhere", Role: records.Owner}), fault.Missing)
	wantKind(t, "no such role", s.SetRole(bg, people.Membership{Person: zoe.ID, Farm: "f", Role: "king"}), fault.Invalid)
	set(zoe, "f", "")
	set(zoe, "f", "") // taking off twice is no fault
	_, err = s.RoleOn(bg, zoe.ID, "f")
	wantKind(t, "role taken away", err, fault.Missing)
	if got, err := s.FarmsOf(bg, g.NewPerson()); len(got) != 0 || err != nil {
		t.Errorf("FarmsOf nobody: %v, %v", got, err)
	}
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
