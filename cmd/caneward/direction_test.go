package main

import (
	"bufio"
	"bytes"
	"os/exec"
	"strings"
	"testing"
)

// forbidden holds the dependency direction: no package whose path is or lies
// under from may reach to, directly or through others. Of our own packages
// those under to count as well; of others only the one named:
// database/sql/driver, which the geometry libraries link for its interfaces, is
// no database.
var forbidden = []struct {
	from, to string
	except   string // a package under from that may
	reason   string
}{
	{"caneward/geo", "caneward/blocks", "", "geometry is a library: it knows nothing of farms"},
	{"caneward/geo", "caneward/records", "", "geometry is a library: it knows nothing of farms"},
	{"caneward/geo", "database/sql", "caneward/geo/wire/gpkg", "geometry computes; it keeps nothing. A GeoPackage is an SQLite file, read and written in memory"},
	{"caneward/geo", "net/http", "", "geometry computes; it serves nothing"},
	{"caneward/geo", "log/slog", "", "a library returns errors, it does not log"},
	{"caneward/geo/plane", "github.com/twpayne/go-geom", "", "go-geom has one home, geo/wire"},
	{"caneward/geo/overlay", "github.com/paulmach/orb/geojson", "", "orb's GeoJSON drops heights and links a database driver"},
	{"caneward/geo/wire", "github.com/paulmach/orb/geojson", "", "orb's GeoJSON drops heights and links a database driver"},
	{"caneward/geo/wire", "github.com/paulmach/orb/encoding/ewkb", "", "orb reads EWKB with Z or M as garbage without an error"},
	{"caneward/blocks", "database/sql", "", "rules know no SQL"},
	{"caneward/blocks", "net/http", "", "rules know no HTTP"},
	{"caneward/blocks", "caneward/records", "", "records refer to blocks, not the other way round"},
	{"caneward/records", "net/http", "", "rules know no HTTP"},
	{"caneward/records", "caneward/web", "", "the edge calls the rules, not the other way round"},
	{"caneward/records", "database/sql", "caneward/records/sqlite", "rules know no SQL; one backend, one package"},
	{"caneward/records/sqlite", "caneward/records/spray", "", "stores decide no rules"},
	{"caneward/records/sqlite", "caneward/records/scouting", "", "stores decide no rules"},
	{"caneward/records/sqlite", "caneward/records/entry", "", "stores decide no rules"},
	{"caneward/records/memory", "caneward/records/entry", "", "stores decide no rules"},
	{"caneward/records/spray", "caneward/records/entry", "", "one way in stands above every rule"},
	{"caneward/records/hotspot", "caneward/records/entry", "", "one way in stands above every rule"},
	{"caneward/records/review", "caneward/records/entry", "", "one way in stands above every rule"},
	{"caneward/records/fence", "caneward/records/entry", "", "what is seen is decided below the rules"},
	{"caneward/tiles", "caneward/records", "", "tiles draw shapes; what they mean is decided above"},
	{"caneward/web", "caneward/records/sqlite", "", "handlers speak to the store's interface; main chooses the store"},
	{"caneward/web", "caneward/records/memory", "", "handlers speak to the store's interface; main chooses the store"},
}

// owners keep what is behind them to themselves: whoever calls one does not
// thereby reach it. A GeoPackage is an SQLite file, which its codec reads and
// writes in memory; those who ask it for features know no SQL.
var owners = map[string]string{"database/sql": "caneward/geo/wire/gpkg"}

// reached gives all that a package imports, directly or through others that are
// not owner.
func reached(imports map[string][]string, pkg, owner string) map[string]bool {
	all := map[string]bool{}
	waiting := []string{pkg}
	for len(waiting) > 0 {
		next := waiting[len(waiting)-1]
		waiting = waiting[:len(waiting)-1]
		for _, i := range imports[next] {
			if !all[i] && i != owner {
				all[i] = true
				waiting = append(waiting, i)
			}
		}
	}
	return all
}

func under(pkg, root string) bool { return pkg == root || strings.HasPrefix(pkg, root+"/") }

func TestDependencyDirection(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "caneward/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	imports := map[string][]string{}
	known := map[string]bool{}
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 1<<22)
	for lines.Scan() {
		names := strings.Fields(lines.Text())
		imports[names[0]] = names[1:]
		for _, n := range names {
			known[n] = true
		}
	}
	// Two libraries are named so that they stay out; they need not be linked.
	mayBeAbsent := map[string]bool{"github.com/paulmach/orb/geojson": true, "github.com/paulmach/orb/encoding/ewkb": true}
	for _, f := range forbidden {
		for _, name := range []string{f.from, f.to} {
			if !known[name] && !anyUnder(known, name) && !mayBeAbsent[name] {
				t.Errorf("%s is forbidden to reach %s, but there is no %s: mend the list", f.from, f.to, name)
			}
		}
		for pkg := range imports {
			if !under(pkg, f.from) || f.except != "" && under(pkg, f.except) {
				continue
			}
			for d := range reached(imports, pkg, owners[f.to]) {
				if d == f.to || strings.HasPrefix(f.to, "caneward/") && under(d, f.to) {
					t.Errorf("%s reaches %s: %s", pkg, d, f.reason)
				}
			}
		}
	}
}

func anyUnder(known map[string]bool, root string) bool {
	for k := range known {
		if under(k, root) {
			return true
		}
	}
	return false
}
