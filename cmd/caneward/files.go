package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
)

var (
	layoutTotal   = words.New("cmd-layout-total", "{rows} rows, {metres} m of row, {plants} plants; planted {planted} m2 of {outline} m2", "{rows} hileras, {metres} m de hilera, {plants} plantas; plantados {planted} m2 de {outline} m2")
	layoutColumns = words.New("cmd-layout-columns", "row\tlength m\tplants\tparts", "hilera\tlargo m\tplantas\ttramos")
	oneBlock      = words.New("cmd-one-block", "{file} holds {count} outlines; layout takes a file with one", "{file} contiene {count} contornos; layout toma un archivo con uno")
	badDayOrder   = words.New("cmd-bad-day-order", "--day-order is day-first or month-first", "--day-order es day-first o month-first")
	needSpacings  = words.New("cmd-need-spacings", "--row-spacing and --plant-spacing are needed, in metres", "hacen falta --row-spacing y --plant-spacing, en metros")
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

func plan(ctx context.Context, s *session, args []string) error {
	flags := flag.NewFlagSet("layout", flag.ContinueOnError)
	rowSpacing := flags.Float64("row-spacing", 0, "")
	plantSpacing := flags.Float64("plant-spacing", 0, "")
	bearing := flags.Float64("bearing", 0, "")
	headland := flags.Float64("headland", 0, "")
	asJSON := flags.Bool("json", false, "")
	names, err := parse(flags, args, 1)
	if err != nil {
		return err
	}
	if *rowSpacing == 0 || *plantSpacing == 0 {
		return usageError{needSpacings.Plain()}
	}
	outline, err := oneOutline(ctx, names[0])
	if err != nil {
		return err
	}
	spec := layout.Spec{RowSpacing: geo.Metres(*rowSpacing), PlantSpacing: geo.Metres(*plantSpacing), Bearing: geo.Degrees(*bearing), Headland: geo.Metres(*headland)}
	given := false
	flags.Visit(func(f *flag.Flag) { given = given || f.Name == "bearing" })
	if !given {
		spec.Bearing = layout.LongestSide(outline)
	}
	l, err := layout.Plan(ctx, outline, spec)
	if err != nil {
		return err
	}
	if *asJSON {
		return printJSON(s, l.JSON())
	}
	table := tabwriter.NewWriter(s.out, 0, 4, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, layoutColumns.Plain().In(s.language)+"\t")
	for _, r := range l.Rows {
		fmt.Fprintf(table, "%d\t%.2f\t%d\t%d\t\n", r.Number, r.Length, r.Plants, len(r.Parts))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(s.out, layoutTotal.With(words.Args{"rows": len(l.Rows), "plants": l.Plants,
		"metres": fmt.Sprintf("%.1f", l.RowLength), "planted": fmt.Sprintf("%.1f", l.Planted), "outline": fmt.Sprintf("%.1f", l.Outline)}).In(s.language))
	return nil
}

// oneOutline is the outline of a file that holds just one.
func oneOutline(ctx context.Context, path string) (orb.Geometry, error) {
	p, err := readFile(ctx, path, intake.Options{})
	if err != nil {
		return nil, err
	}
	if refusal := p.Refusal(); refusal != nil {
		return nil, refusal
	}
	if len(p.Blocks) != 1 {
		return nil, fault.New(fault.Invalid, oneBlock.With(words.Args{"file": path, "count": len(p.Blocks)}))
	}
	return p.Blocks[0].Geometry.Flat, nil
}
