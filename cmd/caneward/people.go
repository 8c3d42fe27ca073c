package main

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	"caneward/records/sqlite"
)

var (
	askPassword  = words.New("cmd-ask-password", "Password for {name} (empty: one is made): ", "Contraseña para {name} (vacía: se genera una): ")
	madePassword = words.New("cmd-made-password", "password made for {name}, shown only now: {password}", "contraseña generada para {name}, se muestra solo ahora: {password}")
	personAdded  = words.New("cmd-person-added", "{name} may sign in", "{name} puede entrar")
	personReset  = words.New("cmd-person-reset", "{name} has a new password; every session of theirs has ended", "{name} tiene una contraseña nueva; todas sus sesiones terminaron")
	codesEnded   = words.New("cmd-codes-ended", "{name} signs in by password alone again", "{name} vuelve a entrar solo con contraseña")
	farmMade     = words.New("cmd-farm-made", "made the farm {farm}", "se creó la finca {farm}")
	roleGiven    = words.New("cmd-role-given", "{name} is {role} on {farm}", "{name} es {role} en {farm}")
	noRole       = words.New("cmd-no-role", "{role} is no role; there are owner, applicator, scout, adviser, viewer", "{role} no es una función; hay owner, applicator, scout, adviser, viewer")
)

type peopleFlags struct{ data, display, farm, farmName, zone, role string }

// peopleCommand works beside a running server.
func peopleCommand(ctx context.Context, s *session, args []string) (err error) {
	var f peopleFlags
	flags := flag.NewFlagSet("people", flag.ContinueOnError)
	flags.StringVar(&f.data, "data", "", "")
	flags.StringVar(&f.display, "display", "", "")
	flags.StringVar(&f.farm, "farm", "", "")
	flags.StringVar(&f.farmName, "farm-name", "", "")
	flags.StringVar(&f.zone, "zone", "America/New_York", "")
	flags.StringVar(&f.role, "role", string(records.Owner), "")
	rest, err := parse(flags, args, -1)
	if err != nil {
		return err
	}
	if f.data == "" {
		return usageError{needData.Plain()}
	}
	if len(rest) == 0 {
		return usageError{}
	}
	store, err := openForPeople(ctx, f.data)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	switch {
	case rest[0] == "list" && len(rest) == 1:
		return listPeople(ctx, s, store)
	case rest[0] == "add" && len(rest) == 2:
		return addPerson(ctx, s, store, people.NormalName(rest[1]), f)
	case rest[0] == "reset" && len(rest) == 2:
		return resetPerson(ctx, s, store, people.NormalName(rest[1]))
	case rest[0] == "codes-off" && len(rest) == 2:
		return codesOff(ctx, s, store, people.NormalName(rest[1]))
	}
	return usageError{}
}

// openForPeople opens beside a server; a folder without records is made, since
// the first sign-in comes before the first start.
func openForPeople(ctx context.Context, dir string) (*sqlite.Store, error) {
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Beside: true})
	if fault.Is(err, fault.Missing) {
		return sqlite.Open(ctx, dir, sqlite.Options{})
	}
	return store, err
}

func listPeople(ctx context.Context, s *session, store *sqlite.Store) error {
	all, err := store.People(ctx)
	if err != nil {
		return err
	}
	for _, p := range all {
		memberships, err := store.FarmsOf(ctx, p.ID)
		if err != nil {
			return err
		}
		var on []string
		for _, m := range memberships {
			on = append(on, string(m.Farm)+":"+string(m.Role))
		}
		fmt.Fprintf(s.out, "%s\t%s\t%s\n", p.Name, p.Display, strings.Join(on, " "))
	}
	return nil
}

func addPerson(ctx context.Context, s *session, store *sqlite.Store, name string, f peopleFlags) error {
	if f.farm != "" && !people.IsRole(records.Role(f.role)) {
		return usageError{noRole.With(words.Args{"role": f.role})}
	}
	person, err := store.PersonByName(ctx, name)
	if fault.Is(err, fault.Missing) {
		person, err = newPerson(ctx, s, store, name, f.display)
	}
	if err != nil || f.farm == "" {
		return err
	}
	err = store.CreateFarm(ctx, records.Farm{ID: records.FarmID(f.farm), Name: orElse(f.farmName, f.farm), Zone: f.zone, Created: time.Now()})
	if err == nil {
		fmt.Fprintln(s.talk, farmMade.With(words.Args{"farm": f.farm}).In(s.language))
	} else if !fault.Is(err, fault.Conflict) {
		return err
	}
	if err := store.SetRole(ctx, people.Membership{Person: person.ID, Farm: records.FarmID(f.farm), Role: records.Role(f.role)}); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, roleGiven.With(words.Args{"name": name, "role": people.RoleName(records.Role(f.role)), "farm": f.farm}).In(s.language))
	return nil
}

func newPerson(ctx context.Context, s *session, store *sqlite.Store, name, display string) (people.Person, error) {
	phc, err := askedPassword(s, name)
	if err != nil {
		return people.Person{}, err
	}
	ids := records.NewIDs(time.Now, rand.Reader)
	person := people.Person{ID: ids.NewPerson(), Name: name, Display: orElse(display, name), Password: phc, Created: time.Now()}
	if err := store.CreatePerson(ctx, person); err != nil {
		return people.Person{}, err
	}
	fmt.Fprintln(s.talk, personAdded.With(words.Args{"name": name}).In(s.language))
	return person, nil
}

func resetPerson(ctx context.Context, s *session, store *sqlite.Store, name string) error {
	person, err := store.PersonByName(ctx, name)
	if err != nil {
		return err
	}
	phc, err := askedPassword(s, name)
	if err != nil {
		return err
	}
	if err := store.SetPassword(ctx, person.ID, phc); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, personReset.With(words.Args{"name": name}).In(s.language))
	return nil
}

// codesOff takes a second factor away, for who lost phone and recovery codes.
func codesOff(ctx context.Context, s *session, store *sqlite.Store, name string) error {
	person, err := store.PersonByName(ctx, name)
	if err != nil {
		return err
	}
	if err := store.SetSecondFactor(ctx, person.ID, nil); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, codesEnded.With(words.Args{"name": name}).In(s.language))
	return nil
}

// askedPassword reads a password, unseen on a terminal, as a line elsewhere.
// An empty one is made and shown once.
func askedPassword(s *session, name string) (phc string, err error) {
	fmt.Fprint(s.talk, askPassword.With(words.Args{"name": name}).In(s.language))
	var typed string
	if f, ok := s.in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		raw, err := term.ReadPassword(int(f.Fd()))
		if err != nil {
			return "", err
		}
		typed = string(raw)
	} else {
		line, err := bufio.NewReader(s.in).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", err
		}
		typed = strings.TrimRight(line, "\r\n")
	}
	fmt.Fprintln(s.talk)
	if typed == "" {
		typed = rand.Text()
		fmt.Fprintln(s.out, madePassword.With(words.Args{"name": name, "password": typed}).In(s.language))
	}
	return people.HashPassword(typed)
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
