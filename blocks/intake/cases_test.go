package intake

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
)

const (
	cases    = "../../testdata/cases"
	variants = "../../testdata/variants"
)

type wanted struct {
	Blocks           []wantedBlock   `json:"blocks"`
	Other            *OtherJSON      `json:"other"`
	Warn             []string        `json:"warn_mentions"`
	Error            []string        `json:"error_mentions"`
	Hint             []string        `json:"hint_mentions"`
	ErrorHasPosition bool            `json:"error_has_position"`
	IDsExact         []string        `json:"ids_exact"`
	IDs              []any           `json:"ids"`
	MaxSeconds       float64         `json:"max_seconds"`
	Tolerance        float64         `json:"relative_tolerance"`
	Crossing         *[2]float64     `json:"crossing_lonlat"`
	BBox             *[4]float64     `json:"bbox"`
	Overlap          float64         `json:"overlap_m2"`
	Tracks           []wantedTrack   `json:"tracks"`
	Points           json.RawMessage `json:"points"` // a number where it means pins
	Places           [][2]float64    `json:"lonlat"`
	Off              float64         `json:"position_tolerance_m"`
	Notes            []string        `json:"notes"`
	Centroid         *[2]float64     `json:"centroid_lonlat"`
	AsBlock          *wantedBlock    `json:"as_block"`
	AsTrack          *wantedTrack    `json:"as_track"`
	MustNotContain   string          `json:"must_not_contain"`
}

type wantedTrack struct {
	Length   float64  `json:"length_m"`
	Points   *int     `json:"points"`
	Segments *int     `json:"segments"`
	Start    *string  `json:"start"`
	End      *string  `json:"end"`
	Duration *float64 `json:"duration_s"`
}

type wantedBlock struct {
	Name      string  `json:"name"`
	Area      float64 `json:"area_m2"`
	Perimeter float64 `json:"outer_perimeter_m"`
	Parts     *int    `json:"parts"`
	Holes     *int    `json:"holes"`
}

type caseRow struct{ dir, id, file, format, outcome, also, expected string }

func readCases(t *testing.T, dir string) []caseRow {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "cases.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	var out []caseRow
	for _, r := range rows[1:] {
		out = append(out, caseRow{dir, r[column["id"]], r[column["file"]], strings.TrimPrefix(filepath.Ext(r[column["file"]]), "."),
			r[column["expected_outcome"]], r[column["also_acceptable"]], r[column["expected"]]})
	}
	return out
}

// TestCases runs the cases set (source: testdata/cases/README.md) with the
// comparisons of the set's own checker: outcomes, counts, areas within 0.1 %,
// perimeters within 0.1 % or 0.05 m, names, words that must be said.
func TestCases(t *testing.T) {
	run := 0
	for _, c := range readCases(t, cases) {
		if c.file == "files/V089-times-chicago.csv" || c.file == "files/V090-units-convert.csv" {
			continue // tables of times and units: tests of blocks/when and records/quantity
		}
		run++
		t.Run(c.id, func(t *testing.T) {
			runCase(t, c)
		})
	}
	if run != 88 {
		t.Errorf("%d cases run; the set has 88 with shapes", run)
	}
}

// TestVariants runs the same faults in other files (source: testdata/variants/README.md).
func TestVariants(t *testing.T) {
	rows := readCases(t, variants)
	for _, c := range rows {
		t.Run(c.id, func(t *testing.T) { runCase(t, c) })
	}
	if len(rows) != 71 {
		t.Errorf("%d variants run; the set has 71", len(rows))
	}
}

func runCase(t *testing.T, c caseRow) {
	t.Helper()
	var want wanted
	if err := json.Unmarshal([]byte(c.expected), &want); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(filepath.Join(c.dir, c.file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	started := time.Now()
	p, err := Read(context.Background(), f, filepath.Base(c.file), Options{})
	if err != nil {
		t.Fatal(err)
	}
	took := time.Since(started).Seconds()
	if want.MaxSeconds > 0 && took > want.MaxSeconds {
		t.Errorf("took %.1f s; want at most %.0f", took, want.MaxSeconds)
	}
	for _, lang := range []words.Language{words.English, words.Spanish} {
		unfilled(t, p, lang)
	}
	judge(t, c, want, p)
}

func judge(t *testing.T, c caseRow, want wanted, p Proposal) {
	t.Helper()
	got := p.JSON(words.English)
	text := spoken(t, got)
	if string(p.Outcome) != c.outcome {
		if !regexp.MustCompile(`\b` + string(p.Outcome) + `\b`).MatchString(strings.ToLower(c.also)) {
			t.Fatalf("%s: outcome %s; want %s, or %q\n%s", c.file, p.Outcome, c.outcome, c.also, text)
		}
		t.Logf("outcome %s instead of %s, allowed: %s", p.Outcome, c.outcome, c.also)
	}
	if p.Outcome == Reject || p.Outcome == Ask {
		judgeRefusal(t, c, want, p, got, text)
		return
	}
	if p.Refusal() != nil {
		t.Errorf("outcome %s with a refusal: %v", p.Outcome, p.Refusal())
	}
	if p.Outcome == Repair && len(p.Notices) == 0 {
		t.Error("repaired without a notice")
	}
	if want.Blocks != nil {
		judgeBlocks(t, want, got.Blocks)
	}
	if string(p.Outcome) == c.outcome {
		mentions(t, "notice", text, want.Warn)
	}
	if want.Other != nil && got.Other != *want.Other {
		t.Errorf("other %+v; want %+v", got.Other, *want.Other)
	}
	for i, id := range want.IDsExact {
		if i < len(got.Blocks) && fmt.Sprint(got.Blocks[i].ID) != id {
			t.Errorf("id %v; want %s", got.Blocks[i].ID, id)
		}
	}
	for i, id := range want.IDs {
		a, _ := json.Marshal(got.Blocks[i].ID)
		b, _ := json.Marshal(id)
		if string(a) != string(b) {
			t.Errorf("id %s; want %s", a, b)
		}
	}
	if want.BBox != nil {
		box := p.Blocks[0].Geometry.Flat.Bound()
		for i, v := range []float64{box.Min[0], box.Min[1], box.Max[0], box.Max[1]} {
			if math.Abs(v-want.BBox[i]) > 1e-9 {
				t.Errorf("box %v; want %v", box, *want.BBox)
			}
		}
	}
	judgeTracks(t, want, got)
	judgePins(t, want, got)
	if want.Centroid != nil {
		if off := float64(measure.Distance(got.Blocks[0].Centroid, geo.Position(*want.Centroid))); off > max(want.Off, 0.3) {
			t.Errorf("centroid %v is %.2f m off %v", got.Blocks[0].Centroid, off, *want.Centroid)
		}
	}
	if want.MustNotContain != "" && strings.Contains(text, want.MustNotContain) {
		t.Errorf("leaks %q", want.MustNotContain)
	}
	if want.Overlap > 0 && !strings.Contains(text, fmt.Sprintf("%.0f", math.Floor(want.Overlap))) {
		t.Errorf("the overlap of %.2f m2 is not said: %s", want.Overlap, text)
	}
}

func judgeRefusal(t *testing.T, c caseRow, want wanted, p Proposal, got JSON, text string) {
	t.Helper()
	if len(got.Blocks)+len(got.Tracks)+len(got.Points) > 0 {
		t.Errorf("%s, yet it gives shapes", p.Outcome)
	}
	refusal := p.Refusal()
	if len(got.Errors)+len(got.Questions) == 0 || refusal == nil || len(refusal.Details) == 0 {
		t.Fatalf("%s without a reason", p.Outcome)
	}
	if string(p.Outcome) == c.outcome {
		mentions(t, "error", text, want.Error)
		mentions(t, "hint", text, want.Hint)
		if want.ErrorHasPosition && !regexp.MustCompile(`(line|byte|offset|feature|row|position|column)\W*\d`).MatchString(text) {
			t.Errorf("the error names no line, byte or feature: %s", text)
		}
	}
	if want.Crossing != nil {
		at := got.Errors[0].At.Position
		// 1e-6 degrees is 0.1 m, the digits that the set gives.
		if at == nil || math.Abs(at[0]-want.Crossing[0]) > 1e-6 || math.Abs(at[1]-want.Crossing[1]) > 1e-6 {
			t.Errorf("crossing at %v; want %v", at, *want.Crossing)
		}
	}
}

func judgeBlocks(t *testing.T, want wanted, got []BlockJSON) {
	t.Helper()
	if len(got) != len(want.Blocks) {
		t.Fatalf("%d blocks; want %d", len(got), len(want.Blocks))
	}
	rel := want.Tolerance
	if rel == 0 {
		rel = 0.001
	}
	for i, w := range want.Blocks {
		g := got[i]
		if math.Abs(g.Area-w.Area) > max(w.Area*rel, 0.01) {
			t.Errorf("block %d: area %.2f m2; want %.2f", i, g.Area, w.Area)
		}
		if w.Perimeter > 0 && math.Abs(g.Perimeter-w.Perimeter) > max(w.Perimeter*rel, 0.05) {
			t.Errorf("block %d: perimeter %.2f m; want %.2f", i, g.Perimeter, w.Perimeter)
		}
		if w.Parts != nil && g.Parts != *w.Parts || w.Holes != nil && g.Holes != *w.Holes {
			t.Errorf("block %d: %d parts, %d holes; want %+v", i, g.Parts, g.Holes, w)
		}
		if w.Name != "" && g.Name != w.Name {
			t.Errorf("block %d: name %q; want %q", i, g.Name, w.Name)
		}
	}
}

func judgeTracks(t *testing.T, want wanted, got JSON) {
	t.Helper()
	tracks := want.Tracks
	if want.AsTrack != nil {
		tracks = []wantedTrack{*want.AsTrack}
	}
	if tracks == nil {
		return
	}
	if len(got.Tracks) != len(tracks) {
		t.Fatalf("%d tracks; want %d", len(got.Tracks), len(tracks))
	}
	for i, w := range tracks {
		g := got.Tracks[i]
		if w.Length > 0 && math.Abs(g.Length-w.Length) > max(w.Length*0.001, 0.05) {
			t.Errorf("track %d: %.2f m; want %.2f", i, g.Length, w.Length)
		}
		if w.Points != nil && g.Points != *w.Points || w.Segments != nil && g.Segments != *w.Segments {
			t.Errorf("track %d: %d points, %d segments; want %+v", i, g.Points, g.Segments, w)
		}
		if w.Duration != nil && (g.Duration == nil || math.Abs(*g.Duration-*w.Duration) > 0.01) {
			t.Errorf("track %d: %v s; want %v", i, g.Duration, *w.Duration)
		}
		for _, at := range []struct {
			got  *time.Time
			want *string
		}{{g.Start, w.Start}, {g.End, w.End}} {
			if at.want != nil && (at.got == nil || at.got.Format(time.RFC3339Nano) != *at.want) {
				t.Errorf("track %d: time %v; want %s", i, at.got, *at.want)
			}
		}
	}
}

func judgePins(t *testing.T, want wanted, got JSON) {
	t.Helper()
	var count int
	if json.Unmarshal(want.Points, &count) != nil {
		return
	}
	if len(got.Points) != count {
		t.Fatalf("%d points; want %d", len(got.Points), count)
	}
	tolerance := want.Off
	if tolerance == 0 {
		tolerance = 0.02 // the set's own
	}
	for i, w := range want.Places {
		g := got.Points[i]
		if off := float64(measure.Distance(geo.Position{g.Lon, g.Lat}, geo.Position(w))); off > tolerance {
			t.Errorf("point %d is %.3f m off %v", i, off, w)
		}
	}
	for i, w := range want.Notes {
		if got.Points[i].Note != w {
			t.Errorf("point %d: note %q; want %q", i, got.Points[i].Note, w)
		}
	}
}

func spoken(t *testing.T, j JSON) string {
	t.Helper()
	all := append(append([]SaidJSON{}, j.Notices...), j.Errors...)
	for _, q := range j.Questions {
		all = append(all, q.SaidJSON)
	}
	out, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return strings.ToLower(string(out))
}

func mentions(t *testing.T, what, text string, any []string) {
	t.Helper()
	if len(any) == 0 {
		return
	}
	for _, w := range any {
		if strings.Contains(text, strings.ToLower(w)) {
			return
		}
	}
	t.Errorf("no %s mentions any of %q: %s", what, any, text)
}

// unfilled looks for messages with a placeholder left or nothing said.
func unfilled(t *testing.T, p Proposal, lang words.Language) {
	t.Helper()
	j := p.JSON(lang)
	all := append(append([]SaidJSON{}, j.Notices...), j.Errors...)
	for _, q := range j.Questions {
		all = append(all, q.SaidJSON)
	}
	for _, s := range all {
		if s.Message == "" || s.Key == "" || regexp.MustCompile(`\{[a-z]+\}`).MatchString(s.Message+s.Fix) {
			t.Errorf("%s: message %+v", lang, s)
		}
	}
}
