package spray

import (
	"context"
	"math"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/quantity"
)

var (
	totalDiffers = words.New("spray-total-differs",
		"The stored total of “{product}” is {stored}; worked out again from its area and rate it is {again}.",
		"El total guardado de «{product}» es {stored}; calculado de nuevo con su superficie y dosis es {again}.")
	totalsUneven = words.New("spray-totals-uneven",
		"This pass has {totals} totals for {products} products.",
		"Esta pasada tiene {totals} totales para {products} productos.")
)

// recheckTolerance is relative: totals are stored in float64 of an exact sum.
const recheckTolerance = 1e-9

// Recheck works the totals of every applied pass out again from its frozen
// areas and its rates. Rates per area and per carrier are rechecked; what a rate
// per row length or plant rests on, rows as they were then, is not frozen in
// every older record and is left to the hash chain. A records.Check.
func Recheck(ctx context.Context, r records.Reader) ([]records.Problem, error) {
	page, err := r.List(records.Passes, records.Query{Equal: map[string]string{"state": string(Applied)}})
	if err != nil {
		return nil, err
	}
	var problems []records.Problem
	for _, rev := range page.Revisions {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		pass, faults := ParsePass(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 || pass.Areas == nil || len(pass.Totals) == 0 {
			continue
		}
		for _, t := range pass.recheck() {
			problems = append(problems, records.Problem{Farm: r.Farm().ID, Kind: rev.Kind, ID: rev.ID, Number: rev.Number, Sequence: rev.Sequence, Text: t})
		}
	}
	return problems, nil
}

func (p Pass) recheck() (wrong []words.Text) {
	worked := p.Totals
	if len(p.Planned) > 0 {
		// What went out may differ from what was worked out; the latter is checked.
		worked = p.Planned
	}
	if len(worked) != len(p.Products) {
		return []words.Text{totalsUneven.With(words.Args{"totals": len(worked), "products": len(p.Products)})}
	}
	job := quantity.Job{Area: &p.Areas.Treated}
	if p.Carrier != nil {
		if carrier, ok := p.Carrier.Total(job); ok {
			job.Spray = &carrier
		}
	}
	for i, line := range p.Products {
		label, _ := p.keptLabel(i, line)
		rate, problem := line.ForProduct(label)
		if !problem.Empty() {
			continue // the label it was made with was not kept, which older records may lack
		}
		again, ok := rate.Total(job)
		stored := worked[i]
		if ok && math.Abs(again.Value-stored.Amount.Value) > recheckTolerance*math.Max(1, math.Abs(again.Value)) {
			wrong = append(wrong, totalDiffers.With(words.Args{"product": stored.Name, "stored": stored.Amount.Value, "again": again.Value}))
		}
	}
	return wrong
}
