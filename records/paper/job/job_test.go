package job_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/demofarm"
	"caneward/records/memory"
	"caneward/records/paper"
	"caneward/records/paper/job"
	"caneward/records/paper/papertest"
	"caneward/records/spray"
)

func demo(t *testing.T, f func(job.Book, records.Reader)) {
	t.Helper()
	store, ctx := memory.New(time.Now), context.Background()
	if err := demofarm.Build(ctx, store); err != nil {
		t.Fatal(err)
	}
	err := store.View(ctx, "demo", func(r records.Reader) error {
		b, err := job.LoadBook(r, clock.Settings{Jurisdictions: []string{"us-federal", "us-worker", "us-tx"}})
		if err == nil {
			f(b, r)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func restricted(t *testing.T, b job.Book) job.Sheet {
	t.Helper()
	for _, s := range b.Sheets {
		if s.Restricted() && len(s.Blocks) == 1 && s.Blocks[0].Name == "Hill Block" {
			return s
		}
	}
	t.Fatal("no restricted pass on the demo farm")
	return job.Sheet{}
}

func text(t *testing.T, data []byte, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	pages, err := papertest.Read(data)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, p := range pages {
		all = append(all, p.All())
	}
	return strings.Join(strings.Fields(strings.Join(all, " ")), " ")
}

// The five elements of 7 CFR 110.3(a), and what Texas adds that nobody wrote.
func TestPrintedRecord(t *testing.T) {
	demo(t, func(b job.Book, r records.Reader) {
		s := restricted(t, b)
		for _, l := range []words.Language{words.English, words.Spanish} {
			head := paper.Head{Farm: "f", Language: l, Made: time.Date(2026, 5, 22, 12, 0, 0, 0, time.UTC), Zone: b.Zone}
			data, err := b.Record(context.Background(), s, head)
			got := text(t, data, err)
			want := []string{"Demo Pyre 2EC", "0-0007", "fl oz", "Hill Block (41.94", "ac", "raspberry", "20 May 2026", "Applicator (invented)", "DEMO-0001"}
			if l == words.English {
				want = append(want, "target pest, equipment or method", "not on record", "does not prove certification", "follow the label")
			}
			for _, w := range want {
				if !strings.Contains(strings.ToLower(got), strings.ToLower(w)) {
					t.Errorf("%s: the record lacks %q: %.600s", l, w, got)
				}
			}
			for _, never := range []string{"compliant", "approved", " safe "} {
				if strings.Contains(strings.ToLower(got), never) {
					t.Errorf("%s: the record says %q", l, never)
				}
			}
		}
		// Named before the deadline of 14 days, not late yet.
		due := 0
		for _, d := range b.Open(time.Date(2026, 5, 22, 12, 0, 0, 0, time.UTC)) {
			if d.Pass == s.ID && d.Rule.ID == "us-tx-record" && !d.Late && len(d.Missing) == 2 {
				due++
			}
		}
		if due != 1 {
			t.Errorf("what Texas still asks for is named %d times, want once", due)
		}
	})
}

func TestOtherPapers(t *testing.T) {
	demo(t, func(b job.Book, r records.Reader) {
		s, ctx := restricted(t, b), context.Background()
		head := paper.Head{Farm: "f", Language: words.English, Made: time.Date(2026, 5, 21, 12, 0, 0, 0, time.UTC), Zone: b.Zone}
		history, err := b.LoadHistory(r, s.Blocks[0].ID, words.English)
		if err != nil {
			t.Fatal(err)
		}
		year, err := spray.LoadYear(r, 2026)
		if err != nil {
			t.Fatal(err)
		}
		if b.Peaks, err = year.Peaks(ctx); err != nil {
			t.Fatal(err)
		}
		for name, c := range map[string]struct {
			print func() ([]byte, error)
			want  []string
		}{
			"tank sheet":    {func() ([]byte, error) { return b.TankSheet(ctx, s, head) }, []string{"6.4 fl oz / acre", "27.986 gal", "Nothing is rounded up", "the last"}},
			"display":       {func() ([]byte, error) { return b.Display(ctx, head.Made, head) }, []string{"Demo Pyre 2EC", "bifenthrin", "20 May 2026 19:15 EDT", "800-222-1222"}},
			"entry notice":  {func() ([]byte, error) { return b.EntryNotice(ctx, s, head) }, []string{"KEEP OUT", "NO ENTRAR", "19:15 EDT", "does not replace the warning sign"}},
			"totals":        {func() ([]byte, error) { return b.Totals(ctx, 2026, head) }, []string{"Demo Spin 25WG", "18 Jun 2026; 24 Jun 2026", "spinetoram", "Most at any one place", "12 of 19.5 oz wt/acre in a year (62 %)", "Creek Block 41.94"}},
			"block history": {func() ([]byte, error) { return b.PrintHistory(ctx, history, head) }, []string{"spray pass", "Demo Pyre 2EC", "version 1"}},
		} {
			data, err := c.print()
			got := text(t, data, err)
			for _, w := range c.want {
				if !strings.Contains(got, w) {
					t.Errorf("%s lacks %q: %.500s", name, w, got)
				}
			}
		}
	})
}
