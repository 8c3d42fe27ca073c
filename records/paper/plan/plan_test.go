package plan

import (
	"context"
	"os"
	"testing"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/memory"
	"caneward/records/paper"
)

func TestLook(t *testing.T) {
	dir := os.Getenv("LOOK")
	store := memory.New(time.Now)
	ctx := context.Background()
	if err := demofarm.Build(ctx, store); err != nil {
		t.Fatal(err)
	}
	err := store.View(ctx, "demo", func(r records.Reader) error {
		page, err := r.List(records.Blocks, records.Query{})
		if err != nil {
			return err
		}
		for i, rev := range page.Revisions {
			p, err := Load(ctx, r, Ask{Block: rev.ID, RowsUp: i%3 == 1, Order: Order{PostSpacing: 6}, Band: 1})
			if err != nil {
				return err
			}
			head := paper.Head{Farm: r.Farm().Name, Invented: true, Language: words.English, Made: time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC), Version: "0.0", Sequence: r.Sequence()}
			if i%2 == 1 {
				head.Language, head.Size = words.Spanish, paper.A4
			}
			b, err := Print(ctx, p, head)
			if err != nil {
				return err
			}
			if dir != "" {
				os.WriteFile(dir+"/"+string(rune('a'+i))+".pdf", b, 0o644)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
