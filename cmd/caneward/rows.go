package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
)

var (
	layoutTotal    = words.New("cmd-layout-total", "{rows} rows, {metres} m of row, {plants} plants; planted {planted} m2 of {outline} m2", "{rows} hileras, {metres} m de hilera, {plants} plantas; plantados {planted} m2 de {outline} m2")
	layoutColumns  = words.New("cmd-layout-columns", "row\tlength m\tplants\tparts", "hilera\tlargo m\tplantas\ttramos")
	layoutPosts    = words.New("cmd-layout-posts", "posts", "postes")
	layoutSkipped  = words.New("cmd-layout-skipped", "skipped", "omitida")
	optionColumns  = words.New("cmd-layout-option-columns", "bearing\trows\trow m\tplants\tturns\tshort rows\tshortest m\tlongest m\tplanted %\tfrom", "rumbo\thileras\thilera m\tplantas\tvueltas\thileras cortas\tmás corta m\tmás larga m\tplantado %\torigen")
	orderLine      = words.New("cmd-layout-order-line", "{what}: {value} {unit} ({text})", "{what}: {value} {unit} ({text})")
	orderHead      = words.New("cmd-layout-order", "To order:", "Para pedir:")
	handbookHead   = words.New("cmd-layout-handbook", "Not the handbook's figure, and why:", "No es la cifra del manual, y por qué:")
	oneBlock       = words.New("cmd-one-block", "{file} holds {count} outlines; layout takes a file with one", "{file} contiene {count} contornos; layout toma un archivo con uno")
	oneGuide       = words.New("cmd-one-guide", "{file} holds {count} lines; the guide is a file with one", "{file} contiene {count} líneas; la guía es un archivo con una")
	needSpacings   = words.New("cmd-need-spacings", "--row-spacing and --plant-spacing are needed, in metres", "hacen falta --row-spacing y --plant-spacing, en metros")
	badSkip        = words.New("cmd-bad-skip", "--skip takes row numbers with commas between them, as in 3,4; not “{got}”", "--skip toma números de hilera separados por comas, como 3,4; no «{got}»")
	spareOrCompare = words.New("cmd-spare-or-compare", "--spare draws up the order of one layout, --compare sets many side by side: not both", "--spare prepara el pedido de un trazado, --compare pone muchos lado a lado: no ambos")
	guideOrBearing = words.New("cmd-guide-or-bearing", "rows follow --guide or --bearing, not both", "las hileras siguen --guide o --bearing, no ambos")
)

// layoutFlags are what the layout command is asked for.
type layoutFlags struct {
	spec           layout.Spec
	supplies       layout.Supplies
	guide          string
	sweep          float64
	bearing        bool // one is named
	order, compare bool
	asJSON         bool
	outline        string
}

func readLayoutFlags(args []string) (f layoutFlags, err error) {
	flags := flag.NewFlagSet("layout", flag.ContinueOnError)
	metres := func(to *geo.Metres, name string) {
		flags.Float64Var((*float64)(to), name, 0, "")
	}
	metres(&f.spec.RowSpacing, "row-spacing")
	metres(&f.spec.PlantSpacing, "plant-spacing")
	metres(&f.spec.Headland, "headland")
	metres(&f.spec.SideMargin, "side-margin")
	metres(&f.spec.AlleyWidth, "alley")
	metres(&f.spec.PostSpacing, "post-spacing")
	flags.Float64Var((*float64)(&f.spec.Bearing), "bearing", 0, "")
	flags.IntVar(&f.spec.AlleyEvery, "alley-every", 0, "")
	flags.Func("skip", "", func(s string) (err error) { f.spec.Skip, err = rowNumbers(s); return err })
	flags.StringVar(&f.guide, "guide", "", "")
	flags.Float64Var(&f.sweep, "compare", 0, "")
	flags.Float64Var(&f.supplies.SparePercent, "spare", 0, "")
	flags.BoolVar(&f.asJSON, "json", false, "")
	names, err := parse(flags, args, 1)
	if err != nil {
		return f, err
	}
	f.outline = names[0]
	flags.Visit(func(g *flag.Flag) {
		f.bearing = f.bearing || g.Name == "bearing"
		f.compare = f.compare || g.Name == "compare"
		f.order = f.order || g.Name == "spare"
	})
	switch {
	case f.spec.RowSpacing == 0 || f.spec.PlantSpacing == 0:
		return f, usageError{needSpacings.Plain()}
	case f.guide != "" && f.bearing:
		return f, usageError{guideOrBearing.Plain()}
	case f.order && f.compare:
		return f, usageError{spareOrCompare.Plain()}
	}
	return f, nil
}

func rowNumbers(list string) ([]int, error) {
	var out []int
	for _, s := range strings.Split(list, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(s))
		if err != nil {
			return nil, usageError{badSkip.With(words.Args{"got": list})}
		}
		out = append(out, n)
	}
	return out, nil
}

// plan is the layout command.
func plan(ctx context.Context, s *session, args []string) error {
	f, err := readLayoutFlags(args)
	if err != nil {
		return err
	}
	outline, err := oneOutline(ctx, f.outline)
	if err != nil {
		return err
	}
	if f.guide != "" {
		if f.spec.Guide, err = oneLine(ctx, f.guide); err != nil {
			return err
		}
	} else if !f.bearing {
		f.spec.Bearing = layout.LongestSide(outline)
	}
	if f.compare {
		return compareLayouts(ctx, s, f, outline)
	}
	l, err := layout.Plan(ctx, outline, f.spec)
	if err != nil {
		return err
	}
	if !f.order {
		if f.asJSON {
			return printJSON(s, l.JSON())
		}
		return printRows(s, l)
	}
	order, err := l.Order(f.supplies)
	if err != nil {
		return err
	}
	if f.asJSON {
		return printJSON(s, l.Full(s.language, layout.ShortRow, &order))
	}
	if err := printRows(s, l); err != nil {
		return err
	}
	printOrder(s, l, order)
	return nil
}

func printRows(s *session, l layout.Layout) error {
	table := tabwriter.NewWriter(s.out, 0, 4, 2, ' ', tabwriter.AlignRight)
	posts := l.Spec.PostSpacing > 0
	head := layoutColumns.Plain().In(s.language) + "\t"
	if posts {
		head += layoutPosts.Plain().In(s.language) + "\t"
	}
	fmt.Fprintln(table, head)
	for _, r := range l.Rows {
		fmt.Fprintf(table, "%d\t%.2f\t%d\t%d\t", r.Number, r.Length, r.Plants, len(r.Parts))
		if posts {
			fmt.Fprintf(table, "%d\t", r.Posts)
		}
		if r.Skipped {
			fmt.Fprint(table, layoutSkipped.Plain().In(s.language)+"\t")
		}
		fmt.Fprintln(table)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(s.out, layoutTotal.With(words.Args{"rows": l.PlantedRows(), "plants": l.Plants,
		"metres": fmt.Sprintf("%.1f", l.RowLength), "planted": fmt.Sprintf("%.1f", l.Planted), "outline": fmt.Sprintf("%.1f", l.Outline)}).In(s.language))
	return nil
}

func printOrder(s *session, l layout.Layout, o layout.Order) {
	say := func(w io.Writer, t words.Text) { fmt.Fprintln(w, t.In(s.language)) }
	say(s.out, orderHead.Plain())
	for _, f := range o.How {
		say(s.out, orderLine.With(words.Args{"what": f.Name(), "value": f.Value, "unit": f.UnitName(), "text": f.Text}))
	}
	say(s.out, handbookHead.Plain())
	say(s.out, l.Handbook().How)
	for _, d := range l.Differences() {
		say(s.out, d.Text)
	}
}

// compareLayouts sets the asked layout beside the longest side and a sweep.
func compareLayouts(ctx context.Context, s *session, f layoutFlags, outline orb.Geometry) error {
	swept, err := layout.Sweep(f.spec, geo.Degrees(f.sweep))
	if err != nil {
		return err
	}
	along := f.spec
	along.Guide, along.Bearing = nil, layout.LongestSide(outline)
	choices := []layout.Choice{{Kind: layout.LongestEdge, Spec: along}}
	switch {
	case f.spec.Guide != nil:
		choices = append(choices, layout.Choice{Kind: layout.Guided, Spec: f.spec})
	case f.bearing:
		choices = append(choices, layout.Choice{Kind: layout.Drawn, Spec: f.spec})
	}
	options, err := layout.Compare(ctx, outline, append(choices, swept...), layout.ShortRow)
	if err != nil {
		return err
	}
	if f.asJSON {
		out := struct {
			Options []layout.OptionJSON `json:"options"`
		}{}
		for _, o := range options {
			out.Options = append(out.Options, o.JSON())
		}
		return printJSON(s, out)
	}
	table := tabwriter.NewWriter(s.out, 0, 4, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, optionColumns.Plain().In(s.language)+"\t")
	for _, o := range options {
		fmt.Fprintf(table, "%.1f\t%d\t%.1f\t%d\t%d\t%d\t%.1f\t%.1f\t%.1f\t%s\t\n", o.Spec.Bearing, o.Rows, o.RowLength, o.Plants, o.Turns, o.ShortRows, o.Shortest, o.Longest, 100*o.Share, o.Kind.Name().In(s.language))
	}
	return table.Flush()
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

// oneLine is the line of a file that holds just one, drawn or walked.
func oneLine(ctx context.Context, path string) (orb.LineString, error) {
	p, err := readFile(ctx, path, intake.Options{})
	if err != nil {
		return nil, err
	}
	if refusal := p.FileRefusal(); refusal != nil {
		return nil, refusal
	}
	var lines []orb.LineString
	add := func(g orb.Geometry) {
		switch g := g.(type) {
		case orb.LineString:
			lines = append(lines, g)
		case orb.MultiLineString:
			lines = append(lines, g...)
		}
	}
	for _, r := range p.Rest {
		add(r.Geometry.Flat)
	}
	for _, t := range p.Tracks {
		add(t.Geometry.Flat)
	}
	if len(lines) != 1 {
		return nil, fault.New(fault.Invalid, oneGuide.With(words.Args{"file": path, "count": len(lines)}))
	}
	return lines[0], nil
}
