package stats

import (
	"errors"
	"fmt"
	"math"
)

// ErrPopulation is a population or number of infected that cannot be.
var ErrPopulation = errors.New("the population must be 1 to 10,000,000, and the infected 1 to the population")

// equalChance lets a chance that only rounding holds above its bound count as
// reaching it.
const equalChance = 1 + 1e-12

// ToDetect is how many must be looked at, at random and out of very many, to
// see at least one case with this confidence when the share infected is share.
func ToDetect(share, confidence float64) (int, error) {
	if !open(share) {
		return 0, fmt.Errorf("share %v: %w", share, ErrShare)
	}
	if !open(confidence) {
		return 0, fmt.Errorf("confidence %v: %w", confidence, ErrLevel)
	}
	n := math.Log1p(-confidence) / math.Log1p(-share)
	if n > MaxSampled {
		return 0, fmt.Errorf("share %v: %w", share, ErrSample)
	}
	whole := math.Ceil(n)
	if whole > 1 && math.Pow(1-share, whole-1) <= (1-confidence)*equalChance {
		whole--
	}
	return int(math.Max(1, whole)), nil
}

// ToDetectOf is the same for a population of known size of which infected are
// cases, each looked at once (hypergeometric): never more than ToDetect.
func ToDetectOf(population, infected int, confidence float64) (int, error) {
	if population < 1 || population > MaxSampled || infected < 1 || infected > population {
		return 0, fmt.Errorf("%d of %d: %w", infected, population, ErrPopulation)
	}
	if !open(confidence) {
		return 0, fmt.Errorf("confidence %v: %w", confidence, ErrLevel)
	}
	miss := 1.0
	for n := 1; ; n++ {
		drawn := n - 1
		miss *= float64(population-infected-drawn) / float64(population-drawn)
		if miss <= (1-confidence)*equalChance {
			return n, nil
		}
	}
}
