package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/hotspot"
	"caneward/records/scouting"
)

var (
	badList      = words.New("cmd-bad-list", "--{flag}: “{value}” is not a number", "--{flag}: «{value}» no es un número")
	groupsLine   = words.New("cmd-groups-line", "group {number}: {finds} finds, {core} of them in its core: {plants}", "grupo {number}: {finds} hallazgos, {core} en su núcleo: {plants}")
	isolatedLine = words.New("cmd-isolated-line", "isolated: {count}", "aislados: {count}")
	countsLine   = words.New("cmd-counts-line", "{infected} infected plants among {inspected} looked at", "{infected} plantas infectadas entre {inspected} revisadas")
	listLine     = words.New("cmd-list-line", "list: {confirmed} confirmed, {between} between, {margin} margin, {inspect} to look at again", "lista: {confirmed} confirmadas, {between} intermedias, {margin} de margen, {inspect} para volver a revisar")
	choiceLine   = words.New("cmd-choice-line", "{name}: {plants} plants. {text}", "{name}: {plants} plantas. {text}")
	hotCaution   = words.New("cmd-hotspot-caution", "A hot spot is where finds cluster among places looked at. It is no diagnosis. Confirm by laboratory or a qualified adviser before removing plants; removal cannot be undone.", "Un foco es donde se agrupan los hallazgos entre lo revisado. No es un diagnóstico. Confirme con laboratorio o un asesor calificado antes de quitar plantas; no se puede deshacer.")
)

// hotspotFlags are those of the command as typed; a flag not given stays nil.
type hotspotFlags struct {
	set                            *flag.FlagSet
	rowSpacing, plantSpacing       float64
	along, across, eps, scanCap    float64
	minFinds, gap, margin, inspect int
	minCases, replicates           int
	seed                           uint64
	causes, states, shapes, x, y   string
	sectionLimit                   float64
	smooth, asJSON                 bool
}

func newHotspotFlags() *hotspotFlags {
	f := &hotspotFlags{set: flag.NewFlagSet("hotspots", flag.ContinueOnError)}
	f.set.Float64Var(&f.rowSpacing, "row-spacing", 0, "")
	f.set.Float64Var(&f.plantSpacing, "plant-spacing", 0, "")
	f.set.Float64Var(&f.along, "along-m", 0, "")
	f.set.Float64Var(&f.across, "across-m", 0, "")
	f.set.Float64Var(&f.eps, "eps", 0, "")
	f.set.IntVar(&f.minFinds, "min-finds", 0, "")
	f.set.IntVar(&f.gap, "gap-plants", 0, "")
	f.set.IntVar(&f.margin, "margin-plants", 0, "")
	f.set.IntVar(&f.inspect, "inspect-rows", 0, "")
	f.set.Float64Var(&f.sectionLimit, "section-limit", 0, "")
	f.set.BoolVar(&f.smooth, "smooth", false, "")
	f.set.StringVar(&f.causes, "causes", "", "")
	f.set.StringVar(&f.states, "states", "", "")
	f.set.StringVar(&f.shapes, "scan-shapes", "", "")
	f.set.Float64Var(&f.scanCap, "scan-cap", 0, "")
	f.set.IntVar(&f.minCases, "scan-min-cases", 0, "")
	f.set.IntVar(&f.replicates, "scan-replicates", 0, "")
	f.set.Uint64Var(&f.seed, "scan-seed", 0, "")
	f.set.StringVar(&f.x, "x", "", "")
	f.set.StringVar(&f.y, "y", "", "")
	f.set.BoolVar(&f.asJSON, "json", false, "")
	return f
}

func (f *hotspotFlags) options() (hotspot.Options, error) {
	given := map[string]bool{}
	f.set.Visit(func(g *flag.Flag) { given[g.Name] = true })
	o := hotspot.Options{
		Along: ifGiven(given["along-m"], geo.Metres(f.along)), Across: ifGiven(given["across-m"], geo.Metres(f.across)),
		MinFinds: ifGiven(given["min-finds"], f.minFinds), GapPlants: ifGiven(given["gap-plants"], f.gap),
		MarginPlants: ifGiven(given["margin-plants"], f.margin), InspectRows: ifGiven(given["inspect-rows"], f.inspect),
		SectionLimit: ifGiven(given["section-limit"], f.sectionLimit), Smooth: ifGiven(given["smooth"], f.smooth),
		Scan: hotspot.ScanOptions{Cap: ifGiven(given["scan-cap"], f.scanCap), MinCases: ifGiven(given["scan-min-cases"], f.minCases),
			Replicates: ifGiven(given["scan-replicates"], f.replicates), Seed: ifGiven(given["scan-seed"], f.seed)},
	}
	for _, s := range list(f.causes) {
		o.Causes = append(o.Causes, scouting.Cause(s))
	}
	for _, s := range list(f.states) {
		o.States = append(o.States, scouting.State(s))
	}
	for _, s := range list(f.shapes) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return o, usageError{badList.With(words.Args{"flag": "scan-shapes", "value": s})}
		}
		o.Scan.Shapes = append(o.Scan.Shapes, v)
	}
	return o, nil
}

func ifGiven[T any](given bool, v T) *T {
	if !given {
		return nil
	}
	return &v
}

func list(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, ",")
}

func hotspots(ctx context.Context, s *session, args []string) (err error) {
	f := newHotspotFlags()
	names, err := parse(f.set, args, 1)
	if err != nil {
		return err
	}
	options, err := f.options()
	if err != nil {
		return err
	}
	file, err := os.Open(names[0])
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if f.x != "" || f.y != "" {
		points, err := hotspot.GroupPoints(ctx, file, hotspot.PointOptions{X: f.x, Y: f.y, Eps: geo.Metres(f.eps),
			Along: geo.Metres(f.along), Across: geo.Metres(f.across), MinFinds: f.minFinds})
		if err != nil {
			return err
		}
		return s.sayPoints(points, f.asJSON)
	}
	analysis, err := hotspot.AnalyseRowMap(ctx, file, hotspot.RowMapOptions{RowSpacing: geo.Metres(f.rowSpacing), PlantSpacing: geo.Metres(f.plantSpacing), Options: options})
	if err != nil {
		return err
	}
	return s.sayHotspots(analysis.Document(s.language), f.asJSON)
}

func (s *session) sayPoints(p hotspot.Points, asJSON bool) error {
	if asJSON {
		return printJSON(s, p)
	}
	for _, g := range p.Groups {
		fmt.Fprintln(s.out, groupsLine.With(words.Args{"number": g.Number, "finds": len(g.Finds), "core": g.Core, "plants": strings.Trim(fmt.Sprint(g.Finds), "[]")}).In(s.language))
	}
	fmt.Fprintln(s.out, isolatedLine.With(words.Args{"count": len(p.Isolated)}).In(s.language))
	return nil
}

func (s *session) sayHotspots(d hotspot.Document, asJSON bool) error {
	fmt.Fprintln(s.talk, hotCaution.Plain().In(s.language))
	if asJSON {
		return printJSON(s, d)
	}
	fmt.Fprintln(s.out, countsLine.With(words.Args{"infected": d.Infected, "inspected": d.Inspected}).In(s.language))
	for _, g := range d.Groups {
		var plants []string
		for _, p := range g.Finds {
			plants = append(plants, fmt.Sprintf("%d-%d", p.Row, p.Plant))
		}
		fmt.Fprintln(s.out, groupsLine.With(words.Args{"number": g.Number, "finds": len(g.Finds), "core": g.Core, "plants": strings.Join(plants, " ")}).In(s.language))
	}
	fmt.Fprintln(s.out, isolatedLine.With(words.Args{"count": len(d.Isolated)}).In(s.language))
	fmt.Fprintln(s.out, listLine.With(words.Args{"confirmed": len(d.List.Confirmed), "between": len(d.List.Between),
		"margin": len(d.List.Margin), "inspect": len(d.List.Inspect)}).In(s.language))
	for _, c := range d.Choices {
		fmt.Fprintln(s.out, choiceLine.With(words.Args{"name": string(c.Name), "plants": c.Plants, "text": words.Verbatim(c.Text)}).In(s.language))
	}
	for _, why := range []*string{d.WhyNoList, d.WhyNoP} {
		if why != nil {
			fmt.Fprintln(s.out, *why)
		}
	}
	return nil
}
