package removal

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/memory"
	"caneward/records/paper"
	"caneward/records/paper/papertest"
	"caneward/records/review"
)

// signed signs what the demo farm's block gives, without storing it.
func signed(t *testing.T, r records.Reader, block records.ID) review.View {
	t.Helper()
	g, err := review.Gather(r, block)
	if err != nil {
		t.Fatal(err)
	}
	q := review.Question{Ask: json.RawMessage(fmt.Sprintf(`{"block":%q,"scan":{"replicates":9}}`, block))}
	p, err := review.Propose(context.Background(), g, q, "test")
	if err != nil {
		t.Fatal(err)
	}
	raw, err := review.Signed{Block: block, Reasons: "The laboratory's answer.", SignedAt: time.Date(2026, 6, 8, 14, 0, 0, 0, time.UTC),
		SignedBy: review.Signer{Account: "Adviser", Role: records.Adviser, Name: "A. Invented"}, Analysis: p.Document, List: p.List, Frozen: p.Frozen, Basis: p.Basis}.Sealed()
	if err != nil {
		t.Fatal(err)
	}
	s, err := review.Read(raw)
	if err != nil {
		t.Fatal(err)
	}
	v, err := s.View()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func text(t *testing.T, data []byte) string {
	t.Helper()
	pages, err := papertest.Read(data)
	if err != nil {
		t.Fatal(err)
	}
	all := ""
	for n, page := range pages {
		if !page.Has("Invented data") && !page.Has("Datos inventados") {
			t.Errorf("page %d does not say that the data are invented", n+1)
		}
		all += page.All() + "\n"
	}
	return all
}

// Every block's decision prints in both languages, twice the same, with what a
// report of a removal must say; the crew's sheet has every plant once, in the
// order the list is walked, and so has the table.
func TestEveryDecisionPrints(t *testing.T) {
	store := memory.New(func() time.Time { return time.Date(2026, 6, 8, 12, 0, 0, 0, time.UTC) })
	ctx := context.Background()
	if err := demofarm.Build(ctx, store); err != nil {
		t.Fatal(err)
	}
	says := map[words.Language][]string{
		words.English: {"Removal review", "The decision", "Evidence", "Not on the list", "What was not looked at", "cannot be undone", "It is no diagnosis", "Signatures", "A. Invented", "certifies nothing"},
		words.Spanish: {"Revisión de arranque", "La decisión", "Pruebas", "Fuera de la lista", "Lo que no se revisó", "no se puede deshacer", "No es un diagnóstico", "Firmas", "A. Invented", "no certifica nada"},
	}
	withList := 0
	err := store.View(ctx, demofarm.Farm, func(r records.Reader) error {
		page, err := r.List(records.Blocks, records.Query{})
		if err != nil {
			return err
		}
		for _, rev := range page.Revisions {
			v := signed(t, r, rev.ID)
			for lang, wants := range says {
				if lang == words.Spanish && withList > 0 {
					continue // one list in the other language is enough
				}
				p := Paper{Language: lang, Size: paper.Letter}
				data, err := Report(ctx, v, p)
				if err != nil {
					return err
				}
				if again, err := Report(ctx, v, p); err != nil || !bytes.Equal(data, again) {
					t.Errorf("%s, %s: two prints differ (%v)", v.Of.Name, lang, err)
				}
				all := text(t, data)
				for _, want := range wants {
					if !strings.Contains(all, want) {
						t.Errorf("%s, %s: nothing says %q", v.Of.Name, lang, want)
					}
				}
				sheet, err := Crew(ctx, v, p)
				if err != nil {
					return err
				}
				all = text(t, sheet)
				for _, take := range v.List.Remove {
					line := fmt.Sprintf(map[words.Language]string{words.English: "Row %d   Plant %d", words.Spanish: "Hilera %d   Planta %d"}[lang], take.Row, take.Plant)
					if n := len(regexp.MustCompile(line+`(\D|$)`).FindAllString(all, -1)); n != 1 {
						t.Errorf("%s, %s: the crew's sheet has %q %d times", v.Of.Name, lang, line, n)
					}
				}
			}
			table, err := CSV(v)
			if err != nil {
				return err
			}
			lines := strings.Split(strings.TrimSpace(string(table)), "\r\n")
			for i, take := range review.Walk(v.List.Remove) {
				if want := fmt.Sprintf("%d,%d,%d,%s,", i+1, take.Row, take.Plant, take.Why); !strings.HasPrefix(lines[i+1], want) {
					t.Errorf("%s: line %d is %q, want %q", v.Of.Name, i+1, lines[i+1], want)
				}
			}
			if len(v.List.Remove) > 0 {
				withList++
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if withList < 3 {
		t.Errorf("%d blocks of the demo farm have a list; the test wants some", withList)
	}
}
