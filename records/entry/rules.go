package entry

import (
	"context"
	"math"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/scouting"
	"caneward/records/scouting/programme"
	"caneward/records/spray"
)

// A rule names what is wrong with a write; an error that is no *fault.Error is
// the reader's or the context's.
type rule func(ctx context.Context, s *scope, w records.Write) ([]fault.Detail, error)

var rules = map[records.Kind]rule{
	records.Blocks:       blockRule,
	records.Rows:         rowRule,
	records.Surroundings: surroundingsRule,
	records.Stages:       stageRule,
	records.Visits:       visitRule,
	records.Finds:        findRule,
	records.Samples:      sampleRule,
	records.Removals:     removalRule,
	records.Reviews:      reviewRule,
	records.Products:     productRule,
	records.Passes:       passRule,
	records.Tracks:       trackRule,
}

// deleteRules judge closing a record where something speaks against it.
var deleteRules = map[records.Kind]rule{records.Rows: rowDeleteRule, records.Finds: findDeleteRule, records.Reviews: reviewDeleteRule, records.Removals: removalDeleteRule}

// How far a find may lie from where it says it is.
const (
	// strayFix is allowed to a find whose row and plant were typed: they outrank
	// the fix, which under trees and netting strays by tens of metres.
	strayFix geo.Metres = 100
	// edgeFix is allowed beyond the stated accuracy to a find tied to the block
	// by its position alone: headlands and outlines drawn to the posts.
	edgeFix geo.Metres = 15
	// fixReach multiplies the stated accuracy, a 68 % radius on most phones, so
	// that nearly every honest fix is inside.
	fixReach = 3
	// nearestSearch is how far the nearest block is looked for, to be named in
	// the refusal.
	nearestSearch geo.Metres = 50_000
)

var (
	noSuchRecord = words.New("entry-no-such-record",
		"There is no record of the kind “{kind}” with the id {id} on this farm.",
		"No hay en esta finca ningún registro del tipo «{kind}» con el identificador {id}.")
	findFarFromBlock = words.New("entry-find-far-from-block",
		"This find lies {metres} m outside the block “{block}”.",
		"Este hallazgo está {metres} m fuera del bloque «{block}».")
	findOutside = words.New("entry-find-outside",
		"This find lies outside every block; the nearest, “{block}”, is {metres} m away.",
		"Este hallazgo está fuera de todos los bloques; el más cercano, «{block}», está a {metres} m.")
	findNowhere = words.New("entry-find-nowhere",
		"This find lies outside every block; there is none within 50 km.",
		"Este hallazgo está fuera de todos los bloques; no hay ninguno a menos de 50 km.")
	findFix = words.New("entry-find-fix",
		"Check the position, or name the wild brambles it was found on in “surroundings”.",
		"Revise la posición o indique en «surroundings» las zarzas silvestres donde se encontró.")
	confirmNeedsLab = words.New("entry-confirm-needs-lab",
		"Only an adviser, or a sample record with a result that names this find, makes a find “{state}”. Record the laboratory's result first.",
		"Solo un asesor, o un registro de muestra con resultado que nombre este hallazgo, lo pasa a «{state}». Registre primero el resultado del laboratorio.")
	correctionNeedsWhy = words.New("entry-correction-needs-why",
		"Going back from “{before}” to “{state}” takes a reason.",
		"Volver de «{before}» a «{state}» requiere una razón.")
	provedStays = words.New("entry-proved-stays",
		"This find is “{before}”. Only an adviser, or a sample record with a result that covers it, changes that, with the reason.",
		"Este hallazgo está «{before}». Solo un asesor, o un registro de muestra con resultado que lo cubra, cambia eso, con la razón.")
	confirmedNotDeleted = words.New("entry-confirmed-not-deleted",
		"A confirmed find stays in the records. An adviser may refute or delete it, with the reason.",
		"Un hallazgo confirmado queda en los registros. Un asesor puede descartarlo o borrarlo, con la razón.")
	againElsewhere = words.New("entry-again-elsewhere",
		"The find it repeats is on another plant.",
		"El hallazgo que repite está en otra planta.")
	appliedStays = words.New("entry-applied-stays",
		"This pass was applied; it cannot go back to “{state}”. Record what changed in a correction.",
		"Esta pasada ya se aplicó; no puede volver a «{state}». Registre el cambio en una corrección.")
	stopNeedsReason = words.New("entry-stop-needs-reason",
		"A check of this pass says stop. Passing it takes a reason in words, which stays on the record.",
		"Una comprobación de esta pasada dice alto. Pasarla requiere una razón escrita, que queda en el registro.")
	rowOutside = words.New("entry-row-outside",
		"Row {row} runs {metres} m outside the block's outline.",
		"La hilera {row} sale {metres} m del contorno del bloque.")
	moreHits = words.New("entry-more-hits",
		"{hits} of {sampled} cannot be: hits are counted among those sampled. Say “several” where one may show more than one.",
		"{hits} de {sampled} no puede ser: los positivos se cuentan entre los revisados. Diga «several» si uno puede mostrar varios.")
	rowTwice = words.New("entry-row-twice",
		"There is a row {row} in this block already.",
		"Ya existe la hilera {row} en este bloque.")
)

// refer checks that a record named in a field exists. An empty id is for the
// kind's own parsing to judge.
func refer(s *scope, field string, kind records.Kind, id records.ID) ([]fault.Detail, error) {
	if id == "" {
		return nil, nil
	}
	_, found, err := s.record(kind, id)
	if err != nil || found {
		return nil, err
	}
	return []fault.Detail{{Field: field, Text: noSuchRecord.With(words.Args{"kind": string(kind), "id": string(id)})}}, nil
}

func blockRule(_ context.Context, _ *scope, w records.Write) ([]fault.Detail, error) {
	_, details := blocks.Parse(w.Record.Geometry, w.Record.Properties)
	// The outline is stored as it was sent, so that a repeat is recognised; what
	// intake would only note (winding, a doubled corner) every computation
	// takes in its stride.
	if _, _, refusal := intake.Check(w.Record.Geometry); refusal != nil {
		details = append(details, refusal.Details...)
	}
	return details, nil
}

func surroundingsRule(_ context.Context, _ *scope, w records.Write) ([]fault.Detail, error) {
	_, details := blocks.ParseSurroundings(w.Record.Geometry, w.Record.Properties)
	switch w.Record.Geometry.Flat.(type) {
	case orb.Polygon, orb.MultiPolygon:
		if _, _, refusal := intake.CheckGround(w.Record.Geometry); refusal != nil {
			details = append(details, refusal.Details...)
		}
	}
	return details, nil
}

func rowRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	row, details := blocks.ParseRow(w.Record.Geometry, w.Record.Properties)
	if len(details) > 0 {
		return details, nil
	}
	block := records.ID(row.Block)
	if details, err := refer(s, "block", records.Blocks, block); err != nil || details != nil {
		return details, err
	}
	details, err := keepsNumbers(s, w.ID, row)
	if err != nil {
		return nil, err
	}
	g, _, err := s.ground(block)
	if err != nil {
		return nil, err
	}
	if twin, taken := g.rows[row.Number]; taken && twin.id != w.ID {
		details = append(details, fault.Detail{Field: "number", Text: rowTwice.With(words.Args{"row": row.Number})})
	}
	for _, line := range row.Parts {
		for _, p := range line {
			if d := g.outside(p); d > edgeFix {
				at := [2]float64{p[0], p[1]}
				return append(details, fault.Detail{Field: "geometry", At: &at, Text: rowOutside.With(words.Args{"row": row.Number, "metres": math.Ceil(float64(d))})}), nil
			}
		}
	}
	return details, nil
}

// outside is how far a position lies beyond the block's ground; 0 on it.
func (g *ground) outside(at geo.Position) geo.Metres {
	d, _, _ := buffer.Nearest(plane.Shape{Points: []plane.XY{g.frame.XY(at)}}, g.shape)
	return d
}

func stageRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	stage, details := scouting.ParseStage(w.Record.Geometry, w.Record.Properties)
	more, err := refer(s, "block", records.Blocks, stage.Block)
	return append(details, more...), err
}

func visitRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	visit, details := scouting.ParseVisit(w.Record.Geometry, w.Record.Properties)
	if visit.Purpose == clock.EarlyEntryPurpose {
		entered, more := clock.ParseEarlyEntry(w.Record.Properties)
		details = append(details, more...)
		more, err := refer(s, "pass", records.Passes, entered.Pass)
		if err != nil {
			return nil, err
		}
		details = append(details, more...)
	}
	if details = append(details, overCounted(visit)...); len(details) > 0 {
		return details, nil
	}
	if more, err := refer(s, "block", records.Blocks, visit.Block); err != nil || more != nil {
		return more, err
	}
	g, found, err := s.ground(visit.Block)
	if err != nil || !found {
		return nil, err
	}
	return scouting.CheckVisit(visit, g.rowPlants()), nil
}

// overCounted names counts with more hits than looks where one look shows one
// hit at most: a farm's own programme that takes means says so in the count.
func overCounted(v scouting.Visit) (details []fault.Detail) {
	for i, c := range v.Counts {
		p, err := programme.Of(programme.BuiltIn(), c.What)
		if c.Hits > c.Sampled && !c.Several && (err != nil || p.Method != programme.Mean) {
			details = append(details, fault.Detail{Field: "counts[" + strconv.Itoa(i) + "].hits", Text: moreHits.With(words.Args{"hits": c.Hits, "sampled": c.Sampled})})
		}
	}
	return details
}

func sampleRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	sample, details := scouting.ParseSample(w.Record.Geometry, w.Record.Properties)
	for _, id := range sample.Finds {
		more, err := refer(s, "finds", records.Finds, id)
		if err != nil {
			return nil, err
		}
		details = append(details, more...)
	}
	return details, nil
}

func productRule(_ context.Context, _ *scope, w records.Write) ([]fault.Detail, error) {
	_, details := spray.ParseProduct(w.Record.Geometry, w.Record.Properties)
	return details, nil
}

func passRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	pass, details := spray.ParsePass(w.Record.Geometry, w.Record.Properties)
	for _, id := range pass.Blocks {
		more, err := refer(s, "blocks", records.Blocks, id)
		if err != nil {
			return nil, err
		}
		details = append(details, more...)
	}
	if pass.State != spray.Planned && pass.Stopped() && strings.TrimSpace(pass.StopReason) == "" {
		details = append(details, fault.Detail{Field: "stop_reason", Text: stopNeedsReason.Plain()})
	}
	more, err := afterRule(s, w)
	if err != nil {
		return nil, err
	}
	details = append(details, more...)
	before, found, err := s.record(records.Passes, w.ID)
	if err != nil || !found {
		return details, err
	}
	if old, _ := spray.ParsePass(before.Geometry, before.Properties); old.State == spray.Applied {
		if pass.State != spray.Applied {
			details = append(details, fault.Detail{Field: "state", Text: appliedStays.With(words.Args{"state": string(pass.State)})})
		}
		details = append(details, frozen(before, w.Record)...)
	}
	return details, nil
}

func trackRule(_ context.Context, s *scope, w records.Write) ([]fault.Detail, error) {
	track, details := spray.ParseTrack(w.Record.Geometry, w.Record.Properties)
	more, err := refer(s, "pass", records.Passes, track.Pass)
	return append(details, more...), err
}
