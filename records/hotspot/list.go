package hotspot

import (
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// maxListed bounds the plants of one list: a block of 40 hectares.
const maxListed = 500_000

var listTooLong = words.New("hotspot-list-too-long",
	"The plants to look at again would be more than {limit}. Use a shorter along_m and across_m, or fewer inspect_rows.",
	"Las plantas por revisar serían más de {limit}. Use along_m y across_m más cortos, o menos inspect_rows.")

// part is how firmly a plant is listed; a lower one wins.
type part int

const (
	confirmed part = iota
	between
	margin
	inspect
)

// list proposes what to remove and what to look at again. The rule is this
// program's own (research note, section 4): no published margin exists.
func (s *study) list(a *Analysis) error {
	parts := make(map[address]part, 2*len(s.infected))
	enter := func(p Plant, as part) {
		if already, ok := parts[addressOf(p)]; (!ok || as < already) && s.stands(p) {
			parts[addressOf(p)] = as
		}
	}
	for p, i := range s.infected {
		if i.former {
			a.Gone = append(a.Gone, p)
		}
		switch {
		case !i.selected && !i.confirmed:
		case !s.stands(p):
			if !i.former {
				a.Gone = append(a.Gone, p)
			}
		case i.confirmed:
			enter(p, confirmed)
		default:
			// Suspected or sampled: never to be removed on this program's word. A
			// plant set where one was infected is looked at too.
			enter(p, inspect)
		}
	}
	for p := range s.regrown {
		// Taken out without having been confirmed itself: a proof is wanted first.
		if i := s.infected[p]; s.cameBack(p) && (i == nil || !i.confirmed) {
			enter(p, inspect)
		}
	}
	slices.SortFunc(a.Gone, byRow)
	for _, g := range a.Groups {
		s.alongRows(g, enter)
	}
	if err := s.around(a, enter); err != nil {
		return err
	}
	a.List = gather(parts)
	return nil
}

// alongRows lists what lies between and beside the confirmed plants of a group
// in each row. Places without a plant count as places.
func (s *study) alongRows(g Group, enter func(Plant, part)) {
	for _, row := range s.confirmedByRow(g) {
		for k, p := range row {
			if k == 0 || !s.bridged(row[k-1], p) {
				s.beside(p, -1, enter)
			} else {
				for n := row[k-1].Plant + 1; n < p.Plant; n++ {
					enter(Plant{Row: p.Row, Plant: n}, between)
				}
			}
			if k == len(row)-1 || !s.bridged(p, row[k+1]) {
				s.beside(p, +1, enter)
			}
		}
	}
}

// confirmedByRow is the group's confirmed plants, row by row.
func (s *study) confirmedByRow(g Group) (rows [][]Plant) {
	for _, p := range g.Finds {
		if !s.infected[p].confirmed {
			continue
		}
		if n := len(rows); n > 0 && rows[n-1][0].Row == p.Row {
			rows[n-1] = append(rows[n-1], p)
		} else {
			rows = append(rows, []Plant{p})
		}
	}
	return rows
}

// bridged is whether what lies between two plants of a row is listed.
func (s *study) bridged(p, q Plant) bool {
	return q.Plant-p.Plant-1 <= s.set.GapPlants && s.joined(p, q.Plant)
}

// joined is whether the row runs unbroken from p to plant n.
func (s *study) joined(p Plant, n int) bool {
	row := s.rows[p.Row]
	if row == nil {
		return true
	}
	low, high := min(p.Plant, n), max(p.Plant, n)
	return !slices.ContainsFunc(row.Breaks, func(first int) bool { return low < first && first <= high })
}

func (s *study) beside(p Plant, step int, enter func(Plant, part)) {
	for m := 1; m <= s.set.MarginPlants; m++ {
		if n := p.Plant + step*m; s.joined(p, n) {
			enter(Plant{Row: p.Row, Plant: n}, margin)
		}
	}
}

// around lists what to look at again: the rest of the rows of each group and
// next to it, over the group's span; and both neighbours of an isolated find.
func (s *study) around(a *Analysis, enter func(Plant, part)) error {
	looked := 0
	for _, g := range a.Groups {
		if len(g.Finds) == 0 {
			continue
		}
		low, high := g.Finds[0].Plant, g.Finds[0].Plant
		for _, p := range g.Finds {
			low, high = min(low, p.Plant), max(high, p.Plant)
		}
		first, last := g.Finds[0].Row-s.set.InspectRows, g.Finds[len(g.Finds)-1].Row+s.set.InspectRows
		low, high = max(1, low-s.set.MarginPlants), high+s.set.MarginPlants
		if looked += (last - first + 1) * (high - low + 1); looked > maxListed {
			return fault.New(fault.TooCostly, listTooLong.With(words.Args{"limit": maxListed}))
		}
		for row := max(1, first); row <= last; row++ {
			for n := low; n <= high; n++ {
				enter(Plant{Row: row, Plant: n}, inspect)
			}
		}
	}
	for _, p := range a.Isolated {
		for _, n := range []int{p.Plant - 1, p.Plant + 1} {
			if s.joined(p, n) {
				enter(Plant{Row: p.Row, Plant: n}, inspect)
			}
		}
	}
	return nil
}

// address is a plant as one number, in row and plant order: it hashes and sorts
// faster than the pair.
type address uint64

const plantBits = 32

func addressOf(p Plant) address { return address(p.Row)<<plantBits | address(p.Plant) }

func (a address) plant() Plant {
	return Plant{Row: int(a >> plantBits), Plant: int(a & (1<<plantBits - 1))}
}

func gather(parts map[address]part) (l List) {
	addresses := make([]address, 0, len(parts))
	for a := range parts {
		addresses = append(addresses, a)
	}
	slices.Sort(addresses)
	for _, a := range addresses {
		to := [...]*[]Plant{&l.Confirmed, &l.Between, &l.Margin, &l.Inspect}[parts[a]]
		*to = append(*to, a.plant())
	}
	return l
}
