package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"

	"caneward/blocks/intake"
	"caneward/blocks/words"
)

var (
	badDayOrder = words.New("cmd-bad-day-order", "--day-order is day-first or month-first", "--day-order es day-first o month-first")
)

// readFile is the proposal of a file; the file is closed again.
func readFile(ctx context.Context, path string, o intake.Options) (p intake.Proposal, err error) {
	f, err := os.Open(path)
	if err != nil {
		return p, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return intake.Read(ctx, f, filepath.Base(path), o)
}

func read(ctx context.Context, s *session, args []string) error {
	flags := flag.NewFlagSet("read", flag.ContinueOnError)
	var o intake.Options
	flags.StringVar(&o.Zone, "zone", "", "")
	flags.StringVar(&o.System, "system", "", "")
	flags.StringVar(&o.DayOrder, "day-order", "", "")
	flags.BoolVar(&o.Swap, "swap", false, "")
	names, err := parse(flags, args, 1)
	if err != nil {
		return err
	}
	if o.DayOrder != "" && o.DayOrder != "day-first" && o.DayOrder != "month-first" {
		return usageError{badDayOrder.Plain()}
	}
	p, err := readFile(ctx, names[0], o)
	if err != nil {
		return err
	}
	if err := printJSON(s, p.JSON(s.language)); err != nil {
		return err
	}
	if p.Outcome != intake.Accept && p.Outcome != intake.Repair {
		return errRefused
	}
	return nil
}

func printJSON(s *session, v any) error {
	e := json.NewEncoder(s.out)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	return e.Encode(v)
}
