package gpkg

import (
	"bytes"
	"context"
	"database/sql/driver"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"caneward/geo/wire"

	"github.com/mattn/go-sqlite3"
)

// IsSQLite reports whether the bytes begin as an SQLite file does.
func IsSQLite(data []byte) bool { return bytes.HasPrefix(data, []byte(sqliteMagic)) }

// Detects reports whether the bytes are an SQLite file that says it is a
// GeoPackage, or holds the name of a GeoPackage's first table.
func Detects(data []byte) bool {
	if !IsSQLite(data) || len(data) < sqliteHeader {
		return false
	}
	switch string(data[offsetOfID : offsetOfID+4]) {
	case "GPKG", "GP10", "GP11":
		return true
	}
	return bytes.Contains(data, []byte("gpkg_contents"))
}

// checkHeader looks at what SQLite's header says of the file (The SQLite
// Database File Format, section 1.3).
func checkHeader(data []byte, l wire.Limits) *wire.Error {
	if int64(len(data)) > l.Bytes {
		return &wire.Error{Rule: wire.RuleBytes, Byte: -1, Limit: l.Bytes}
	}
	if !IsSQLite(data) {
		return &wire.Error{Rule: RuleDatabase, Byte: 0}
	}
	if len(data) < sqliteHeader {
		return &wire.Error{Rule: wire.RuleTruncated, Byte: int64(len(data))}
	}
	page := int64(binary.BigEndian.Uint16(data[offsetOfPage:]))
	if page == 1 {
		page = 1 << 16
	}
	if page < 512 || page&(page-1) != 0 {
		return &wire.Error{Rule: RuleCorrupt, Byte: offsetOfPage, Got: fmt.Sprint(page), Err: errors.New("page size")}
	}
	word := func(at int) uint32 { return binary.BigEndian.Uint32(data[at:]) }
	if word(offsetOfChange) == word(offsetOfValid) && int64(word(offsetOfPages))*page > int64(len(data)) {
		return &wire.Error{Rule: wire.RuleTruncated, Byte: int64(len(data)), Err: fmt.Errorf("%d pages of %d bytes", word(offsetOfPages), page)}
	}
	return nil
}

// withoutWAL gives the bytes with a rollback journal: SQLite opens no file in
// memory that wants a write-ahead log beside it.
func withoutWAL(data []byte) (changed []byte, wal bool) {
	const rollback, writeAhead = 1, 2
	if data[offsetOfJournal] != writeAhead && data[offsetOfJournal+1] != writeAhead {
		return data, false
	}
	changed = bytes.Clone(data)
	changed[offsetOfJournal], changed[offsetOfJournal+1] = rollback, rollback
	return changed, true
}

// What a foreign file may ask of SQLite. The longest statement is our own, of
// as many columns as a table can have.
const (
	mostSQL        = 1 << 20
	mostColumns    = 2000 // SQLite's own bound
	mostExpression = 50
	mostCompound   = 2
)

// settings hold for a file that nobody trusts (sqlite.org/security.html): no
// function of the schema that could do harm, nothing written, cells checked
// before they are used, nothing on disk.
var settings = []string{
	"PRAGMA trusted_schema=OFF",
	"PRAGMA cell_size_check=ON",
	"PRAGMA temp_store=MEMORY",
	"PRAGMA mmap_size=0",
	"PRAGMA query_only=ON",
}

// database is an SQLite file in memory.
type database struct{ *sqlite3.SQLiteConn }

func inMemory() (database, error) {
	c, err := (&sqlite3.SQLiteDriver{}).Open(":memory:")
	if err != nil {
		return database{}, fmt.Errorf("gpkg: %w", err)
	}
	return database{c.(*sqlite3.SQLiteConn)}, nil
}

// openBytes opens bytes that nobody trusts.
func openBytes(ctx context.Context, data []byte) (database, error) {
	db, err := inMemory()
	if err != nil {
		return db, err
	}
	if err := db.Deserialize(data, ""); err != nil {
		return db, errors.Join(fmt.Errorf("gpkg: %w", err), db.Close())
	}
	// No value is longer than the file that holds it.
	db.SetLimit(sqlite3.SQLITE_LIMIT_LENGTH, min(max(len(data), mostSQL), math.MaxInt32))
	db.SetLimit(sqlite3.SQLITE_LIMIT_SQL_LENGTH, mostSQL)
	db.SetLimit(sqlite3.SQLITE_LIMIT_COLUMN, mostColumns)
	db.SetLimit(sqlite3.SQLITE_LIMIT_EXPR_DEPTH, mostExpression)
	db.SetLimit(sqlite3.SQLITE_LIMIT_COMPOUND_SELECT, mostCompound)
	db.SetLimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
	db.SetLimit(sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH, 0)
	db.SetLimit(sqlite3.SQLITE_LIMIT_WORKER_THREADS, 0)
	for _, s := range settings {
		if _, err := db.ExecContext(ctx, s, nil); err != nil {
			return db, errors.Join(failure(ctx, err, ""), db.Close())
		}
	}
	db.RegisterAuthorizer(authorize)
	return db, nil
}

// authorize lets statements read columns and ask for a table's columns, no
// more: no function, no recursion, no other file.
func authorize(action int, what, _, _ string) int {
	const pragma, read, selects = 19, 20, 21 // sqlite3.h, Authorizer Action Codes
	switch {
	case action == read, action == selects, action == pragma && what == "table_xinfo":
		return sqlite3.SQLITE_OK
	}
	return sqlite3.SQLITE_DENY
}

// failure says that SQLite could not read a table, or that time is up.
func failure(ctx context.Context, err error, table string) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return &wire.Error{Rule: RuleCorrupt, Entry: table, Byte: -1, Err: err}
}

func text(v driver.Value) string {
	switch v := v.(type) {
	case string:
		return v
	case []byte:
		return string(v)
	}
	return ""
}

func integer(v driver.Value) (int64, bool) {
	switch v := v.(type) {
	case int64:
		return v, true
	case bool:
		if v {
			return 1, true
		}
		return 0, true
	}
	return 0, false
}
