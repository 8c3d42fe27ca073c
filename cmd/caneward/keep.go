package main

import (
	"context"
	"flag"
	"fmt"

	"caneward/blocks/words"
	"caneward/records/spray"
	"caneward/records/sqlite"
)

var (
	backedUp = words.New("cmd-backed-up", "copied {dir} to {file}", "{dir} copiado a {file}")
	restored = words.New("cmd-restored", "restored {file} to {dir}", "{file} restaurado en {dir}")
	clean    = words.New("cmd-verified", "{farms} farm(s), {records} record(s), {revisions} revision(s): integrity, chain and current state hold", "{farms} finca(s), {records} registro(s), {revisions} revisión(es): la integridad, la cadena y el estado actual se sostienen")
	broken   = words.New("cmd-broken", "{count} fault(s) found", "se encontraron {count} falla(s)")
)

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
	report, err := sqlite.Verify(ctx, names[0], spray.Recheck)
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
