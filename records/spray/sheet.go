package spray

import (
	"fmt"

	"caneward/blocks/words"
	"caneward/records/quantity"
)

var (
	sayCarrierNeeded = words.New("spray-carrier-needed",
		"A rate per volume of spray needs the carrier.",
		"Una dosis por volumen de caldo necesita el caldo.")
	sayRowsNeeded = words.New("spray-row-length-needed",
		"A rate per length of row needs the rows laid out, or the block's row spacing.",
		"Una dosis por longitud de hilera necesita las hileras trazadas o la distancia entre hileras del bloque.")
	sayPlantsNeeded = words.New("spray-plants-needed",
		"A rate per plant needs the rows with their plants, or the block's row and plant spacing.",
		"Una dosis por planta necesita las hileras con sus plantas o las distancias del bloque entre hileras y plantas.")
)

// sheet works out carrier, totals and tanks from the areas as they are shown.
func (d *drafter) sheet() {
	a := &d.answer
	job := quantity.Job{Area: &a.Areas.Treated, Row: a.RowLength, Plants: a.Plants}
	var spray quantity.Exact // m3
	if c := d.request.Carrier; c != nil {
		if total, ok := d.total("carrier.per", *c, job); ok {
			a.Carrier = &quantity.Amount{Value: total.Float(), Unit: c.Unit}
			job.Spray = a.Carrier
			spray = total.Times(c.Unit.Size())
		}
	}
	var exact []quantity.Exact
	for i, l := range d.request.Products {
		total, ok := d.total(fmt.Sprintf("products[%d].rate.per", i), l.Rate, job)
		if !ok {
			continue
		}
		amount := quantity.Amount{Value: total.Float(), Unit: l.Rate.TotalUnit(job)}
		t := Total{Product: string(l.ID), Name: d.labels[i].Name, Amount: amount, SI: amount.SI()}
		if t.Product == "" {
			t.Product = t.Name
		}
		if d.asked[i].Of != "" {
			of := l.Rate
			t.Rate = &of
		}
		a.Totals = append(a.Totals, t)
		exact = append(exact, total)
	}
	if a.Carrier != nil && d.request.Tank != nil && len(d.details) == 0 {
		a.Tanks = tanks(spray, *d.request.Tank, a.Totals, exact)
	}
}

// total is a rate times its base; a base that is not known is a fault of the
// request.
func (d *drafter) total(field string, r quantity.Rate, job quantity.Job) (quantity.Exact, bool) {
	total, ok := r.ExactTotal(job)
	if ok {
		return total, true
	}
	switch r.Per.Base() {
	case quantity.SprayVolume:
		d.fault(field, sayCarrierNeeded.Plain())
	case quantity.RowLength:
		d.fault(field, sayRowsNeeded.Plain())
	case quantity.Plants:
		d.fault(field, sayPlantsNeeded.Plain())
	}
	return quantity.Exact{}, false
}

// tanks parts the spray, in cubic metres, into full tanks and a last one, and
// the products with it. Each share is worked out in fractions and rounded once
// to the nearest float64.
func tanks(spray quantity.Exact, tank quantity.Amount, totals []Total, exact []quantity.Exact) *Tanks {
	size := quantity.Decimal(tank.Value).Times(tank.Unit.Size())
	full := spray.Over(size).Floor()
	last := spray.Less(full.Times(size))
	out := &Tanks{Full: int(full.Float()), Last: quantity.Amount{Value: last.Over(tank.Unit.Size()).Float(), Unit: tank.Unit}}
	for i, t := range totals {
		dose := func(in quantity.Exact) Dose {
			return Dose{Product: t.Product, Name: t.Name, Amount: quantity.Amount{Value: exact[i].Times(in).Over(spray).Float(), Unit: t.Amount.Unit}}
		}
		if full.Sign() > 0 {
			out.Each = append(out.Each, dose(size))
		}
		if last.Sign() > 0 {
			out.InLast = append(out.InLast, dose(last))
		}
	}
	return out
}
