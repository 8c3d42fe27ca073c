package clock

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/geo/wire"
	"caneward/records"
)

// leastPart is the smallest piece of a block with an answer of its own: outlines
// redrawn along one fence differ by slivers all along it.
const leastPart geo.SquareMetres = 10

// mostCuts bounds into how many passes' grounds one block is parted; with more
// of them running, all of the block takes the strictest answer.
const mostCuts = 8

// lookBack is how far passes are looked at: the longest days before harvest and
// intervals typed are a year and less; conditions and signs do not age.
const lookBack = 400 * 24 * time.Hour

// Part is ground of a block that the same passes went over.
type Part struct {
	Area         geo.SquareMetres
	Share        float64          // of the block
	Ground       orb.MultiPolygon // nil: all of the block
	Passes       []records.ID
	Enter, Pick  Deed
	Tasks        []Task // tasks that labels single out
	Spray        []Deed // of State.Products, in order
	answersAlike string
}

// Task is entry for a task that a label names.
type Task struct {
	Name string
	Deed Deed
}

// Line is one block on the board: its own answers are the strictest of its
// parts'.
type Line struct {
	Block       Block
	Enter, Pick Deed
	Parts       []Part
}

// Board is what may be done on every block at one time.
type Board struct {
	At    time.Time
	State State
	Lines []Line
}

// Work answers for every block. Spray is worked out for the products given, by
// their index in State.Products. Errors: the context's.
func Work(ctx context.Context, s State, at time.Time, products []int, lang words.Language) (Board, error) {
	b := Board{At: at, State: s}
	for _, block := range s.Blocks {
		if err := ctx.Err(); err != nil {
			return b, err
		}
		parts, err := s.parts(ctx, block, at)
		if err != nil {
			return b, err
		}
		a := asker{state: s, at: at, crop: block.Crop, lang: lang}
		for i := range parts {
			a.answer(&parts[i], products)
		}
		parts = merged(parts)
		line := Line{Block: block, Parts: parts}
		line.Enter = strictest(parts, func(p Part) Deed { return p.Enter })
		line.Pick = strictest(parts, func(p Part) Deed { return p.Pick })
		b.Lines = append(b.Lines, line)
	}
	return b, nil
}

func (a asker) answer(p *Part, products []int) {
	var jobs []Job
	tasks := []string{}
	for _, j := range a.state.Jobs {
		if !slices.Contains(p.Passes, j.ID) {
			continue
		}
		jobs = append(jobs, j)
		for _, prod := range j.Products {
			for _, r := range prod.Label.Reentries {
				if name := strings.TrimSpace(r.Task); name != "" && !slices.ContainsFunc(tasks, func(t string) bool { return strings.EqualFold(t, name) }) {
					tasks = append(tasks, name)
				}
			}
		}
	}
	p.Enter, p.Pick = a.enter(jobs, ""), a.pick(jobs)
	for _, name := range tasks {
		p.Tasks = append(p.Tasks, Task{name, a.enter(jobs, name)})
	}
	for _, i := range products {
		p.Spray = append(p.Spray, a.spray(jobs, a.state.Products[i]))
	}
	p.Passes = a.stillSpeak(*p)
	p.answersAlike = strings.Join(ids(p.Passes), " ")
}

// stillSpeak are the passes that some reason of the part names.
func (a asker) stillSpeak(p Part) []records.ID {
	var out []records.ID
	deeds := append([]Deed{p.Enter, p.Pick}, p.Spray...)
	for _, t := range p.Tasks {
		deeds = append(deeds, t.Deed)
	}
	for _, d := range deeds {
		for _, r := range d.Reasons {
			if r.Job != "" && !slices.Contains(out, r.Job) {
				out = append(out, r.Job)
			}
		}
	}
	slices.Sort(out)
	return out
}

func ids(list []records.ID) []string {
	out := make([]string, len(list))
	for i, id := range list {
		out[i] = string(id)
	}
	return out
}

// merged joins parts for which the same passes speak.
func merged(parts []Part) []Part {
	var out []Part
	for _, p := range parts {
		at := slices.IndexFunc(out, func(o Part) bool { return o.answersAlike == p.answersAlike })
		if at < 0 {
			out = append(out, p)
			continue
		}
		out[at].Area += p.Area
		out[at].Share += p.Share
		out[at].Ground = append(out[at].Ground, p.Ground...)
	}
	if len(out) == 1 {
		out[0].Ground, out[0].Share = nil, 1
	}
	return out
}

// parts cuts a block by the grounds of the passes that went over it.
func (s State) parts(ctx context.Context, b Block, at time.Time) ([]Part, error) {
	var jobs []Job
	for _, j := range s.Jobs {
		began := j.Started
		if began.IsZero() {
			began = j.Ended
		}
		if began.After(at) || !j.Ended.IsZero() && j.Ended.Before(at.Add(-lookBack)) || !s.near(j, b) {
			continue
		}
		jobs = append(jobs, j)
	}
	whole := []Part{{Share: 1}}
	for _, j := range jobs {
		whole[0].Passes = append(whole[0].Passes, j.ID)
	}
	if len(b.Outline) == 0 || len(jobs) == 0 {
		return whole, nil
	}
	frame, err := plane.FrameOf(b.Outline)
	if err != nil {
		return nil, err
	}
	region, err := frame.Region(b.Outline)
	if err != nil {
		return nil, err
	}
	whole[0].Area = region.Area()
	cuts, err := s.cut(ctx, frame, region, jobs)
	if err != nil || cuts == nil {
		return whole, err
	}
	var out []Part
	for _, c := range cuts {
		out = append(out, Part{Area: c.ground.Area(), Share: float64(c.ground.Area() / region.Area()), Ground: frame.MultiPolygon(c.ground), Passes: c.passes})
	}
	return out, nil
}

// near: a pass with ground of its own concerns the blocks its box meets, one
// without the blocks it names.
func (s State) near(j Job, b Block) bool {
	if len(j.Ground) == 0 {
		return slices.Contains(j.Blocks, b.ID)
	}
	return len(b.Outline) > 0 && (j.Ground.Bound().Intersects(b.Outline.Bound()) || slices.Contains(j.Blocks, b.ID))
}

type cutting struct {
	ground plane.Region
	passes []records.ID
}

// cut is nil where the ground of a pass cannot be placed or the block not parted
// in bounds: then the whole block takes every pass.
func (s State) cut(ctx context.Context, frame plane.Frame, block plane.Region, jobs []Job) ([]cutting, error) {
	pieces := []cutting{{ground: block}}
	grounds := 0
	for _, j := range jobs {
		if len(j.Ground) == 0 {
			for i := range pieces {
				pieces[i].passes = append(pieces[i].passes, j.ID)
			}
			continue
		}
		ground, err := frame.Region(j.Ground)
		if err != nil {
			return nil, ctx.Err()
		}
		var next []cutting
		for _, p := range pieces {
			in, out, err := overlay.Cut(ctx, p.ground, ground)
			if err != nil {
				return nil, ctx.Err()
			}
			switch {
			case in.Area() < leastPart:
				next = append(next, p)
			case out.Area() < leastPart:
				next = append(next, cutting{p.ground, withPass(p.passes, j.ID)})
			default:
				next = append(next, cutting{overlay.WithoutSlivers(in), withPass(p.passes, j.ID)}, cutting{overlay.WithoutSlivers(out), p.passes})
			}
		}
		if len(next) > len(pieces) {
			if grounds++; grounds > mostCuts {
				return nil, nil
			}
		}
		pieces = next
	}
	return pieces, nil
}

func withPass(list []records.ID, id records.ID) []records.ID {
	return append(slices.Clone(list), id)
}

func strictest(parts []Part, of func(Part) Deed) Deed {
	var all []Reason
	seen := map[string]bool{}
	for _, p := range parts {
		for _, r := range of(p).Reasons {
			if key := string(r.Job) + r.Why.String(); !seen[key] {
				seen[key] = true
				all = append(all, r)
			}
		}
	}
	return sum(all)
}

type reasonJSON struct {
	Answer Verdict    `json:"answer"`
	Pass   records.ID `json:"pass,omitempty"`
	From   string     `json:"from,omitempty"`
	Why    string     `json:"why"`
	Source string     `json:"source"`
}

type deedJSON struct {
	Answer  Verdict      `json:"answer"`
	From    string       `json:"from,omitempty"`
	Reasons []reasonJSON `json:"reasons"`
}

type taskJSON struct {
	Task string `json:"task"`
	deedJSON
}

type sprayJSON struct {
	Product records.ID `json:"product"`
	Name    string     `json:"name"`
	deedJSON
}

type partJSON struct {
	Area     float64         `json:"area_m2"`
	Share    float64         `json:"share"`
	Geometry json.RawMessage `json:"geometry"` // null: all of the block
	Passes   []records.ID    `json:"passes"`
	Enter    deedJSON        `json:"enter"`
	Pick     deedJSON        `json:"pick"`
	Tasks    []taskJSON      `json:"tasks"`
	Spray    []sprayJSON     `json:"spray"`
}

type lineJSON struct {
	Block records.ID `json:"block"`
	Name  string     `json:"name"`
	Enter deedJSON   `json:"enter"`
	Pick  deedJSON   `json:"pick"`
	Parts []partJSON `json:"parts"`
}

// Encode writes the board as it travels, times with the farm's offset.
func (b Board) Encode(products []int, l words.Language) (json.RawMessage, error) {
	deed := func(d Deed) deedJSON {
		out := deedJSON{Answer: d.Answer, From: b.stamp(d.From), Reasons: []reasonJSON{}}
		for _, r := range d.Reasons {
			out.Reasons = append(out.Reasons, reasonJSON{r.Answer, r.Job, b.stamp(r.From), r.Why.In(l), r.Source.In(l)})
		}
		return out
	}
	lines := []lineJSON{}
	for _, line := range b.Lines {
		row := lineJSON{Block: line.Block.ID, Name: line.Block.Name, Enter: deed(line.Enter), Pick: deed(line.Pick)}
		for _, p := range line.Parts {
			shape, err := wire.EncodeGround(p.Ground)
			if err != nil {
				return nil, err
			}
			part := partJSON{Area: float64(p.Area), Share: p.Share, Geometry: shape, Passes: append([]records.ID{}, p.Passes...), Enter: deed(p.Enter), Pick: deed(p.Pick), Tasks: []taskJSON{}, Spray: []sprayJSON{}}
			for _, t := range p.Tasks {
				part.Tasks = append(part.Tasks, taskJSON{t.Name, deed(t.Deed)})
			}
			for k, i := range products {
				part.Spray = append(part.Spray, sprayJSON{b.State.Products[i].ID, b.State.Products[i].Label.Name, deed(p.Spray[k])})
			}
			row.Parts = append(row.Parts, part)
		}
		lines = append(lines, row)
	}
	return json.Marshal(struct {
		At      string     `json:"at"`
		Zone    string     `json:"zone"`
		Blocks  []lineJSON `json:"blocks"`
		Exempt  bool       `json:"owner_exempt"`
		Caution string     `json:"caution"`
	}{b.stamp(b.At), b.State.Zone.String(), lines, b.State.OwnerExempt, Cautions().In(l)})
}

func (b Board) stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(b.State.Zone).Format(time.RFC3339)
}

var sayCautions = words.New("clock-cautions",
	"Worked out from labels as people typed them and from what was recorded here. The label and local law decide; where they are stricter, follow them. Keep everyone out of treated ground before the re-entry time ends.",
	"Calculado con etiquetas escritas por personas y con lo registrado aquí. La etiqueta y la ley local deciden; si son más estrictas, sígalas. Nadie entra al terreno tratado antes de que termine el tiempo de reentrada.")

// Cautions go with every board shown.
func Cautions() words.Text { return sayCautions.Plain() }
