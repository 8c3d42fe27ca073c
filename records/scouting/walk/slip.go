package walk

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/paper"
	"caneward/records/scouting"
)

// Slip is what goes into the bag with a sample.
type Slip struct {
	ID     records.ID
	Sample scouting.Sample
	Finds  []SlipFind
}

// SlipFind is one plant of the sample.
type SlipFind struct {
	ID      records.ID
	Find    scouting.Find
	Block   string
	Crop    string // crop, cultivar and planting date, as far as they are on record
	FoundBy string // who wrote the find first
}

// LoadSlip reads a sample with its finds; fault.Missing when there is no such
// sample. Finds that are gone are left out.
func LoadSlip(r records.Reader, id records.ID) (Slip, error) {
	rev, err := r.Current(records.Samples, id)
	if err != nil {
		return Slip{}, err
	}
	s := Slip{ID: id}
	s.Sample, _ = scouting.ParseSample(rev.Record.Geometry, rev.Record.Properties)
	for _, find := range s.Sample.Finds {
		all, err := r.Revisions(records.Finds, find)
		if err != nil || all[len(all)-1].Deleted {
			continue
		}
		now := all[len(all)-1].Record
		f, _ := scouting.ParseFind(now.Geometry, now.Properties)
		one := SlipFind{ID: find, Find: f, FoundBy: all[0].By.Name}
		if rev, err := r.Current(records.Blocks, f.Block); f.Block != "" && err == nil {
			b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
			one.Block, one.Crop = b.Name, planted(b)
		}
		s.Finds = append(s.Finds, one)
	}
	return s, nil
}

func planted(b blocks.Block) string {
	s := b.Crop
	if b.Cultivar != "" {
		s += " " + b.Cultivar
	}
	if d := b.PlantedOn.String(); d != "" {
		s += " " + d
	}
	return s
}

// Instruction is one thing to do for the laboratory, with where it stands.
type Instruction struct {
	Text   words.Text
	Source words.Text
}

func instruction(key, english, spanish string, source words.Text) Instruction {
	return Instruction{words.New("walk-send-"+key, english, spanish).Plain(), source}
}

var (
	practice = words.New("walk-common-practice", "common practice", "práctica común").Plain()

	// From the trade notes 2.2 and 2.3; keeping cool and the plant's name on the
	// bag stand there in no source.
	instructions = []Instruction{
		instruction("paper", "Paper, not plastic: a sample must breathe.", "Papel, no plástico: la muestra debe respirar.", practice),
		instruction("whole", "If the plant wilts: the whole plant, roots too. Otherwise shoots with leaves, and a piece of floricane with its bark.", "Si la planta se marchita: la planta entera, con raíces. Si no, brotes con hojas y un trozo de caña vieja con su corteza.", practice),
		instruction("photos", "Clear photos: underside of a leaf, margin of a leaf, habit of the shoots, bark of a floricane, the whole plant.", "Fotos claras: envés y borde de una hoja, aspecto de los brotes, corteza de una caña vieja, la planta entera.", words.Verbatim("Ohio State PLPATH-FRU-30; UC IPM, caneberry rusts; Texas A&M Plant Clinic")),
		instruction("gall", "Galls: the gall with the cane on both sides of it; say whether it sat at the crown or on the cane.", "Agallas: la agalla con la caña a ambos lados; diga si estaba en la corona o en la caña.", words.Verbatim("Pacific Northwest Plant Disease Management Handbook; North Carolina Pest News, July 2010")),
		instruction("cool", "Keep it cool and out of the sun, and send it so that it arrives on a working day.", "Manténgala fresca y a la sombra, y envíela para que llegue en día laborable.", practice),
		instruction("name", "Write block, row, plant and date on the bag.", "Escriba bloque, hilera, planta y fecha en la bolsa.", practice),
	}

	slipTitle = words.New("walk-slip-title", "Slip for the laboratory", "Hoja para el laboratorio")
	slipLine  = words.New("walk-slip-line", "Sample {id}", "Muestra {id}")
	what      = words.New("walk-slip-what", "What to send", "Qué enviar")
	whence    = words.New("walk-slip-whence", "Where it was taken", "De dónde se tomó")
	back      = words.New("walk-slip-back", "To be filled in by the laboratory", "Para llenar en el laboratorio")
	sentLine  = words.New("walk-slip-sent", "Sent {day}. Laboratory: {laboratory}. Accession: {accession}.", "Enviada {day}. Laboratorio: {laboratory}. Número de ingreso: {accession}.")
	sourced   = words.New("walk-slip-sourced", "{text} ({source})", "{text} ({source})")
	blank     = words.New("walk-slip-blank", "____________", "____________")

	headPlant = words.New("walk-slip-plant", "Block, row, plant", "Bloque, hilera, planta")
	headFound = words.New("walk-slip-found", "Found", "Hallado")
	headBy    = words.New("walk-slip-by", "By", "Por")
	headThink = words.New("walk-slip-think", "Suspected", "Se sospecha")
	headWords = words.New("walk-slip-words", "Scout's words", "Palabras del monitor")
	headCrop  = words.New("walk-slip-crop", "Planting", "Plantación")
	rowPlant  = words.New("walk-slip-row-plant", "{block}, row {row}, plant {plant}", "{block}, hilera {row}, planta {plant}")
	pinOnly   = words.New("walk-slip-pin", "{block} {lat}, {lon}", "{block} {lat}, {lon}")

	pathogen = words.New("walk-slip-pathogen", "Organism", "Organismo")
	method   = words.New("walk-slip-method", "Method", "Método")
	number   = words.New("walk-slip-number", "Accession number", "Número de ingreso")
	reported = words.New("walk-slip-reported", "For the laboratory", "Por el laboratorio")

	// Cautions 7, 8 and 16 of the trade notes, in our own words.
	cautions = []words.Text{
		words.New("walk-slip-no-diagnosis", "A suspicion is no diagnosis. Wait for the laboratory or a qualified adviser before plants are removed: that cannot be undone.", "Una sospecha no es un diagnóstico. Espere al laboratorio o a un asesor calificado antes de eliminar plantas: no se puede deshacer.").Plain(),
		words.New("walk-slip-moving", "Moving plants and soil may be subject to local rules; ask the laboratory first. Thorns injure.", "Mover plantas y tierra puede estar sujeto a normas locales; pregunte antes al laboratorio. Las espinas hieren.").Plain(),
		words.New("walk-slip-private", "This page says where the plants stand. Hand it on only as the grower allows.", "Esta hoja dice dónde están las plantas. Entréguela solo como el productor lo permita.").Plain(),
	}
)

// Instructions are what to do for the laboratory, each with where it stands.
func Instructions() []Instruction { return slices.Clone(instructions) }

// Cautions go with every sample.
func Cautions() []words.Text { return slices.Clone(cautions) }

// Print writes the slip, its days in Head.Zone. Head.Title and Head.Line are
// filled in here.
func (s Slip) Print(ctx context.Context, head paper.Head) ([]byte, error) {
	head.Title = slipTitle.Plain()
	head.Line = slipLine.With(words.Args{"id": string(s.ID)})
	d := paper.New(ctx, head)
	d.Page(false)
	l := head.Language
	or := func(v string) any {
		if v == "" {
			return blank.Plain()
		}
		return v
	}
	sent := any(blank.Plain())
	if !s.Sample.SentOn.IsZero() {
		sent = paper.Date(s.Sample.SentOn, l)
	}
	d.Paragraph(sentLine.With(words.Args{"day": sent, "laboratory": or(s.Sample.Laboratory), "accession": or(s.Sample.Accession)}))
	d.TableUnder(whence.Plain(), s.table(l, head.Zone))
	d.Heading(what.Plain())
	for _, i := range instructions {
		d.Paragraph(sourced.With(words.Args{"text": i.Text, "source": i.Source}))
	}
	d.Box(paper.Care, cautions...)
	d.Heading(back.Plain())
	d.Signatures(number.Plain(), pathogen.Plain(), method.Plain(), reported.Plain())
	return d.Bytes()
}

func (s Slip) table(l words.Language, zone *time.Location) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: headPlant.Plain()}, {Head: headFound.Plain()}, {Head: headBy.Plain()}, {Head: headThink.Plain(), Wraps: true}, {Head: headWords.Plain(), Wraps: true}}}
	known := slices.ContainsFunc(s.Finds, func(f SlipFind) bool { return f.Crop != "" })
	if known {
		t.Columns = append(t.Columns, paper.Column{Head: headCrop.Plain(), Wraps: true})
	}
	for _, f := range s.Finds {
		suspected := scouting.CauseName(f.Find.Cause).In(l)
		if f.Find.Organism != "" {
			suspected += " (" + f.Find.Organism + ")"
		}
		row := []string{f.place().In(l), paper.Date(f.Find.FoundAt.In(zone), l), f.FoundBy, suspected, f.Find.Words}
		if known {
			row = append(row, f.Crop)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// place is the plant by its numbers or, where nobody said them, the pin: six
// decimals of a degree are a tenth of a metre.
func (f SlipFind) place() words.Text {
	if f.Find.Row == 0 && f.Find.At != nil {
		return pinOnly.With(words.Args{"block": f.Block, "lat": fmt.Sprintf("%.6f", f.Find.At[1]), "lon": fmt.Sprintf("%.6f", f.Find.At[0])})
	}
	plant := blank.Plain()
	if f.Find.Plant > 0 {
		plant = words.Verbatim(strconv.Itoa(f.Find.Plant))
	}
	return rowPlant.With(words.Args{"block": f.Block, "row": f.Find.Row, "plant": plant})
}
