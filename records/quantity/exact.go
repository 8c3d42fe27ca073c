package quantity

import (
	"math"
	"math/big"
	"strconv"
)

// Exact is a number without rounding: a fraction. Figures from labels are
// decimals, and 3.4 x 12 must be 40.8 and 0.1 x 3 not fall short of a full
// tank; so sums are done in fractions and rounded once, at the end. The zero
// value is 0.
type Exact struct{ r *big.Rat }

// Decimal reads a float64 as the shortest decimal that means it: 0.1 is one
// tenth. Not-a-number and infinities read as 0; callers refuse them first.
func Decimal(v float64) Exact {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Exact{}
	}
	r, _ := new(big.Rat).SetString(strconv.FormatFloat(v, 'g', -1, 64))
	return Exact{r}
}

// Whole is a whole number.
func Whole(n int64) Exact { return Exact{new(big.Rat).SetInt64(n)} }

func fraction(text string) Exact {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		panic("quantity: not a fraction: " + text) // a constant of this package
	}
	return Exact{r}
}

func (a Exact) rat() *big.Rat {
	if a.r == nil {
		return new(big.Rat)
	}
	return a.r
}

// Plus adds.
func (a Exact) Plus(b Exact) Exact { return Exact{new(big.Rat).Add(a.rat(), b.rat())} }

// Less subtracts.
func (a Exact) Less(b Exact) Exact { return Exact{new(big.Rat).Sub(a.rat(), b.rat())} }

// Times multiplies.
func (a Exact) Times(b Exact) Exact { return Exact{new(big.Rat).Mul(a.rat(), b.rat())} }

// Over divides; by zero it gives zero, so callers refuse a zero divisor first.
func (a Exact) Over(b Exact) Exact {
	if b.rat().Sign() == 0 {
		return Exact{}
	}
	return Exact{new(big.Rat).Quo(a.rat(), b.rat())}
}

// Floor is the greatest whole number not above.
func (a Exact) Floor() Exact {
	r := a.rat()
	return Exact{new(big.Rat).SetInt(new(big.Int).Div(r.Num(), r.Denom()))}
}

// Sign is -1, 0 or 1.
func (a Exact) Sign() int { return a.rat().Sign() }

// Compare is -1, 0 or 1 as a is less than, equal to or more than b.
func (a Exact) Compare(b Exact) int { return a.rat().Cmp(b.rat()) }

// Float is the nearest float64.
func (a Exact) Float() float64 {
	f, _ := a.rat().Float64()
	return f
}
