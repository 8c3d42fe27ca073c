package main

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/review"
	"caneward/records/spray"
	"caneward/records/sqlite"
)

var (
	backedUp = words.New("cmd-backed-up", "copied {dir} to {file}", "{dir} copiado a {file}")
	restored = words.New("cmd-restored", "restored {file} to {dir}. Everybody signs in anew; tokens and links of before no longer work. Look over who is on each farm: people taken off after the copy are on it again.", "{file} restaurado en {dir}. Todos entran de nuevo; los tokens y enlaces anteriores ya no sirven. Revise quién está en cada finca: quien fue quitado después de la copia vuelve a estar.")
	clean    = words.New("cmd-verified", "{farms} farm(s), {records} record(s), {revisions} revision(s): integrity, chain and current state hold", "{farms} finca(s), {records} registro(s), {revisions} revisión(es): la integridad, la cadena y el estado actual se sostienen")
	broken   = words.New("cmd-broken", "{count} fault(s) found", "se encontraron {count} falla(s)")
)

var (
	wasUnclean = words.New("cmd-was-unclean", "The server before this one did not end in order. The file's structure and the newest revisions were checked in {took} and hold.", "El servidor anterior no terminó en orden. Se comprobaron en {took} la estructura del archivo y las revisiones más nuevas, y se sostienen.")
	upgraded   = words.New("cmd-upgraded", "The records were brought from layout {from} to {to}; {file} keeps them as they were.", "Los registros pasaron del formato {from} al {to}; {file} los guarda como estaban.")
	badEvery   = words.New("cmd-bad-every", "--backup-every is a time of at least a second, such as 15m; --keep and --backup-every want --backup-to", "--backup-every es un tiempo de al menos un segundo, como 15m; --keep y --backup-every requieren --backup-to")
)

// tellOpening says what was found and done when the records were opened.
func (s *session) tellOpening(o sqlite.Opening) {
	if o.Unclean {
		fmt.Fprintln(s.talk, wasUnclean.With(words.Args{"took": o.Checked.Round(time.Millisecond).String()}).In(s.language))
	}
	if o.To > 0 {
		fmt.Fprintln(s.talk, upgraded.With(words.Args{"from": o.From, "to": o.To, "file": o.Copy}).In(s.language))
	}
}

// usualEvery is how often copies are made where nothing else is said.
const usualEvery = 15 * time.Minute

// copying is what the flags say of copies made while serving.
type copying struct {
	to    string
	every time.Duration
	rule  string
	keep  sqlite.Keep
}

func (c *copying) flags(f *flag.FlagSet) {
	f.StringVar(&c.to, "backup-to", "", "")
	f.DurationVar(&c.every, "backup-every", 0, "")
	f.StringVar(&c.rule, "keep", "", "")
}

func (c *copying) check() error {
	if c.to == "" && (c.every != 0 || c.rule != "") || c.every != 0 && c.every < time.Second {
		return usageError{badEvery.Plain()}
	}
	if c.every == 0 {
		c.every = usualEvery
	}
	c.keep = sqlite.UsualKeep
	if c.rule == "" {
		return nil
	}
	var err error
	c.keep, err = sqlite.ParseKeep(c.rule)
	return usageOf(err)
}

// start copies until stop is called; state is nil where no copies are made.
func (c *copying) start(ctx context.Context, dir string, log *slog.Logger) (state func() records.CopyState, stop func(), err error) {
	if c.to == "" {
		return nil, func() {}, nil
	}
	copier, err := sqlite.NewCopier(dir, c.to, c.every, c.keep, time.Now, log)
	if err != nil {
		return nil, nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		copier.Run(ctx)
	}()
	return copier.State, func() { cancel(); <-ended }, nil
}

func backup(ctx context.Context, s *session, args []string) error {
	names, err := parse(flag.NewFlagSet("backup", flag.ContinueOnError), args, 2)
	if err != nil {
		return err
	}
	if err := sqlite.Backup(ctx, names[0], names[1]); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, backedUp.With(words.Args{"dir": names[0], "file": names[1]}).In(s.language))
	return nil
}

func restore(ctx context.Context, s *session, args []string) error {
	names, err := parse(flag.NewFlagSet("restore", flag.ContinueOnError), args, 2)
	if err != nil {
		return err
	}
	if err := sqlite.Restore(ctx, names[0], names[1]); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, restored.With(words.Args{"dir": names[1], "file": names[0]}).In(s.language))
	return nil
}

func verify(ctx context.Context, s *session, args []string) error {
	names, err := parse(flag.NewFlagSet("verify", flag.ContinueOnError), args, 1)
	if err != nil {
		return err
	}
	report, err := sqlite.Verify(ctx, names[0], spray.Recheck, review.Recheck)
	if err != nil {
		return err
	}
	for _, p := range report.Problems {
		fmt.Fprintln(s.out, p.In(s.language))
	}
	if len(report.Problems) > 0 {
		fmt.Fprintln(s.talk, broken.With(words.Args{"count": len(report.Problems)}).In(s.language))
		return errRefused
	}
	fmt.Fprintln(s.out, clean.With(words.Args{"farms": report.Farms, "records": report.Records, "revisions": report.Revisions}).In(s.language))
	return nil
}
