package when

// Order is how dates such as 4/5/2026 are read.
type Order int

// The orders. DayFirst and MonthFirst can be asked for; the others are what
// OrderOf finds besides, and read nothing that has two readings.
const (
	Unneeded      Order = iota // there is no date that could be read both ways
	DayFirst                   // 4 May
	MonthFirst                 // April 5
	Either                     // nothing tells
	Contradictory              // one date has the day first, another the month
)

var orderNames = [...]string{Unneeded: "", DayFirst: "day-first", MonthFirst: "month-first", Either: "either", Contradictory: "contradictory"}

// String is the name that options and answers use.
func (o Order) String() string {
	if o < 0 || int(o) >= len(orderNames) {
		return ""
	}
	return orderNames[o]
}

// ParseOrder reads "day-first", "month-first" or "", which is Unneeded.
func ParseOrder(name string) (Order, bool) {
	for _, o := range []Order{Unneeded, DayFirst, MonthFirst} {
		if o.String() == name {
			return o, true
		}
	}
	return Unneeded, false
}

// Column judges the dates of one column, which whoever filled it wrote one
// way: a single 13/05/2026 settles them all. The zero Column is empty.
type Column struct {
	day, month, open bool
	first            [2]int // the texts, from 0, that prove day and month first
	n                int
}

// Add looks at the next text; one that is no date counts for nothing.
func (c *Column) Add(text string) {
	i := c.n
	c.n++
	p := parse(text)
	if !p.ok || p.first == 0 {
		return
	}
	const months = 12
	switch {
	case p.first > months && p.second > months:
	case p.first > months && !c.day:
		c.day, c.first[0] = true, i
	case p.second > months && !c.month:
		c.month, c.first[1] = true, i
	case p.first <= months && p.second <= months && p.first != p.second && !p.dots:
		c.open = true
	}
}

// Order is what the texts so far say together.
func (c *Column) Order() Order {
	switch {
	case c.day && c.month:
		return Contradictory
	case c.day:
		return DayFirst
	case c.month:
		return MonthFirst
	case c.open:
		return Either
	}
	return Unneeded
}

// Proof gives the first texts, counted from 0, that have the day and the month
// first; they mean something where Order says so.
func (c *Column) Proof() (day, month int) { return c.first[0], c.first[1] }

// OrderOf judges a whole column.
func OrderOf(texts []string) Order {
	var c Column
	for _, t := range texts {
		c.Add(t)
	}
	return c.Order()
}
