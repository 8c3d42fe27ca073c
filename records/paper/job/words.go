package job

import (
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/paper"
	"caneward/records/quantity"
	"caneward/records/spray"
)

// say writes what is on record in one language.
type say struct {
	book Book
	lang words.Language
}

func (s say) text(t words.Text) string { return t.In(s.lang) }

func (s say) day(t time.Time) string {
	if t.IsZero() {
		return s.text(notSaid.Plain())
	}
	return paper.Date(t.In(s.book.Zone), s.lang)
}

func (s say) moment(t time.Time) string {
	if t.IsZero() {
		return s.text(notSaid.Plain())
	}
	return s.day(t) + " " + t.In(s.book.Zone).Format("15:04 MST")
}

func (s say) or(text string) string {
	if strings.TrimSpace(text) == "" {
		return s.text(notSaid.Plain())
	}
	return text
}

// amount keeps three decimals below a hundred: doses are measured, not guessed.
func (s say) amount(a *quantity.Amount) string {
	if a == nil {
		return s.text(notSaid.Plain())
	}
	return figure(a.Value) + " " + a.Unit.Printed()
}

func figure(v float64) string {
	decimals := 3
	if v >= 100 {
		decimals = 1
	}
	n := paper.Number(v, decimals)
	if strings.Contains(n, ".") {
		n = strings.TrimRight(strings.TrimRight(n, "0"), ".")
	}
	return n
}

func (s say) both(a *quantity.Amount) string {
	if a == nil {
		return s.amount(nil)
	}
	si := a.SI()
	return s.amount(a) + " (" + s.amount(&si) + ")"
}

func (s say) rate(r quantity.Rate) string {
	if r.Unit == "" {
		return s.text(notSaid.Plain())
	}
	return figure(r.Value) + " " + r.Unit.Printed() + " / " + string(r.Per)
}

// lineRate is the rate of product, with the one of an active ingredient that it was
// typed as.
func (s say) lineRate(l Line) string {
	if l.Of == "" {
		return s.rate(l.Rate)
	}
	return s.rate(l.Rate) + " (" + s.rate(l.Asked) + " " + l.Of + ")"
}

func acres(a geo.SquareMetres) string { return paper.Number(a.Acres(), 2) + " ac" }

func (s say) blocks(sheet Sheet) string {
	var names []string
	for _, b := range sheet.Blocks {
		names = append(names, s.or(b.Name))
	}
	return s.or(strings.Join(names, ", "))
}

// place names the blocks and a position: a written identification that locates
// the ground.
func (s say) place(sheet Sheet) string {
	out := s.blocks(sheet)
	if at, ok := sheet.Where(); ok {
		out += " (" + position(at) + ")"
	}
	return out
}

// position is latitude and longitude, to about a metre.
func position(at geo.Position) string {
	return paper.Number(at[1], 5) + ", " + paper.Number(at[0], 5)
}

func (s say) size(sheet Sheet) string {
	if sheet.Pass.Areas == nil {
		return s.text(notSaid.Plain())
	}
	return acres(sheet.Pass.Areas.Covered)
}

func (s say) ingredients(l Line) string {
	var out []string
	for _, in := range l.Label.Ingredients {
		text := in.Name
		if in.Amount != "" && !strings.HasPrefix(in.Amount, "{") {
			text += " " + in.Amount
		}
		for _, scheme := range []string{"frac", "irac", "hrac", ""} {
			if code := in.Codes[scheme]; code != "" {
				text += " [" + strings.TrimSpace(strings.ToUpper(scheme)+" "+code) + "]"
			}
		}
		out = append(out, text)
	}
	return s.or(strings.Join(out, "; "))
}

func (s say) reentry(l Line, crops []string) string {
	d, known, until := l.reentry(crops)
	var out []string
	if known && (d > 0 || len(until) == 0) {
		out = append(out, paper.Number(d.Hours(), 0)+" h")
	}
	for _, u := range until {
		out = append(out, "“"+u+"”")
	}
	return s.or(strings.Join(out, ", "))
}

func (s say) harvest(l Line, crops []string) string {
	if len(crops) == 0 {
		crops = []string{""}
	}
	longest := -1
	for _, c := range crops {
		if d := l.Label.PHIFor(c); d != nil {
			longest = max(longest, *d)
		}
	}
	if longest < 0 {
		return s.text(notSaid.Plain())
	}
	return paper.Number(float64(longest), 0) + " d"
}

func (s say) weather(w spray.Weather) string {
	var out []string
	if w.WindFrom != nil {
		out = append(out, s.text(windFrom.With(words.Args{"deg": paper.Number(float64(*w.WindFrom), 0)})))
	}
	if w.WindSpeed != nil {
		out = append(out, paper.Number(*w.WindSpeed/metresPerSecondPerMPH, 1)+" mph ("+paper.Number(*w.WindSpeed, 1)+" m/s)")
	}
	if w.Temperature != nil {
		out = append(out, paper.Number(*w.Temperature*9/5+32, 0)+" °F ("+paper.Number(*w.Temperature, 0)+" °C)")
	}
	if w.Humidity != nil {
		out = append(out, paper.Number(*w.Humidity, 0)+" % "+s.text(humidity.Plain()))
	}
	return s.or(strings.Join(out, ", "))
}

// metresPerSecondPerMPH: 1609.344 m in 3600 s.
const metresPerSecondPerMPH = 0.44704

var (
	notSaid  = words.New("job-not-said", "not on record", "sin registrar")
	windFrom = words.New("job-wind-from", "wind from {deg}°", "viento de {deg}°")
	humidity = words.New("job-humidity", "humidity", "de humedad")

	patternNames = map[spray.Pattern]words.Message{
		spray.Broadcast:        words.New("job-broadcast", "broadcast", "total"),
		spray.Band:             words.New("job-band", "band along the rows", "en banda a lo largo de las hileras"),
		spray.Spot:             words.New("job-spot", "spot", "puntual"),
		spray.Drench:           words.New("job-drench", "drench", "al pie"),
		spray.AlternateMiddles: words.New("job-middles", "alternate middles", "calles alternas"),
	}
)

func (s say) pattern(p spray.Pattern) string {
	name, known := patternNames[p]
	if !known {
		return s.text(notSaid.Plain())
	}
	return s.text(name.Plain())
}

// Cautions for every paper here (the trade's own, in our words).
var (
	cautionLabel      = words.New("job-caution-label", "Planning and record aid. The product label is the law; if this paper and the label differ, follow the label, and local law where it asks for more. Entries were typed by people; nothing here certifies anything.", "Ayuda para planear y registrar. La etiqueta del producto es la ley; si este papel y la etiqueta difieren, siga la etiqueta, y la ley local si pide más. Los datos los escribieron personas; nada aquí certifica nada.")
	cautionRestricted = words.New("job-caution-restricted", "Restricted-use products: certified applicators only. This record does not prove certification.", "Productos de uso restringido: solo aplicadores certificados. Este registro no prueba la certificación.")
	cautionEntry      = words.New("job-caution-entry", "Do not enter, or let others enter, treated ground before the re-entry time ends and the signs are down; keep everyone out of the exclusion zone while spraying; stop if someone enters.", "No entre ni deje entrar al terreno tratado antes de que termine la reentrada y se quiten los letreros; nadie en la zona de exclusión mientras se aplica; pare si alguien entra.")
	cautionAreas      = words.New("job-caution-areas", "Areas and distances come from drawn lines and may be metres off. Measure buffers on the ground before spraying near water, wells, homes, bees.", "Las superficies y distancias salen de líneas dibujadas y pueden errar por metros. Mida los retiros en el terreno antes de aplicar cerca de agua, pozos, casas o abejas.")
	cautionPoison     = words.New("job-caution-poison", "Suspected poisoning: emergency services or the poison centre (United States 800-222-1222); take the label with you.", "Posible intoxicación: emergencias o el centro de toxicología (Estados Unidos 800-222-1222); lleve la etiqueta.")
	cautionMix        = words.New("job-caution-mix", "Nothing is rounded up. Mixing order, the label first: water half full and agitating; water-soluble bags and conditioners; wettable powders and dry granules; flowables; emulsifiables; surfactants and solutions; then fill. Try a new mix in a jar. Plan leftover mix, never dump it.", "Nada se redondea hacia arriba. Orden de mezcla, primero la etiqueta: agua a la mitad y agitando; bolsas solubles y acondicionadores; polvos mojables y gránulos; suspensiones; emulsionables; surfactantes y soluciones; luego llenar. Pruebe una mezcla nueva en un frasco. Planee el sobrante, nunca lo tire.")
)

// Caution goes with every list of duties.
func Caution() words.Text { return cautionLabel.Plain() }
