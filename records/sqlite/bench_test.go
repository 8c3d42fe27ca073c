package sqlite_test

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	mathrand "math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/records"
	"caneward/records/memory"
	"caneward/records/sqlite"
)

// writers is how many phones send at once in the benchmarks.
const writers = 16

// typicalFind is a find with what a scout's phone sends.
func typicalFind(id records.ID, at orb.Point, i int) records.Write {
	return records.Write{
		Kind: records.Finds, ID: id,
		By: records.Author{Person: "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a", Name: "Scout", Role: records.Scout},
		Record: records.Record{
			Geometry: geo.Geometry{Flat: at},
			Properties: json.RawMessage(fmt.Sprintf(
				`{"accuracy_m":3.5,"block":"0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a","cause":"orange-rust","found_at":"2026-05-01T10:%02d:00Z","plant":%d,"row":%d,"severity":2,"state":"suspected","words":"orange under the leaves"}`,
				i%60, i%120+1, i%40+1)),
		},
	}
}

// BenchmarkWrite16 stores one find per request from 16 writers, each waiting
// for its answer, as sixteen phones do. Walked finds follow a row, a plant a
// find; scattered ones jump about 2 km by 2 km, so that each falls into another
// page of the index of places: the worst case, which no walk makes.
func BenchmarkWrite16(b *testing.B) {
	b.Run("sqlite walked", func(b *testing.B) { benchmarkWrite(b, open(b, b.TempDir()), walked) })
	b.Run("sqlite scattered", func(b *testing.B) { benchmarkWrite(b, open(b, b.TempDir()), scattered) })
	b.Run("memory walked", func(b *testing.B) { benchmarkWrite(b, memory.New(time.Now), walked) })
}

// walked is the i-th find of a writer's walk: rows of 120 plants, 1 m apart, 3 m
// between rows, each writer in a block of its own.
func walked(_ *mathrand.Rand, writer, i int) orb.Point {
	const block = 0.5 // km between the writers' blocks
	plant, row := float64(i%120)/1000, float64(i/120)*3/1000
	return orb.Point{-90 + (block*float64(writer%4)+plant)*kmEast, 38 + (block*float64(writer/4)+row)*kmNorth}
}

func scattered(random *mathrand.Rand, _, _ int) orb.Point {
	return orb.Point{-90 + random.Float64()/50, 38 + random.Float64()/50}
}

func benchmarkWrite(b *testing.B, s records.Store, place func(random *mathrand.Rand, writer, i int) orb.Point) {
	if err := s.CreateFarm(bg, records.Farm{ID: "f", Zone: "UTC"}); err != nil {
		b.Fatal(err)
	}
	ids := records.NewIDs(time.Now, rand.Reader)
	waits := make([][]time.Duration, writers)
	b.ResetTimer()
	var group sync.WaitGroup
	for w := range writers {
		share := b.N / writers
		if w < b.N%writers {
			share++
		}
		group.Go(func() {
			random := mathrand.New(mathrand.NewPCG(1, uint64(w)))
			for i := range share {
				at := place(random, w, i)
				start := time.Now()
				outcomes, err := s.Write(bg, "f", []records.Write{typicalFind(ids.New(), at, i)})
				waits[w] = append(waits[w], time.Since(start))
				if err != nil || outcomes[0].Err != nil {
					b.Error(err, outcomes)
					return
				}
			}
		})
	}
	group.Wait()
	b.StopTimer()
	all := slices.Concat(waits...)
	slices.Sort(all)
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "records/s")
	b.ReportMetric(float64(all[len(all)*99/100].Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(all[len(all)-1].Microseconds())/1000, "worst-ms")
}

// manyFinds finds lie in foci of focusFinds, each some tens of metres wide and
// walked in one go, over extent km by extent km: a box of 200 m holds about 200.
const (
	manyFinds  = 1_000_000
	focusFinds = 200
	extent     = 14.0 // km
	focusWidth = 0.03 // km, standard deviation
)

// millionDir is the folder million made, for TestMain to throw away.
var millionDir string

// million makes the store of a million finds once for all runs of a process.
var million = sync.OnceValues(func() (*sqlite.Store, error) {
	dir, err := os.MkdirTemp("", "caneward-bench-")
	if err != nil {
		return nil, err
	}
	millionDir = dir
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		return nil, err
	}
	if err := s.CreateFarm(bg, records.Farm{ID: "f", Zone: "UTC"}); err != nil {
		return nil, err
	}
	ids := records.NewIDs(time.Now, rand.Reader)
	random := mathrand.New(mathrand.NewPCG(3, 4))
	start := time.Now()
	for done := 0; done < manyFinds; {
		batch := make([]records.Write, 20_000)
		var focus orb.Point
		for i := range batch {
			if i%focusFinds == 0 {
				focus = orb.Point{-90 + random.Float64()*kmEast*extent, 38 + random.Float64()*kmNorth*extent}
			}
			at := orb.Point{focus[0] + random.NormFloat64()*kmEast*focusWidth, focus[1] + random.NormFloat64()*kmNorth*focusWidth}
			batch[i] = typicalFind(ids.New(), at, i)
		}
		if _, err := s.Write(bg, "f", batch); err != nil {
			return nil, err
		}
		done += len(batch)
	}
	info, err := os.Stat(filepath.Join(dir, sqlite.FileName))
	if err != nil {
		return nil, err
	}
	fmt.Printf("built %d finds in %v, %d MB\n", manyFinds, time.Since(start).Round(time.Second), info.Size()>>20)
	return s, nil
})

// A kilometre in degrees at latitude 38, roughly: the benchmark needs no more.
const (
	kmEast  = 1 / 87.8
	kmNorth = 1 / 111.0
)

// BenchmarkBox reads boxes among a million finds, each from its own view.
func BenchmarkBox(b *testing.B) {
	s, err := million()
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name  string
		side  float64 // km
		limit int
	}{{"200m", 0.2, 0}, {"2km,page of 1000", 2, 1000}, {"whole farm,page of 1000", extent, 1000}} {
		b.Run(c.name, func(b *testing.B) {
			random := mathrand.New(mathrand.NewPCG(5, 6))
			var waits []time.Duration
			rows := 0
			for b.Loop() {
				west, south := -90+random.Float64()*kmEast*(extent-c.side), 38+random.Float64()*kmNorth*(extent-c.side)
				box := geo.Box{Min: orb.Point{west, south}, Max: orb.Point{west + c.side*kmEast, south + c.side*kmNorth}}
				start := time.Now()
				err := s.View(bg, "f", func(r records.Reader) error {
					page, err := r.List(records.Finds, records.Query{Box: &box, Limit: c.limit})
					rows += len(page.Revisions)
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
				waits = append(waits, time.Since(start))
			}
			slices.Sort(waits)
			b.ReportMetric(float64(rows)/float64(len(waits)), "rows/op")
			b.ReportMetric(float64(waits[len(waits)/2].Microseconds())/1000, "p50-ms")
			b.ReportMetric(float64(waits[len(waits)*99/100].Microseconds())/1000, "p99-ms")
		})
	}
	b.Run("count whole farm", func(b *testing.B) {
		for b.Loop() {
			err := s.View(bg, "f", func(r records.Reader) error {
				_, err := r.Count(records.Finds, records.Query{})
				return err
			})
			if err != nil {
				b.Fatal(err)
			}
		}
	})
}

// TestMain throws the store of a million finds away.
func TestMain(m *testing.M) {
	if dir := os.Getenv(killedWriterDir); dir != "" {
		writeUntilKilled(dir)
		return
	}
	code := m.Run()
	if millionDir != "" {
		os.RemoveAll(millionDir)
	}
	os.Exit(code)
}
