package plan

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/memory"
	"caneward/records/paper"
	"caneward/records/paper/papertest"
)

var made = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// onDemo runs f on the demo farm's blocks.
func onDemo(t *testing.T, f func(r records.Reader, blocks []records.Revision)) {
	t.Helper()
	store := memory.New(time.Now)
	ctx := context.Background()
	if err := demofarm.Build(ctx, store); err != nil {
		t.Fatal(err)
	}
	err := store.View(ctx, "demo", func(r records.Reader) error {
		page, err := r.List(records.Blocks, records.Query{})
		if err == nil {
			f(r, page.Revisions)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func printed(t *testing.T, r records.Reader, ask Ask, l words.Language, size paper.Size) []byte {
	t.Helper()
	p, err := Load(context.Background(), r, ask)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Print(context.Background(), p, paper.Head{Farm: r.Farm().Name, Invented: r.Farm().Invented, Language: l, Size: size, Made: made, Version: "0.0", Sequence: r.Sequence()})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Every block of the demo farm prints in both languages and sizes: each page
// marked as invented, the order with its arithmetic, the same bytes twice.
func TestEveryBlockPrints(t *testing.T) {
	supplies := layout.Supplies{SparePercent: 5, Wires: 2, TieOff: 1, Lines: 1}
	onDemo(t, func(r records.Reader, blocks []records.Revision) {
		for i, rev := range blocks {
			ask := Ask{Block: rev.ID, RowsUp: i%3 == 1, PostSpacing: 6, Supplies: supplies, Band: 1}
			for _, c := range []struct {
				lang words.Language
				size paper.Size
				says []string
			}{
				{words.English, paper.Letter, []string{"Planting plan", "To order", "Plants to order", "Handbook figure and count", "Scale 1:", "Take care"}},
				{words.Spanish, paper.A4, []string{"Plano de plantación", "Para pedir", "práctica común", "línea", "Escala 1:", "Tenga cuidado"}},
			} {
				data := printed(t, r, ask, c.lang, c.size)
				if again := printed(t, r, ask, c.lang, c.size); !bytes.Equal(data, again) {
					t.Errorf("block %d, %s: two prints differ", i, c.lang)
				}
				pages, err := papertest.Read(data)
				if err != nil {
					t.Fatal(err)
				}
				all := ""
				invented := map[words.Language]string{words.English: "Invented data", words.Spanish: "Datos inventados"}[c.lang]
				for n, page := range pages {
					if !page.Has(invented) {
						t.Errorf("block %d, %s: page %d does not say %q", i, c.lang, n+1, invented)
					}
					all += page.All() + "\n"
				}
				for _, want := range c.says {
					if !strings.Contains(all, want) {
						t.Errorf("block %d, %s: nothing says %q", i, c.lang, want)
					}
				}
			}
		}
	})
}

// Rows asked for anew are printed with what was asked, and say that they are on
// no record.
func TestAnewIsPrinted(t *testing.T) {
	onDemo(t, func(r records.Reader, blocks []records.Revision) {
		ask := Ask{Block: blocks[0].ID, Anew: &Anew{Spec: layout.Spec{RowSpacing: 4, PlantSpacing: 1, Headland: 5, SideMargin: 2, AlleyEvery: 3, AlleyWidth: 1, Skip: []int{2}}, OwnBearing: true, OwnSide: true, OwnEnd: true}}
		p, err := Load(context.Background(), r, ask)
		if err != nil {
			t.Fatal(err)
		}
		facts := p.facts(words.English).String()
		for _, want := range []string{"Rows 4.00 m (13.1 ft) apart", "Headlands 5.00 m", "Side margins 2.00 m", "An alley 1.00 m (3.3 ft) wider after every 3 rows"} {
			if !strings.Contains(facts, want) {
				t.Errorf("%q is not in %q", want, facts)
			}
		}
		pages, err := papertest.Read(printed(t, r, ask, words.English, paper.Letter))
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, page := range pages {
			found = found || page.Has("unplanted")
		}
		if !found {
			t.Error("the skipped row is not in the table")
		}
	})
}

// A block of a thousand short rows goes over many pages, each with the table's
// head; what asks for too much is refused with its field.
func TestBounds(t *testing.T) {
	onDemo(t, func(r records.Reader, blocks []records.Revision) {
		fine := Ask{Block: blocks[0].ID, Anew: &Anew{Spec: layout.Spec{RowSpacing: 0.3, PlantSpacing: 1}, OwnBearing: true}}
		pages, err := papertest.Read(printed(t, r, fine, words.English, paper.Letter))
		if err != nil {
			t.Fatal(err)
		}
		heads := 0
		for _, page := range pages {
			if page.Has("Length, ft") {
				heads++
			}
		}
		if heads < 3 || heads < len(pages)-2 {
			t.Errorf("%d pages, %d with the table's head; want all but the map and the figures", len(pages), heads)
		}
		for name, ask := range map[string]Ask{
			"no such block":   {Block: "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a"},
			"impossible rows": {Block: blocks[0].ID, Anew: &Anew{Spec: layout.Spec{RowSpacing: -1, PlantSpacing: 1}}},
		} {
			if _, err := Load(context.Background(), r, ask); fault.KindOf(err) == fault.Internal {
				t.Errorf("%s: %v", name, err)
			}
		}
	})
}
