package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/sqlite"
	"caneward/records/whole"
)

// everything is the format of export that holds a farm with its history.
const everything = "everything"

var (
	noKinds     = words.New("cmd-no-kinds", "--format everything takes all kinds; leave --kind out", "--format everything toma todas las clases; quite --kind")
	farmOut     = words.New("cmd-farm-out", "wrote {farm} whole to {file}: {count} revisions", "{farm} escrita entera en {file}: {count} revisiones")
	farmIn      = words.New("cmd-farm-in", "brought {was} in as {farm}: {count} revisions, {photos} photo(s). People are not in the archive: caneward people add NAME --data {dir} --farm {farm} --role owner", "{was} traída como {farm}: {count} revisiones, {photos} foto(s). Las personas no están en el archivo: caneward people add NOMBRE --data {dir} --farm {farm} --role owner")
	farmsVerb   = words.New("cmd-farms-verb", "say farms list, farms erase FARM or farms keep FARM", "diga farms list, farms erase FINCA o farms keep FINCA")
	farmLine    = words.New("cmd-farm-line", "{farm}\t{name}\t{count} revisions", "{farm}\t{name}\t{count} revisiones")
	farmLeaving = words.New("cmd-farm-leaving", "to be erased on {day}, as {who} asked", "se borrará el {day}, como pidió {who}")
	farmErased  = words.New("cmd-farm-erased", "erased {farm}. Copies made before hold it until their own time is over.", "{farm} borrada. Las copias hechas antes la contienen hasta que pase su tiempo.")
	farmKept    = words.New("cmd-farm-kept", "{farm} stays", "{farm} se queda")
	farmUnkept  = words.New("cmd-farm-unkept", "Nobody has asked for {farm} to be erased.", "Nadie ha pedido que se borre {farm}.")
	byConsole   = words.New("cmd-by-console", "the server's console", "la consola del servidor")
)

// exportWhole writes a farm with its history into one archive.
func exportWhole(ctx context.Context, s *session, store *sqlite.Store, ask exportAsk) error {
	var sequence int64
	fill := func(w io.Writer) error {
		err := store.View(ctx, ask.farm, func(r records.Reader) error { sequence = r.Sequence(); return nil })
		if err != nil {
			return err
		}
		return whole.Write(ctx, w, store, ask.farm, whole.Options{Made: time.Now(), Program: version, Language: ask.what.Language})
	}
	var where any = ask.file
	var err error
	if ask.file == "-" {
		where = exportOutput.Plain()
		err = fill(s.out)
	} else {
		err = writeNew(ask.file, fill)
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(s.talk, farmOut.With(words.Args{"farm": ask.farm, "file": where, "count": sequence}).In(s.language))
	return nil
}

// importFarm makes a farm from an archive of a whole one, also beside a running
// server. A farm of that id must be empty or not there.
func importFarm(ctx context.Context, s *session, args []string) (err error) {
	names, err := parse(flag.NewFlagSet("import-farm", flag.ContinueOnError), args, 3)
	if err != nil {
		return err
	}
	farm, err := records.ParseFarmID(names[2])
	if err != nil {
		return usageOf(err)
	}
	f, err := os.Open(names[0])
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	a, err := whole.Open(ctx, f, info.Size(), whole.Limits{})
	if err != nil {
		return err
	}
	store, err := openForConsole(ctx, names[1])
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	m := a.Manifest()
	made := store.CreateFarm(ctx, records.Farm{ID: farm, Name: m.Farm.Name, Zone: m.Farm.Zone, Invented: m.Farm.Invented, Created: m.Farm.Created})
	if made != nil && !fault.Is(made, fault.Conflict) {
		return made
	}
	if err := store.BringIn(ctx, farm, a.Arrival()); err != nil {
		if made == nil {
			err = errors.Join(err, eraseNow(ctx, s, store, farm))
		}
		return err
	}
	fmt.Fprintln(s.talk, farmIn.With(words.Args{"was": string(m.Farm.ID), "farm": string(farm), "count": m.Sequence, "photos": m.Photos, "dir": names[1]}).In(s.language))
	return nil
}

// openForConsole opens a folder beside its server; where nobody has served it
// yet it is made.
func openForConsole(ctx context.Context, dir string) (*sqlite.Store, error) {
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Beside: true})
	if fault.Is(err, fault.Missing) {
		return sqlite.Open(ctx, dir, sqlite.Options{})
	}
	return store, err
}

// farmsCommand lists farms, erases one at once, or takes back the wish to.
func farmsCommand(ctx context.Context, s *session, args []string) (err error) {
	flags := flag.NewFlagSet("farms", flag.ContinueOnError)
	data := flags.String("data", "", "")
	if len(args) == 0 {
		return usageError{farmsVerb.Plain()}
	}
	verb, wants := args[0], 1
	if verb == "list" {
		wants = 0
	} else if verb != "erase" && verb != "keep" {
		return usageError{farmsVerb.Plain()}
	}
	names, err := parse(flags, args[1:], wants)
	if err != nil {
		return err
	}
	if *data == "" {
		return usageError{needData.Plain()}
	}
	store, err := sqlite.Open(ctx, *data, sqlite.Options{Beside: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if verb == "list" {
		return listFarms(ctx, s, store)
	}
	farm, err := records.ParseFarmID(names[0])
	if err != nil {
		return usageOf(err)
	}
	if verb == "keep" {
		return keepFarm(ctx, s, store, farm)
	}
	if err := eraseNow(ctx, s, store, farm); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, farmErased.With(words.Args{"farm": string(farm)}).In(s.language))
	return nil
}

func eraseNow(ctx context.Context, s *session, store *sqlite.Store, farm records.FarmID) error {
	now := time.Now()
	if err := store.SetLeaving(ctx, farm, now, byConsole.Plain().In(s.language)); err != nil {
		return err
	}
	_, err := store.EraseDue(ctx, now)
	return err
}

func listFarms(ctx context.Context, s *session, store *sqlite.Store) error {
	all, err := store.Farms(ctx)
	if err != nil {
		return err
	}
	for _, f := range all {
		err := store.View(ctx, f.ID, func(r records.Reader) error {
			line := farmLine.With(words.Args{"farm": string(f.ID), "name": f.Name, "count": r.Sequence()}).In(s.language)
			if !f.Leaving.IsZero() {
				line += "\t" + farmLeaving.With(words.Args{"day": f.Leaving.Format(time.DateOnly), "who": f.LeavingBy}).In(s.language)
			}
			fmt.Fprintln(s.out, line)
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func keepFarm(ctx context.Context, s *session, store *sqlite.Store, farm records.FarmID) error {
	err := store.View(ctx, farm, func(r records.Reader) error {
		if r.Farm().Leaving.IsZero() {
			return fault.New(fault.Conflict, farmUnkept.With(words.Args{"farm": string(farm)}))
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := store.SetLeaving(ctx, farm, time.Time{}, ""); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, farmKept.With(words.Args{"farm": string(farm)}).In(s.language))
	return nil
}
