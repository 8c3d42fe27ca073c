package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/export"
	"caneward/records/sqlite"
)

var (
	exported     = words.New("cmd-exported", "wrote {count} record(s) of {farm} to {file} as {format}", "{count} registro(s) de {farm} escritos en {file} como {format}")
	exporting    = words.New("cmd-exporting", "{kind}: {count} records so far …", "{kind}: {count} registros hasta ahora …")
	fileTaken    = words.New("cmd-file-taken", "{file} exists already; it is not overwritten", "{file} ya existe; no se sobrescribe")
	noEnding     = words.New("cmd-no-ending", "the ending of FILE tells the format: {known}; with - say it in --format", "la terminación de FILE indica el formato: {known}; con - indíquelo en --format")
	noLanguage   = words.New("cmd-no-language", "--lang is en or es, not {lang}", "--lang es en o es, no {lang}")
	exportOutput = words.New("cmd-standard-output", "standard output", "la salida estándar")
)

// progressEvery is how often a long export says how far it is.
const progressEvery = 2 * time.Second

type exportAsk struct {
	dir, file string
	farm      records.FarmID
	whole     bool // with its history, in one archive; there is no format then
	format    export.Format
	what      export.Selection
}

func readExportAsk(s *session, args []string) (ask exportAsk, err error) {
	flags := flag.NewFlagSet("export", flag.ContinueOnError)
	kinds := flags.String("kind", "", "")
	lang := flags.String("lang", string(s.language), "")
	format := flags.String("format", "", "")
	names, err := parse(flags, args, 3)
	if err != nil {
		return ask, err
	}
	ask.dir, ask.file = names[0], names[2]
	if ask.farm, err = records.ParseFarmID(names[1]); err != nil {
		return ask, usageOf(err)
	}
	ending := strings.TrimPrefix(filepath.Ext(ask.file), ".")
	if *format != "" {
		ending = *format
	}
	if ending == "" {
		return ask, usageError{noEnding.With(words.Args{"known": endings()})}
	}
	if ask.whole = ending == everything; ask.whole {
		if *kinds != "" {
			return ask, usageError{noKinds.Plain()}
		}
	} else if ask.format, err = export.FormatOf(ending); err != nil {
		return ask, usageOf(err)
	}
	if ask.what.Language = words.Language(*lang); ask.what.Language != words.English && ask.what.Language != words.Spanish {
		return ask, usageError{noLanguage.With(words.Args{"lang": *lang})}
	}
	if *kinds == "" {
		return ask, nil
	}
	for _, name := range strings.Split(*kinds, ",") {
		kind, err := records.ParseKind(name)
		if err != nil {
			return ask, usageOf(err)
		}
		ask.what.Kinds = append(ask.what.Kinds, kind)
	}
	return ask, nil
}

// usageOf is a refusal of an argument as a mistake in the command.
func usageOf(err error) error {
	var refusal *fault.Error
	if errors.As(err, &refusal) {
		return usageError{refusal.Text}
	}
	return err
}

func endings() string {
	var all []string
	for _, f := range export.Formats {
		all = append(all, f.Ending)
	}
	all = append(all, everything)
	return strings.Join(all, ", ")
}

// exportCommand writes a farm's records to a file, also beside a running
// server.
func exportCommand(ctx context.Context, s *session, args []string) (err error) {
	ask, err := readExportAsk(s, args)
	if err != nil {
		return err
	}
	store, err := sqlite.Open(ctx, ask.dir, sqlite.Options{Beside: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if ask.whole {
		return exportWhole(ctx, s, store, ask)
	}
	count := 0
	fill := func(w io.Writer) error {
		return store.View(ctx, ask.farm, func(r records.Reader) error {
			doc, err := export.Document(ctx, r, ask.what)
			if err != nil {
				return err
			}
			for _, w := range export.Warnings(ask.format, kindsOf(doc)...) {
				fmt.Fprintln(s.talk, w.In(s.language))
			}
			for i := range doc.Layers {
				n, err := r.Count(records.Kind(doc.Layers[i].Name), records.Query{})
				if err != nil {
					return err
				}
				count += n
				doc.Layers[i].Features = s.watched(doc.Layers[i])
			}
			return ask.format.Write(ctx, w, doc)
		})
	}
	var where any = ask.file
	if ask.file == "-" {
		where = exportOutput.Plain()
		err = fill(s.out)
	} else {
		err = writeNew(ask.file, fill)
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(s.talk, exported.With(words.Args{"count": count, "farm": ask.farm, "file": where, "format": ask.format.Name}).In(s.language))
	return nil
}

func kindsOf(doc wire.Document) []records.Kind {
	var kinds []records.Kind
	for _, layer := range doc.Layers {
		kinds = append(kinds, records.Kind(layer.Name))
	}
	return kinds
}

// watched says how far a long walk is.
func (s *session) watched(layer wire.Layer) iter.Seq2[wire.Feature, error] {
	return func(yield func(wire.Feature, error) bool) {
		n, said := 0, time.Now()
		for f, err := range layer.Features {
			if n++; time.Since(said) > progressEvery {
				said = time.Now()
				fmt.Fprintln(s.talk, exporting.With(words.Args{"kind": layer.Name, "count": n}).In(s.language))
			}
			if !yield(f, err) {
				return
			}
		}
	}
}

// writeNew makes a file that is there whole or not at all: it is written under
// another name beside its own, flushed, and then named. A file of that name
// stays as it is: fault.Conflict.
func writeNew(path string, fill func(io.Writer) error) (err error) {
	if err := notTaken(path); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	defer f.Close()
	if err := fill(f); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := notTaken(path); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

func notTaken(path string) error {
	_, err := os.Lstat(path)
	switch {
	case err == nil:
		return fault.New(fault.Conflict, fileTaken.With(words.Args{"file": path}))
	case errors.Is(err, os.ErrNotExist):
		return nil
	}
	return err
}
