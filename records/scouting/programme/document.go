package programme

import (
	"encoding/json"
	"regexp"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/stats"
)

// Document names the farm's document that holds its Edits.
const Document records.DocumentName = "programmes"

// Bounds of what a farm writes. MaxOwn is far above any walk's programmes.
const (
	MaxOwn      = 200
	maxWords    = 1000 // characters of a text
	leastSure   = 0.8  // below, an answer is a guess
	mostSure    = 0.999
	maxMean     = 10_000
	smallestOne = 1e-6
)

// Edits are a farm's changes to the built-in list: programmes of its own, those
// that stand in for a built-in one of the same id, and ids it does not use.
type Edits struct {
	Programmes []Programme
	Hidden     []string
}

var (
	editsNotOne = words.New("programme-edits-not-one", "These programmes cannot be kept: {count} thing(s) to mend, named below.", "Estos programas no se pueden guardar: {count} cosa(s) por corregir, nombradas abajo.")
	badID       = words.New("programme-bad-id", "An id is 1 to 40 lower-case letters, digits and hyphens, beginning with a letter.", "Un identificador son de 1 a 40 minúsculas, cifras y guiones, y empieza por una letra.")
	twice       = words.New("programme-id-twice", "The id “{id}” stands twice.", "El identificador «{id}» está dos veces.")
	levelAndAny = words.New("programme-level-and-any", "Either a level, or that one is enough.", "O un nivel, o que basta uno.")
	shareLevel  = words.New("programme-share-level", "A share's level lies between 0 and 1: 0.01 is 1 %.", "El nivel de una proporción está entre 0 y 1: 0.01 es 1 %.")
	unknownOne  = words.New("programme-unknown", "There is no programme “{id}” on this farm.", "No hay ningún programa «{id}» en esta finca.")
)

var idForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,39}$`)

// ParseEdits reads a farm's document: {"programmes": [...], "hidden": [id]}.
// fault.Invalid with every fault at its field.
func ParseEdits(raw json.RawMessage) (Edits, error) {
	var faults []fault.Detail
	r := fields.Open(raw, "", &faults)
	r.Only("programmes", "hidden")
	var e Edits
	seen := map[string]bool{}
	for in := range r.Each("programmes", MaxOwn) {
		p := parse(in)
		if seen[p.ID] && p.ID != "" {
			in.Fault("id", twice.With(words.Args{"id": p.ID}))
		}
		seen[p.ID] = true
		e.Programmes = append(e.Programmes, p)
	}
	for _, raw := range r.List("hidden", MaxOwn) {
		var id string
		if json.Unmarshal(raw, &id) != nil || !idForm.MatchString(id) {
			r.Fault("hidden", badID.Plain())
			continue
		}
		e.Hidden = append(e.Hidden, id)
	}
	if len(faults) > 0 {
		return Edits{}, fault.New(fault.Invalid, editsNotOne.With(words.Args{"count": len(faults)}), faults...)
	}
	return e, nil
}

func parse(r fields.Reader) Programme {
	r.Only("id", "cause", "title", "stage", "what", "unit", "sample", "look", "sites", "level", "at_least", "any", "sides", "sureness", "method", "note", "source", "own", "built_in", "texts")
	say := func(name string) words.Text { return words.Verbatim(r.TextUpTo(name, maxWords)) }
	p := Programme{Own: true, Stage: say("stage"), Sample: say("sample"), Note: say("note"), Source: say("source"),
		AtLeast: r.Yes("at_least"), Any: r.Yes("any"), Sides: 2, Sureness: Sureness}
	for name, into := range map[string]*string{"id": &p.ID, "cause": &p.Cause} {
		if r.Need(name) {
			if *into = r.Text(name); *into != "" && !idForm.MatchString(*into) {
				r.Fault(name, badID.Plain())
			}
		}
	}
	for _, need := range []struct {
		name string
		into *words.Text
	}{{"title", &p.Title}, {"what", &p.What}, {"unit", &p.Unit}} {
		if r.Need(need.name) {
			*need.into = say(need.name)
		}
	}
	if common := CommonPractice.Plain(); p.Source.Empty() || same(p.Source, common) {
		p.Source = common
	}
	if r.Need("method") {
		p.Method = fields.Choose(r, "method", []Method{Share, Mean})
	}
	p.Look, _ = r.Whole("look", 0, stats.MaxSampled)
	p.Sites, _ = r.Whole("sites", 0, 1000)
	if n, ok := r.Whole("sides", 1, 2); ok {
		p.Sides = n
	}
	if v := r.Number("sureness", leastSure, mostSure); v != nil {
		p.Sureness = *v
	}
	parseLevel(r, &p)
	return p
}

func parseLevel(r fields.Reader, p *Programme) {
	p.Level = r.Number("level", smallestOne, maxMean)
	switch {
	case p.Level == nil:
	case p.Any:
		r.Fault("level", levelAndAny.Plain())
	case p.Method == Share && *p.Level >= 1:
		r.Fault("level", shareLevel.Plain())
	}
}

// Merge is the list a farm counts by: the built-in ones in their order, each as
// the farm changed it and without those it hides, then its own by their order.
func Merge(e Edits) []Programme {
	own := map[string]Programme{}
	for _, p := range e.Programmes {
		own[p.ID] = p
	}
	var all []Programme
	for _, p := range builtIn {
		if changed, ok := own[p.ID]; ok {
			delete(own, p.ID)
			p = changed.inBoth(p)
		}
		all = append(all, p)
	}
	for _, p := range e.Programmes {
		if _, left := own[p.ID]; left {
			all = append(all, p)
		}
	}
	return slices.DeleteFunc(all, func(p Programme) bool { return slices.Contains(e.Hidden, p.ID) })
}

// inBoth gives texts that a change left as they came their other language back:
// a farm writes in one.
func (p Programme) inBoth(came Programme) Programme {
	for _, pair := range [][2]*words.Text{{&p.Title, &came.Title}, {&p.Stage, &came.Stage}, {&p.What, &came.What}, {&p.Unit, &came.Unit},
		{&p.Sample, &came.Sample}, {&p.Note, &came.Note}, {&p.Source, &came.Source}} {
		if same(*pair[0], *pair[1]) {
			*pair[0] = *pair[1]
		}
	}
	return p
}

// same is whether two texts say the same in either language.
func same(a, b words.Text) bool {
	return a.In(words.English) == b.In(words.English) || a.In(words.Spanish) == b.In(words.Spanish)
}

// Of finds a programme; fault.Invalid, at the field programme, where there is
// none.
func Of(all []Programme, id string) (Programme, error) {
	for _, p := range all {
		if p.ID == id {
			return p, nil
		}
	}
	text := unknownOne.With(words.Args{"id": fields.Shorten(id)})
	return Programme{}, fault.New(fault.Invalid, text, fault.Detail{Field: "programme", Text: text})
}

// JSON is the programme for a client. Texts stand in the language asked for;
// "texts" has both, so that a phone without signal may change its language.
func (p Programme) JSON(l words.Language) map[string]any {
	m := p.texts(l)
	for name, v := range map[string]any{
		"id": p.ID, "cause": p.Cause, "look": p.Look, "sites": p.Sites, "level": p.Level, "at_least": p.AtLeast, "any": p.Any,
		"sides": p.Sides, "sureness": p.Sureness, "method": p.Method, "own": p.Own,
		"built_in": slices.ContainsFunc(builtIn, func(b Programme) bool { return b.ID == p.ID }),
		"texts":    map[words.Language]any{words.English: p.texts(words.English), words.Spanish: p.texts(words.Spanish)},
	} {
		m[name] = v
	}
	return m
}

func (p Programme) texts(l words.Language) map[string]any {
	return map[string]any{"title": p.Title.In(l), "stage": p.Stage.In(l), "what": p.What.In(l), "unit": p.Unit.In(l),
		"sample": p.Sample.In(l), "note": p.Note.In(l), "source": p.Source.In(l)}
}

// JSON is the answer for a client: rates and limits are shares or means of one
// unit looked at.
func (a Answer) JSON(l words.Language) map[string]any {
	p := a.Programme
	m := map[string]any{
		"programme": p.ID, "title": p.Title.In(l), "what": p.What.In(l), "unit": p.Unit.In(l), "method": p.Method,
		"answer": a.Verdict, "says": verdictNames[a.Verdict].Plain().In(l), "n": a.Sampled, "hits": a.Hits, "rate": a.Rate, "interval": [2]float64{a.Low, a.High},
		"level": p.Level, "any": p.Any, "sureness": p.Sureness, "sides": p.Sides,
		"more": map[string]*int{"if_clean": a.More.IfClean, "if_all_hits": a.More.IfAllHits, "at_this_rate": a.More.AtThisRate},
		"how":  a.How().In(l), "note": p.Note.In(l), "source": p.Source.In(l), "caution": caution.Plain().In(l),
		"excludes": nil, "excludes_rate": a.Excludes,
	}
	if a.Excludes != nil {
		m["excludes"] = a.ExcludesText().In(l)
	}
	return m
}

// Caution is what a count is not.
func Caution() words.Text { return caution.Plain() }

var (
	verdictNames = map[Verdict]words.Message{
		Above:      words.New("programme-above", "above the action level", "por encima del nivel de acción"),
		Below:      words.New("programme-below", "below the action level", "por debajo del nivel de acción"),
		CannotTell: words.New("programme-cannot-tell", "cannot tell yet", "todavía no se puede decir"),
	}
	caution = words.New("programme-caution",
		"A count is no order to spray: the label, local rules and the adviser decide.",
		"Un conteo no es una orden de aplicar: deciden la etiqueta, las normas locales y el asesor.")
)
