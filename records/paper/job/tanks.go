package job

import (
	"caneward/records/quantity"
)

// tanks are those kept with the pass; older passes kept none, then they follow
// from its spray and its tank: full ones, and what is left. Nothing is rounded up.
func (s Sheet) tanks() *Tanks {
	if s.Tanks != nil || s.Carrier == nil || s.Pass.Tank == nil || s.Pass.Tank.Value <= 0 {
		return s.Tanks
	}
	spray, err := s.Carrier.In(s.Pass.Tank.Unit)
	if err != nil || spray.Value <= 0 {
		return nil
	}
	full := quantity.Decimal(spray.Value).Over(quantity.Decimal(s.Pass.Tank.Value)).Floor()
	inFull := full.Times(quantity.Decimal(s.Pass.Tank.Value)).Float()
	t := &Tanks{Full: int(full.Float()), Last: quantity.Amount{Value: spray.Value - inFull, Unit: spray.Unit}}
	for _, l := range s.Lines {
		if l.Total == nil {
			return nil
		}
		each := *l.Total
		each.Value *= s.Pass.Tank.Value / spray.Value
		last := *l.Total
		last.Value *= t.Last.Value / spray.Value
		if t.Full > 0 {
			t.Each = append(t.Each, Dose{Name: l.Name, Amount: each})
		}
		if t.Last.Value > 0 {
			t.InLast = append(t.InLast, Dose{Name: l.Name, Amount: last})
		}
	}
	return t
}
