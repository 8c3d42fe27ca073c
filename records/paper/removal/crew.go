package removal

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"strconv"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records/paper"
	"caneward/records/review"

	"github.com/paulmach/orb"
)

var (
	crewTitle = words.New("removal-crew-title", "Plants to dig out: {block}", "Plantas para arrancar: {block}")
	crewCount = words.New("removal-crew-count", "{count} plant(s) in {rows} row(s), in walking order. Dig the whole plant with its roots and suckers.", "{count} planta(s) en {rows} hilera(s), en orden de recorrido. Arranque la planta entera con raíces y retoños.")
	crewRow   = words.New("removal-crew-row", "Row {row}: {count} plant(s), from plant {from} to plant {to}", "Hilera {row}: {count} planta(s), de la planta {from} a la {to}")
	crewPlant = words.New("removal-crew-plant", "Row {row}   Plant {plant}", "Hilera {row}   Planta {plant}")
	crewRoots = words.New("removal-crew-roots", "Roots out", "Raíces fuera")
	crewBag   = words.New("removal-crew-bag", "Bagged", "Embolsada")
	crewBagIt = words.New("removal-crew-bag-it", "Where orange pustules are open, bag at the plant before you carry it out. Never compost or shred in the row.", "Si hay pústulas anaranjadas abiertas, embolse junto a la planta antes de sacarla. Nunca haga composta ni triture en la hilera.")
	crewFind  = words.New("removal-crew-find", "Find the row by its number, then count plants from the first end; gaps keep their number.", "Busque la hilera por su número y cuente las plantas desde el primer extremo; los huecos conservan su número.")
	crewDone  = words.New("removal-crew-done", "Crew leader: done", "Jefe de cuadrilla: hecho")
)

// Crew prints the crew's sheet: large type, in walking order, with boxes.
func Crew(ctx context.Context, v review.View, p Paper) ([]byte, error) {
	d := paper.New(ctx, p.head(v, crewTitle.With(words.Args{"block": v.Of.Name})))
	d.Page(false)
	walk := review.Walk(v.List.Remove)
	rows := 0
	for i, t := range walk {
		if i == 0 || walk[i-1].Row != t.Row {
			rows++
		}
	}
	if len(walk) == 0 {
		d.Paragraph(nothingGoes.Plain())
		return d.Bytes()
	}
	d.Paragraph(crewCount.With(words.Args{"count": len(walk), "rows": rows}))
	d.Paragraph(crewFind.Plain())
	d.Box(paper.Stop, noUndoing.Plain(), crewBagIt.Plain(), burning.Plain())
	var lines []paper.Tick
	for i, t := range walk {
		if i == 0 || walk[i-1].Row != t.Row {
			last := i
			for last+1 < len(walk) && walk[last+1].Row == t.Row {
				last++
			}
			lines = append(lines, paper.Tick{Heading: true, Text: d.Say(crewRow.With(words.Args{"row": t.Row, "count": last - i + 1, "from": t.Plant, "to": walk[last].Plant}))})
		}
		line := paper.Tick{Text: d.Say(crewPlant.With(words.Args{"row": t.Row, "plant": t.Plant}))}
		if t.Why != review.BecauseConfirmed {
			line.Note = d.Say(whys[t.Why].Plain())
		}
		lines = append(lines, line)
	}
	d.Ticks([]words.Text{crewRoots.Plain(), crewBag.Plain()}, lines)
	d.Signatures(crewDone.Plain())
	return d.Bytes()
}

// CSV gives the list for a spreadsheet (RFC 4180), in walking order: order, row,
// plant, why, longitude and latitude in degrees, empty where rows are not drawn.
func CSV(v review.View) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	w.Write([]string{"order", "row", "plant", "why", "longitude", "latitude"})
	for i, t := range review.Walk(v.List.Remove) {
		line := []string{strconv.Itoa(i + 1), strconv.Itoa(t.Row), strconv.Itoa(t.Plant), string(t.Why), "", ""}
		if at, ok := v.Where(t.Place()); ok {
			line[4], line[5] = strconv.FormatFloat(at[0], 'f', 7, 64), strconv.FormatFloat(at[1], 'f', 7, 64)
		}
		w.Write(line)
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// GeoJSON gives the list as a feature collection of points, in walking order;
// plants of rows that are not drawn have no geometry.
func GeoJSON(v review.View) ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	for i, t := range review.Walk(v.List.Remove) {
		properties, err := json.Marshal(map[string]any{"order": i + 1, "row": t.Row, "plant": t.Plant, "why": t.Why})
		if err != nil {
			return nil, err
		}
		f := wire.Feature{Properties: properties}
		if at, ok := v.Where(t.Place()); ok {
			f.Geometry = geo.Geometry{Flat: orb.Point(at)}
		}
		raw, err := wire.EncodeFeature(f)
		if err != nil {
			return nil, err
		}
		if i > 0 {
			b.WriteByte(',')
		}
		b.Write(raw)
	}
	b.WriteString("]}\n")
	return b.Bytes(), nil
}
