package spray

import (
	"slices"
	"strings"
	"time"

	"caneward/blocks/words"
)

// Group is a mode of action as printed on a label: scheme "frac", "irac" or
// "hrac" and its code in capitals.
type Group struct{ Scheme, Code string }

// String is how people write it: "FRAC 11".
func (g Group) String() string { return strings.ToUpper(g.Scheme) + " " + g.Code }

// multiSite reports whether the group acts at many sites of a fungus, of which
// resistance is rare: the M codes of FRAC.
func (g Group) multiSite() bool { return g.Scheme == "frac" && strings.HasPrefix(g.Code, "M") }

// Groups are the modes of action of a label, each once, in the order of its
// ingredients. A code typed without its scheme is none that could be compared.
func (p Product) Groups() []Group {
	var out []Group
	for _, in := range p.Ingredients {
		for _, scheme := range schemes {
			for code := range strings.FieldsFuncSeq(in.Codes[scheme], func(r rune) bool { return strings.ContainsRune("+,;/ ", r) }) {
				g := Group{scheme, strings.ToUpper(strings.TrimLeft(code, "0"))}
				if g.Code != "" && !slices.Contains(out, g) {
					out = append(out, g)
				}
			}
		}
	}
	return out
}

// Each scheme is a kind of target: diseases, insects and mites, weeds.
var schemes = []string{"frac", "irac", "hrac"}

// Rotation is a programme of how many uses in a row one mode of action may have
// on one ground.
type Rotation string

// The programmes.
const (
	RotationUsual      Rotation = "usual"
	RotationCaneberry  Rotation = "caneberry-table"
	rotationUnasked             = RotationCaneberry // the stricter of the two
	usualUsesInARow             = 2
	strictUsesInARow            = 1
	strictestNamedList          = "FRAC 1, 4, 9, 11, 17"
)

// Rotations lists them.
var Rotations = []Rotation{RotationCaneberry, RotationUsual}

// rotations: uses in a row by programme; a group not named takes the usual two.
// The caneberry table is UC IPM's General Properties of Fungicides Used in
// Caneberries: one use of FRAC 1, 4, 9, 11 or 17, then another group; two of others.
// Two in a row is common practice.
var rotations = map[Rotation]map[Group]int{
	RotationUsual: {},
	RotationCaneberry: {
		{"frac", "1"}: strictUsesInARow, {"frac", "4"}: strictUsesInARow, {"frac", "9"}: strictUsesInARow,
		{"frac", "11"}: strictUsesInARow, {"frac", "17"}: strictUsesInARow,
	},
}

func (r Rotation) inARow(g Group) int {
	if n, ok := rotations[r][g]; ok {
		return n
	}
	return usualUsesInARow
}

var (
	sourceTable = words.New("spray-source-rotation-table", "UC IPM, General Properties of Fungicides Used in Caneberries: one use of "+strictestNamedList+" and then another group, two of the others", "UC IPM, General Properties of Fungicides Used in Caneberries: un uso de "+strictestNamedList+" y luego otro grupo, dos de los demás").Plain()
	sourceUsual = words.New("spray-source-rotation-usual", "no more than two in a row of one group: common practice, no source", "no más de dos seguidos de un grupo: práctica común, sin fuente").Plain()

	sayRotation = words.New("spray-check-rotation",
		"{group}: with this job {runs} uses in a row on {share} of the ground treated in {block} (before: {dates}); {most} is the most before another group. A mixture counts for each of its groups.",
		"{group}: con este trabajo {runs} usos seguidos en {share} del terreno tratado de {block} (antes: {dates}); {most} es lo máximo antes de otro grupo. Una mezcla cuenta para cada uno de sus grupos.")
	sayRotationIn = words.New("spray-check-rotation-in",
		"{groups}: no more uses in a row on this ground than {most}.",
		"{groups}: no más usos seguidos en este terreno que {most}.")
	sayNoGroup = words.New("spray-check-rotation-unknown",
		"{product}: no FRAC, IRAC or HRAC code is typed, so its turn in the rotation cannot be told.",
		"{product}: no hay escrito un código FRAC, IRAC o HRAC, así que no se sabe su turno en la rotación.")
)

// checkRotation counts, for each mode of action of the mix, the uses in a row on
// the very ground up to this job, last season's end among them. Only passes against
// the same kind of target stand between.
func (d *drafter) checkRotation(histories []*history, today time.Time) {
	programme := d.request.Rotation
	if programme == "" {
		programme = rotationUnasked
	}
	source := sourceUsual
	if programme == RotationCaneberry {
		source = sourceTable
	}
	var groups []Group
	for _, label := range d.labels {
		own := label.Groups()
		if len(own) == 0 && len(label.Ingredients) > 0 {
			d.say("rotation", Caution, sayNoGroup.With(words.Args{"product": label.Name}), source)
		}
		for _, g := range own {
			if !slices.Contains(groups, g) && (d.request.MultiSite || !g.multiSite()) {
				groups = append(groups, g)
			}
		}
	}
	var kept []string
	most := 0
	for _, g := range groups {
		allowed := programme.inARow(g)
		all := make([]finding, len(histories))
		abreast(len(histories), func(i int) { all[i] = d.inARow(histories[i], g, allowed, today) })
		found := slices.DeleteFunc(all, func(f finding) bool { return len(f.ground) == 0 })
		if len(found) == 0 {
			kept, most = append(kept, g.String()), max(most, allowed)
			continue
		}
		f := worstOf(found)
		check := d.found("rotation", Caution, f, found)
		check.Source = source
		check.Measured = &Measured{Value: f.value, Limit: float64(allowed), Unit: "uses"}
		check.Why = sayRotation.With(words.Args{"group": g.String(), "runs": int(f.value), "share": d.share(f), "block": f.plot.called(), "dates": d.dates(f), "most": allowed})
		d.add(check)
	}
	if len(kept) > 0 && len(histories) > 0 {
		d.say("rotation", OK, sayRotationIn.With(words.Args{"groups": strings.Join(kept, ", "), "most": most}), source)
	}
}

// inARow goes back in time over the passes on each ground of a plot and finds where
// the group was used as often as is allowed, or oftener, without another between. A
// pass of which nobody knows where it was counts as a use, never as another between.
func (d *drafter) inARow(h *history, g Group, allowed int, today time.Time) finding {
	f := finding{plot: h.plot, value: 1}
	var counts []int // passes against the same kind of target, latest first
	for _, pass := range slices.Backward(h.near) {
		if e := h.past.passes[pass]; !d.day(e.Started).After(today) && e.against(g.Scheme) {
			counts = append(counts, pass)
		}
	}
	var broken, most []cell
	for _, c := range h.cells {
		var uses []int
		for _, pass := range counts {
			everywhere, again := h.everywhere(pass), h.past.passes[pass].has(g)
			if again && (everywhere || slices.Contains(c.passes, pass)) {
				uses = append(uses, pass)
			}
			if !again && !everywhere && slices.Contains(c.passes, pass) {
				break
			}
		}
		runs := float64(len(uses) + 1)
		if int(runs) <= allowed {
			continue
		}
		broken = append(broken, c)
		switch {
		case runs > f.value:
			f.value, f.passes, most = runs, uses, []cell{c}
		case runs == f.value && slices.Equal(uses, f.passes):
			most = append(most, c)
		}
	}
	f.ground, f.worst = h.join(broken), h.join(most)
	return f
}

// against reports whether a pass held something against a kind of target.
func (e Earlier) against(scheme string) bool {
	return slices.ContainsFunc(e.Uses, func(u Use) bool {
		return slices.ContainsFunc(u.Label.Groups(), func(g Group) bool { return g.Scheme == scheme })
	})
}

func (e Earlier) has(g Group) bool {
	return slices.ContainsFunc(e.Uses, func(u Use) bool { return slices.Contains(u.Label.Groups(), g) })
}
