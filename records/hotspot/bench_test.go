package hotspot

import (
	"context"
	"math/rand/v2"
	"testing"

	"caneward/records/scouting"
)

// BenchmarkGroupAndList is 10,000 confirmed finds of a block of 100 rows of 500
// plants, two thirds of them round 40 places, without any effort: groups, list
// and what each choice would cost.
func BenchmarkGroupAndList(b *testing.B) {
	const count, rows, each = 10_000, 100, 500
	in := block(rows, each)
	random := rand.New(rand.NewPCG(10, 10))
	seen := map[Plant]bool{}
	for len(in.Finds) < count {
		p := Plant{Row: 1 + random.IntN(rows), Plant: 1 + random.IntN(each)}
		if len(in.Finds)%3 > 0 {
			k := random.IntN(40)
			p = Plant{Row: 10 + k%8*11 + int(random.NormFloat64()*3), Plant: 50 + k/8*95 + int(random.NormFloat64()*12)}
		}
		if p.Row < 1 || p.Row > rows || p.Plant < 1 || p.Plant > each || seen[p] {
			continue
		}
		seen[p] = true
		in.Finds = append(in.Finds, finds(scouting.Confirmed, p)...)
	}
	set, err := Options{}.Settings(3, 1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if a, err := Analyse(context.Background(), in, set); err != nil || len(a.Groups) == 0 || len(a.List.Confirmed) != count {
			b.Fatal(err)
		}
	}
}
