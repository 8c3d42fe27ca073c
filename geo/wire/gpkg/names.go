package gpkg

import (
	"strconv"
	"strings"
)

// wgs84 is the system of everything this package writes.
const wgs84 = 4326

// reserved begin the names of tables that belong to SQLite and the standard.
var reserved = []string{"sqlite_", "gpkg_", "rtree_"}

// tidy is a name as SQLite and C programs can hold it.
func tidy(name string) string {
	name = strings.ReplaceAll(name, "\x00", "_")
	for _, r := range reserved {
		if strings.HasPrefix(strings.ToLower(name), r) {
			return "_" + name
		}
	}
	return name
}

// names gives each table or column a name of its own: SQLite takes "Row" and
// "row" for the same.
type names map[string]bool

func (n names) give(name string) string {
	base := tidy(name)
	given := base
	for i := 2; given == "" || n[strings.ToLower(given)]; i++ {
		given = base + "_" + strconv.Itoa(i)
	}
	n[strings.ToLower(given)] = true
	return given
}

// madeFrom reports whether give may have made a name from another, so that the
// other is what was meant. In files of other programs the second name is a
// title, and the first is what people know.
func madeFrom(given, name string) bool {
	rest, ok := strings.CutPrefix(given, tidy(name))
	if !ok {
		return false
	}
	if rest == "" {
		return true
	}
	digits, ok := strings.CutPrefix(rest, "_")
	_, err := strconv.ParseUint(digits, 10, 31)
	return ok && err == nil
}

// quoted is a name in SQL.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
