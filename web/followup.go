package web

import (
	"net/http"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	"caneward/records/review"
)

var (
	badDay = words.New("web-bad-day", "{name} is a day such as 2027-04-12; this is “{got}”.", "{name} es un día como 2027-04-12; esto es «{got}».")

	lookWhen = map[int]words.Message{
		1: words.New("web-look-weeks", "four to eight weeks after digging (common practice: plants cut in May came up again in June, with spores)", "cuatro a ocho semanas después de arrancar (práctica común: plantas cortadas en mayo rebrotaron en junio, con esporas)"),
		2: words.New("web-look-spring", "the next spring, from leaf-out on and before pustules open", "la primavera siguiente, desde la brotación y antes de que se abran las pústulas"),
		3: words.New("web-look-second-spring", "the spring after that", "la primavera posterior"),
	}
	looksHow = words.New("web-looks-how",
		"Looks for regrowth in the weeks after digging and in the two springs that follow. Leaf-out is the day the block's growth stages say (BBCH 10 to 15, newest year); where they say nothing, 1 April in the north and 1 October in the south, which is common practice without a source: shift it to your own leaf-out by recording the stage.",
		"Revisiones de rebrotes en las semanas tras arrancar y en las dos primaveras siguientes. La brotación es el día que dicen las etapas del bloque (BBCH 10 a 15, año más nuevo); si no dicen nada, 1 de abril en el norte y 1 de octubre en el sur, práctica común sin fuente: ajústelo a su brotación registrando la etapa.")
	followHow = words.New("web-follow-how",
		"Confirmed plants among those looked at: before, as frozen in the decision; after, by visits and finds from the first day to the last, plants taken out left aside. Exact 95 % limits (Clopper and Pearson 1934) take plants as independent; disease that clumps makes the true limits wider. A group's ground is its rows and one more on each side, over the plants it spans.",
		"Plantas confirmadas entre las revisadas: antes, como se congeló en la decisión; después, según las visitas y hallazgos del primer al último día, sin las plantas quitadas. Los límites exactos del 95 % (Clopper y Pearson 1934) suponen plantas independientes; si la enfermedad se agrupa, los reales son más anchos. El terreno de un grupo son sus hileras y una más a cada lado, en las plantas que abarca.")
)

func (s *Server) followUpRoutes() []route {
	return []route{
		{method: "GET", pattern: atReview + "/follow-up", id: "reviewFollowUp", summary: "What became of a signed decision: taken out, left, before and after, empty places", needs: farm, right: people.Read, long: true, handle: s.followUp,
			query: []parameter{{"as_of", "day", "up to this day; without it today"}, {"since", "day", "first day of the looks compared; without it the day after the last plant was taken out"}}, replies: okJSON("followUp", "from the records as they are"), refuses: []int{404, 409}},
		{method: "GET", pattern: atFarm + "/regrowth-checks", id: "regrowthChecks", summary: "Looks for regrowth that are due", needs: farm, right: people.Read, handle: s.regrowthChecks,
			query: []parameter{{"block", "id", "of this block alone"}, {"as_of", "day", "as they stand on this day; without it today"}}, replies: okJSON("regrowthChecks", "by the day the next look is due")},
	}
}

func followUpSchemas() object {
	nullable := func(o object) object {
		n := object{"nullable": true}
		for k, v := range o {
			n[k] = v
		}
		return n
	}
	share := nullable(shape(nil, object{"inspected": whole, "infected": whole, "share": number, "low": number, "high": number}))
	take := object{"row": whole, "plant": whole, "why": text("as signed")}
	done := object{"removal": ref("id"), "base": whole, "on": text("a date"), "roots_out": truth, "bagged": truth}
	for name, o := range take {
		done[name] = o
	}
	return object{
		"day": object{"type": "string", "format": "date"},
		"followUp": shape([]string{"listed", "taken", "done", "left", "areas", "says", "how"}, object{
			"listed": whole, "taken": whole, "back": whole, "done": list(shape(nil, done)), "left": list(shape(nil, take)), "since": text("a date"), "until": text("a date"),
			"areas":  list(shape(nil, object{"group": nullable(whole), "first_row": whole, "last_row": whole, "from": whole, "to": whole, "before": share, "after": share})),
			"places": nullable(shape(nil, object{"missing": whole, "taken_out": whole, "empty": whole, "how": text("how it came about")})), "says": list(text("a sentence")), "how": text("how it came about")}),
		"regrowthChecks": shape([]string{"as_of", "removals", "how"}, object{"as_of": text("a date"), "due": whole, "overdue": whole, "how": text("how it came about"),
			"removals": list(shape(nil, object{"removal": ref("id"), "base": whole, "block": ref("id"), "review": text("id, or empty"), "plants": list(shape(nil, object{"row": whole, "plant": whole})), "done_on": text("a date"), "leaf_out": text("month and day"), "leaf_out_own": truth,
				"looks": list(shape(nil, object{"number": whole, "from": text("a date"), "by": text("a date"), "state": object{"type": "string", "enum": []review.State{review.Later, review.Due, review.Overdue, review.Looked, review.Back}}, "on": text("a date"), "when": text("in words")}))}))}),
	}
}

// day reads a parameter that is a day; zero without it.
func (x *exchange) day(name string) (time.Time, error) {
	text, there := x.given(name)
	if !there {
		return time.Time{}, nil
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		said := badDay.With(words.Args{"name": name, "got": shorten(text)})
		return day, fault.New(fault.Malformed, said, fault.Detail{Text: said, Field: name})
	}
	return day, nil
}

// dayOr is a parameter's day, or today where the farm lies.
func (x *exchange) dayOr(name string, r records.Reader) (time.Time, error) {
	day, err := x.day(name)
	if err != nil || !day.IsZero() {
		return day, err
	}
	zone, err := time.LoadLocation(r.Farm().Zone)
	if err != nil {
		return day, err
	}
	now := x.s.Now().In(zone)
	return time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC), nil
}

func (s *Server) followUp(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	_, signed, err := x.signedReview(id)
	if err != nil {
		return err
	}
	v, err := signed.View()
	if err != nil {
		return err
	}
	since, err := x.day("since")
	if err != nil {
		return err
	}
	var o review.Outcome
	err = x.view(func(r records.Reader) error {
		until, err := x.dayOr("as_of", r)
		if err != nil {
			return err
		}
		o, err = review.FollowUp(r, id, v, since, until)
		return err
	})
	if err != nil {
		return err
	}
	type places struct {
		review.Places
		How string `json:"how"`
	}
	var empty *places
	if p := o.Places; p != nil {
		empty = &places{*p, p.How().In(x.lang)}
	}
	return x.json(http.StatusOK, struct {
		Listed int           `json:"listed"`
		Taken  int           `json:"taken"`
		Back   int           `json:"back"`
		Done   []review.Done `json:"done"`
		Left   []review.Take `json:"left"`
		Since  string        `json:"since"`
		Until  string        `json:"until"`
		Areas  []review.Area `json:"areas"`
		Places *places       `json:"places"`
		Says   []string      `json:"says"`
		How    string        `json:"how"`
	}{o.Listed, o.Taken, o.Back, o.Done, o.Left, o.Since.Format(time.DateOnly), o.Until.Format(time.DateOnly), o.Areas, empty, sayAll(o.Says, x.lang), followHow.Plain().In(x.lang)})
}

type lookOut struct {
	Number int          `json:"number"`
	From   string       `json:"from"`
	By     string       `json:"by"`
	State  review.State `json:"state"`
	On     string       `json:"on,omitempty"`
	When   string       `json:"when"`
}

type watchedOut struct {
	Removal    records.ID     `json:"removal"`
	Base       int            `json:"base"`
	Block      records.ID     `json:"block"`
	Review     records.ID     `json:"review"`
	Plants     []review.Plant `json:"plants"`
	DoneOn     string         `json:"done_on"`
	LeafOut    string         `json:"leaf_out"`
	LeafOutOwn bool           `json:"leaf_out_own"`
	Looks      []lookOut      `json:"looks"`
}

func (s *Server) regrowthChecks(x *exchange) error {
	var day time.Time
	var watched []review.Watched
	block, _ := x.given("block")
	err := x.view(func(r records.Reader) (err error) {
		if day, err = x.dayOr("as_of", r); err != nil {
			return err
		}
		watched, err = review.Watch(r, records.ID(block), day)
		return err
	})
	if err != nil {
		return err
	}
	due, overdue := 0, 0
	out := []watchedOut{}
	for _, w := range watched {
		one := watchedOut{Removal: w.ID, Base: w.Base, Block: w.Removal.Block, Review: w.Removal.Review, Plants: w.Removal.Plants, DoneOn: w.Removal.DoneOn.Format(time.DateOnly),
			LeafOut: time.Date(2000, w.LeafOut.Month, w.LeafOut.Day, 0, 0, 0, 0, time.UTC).Format("01-02"), LeafOutOwn: w.LeafOut.Own}
		for _, k := range w.Looks {
			look := lookOut{Number: k.Number, From: k.From.Format(time.DateOnly), By: k.By.Format(time.DateOnly), State: k.State, When: lookWhen[k.Number].Plain().In(x.lang)}
			if !k.On.IsZero() {
				look.On = k.On.Format(time.DateOnly)
			}
			switch k.State {
			case review.Due:
				due++
			case review.Overdue:
				overdue++
			}
			one.Looks = append(one.Looks, look)
		}
		out = append(out, one)
	}
	return x.json(http.StatusOK, struct {
		AsOf     string       `json:"as_of"`
		Due      int          `json:"due"`
		Overdue  int          `json:"overdue"`
		Removals []watchedOut `json:"removals"`
		How      string       `json:"how"`
	}{day.Format(time.DateOnly), due, overdue, out, looksHow.Plain().In(x.lang)})
}
