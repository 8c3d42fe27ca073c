package clock

import (
	"cmp"
	"slices"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/paper"
)

// Verdict is what may be done now, so far as the labels typed tell. Open says
// that no clock here runs; it is no leave.
type Verdict string

// The verdicts.
const (
	Open    Verdict = "open"
	Caution Verdict = "caution"
	Stop    Verdict = "stop"
)

// Reason is why something may not be done yet, or what to look at first.
type Reason struct {
	Answer Verdict
	Job    records.ID
	From   time.Time // when it ends by itself; zero when no clock tells
	Why    words.Text
	Source words.Text
}

// Deed is one thing somebody wants to do on a piece of ground.
type Deed struct {
	Answer  Verdict
	From    time.Time // the latest of the reasons' ends; zero when open already or when no clock tells
	Reasons []Reason
}

// signsFrom is the re-entry time over which signs are owed outdoors (40 CFR
// 170.409(a)).
const signsFrom = 48 * time.Hour

var (
	sayBadSettings = words.New("clock-bad-settings", "The farm's legal settings cannot be read.", "No se pueden leer los ajustes legales de la finca.")
	sayEntry       = words.New("clock-entry", "{product}: re-entry time {length} from the end at {end}; it ends {until}.", "{product}: tiempo de reentrada {length} desde el final a las {end}; termina {until}.")
	sayCondition   = words.New("clock-condition", "{product}: keep out until “{condition}”, and nobody has recorded that it holds.", "{product}: no entrar hasta «{condition}», y nadie ha registrado que se cumpla.")
	sayNoEntryTime = words.New("clock-no-entry-time", "{product}: the label as typed gives no re-entry time. Read the label before anybody goes in.", "{product}: la etiqueta escrita no da tiempo de reentrada. Lea la etiqueta antes de que entre alguien.")
	sayNoEnd       = words.New("clock-no-end", "The application that began {start} has no end on record, so no clock runs: record its end.", "La aplicación que empezó {start} no tiene final registrado, así que ningún reloj corre: registre su final.")
	saySpraying    = words.New("clock-spraying", "Being sprayed from {start} to {end}: keep out of the ground and of the exclusion zone round the sprayer.", "Se está aplicando de {start} a {end}: no entre al terreno ni a la zona de exclusión alrededor del equipo.")
	saySignsUp     = words.New("clock-signs-up", "The signs are up since {up}: entry opens when they are recorded as down or covered.", "Los letreros están puestos desde {up}: la entrada se abre cuando se registren quitados o cubiertos.")
	saySignsOwed   = words.New("clock-signs-owed", "A re-entry time of more than 48 h asks for signs: record them as down or covered when they are.", "Un tiempo de reentrada de más de 48 h pide letreros: regístrelos quitados o cubiertos cuando lo estén.")
	sayHarvest     = words.New("clock-harvest", "{product}: {days} days before harvest, counted from the day after {day}; picking from {from}.", "{product}: {days} días antes de la cosecha, contados desde el día siguiente al {day}; se cosecha desde el {from}.")
	sayNoPHI       = words.New("clock-no-phi", "{product}: the label as typed gives no days before harvest. Read the label before picking.", "{product}: la etiqueta escrita no da días antes de la cosecha. Lea la etiqueta antes de cosechar.")
	sayAgain       = words.New("clock-again", "{product} went on here on {day}; {days} days between uses: again from {from}.", "{product} se aplicó aquí el {day}; {days} días entre usos: otra vez desde el {from}.")
	sayNotValid    = words.New("clock-not-valid", "{product}: the label as typed is valid from {from} until {until}.", "{product}: la etiqueta escrita vale desde {from} hasta {until}.")
	sayDraftFirst  = words.New("clock-draft-first", "Caps, rotation, setbacks and weather are looked at in the draft of a pass.", "Topes, rotación, retiros y tiempo se miran en el borrador de una pasada.")

	srcEntry   = words.New("clock-src-entry", "40 CFR 170.407(a), (c), as mirrored in WAC 16-233-116: from the end of the application; the longest of a mix; opens when the signs are down too", "40 CFR 170.407(a), (c), según WAC 16-233-116: desde el final de la aplicación; el más largo de una mezcla; se abre cuando además se quitan los letreros")
	srcSigns   = words.New("clock-src-signs", "40 CFR 170.409(a), as mirrored in WAC 16-233-121", "40 CFR 170.409(a), según WAC 16-233-121")
	srcZone    = words.New("clock-src-zone", "40 CFR 170.405(a), 170.505(b)", "40 CFR 170.405(a), 170.505(b)")
	srcLabel   = words.New("clock-src-label", "the label as typed", "la etiqueta escrita")
	srcHarvest = words.New("clock-src-harvest", "the label as typed; whole days after the date of application (common practice)", "la etiqueta escrita; días enteros después de la fecha de aplicación (práctica común)")

	sayHours    = words.New("clock-hours", "{n} h", "{n} h")
	sayDays     = words.New("clock-days", "{n} days", "{n} días")
	sayAnytime  = words.New("clock-anytime", "no day", "ningún día")
	sayUnnamed  = words.New("clock-unnamed", "A product without a name", "Un producto sin nombre")
	sayOpenedBy = words.New("clock-met", "{product}: “{condition}” recorded as met {at} by {by}.", "{product}: «{condition}» registrado como cumplido {at} por {by}.")
)

func (p Product) name() words.Text {
	if p.Label.Name == "" {
		return sayUnnamed.Plain()
	}
	return words.Verbatim(p.Label.Name)
}

// asker puts questions about one piece of ground at one time.
type asker struct {
	state State
	at    time.Time
	crop  string
	lang  words.Language
}

// clockTime is a moment on the farm's wall clock.
func (a asker) clockTime(t time.Time) string {
	t = t.In(a.state.Zone)
	return paper.Date(t, a.lang) + " " + t.Format("15:04 MST")
}

func (a asker) day(t time.Time) string { return paper.Date(t.In(a.state.Zone), a.lang) }

// enter gathers what keeps people out for a task, "" for any the labels do not
// single out.
func (a asker) enter(jobs []Job, task string) Deed {
	var reasons []Reason
	for _, j := range jobs {
		switch {
		case j.Ended.IsZero():
			reasons = append(reasons, Reason{Answer: Stop, Job: j.ID, Why: sayNoEnd.With(words.Args{"start": a.clockTime(j.Started)}), Source: srcEntry.Plain()})
			continue
		case a.at.Before(j.Ended):
			reasons = append(reasons, Reason{Answer: Stop, Job: j.ID, From: j.Ended, Why: saySpraying.With(words.Args{"start": a.clockTime(j.Started), "end": a.clockTime(j.Ended)}), Source: srcZone.Plain()})
		}
		longest := time.Duration(0)
		for _, p := range j.Products {
			more, length := a.entryOf(j, p, task)
			reasons = append(reasons, more...)
			longest = max(longest, length)
		}
		reasons = append(reasons, a.signs(j, longest)...)
	}
	return sum(reasons)
}

// entryOf gives the reasons of one product, and how long its clock runs.
func (a asker) entryOf(j Job, p Product, task string) (reasons []Reason, longest time.Duration) {
	waits := p.Label.ReentryFor(a.crop, task)
	if len(waits) == 0 {
		if a.at.Before(j.Ended.Add(unknownFor)) {
			reasons = append(reasons, Reason{Answer: Caution, Job: j.ID, Why: sayNoEntryTime.With(words.Args{"product": p.name()}), Source: srcLabel.Plain()})
		}
		return reasons, 0
	}
	for _, w := range waits {
		length := w.Length()
		longest = max(longest, length)
		if until := j.Ended.Add(length); a.at.Before(until) {
			says := sayHours.With(words.Args{"n": paper.Number(w.Hours, decimalsOf(w.Hours))})
			if w.Days > 0 {
				says = sayDays.With(words.Args{"n": w.Days})
			}
			reasons = append(reasons, Reason{Answer: Stop, Job: j.ID, From: until, Source: srcEntry.Plain(),
				Why: sayEntry.With(words.Args{"product": p.name(), "length": says, "end": a.clockTime(j.Ended), "until": a.clockTime(until)})})
		}
		if w.Until != "" && !slices.ContainsFunc(j.Met, func(m Met) bool { return m.Condition == w.Until && !m.At.After(a.at) }) {
			reasons = append(reasons, Reason{Answer: Stop, Job: j.ID, Why: sayCondition.With(words.Args{"product": p.name(), "condition": w.Until}), Source: srcLabel.Plain()})
		}
	}
	return reasons, longest
}

// unknownFor is how long a label without a re-entry or harvest time is
// mentioned: thirty days, as long as a job is displayed.
const unknownFor = 30 * 24 * time.Hour

func decimalsOf(v float64) int {
	if v == float64(int64(v)) {
		return 0
	}
	return 1
}

// signs: entry opens when they are down. Where they are owed but nothing is
// recorded of them, they are asked after until they have long been due down.
func (a asker) signs(j Job, longest time.Duration) []Reason {
	up, down := j.Signs.Up, j.Signs.Down
	isDown := !down.IsZero() && !down.After(a.at)
	switch {
	case isDown:
		return nil
	case !up.IsZero() && !up.After(a.at):
		return []Reason{{Answer: Stop, Job: j.ID, Why: saySignsUp.With(words.Args{"up": a.clockTime(up)}), Source: srcEntry.Plain()}}
	case longest > signsFrom && !a.state.OwnerExempt && a.at.Before(j.Ended.Add(longest+signsAsked)):
		return []Reason{{Answer: Stop, Job: j.ID, Why: saySignsOwed.Plain(), Source: srcSigns.Plain()}}
	}
	return nil
}

// signsAsked is how long after the re-entry time signs nobody recorded are asked
// after: thirty days, as long as the job is displayed.
const signsAsked = 30 * 24 * time.Hour

// pick is entry for harvest work and the days before harvest.
func (a asker) pick(jobs []Job) Deed {
	reasons := a.enter(jobs, "harvest").Reasons
	for _, j := range jobs {
		if j.Ended.IsZero() {
			continue
		}
		for _, p := range j.Products {
			days := p.Label.PHIFor(a.crop)
			if days == nil {
				if a.at.Before(j.Ended.Add(unknownFor)) {
					reasons = append(reasons, Reason{Answer: Caution, Job: j.ID, Why: sayNoPHI.With(words.Args{"product": p.name()}), Source: srcLabel.Plain()})
				}
				continue
			}
			from := a.state.daysAfter(j.Ended, *days)
			if *days > 0 && a.at.Before(from) {
				reasons = append(reasons, Reason{Answer: Stop, Job: j.ID, From: from, Source: srcHarvest.Plain(),
					Why: sayHarvest.With(words.Args{"product": p.name(), "days": *days, "day": a.day(j.Ended), "from": a.day(from)})})
			}
		}
	}
	return sum(reasons)
}

// daysAfter is the first moment of the day so many calendar days after t's, on
// the farm's calendar.
func (s State) daysAfter(t time.Time, days int) time.Time {
	l := t.In(s.Zone)
	return time.Date(l.Year(), l.Month(), l.Day()+days, 0, 0, 0, 0, s.Zone)
}

// spray is when a product may go on again, by its retreatment interval and the
// validity of its label.
func (a asker) spray(jobs []Job, p Product) Deed {
	var reasons []Reason
	today := a.at.In(a.state.Zone)
	date := time.Date(today.Year(), today.Month(), today.Day(), 0, 0, 0, 0, time.UTC)
	if v := p.Label.Valid; !v.From.IsZero() && date.Before(v.From) || !v.Until.IsZero() && date.After(v.Until) {
		says := func(t time.Time) words.Text {
			if t.IsZero() {
				return sayAnytime.Plain()
			}
			return words.Verbatim(paper.Date(t, a.lang))
		}
		reasons = append(reasons, Reason{Answer: Stop, Why: sayNotValid.With(words.Args{"product": p.name(), "from": says(v.From), "until": says(v.Until)}), Source: srcLabel.Plain()})
	}
	if days := p.Label.IntervalDays; days != nil {
		for _, j := range jobs {
			last := j.Ended
			if last.IsZero() {
				last = j.Started
			}
			if !slices.ContainsFunc(j.Products, p.same) || last.IsZero() {
				continue
			}
			if from := a.state.daysAfter(last, *days); a.at.Before(from) {
				reasons = append(reasons, Reason{Answer: Stop, Job: j.ID, From: from, Source: srcLabel.Plain(),
					Why: sayAgain.With(words.Args{"product": p.name(), "day": a.day(last), "days": *days, "from": a.day(from)})})
			}
		}
	}
	d := sum(reasons)
	if d.Answer == Open {
		d.Answer = Caution
	}
	d.Reasons = append(d.Reasons, Reason{Answer: Caution, Why: sayDraftFirst.Plain(), Source: srcLabel.Plain()})
	return d
}

// sum is the strictest answer and the latest end; a stop without an end has none
// as a whole.
func sum(reasons []Reason) Deed {
	d := Deed{Answer: Open}
	endless := false
	for _, r := range reasons {
		if r.Answer == Stop || d.Answer == Open {
			d.Answer = r.Answer
		}
		endless = endless || r.Answer == Stop && r.From.IsZero()
		if r.From.After(d.From) {
			d.From = r.From
		}
	}
	if endless {
		d.From = time.Time{}
	}
	slices.SortStableFunc(reasons, func(x, y Reason) int { return cmp.Or(rank(y.Answer)-rank(x.Answer), y.From.Compare(x.From)) })
	d.Reasons = reasons
	return d
}

func rank(v Verdict) int { return slices.Index([]Verdict{Open, Caution, Stop}, v) }
