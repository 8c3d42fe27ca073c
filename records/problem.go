package records

import (
	"context"
	"fmt"
	"strings"

	"caneward/blocks/words"
)

// Problem is one thing wrong with what is stored, and where. Unset places are
// zero.
type Problem struct {
	Farm     FarmID
	Kind     Kind
	ID       ID
	Number   int
	Sequence int64
	Text     words.Text
}

// String is the English.
func (p Problem) String() string { return p.In(words.English) }

// In names the place in a form for machines and says what is wrong.
func (p Problem) In(l words.Language) string {
	var place []string
	for _, part := range []string{string(p.Farm), string(p.Kind), string(p.ID)} {
		if part != "" {
			place = append(place, part)
		}
	}
	where := strings.Join(place, "/")
	if p.Number > 0 {
		where += fmt.Sprintf(" revision %d", p.Number)
	}
	if p.Sequence > 0 {
		where += fmt.Sprintf(" (sequence %d)", p.Sequence)
	}
	if where == "" {
		return p.Text.In(l)
	}
	return where + ": " + p.Text.In(l)
}

// Check looks for problems in one farm: a rule package's part of a store's
// verification, such as totals recomputed from a pass. Each farm is given once.
type Check func(context.Context, Reader) ([]Problem, error)
