package intake

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// What each of the set's broken outlines becomes, feature by feature, when a
// person chooses. Areas: testdata/cases/cases.csv.
func TestCandidatesOfBrokenOutlines(t *testing.T) {
	for _, c := range []struct {
		file  string
		state State
		ways  map[Way]float64
	}{
		// A symmetric bow-tie: two lobes of 5,407.29 m2 together, or the five
		// corners the other way round, 14,144.09 m2 (GeographicLib's Planimeter).
		{"V006-bowtie-symmetric.geojson", Asked, map[Way]float64{WayRepaired: 5407.29}},
		{"V007-pinched-shell.geojson", Repaired, map[Way]float64{WayRepaired: 17423.06}},
		{"V008-spike-out-and-back.geojson", Repaired, map[Way]float64{WayRepaired: 16092.24}},
		{"V010-hole-outside-shell.geojson", Asked, map[Way]float64{WayRepaired: 16092.24}},
		{"V012-overlapping-parts.geojson", Repaired, map[Way]float64{WayRepaired: 20306.07}},
		{"V009-collinear.geojson", Refused, map[Way]float64{}},
		{"V004-unclosed-ring.geojson", Repaired, map[Way]float64{WayRepaired: 16092.24}},
		{"V002-clockwise-shell.geojson", Ready, map[Way]float64{WayRead: 16092.24}},
	} {
		p := readFile(t, c.file, Options{})
		all := p.Candidates(AsBlocks)
		if len(all) != 1 {
			t.Errorf("%s: %d candidates; want 1", c.file, len(all))
			continue
		}
		got := all[0]
		if got.State != c.state {
			t.Errorf("%s: %s; want %s", c.file, got.State, c.state)
		}
		found := map[Way]float64{}
		for _, o := range got.Options {
			found[o.Way] = float64(o.Area)
		}
		for way, area := range c.ways {
			if math.Abs(found[way]-area) > 0.01 {
				t.Errorf("%s: %s gives %.2f m2; want %.2f", c.file, way, found[way], area)
			}
		}
		if c.state != Ready && len(got.Said) == 0 {
			t.Errorf("%s: %s without a word", c.file, got.State)
		}
	}
}

func readFile(t *testing.T, name string, o Options) Proposal {
	t.Helper()
	f, err := os.Open(filepath.Join(cases, "files", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := Read(context.Background(), f, name, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// A bow-tie says where it crosses and offers both mends; whichever is chosen
// has no defect left.
func TestBowTie(t *testing.T) {
	p := readFile(t, "V006-bowtie-symmetric.geojson", Options{})
	c := p.Candidates(AsBlocks)[0]
	if len(c.Options) != 2 || c.Options[0].Way != WayReordered || c.Options[1].Way != WayRepaired {
		t.Fatalf("options %+v; want reordered and repaired", c.Options)
	}
	for _, o := range c.Options {
		if _, _, refusal := Check(o.Geometry); refusal != nil {
			t.Errorf("%s leaves %v", o.Way, refusal)
		}
	}
	if c.Said[0].At == nil || !strings.Contains(c.Said[0].Fix.String(), "5407.29") {
		t.Errorf("said %+v; want the crossing's place and what mending gives", c.Said[0])
	}
}

// A mended outline says by how many square metres it changed: V012's parts
// overlap by 23,300.62 - 20,306.07 m2.
func TestMendingSaysHowMuch(t *testing.T) {
	p := readFile(t, "V012-overlapping-parts.geojson", Options{})
	b := p.Blocks[0]
	var area, grown geo.SquareMetres
	for _, n := range b.Said {
		area, grown = area+n.Area, grown+n.Grown
	}
	const overlap = 23300.62 - 20306.07
	if math.Abs(float64(area)-overlap) > 0.05 || math.Abs(float64(grown)+overlap) > 0.05 || math.Abs(float64(b.Before)-23300.62) > 0.05 {
		t.Errorf("area %.2f, grown %.2f, before %.2f; want %.2f, -%.2f, 23300.62", area, grown, b.Before, overlap, overlap)
	}
	if b.AsRead.Empty() {
		t.Error("the outline as read is not kept")
	}
}

// What a feature can become depends on what is asked for.
func TestCandidatesByKind(t *testing.T) {
	p := readFile(t, "V042-mixed-types.geojson", Options{})
	// The line closes, so that it may be meant as an outline.
	for as, want := range map[As]int{AsBlocks: 2, AsRows: 1, AsFinds: 1, AsTracks: 1, AsSurroundings: 4} {
		if got := len(p.Candidates(as)); got != want {
			t.Errorf("%s: %d candidates; want %d", as, got, want)
		}
	}
}

// A walk round a block is a track until somebody says that it is the block.
func TestWalkedOutline(t *testing.T) {
	p := readFile(t, "V075-gpx-walked-outline.gpx", Options{})
	if p.Outcome != Accept || len(p.Tracks) != 1 || p.Tracks[0].Walked == nil {
		t.Fatalf("%s, tracks %+v", p.Outcome, p.Tracks)
	}
	c := p.Candidates(AsBlocks)
	if len(c) != 1 || c[0].State != Asked || c[0].Options[0].Way != WayOutline || math.Abs(float64(c[0].Options[0].Area)-16092.24) > 0.01 {
		t.Errorf("%+v; want one outline of 16092.24 m2 to be agreed to", c)
	}
	if tracks := p.Candidates(AsTracks); len(tracks) != 1 || tracks[0].State != Ready {
		t.Errorf("as tracks: %+v", tracks)
	}
}

// A phone's own recording becomes an outline that keeps how accurate the phone
// was; a lost fix at 0,0 and a jump are taken out and named, start and end
// joined.
func TestRecordedOutline(t *testing.T) {
	walk := `[[-94.4418,36.3127,0,1777000000],[-94.4401501,36.3127541,0,1777000120],[0,0,0,1777000130],[-94.4401055,36.3136103,0,1777000200],
		[-94.5,36.4,0,1777000210],[-94.4411311,36.3137635,0,1777000300],[-94.4418446,36.3135653,0,1777000400],[-94.4418031,36.31276,0,1777000480]]`
	p := read(t, `{"type":"Feature","properties":{"name":"Walked","accuracies_m":[4,5,null,6,9,5,4,4]},"geometry":{"type":"LineString","coordinates":`+walk+`}}`, "a.geojson")
	c := p.Candidates(AsBlocks)
	if p.Outcome != Repair || len(c) != 1 || c[0].State != Asked {
		t.Fatalf("%s, %+v, %v", p.Outcome, c, p.Refusal())
	}
	// The last fix stands 6.7 m (0.00006 degrees of latitude) north of the
	// first, on the side between them: the ground is V075's, 16,092.24 m2, less
	// nothing.
	if area := float64(c[0].Options[0].Area); math.Abs(area-16092.24) > 2 {
		t.Errorf("area %.2f m2; want about 16092.24", area)
	}
	var kept struct {
		Name     string
		Accuracy float64 `json:"accuracy_m"`
	}
	if err := json.Unmarshal(c[0].Properties, &kept); err != nil || kept.Name != "Walked" || kept.Accuracy != 4.5 {
		t.Errorf("properties %s; want the name and the median accuracy, 4.5 m", c[0].Properties)
	}
	said := ""
	for _, n := range c[0].Said {
		said += n.Text.String() + "\n"
	}
	for _, want := range []string{"0,0", "jump", "6.7 m apart", "4.5 m"} {
		if !strings.Contains(said, want) {
			t.Errorf("nothing says %q:\n%s", want, said)
		}
	}
}

// Swapped axes are asked about; with the answer the ground is right.
func TestSwappedAxes(t *testing.T) {
	const file = "V001-swapped-latlon.geojson"
	p := readFile(t, file, Options{})
	if len(p.Questions) != 1 || p.Questions[0].Topic != TopicAxes {
		t.Fatalf("questions %+v; want whether axes are swapped", p.Questions)
	}
	p = readFile(t, file, Options{Swap: true})
	if len(p.Blocks) != 1 || math.Abs(float64(p.Blocks[0].Area)-16092.24) > 0.01 {
		t.Errorf("swapped: %+v, %v", p.Blocks, p.Refusal())
	}
}

// A file without a coordinate system is asked about, with where each likely
// one would put the ground; the answer is followed and said.
func TestMissingSystem(t *testing.T) {
	const file = "V060-shp-no-prj-degrees.zip"
	p := readFile(t, file, Options{})
	if p.Outcome != Ask || p.Questions[0].Topic != TopicSystem {
		t.Fatalf("%s %+v", p.Outcome, p.Questions)
	}
	first := p.Questions[0].Choices[0]
	if first.Value != "EPSG:4326" || first.Centre == nil || first.Shape.Empty() || math.Abs(float64(first.Area)-16092.24) > 0.01 {
		t.Errorf("first choice %+v; want degrees with the block's area", first)
	}
	p = readFile(t, file, Options{System: "EPSG:4326"})
	if p.Outcome != Accept || len(p.Blocks) != 2 || math.Abs(float64(p.Blocks[0].Area)-16092.24) > 0.01 {
		t.Errorf("answered: %s, %+v", p.Outcome, p.Blocks)
	}
	p = readFile(t, file, Options{System: "EPSG:27700"})
	if p.Outcome != Reject || !strings.Contains(p.Refusal().Error(), "British National Grid") {
		t.Errorf("an answer that is not read: %s, %v", p.Outcome, p.Refusal())
	}
}

// A pin becomes a find with its words and time, suspected whatever its name.
func TestPinsBecomeFinds(t *testing.T) {
	p := readFile(t, "V080-csv-tabs.csv", Options{})
	c := p.Candidates(AsFinds)
	if len(c) != 3 {
		t.Fatalf("%d candidates; want 3", len(c))
	}
	var got struct{ Words, State, Cause string }
	if err := json.Unmarshal(c[0].Properties, &got); err != nil {
		t.Fatal(err)
	}
	if got.Words != "gall, low; 3 canes" || got.State != "suspected" || got.Cause != "other" {
		t.Errorf("%+v", got)
	}
}

// The shape as read is what the file has, whatever is made of it.
func TestAsReadIsUntouched(t *testing.T) {
	text := `{"type":"Polygon","coordinates":[[[0,0],[0.001,0],[0.002,0],[0.001,0],[0.001,0.001],[0,0]]]}`
	p := read(t, text, "a.geojson")
	if len(p.Blocks) != 1 {
		t.Fatalf("%+v", p.Refusal())
	}
	if ring := p.Blocks[0].AsRead.Flat.(orb.Polygon)[0]; len(ring) != 6 || ring[2] != (orb.Point{0.002, 0}) {
		t.Errorf("as read %v", ring)
	}
}
