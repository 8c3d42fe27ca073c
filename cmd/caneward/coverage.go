package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/coverage"
)

var (
	needBlock      = words.New("cmd-coverage-block", "--block FILE is needed: the outline of the block", "hace falta --block FILE: el contorno del bloque")
	needBoth       = words.New("cmd-coverage-setback", "--setback-from FILE and --setback-m go together, metres above 0", "--setback-from FILE y --setback-m van juntos, en metros mayores que 0")
	oneTrack       = words.New("cmd-one-track", "{file} holds {count} tracks; coverage takes a file with one", "{file} contiene {count} recorridos; coverage toma un archivo con uno")
	badWidth       = words.New("cmd-coverage-width", "--width is metres above 0", "--width son metros mayores que 0")
	badTrackLine   = words.New("cmd-track-line", "{file}, line {line}: “{got}” is no number", "{file}, línea {line}: «{got}» no es un número")
	coverageLine   = words.New("cmd-coverage-line", "{runs} runs, {pieces} pieces, {metres} m driven spraying", "{runs} tramos, {pieces} piezas, {metres} m recorridos aplicando")
	coverageColumn = words.New("cmd-coverage-columns", "ground\tm2\tacres", "terreno\tm2\tacres")
)

// coverTrack is the coverage command.
func coverTrack(ctx context.Context, s *session, args []string) error {
	flags := flag.NewFlagSet("coverage", flag.ContinueOnError)
	block := flags.String("block", "", "")
	from := flags.String("setback-from", "", "")
	var width, distance float64
	flags.Float64Var(&width, "width", 0, "")
	flags.Float64Var(&distance, "setback-m", 0, "")
	asJSON := flags.Bool("json", false, "")
	names, err := parse(flags, args, 1)
	if err != nil {
		return err
	}
	switch {
	case *block == "":
		return usageError{needBlock.Plain()}
	case (*from == "") != (distance == 0) || !(distance >= 0):
		return usageError{needBoth.Plain()}
	case !(width >= 0):
		return usageError{badWidth.Plain()}
	}
	var in coverage.Input
	if in.Block, err = oneOutline(ctx, *block); err != nil {
		return err
	}
	if *from != "" {
		shapes, err := allShapes(ctx, *from)
		if err != nil {
			return err
		}
		in.Features = []setback.Feature{{ID: *from, Shape: shapes}}
		in.Rules = []setback.Rule{{From: *from, Distance: geo.Metres(distance), Side: setback.All}}
	}
	if in.Fixes, err = trackFixes(ctx, names[0], geo.Metres(width)); err != nil {
		return err
	}
	r, err := coverage.Work(ctx, in)
	if err != nil {
		return err
	}
	return s.sayCoverage(r, *asJSON)
}

func (s *session) sayCoverage(r coverage.Result, asJSON bool) error {
	if asJSON {
		out, err := r.Encode(s.language)
		if err != nil {
			return err
		}
		return printJSON(s, out)
	}
	fmt.Fprintln(s.out, coverageLine.With(words.Args{"runs": r.Runs, "pieces": r.Pieces, "metres": strconv.FormatFloat(float64(r.Length), 'f', 1, 64)}).In(s.language))
	table := tabwriter.NewWriter(s.out, 0, 4, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, coverageColumn.Plain().In(s.language)+"\t")
	for _, l := range r.Lines() {
		fmt.Fprintf(table, "%s\t%.1f\t%.3f\t\n", l.Name.In(s.language), float64(l.Area), l.Area.Acres())
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(s.talk, coverage.Caution().In(s.language))
	return nil
}

// trackFixes reads a track: the array form of POST .../coverage, alone or as
// the member "track" of an object; a CSV with a column width_m_until_next; or a
// file of any format with one track that has times.
func trackFixes(ctx context.Context, path string, width geo.Metres) ([]coverage.Fix, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	head := bytes.TrimSpace(data)
	var object struct {
		Track json.RawMessage `json:"track"`
	}
	switch {
	case len(head) > 0 && head[0] == '[':
		return fixes(head, width)
	case len(head) > 0 && head[0] == '{' && json.Unmarshal(head, &object) == nil && len(object.Track) > 0:
		return fixes(object.Track, width)
	case strings.Contains(firstLine(head), widthColumn):
		rows, err := csvFixes(path, head)
		if err != nil {
			return nil, err
		}
		return fixes(rows, width)
	}
	p, err := readFile(ctx, path, intake.Options{})
	if err != nil {
		return nil, err
	}
	if refusal := p.FileRefusal(); refusal != nil {
		return nil, refusal
	}
	if len(p.Tracks) != 1 {
		return nil, fault.New(fault.Invalid, oneTrack.With(words.Args{"file": path, "count": len(p.Tracks)}))
	}
	out, d := coverage.FixesOf(p.Tracks[0].Geometry, p.Tracks[0].Properties, width)
	if d != nil {
		return nil, fault.New(fault.Invalid, d.Text, *d)
	}
	return out, nil
}

// fixes reads the array form; a width given replaces every width above 0.
func fixes(raw json.RawMessage, width geo.Metres) ([]coverage.Fix, error) {
	out, d := coverage.ReadFixes(raw)
	if d != nil {
		return nil, fault.New(fault.Invalid, d.Text, *d)
	}
	for i := range out {
		if width > 0 && out[i].Width > 0 {
			out[i].Width = width
		}
	}
	return out, nil
}

func firstLine(data []byte) string {
	line, _, _ := bytes.Cut(data, []byte("\n"))
	return string(line)
}

// widthColumn is how a spreadsheet of fixes is told from one of points.
const widthColumn = "width_m_until_next"

// csvFixes turns a spreadsheet with the columns lon, lat, unix_s and
// width_m_until_next into the array form.
func csvFixes(path string, data []byte) (json.RawMessage, error) {
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return nil, err
	}
	columns := map[string]int{}
	for i, name := range rows[0] {
		columns[strings.TrimSpace(name)] = i
	}
	var out [][4]float64
	for n, row := range rows[1:] {
		var fix [4]float64
		for k, name := range [4]string{"lon", "lat", "unix_s", widthColumn} {
			at, there := columns[name]
			got := name
			if there {
				got = row[at]
			}
			if fix[k], err = strconv.ParseFloat(strings.TrimSpace(got), 64); err != nil {
				return nil, fault.New(fault.Invalid, badTrackLine.With(words.Args{"file": path, "line": n + 2, "got": got}))
			}
		}
		out = append(out, fix)
	}
	return json.Marshal(out)
}

// allShapes is everything a file draws, as one shape.
func allShapes(ctx context.Context, path string) (orb.Geometry, error) {
	p, err := readFile(ctx, path, intake.Options{})
	if err != nil {
		return nil, err
	}
	if refusal := p.FileRefusal(); refusal != nil {
		return nil, refusal
	}
	var all orb.Collection
	for _, b := range p.Blocks {
		all = append(all, b.Geometry.Flat)
	}
	for _, t := range p.Tracks {
		all = append(all, t.Geometry.Flat)
	}
	for _, pin := range p.Points {
		all = append(all, pin.At)
	}
	for _, r := range p.Rest {
		if r.Geometry.Flat != nil {
			all = append(all, r.Geometry.Flat)
		}
	}
	return all, nil
}
