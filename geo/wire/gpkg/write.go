package gpkg

import (
	"bytes"
	"context"
	"database/sql/driver"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"caneward/geo/wire"

	"github.com/mattn/go-sqlite3"
)

// unchanged stands where the standard wants the moment of the last change: the
// same document is to give the same bytes.
const unchanged = "1970-01-01T00:00:00.000Z"

// The tables are those of OGC 12-128r18, annex C, and of its schema extension,
// annex F.9.
var standardTables = []string{
	`CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT)`,
	`CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER, CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))`,
	`CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL, CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name), CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name), CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id))`,
	`CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))`,
	`CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT, constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name))`,
	`CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))`,
	`INSERT INTO gpkg_extensions VALUES
		('gpkg_data_columns', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema', 'read-write'),
		('gpkg_data_column_constraints', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema', 'read-write')`,
	`INSERT INTO gpkg_spatial_ref_sys VALUES
		('Undefined cartesian SRS', -1, 'NONE', -1, 'undefined', 'undefined cartesian coordinate reference system'),
		('Undefined geographic SRS', 0, 'NONE', 0, 'undefined', 'undefined geographic coordinate reference system'),
		('WGS 84 geodetic', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]', 'longitude/latitude coordinates in decimal degrees on the WGS 84 spheroid')`,
}

// Write writes a GeoPackage 1.3 in WGS 84, a table for each layer: fid, geom,
// id, then a column for each property, INTEGER, REAL, BOOLEAN or TEXT when all
// its values are, else TEXT holding JSON, which gpkg_data_columns says. Names
// that SQLite cannot tell apart get a number behind, the true one standing in
// gpkg_data_columns.name or gpkg_contents.identifier. The document's title and
// notice are each table's description. The same document gives the same bytes:
// last_change is the start of 1970.
//
// [Open] gives everything back but: the order of properties, which is that of
// the first feature to have each; null, which is read as an absent property
// unless the column is JSON; no properties, which come back as {}; no id in a
// layer where no feature has one, whose ids are then 1, 2, 3 …; a ring or box,
// which becomes a polygon; a number's way of writing, 1.50 or 15e-1; foreign
// members; and a layer without features.
//
// A layer of features without any place becomes a table of attributes. The
// error is a *wire.Error for what cannot be written: the same id twice
// (wire.RuleID), more than 1,997 properties in a layer (RuleColumns), a
// coordinate that is not finite, more heights than vertices.
func Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	db, err := inMemory()
	if err != nil {
		return err
	}
	err = write(ctx, db, doc)
	var data []byte
	if err == nil {
		data, err = db.Serialize("")
	}
	if err := errors.Join(err, db.Close()); err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

func write(ctx context.Context, db database, doc wire.Document) error {
	start := []string{
		fmt.Sprintf("PRAGMA application_id=%d", applicationID),
		fmt.Sprintf("PRAGMA user_version=%d", userVersion),
		"BEGIN",
	}
	for _, s := range append(start, standardTables...) {
		if err := db.run(s); err != nil {
			return err
		}
	}
	tables, identifiers := names{}, names{}
	for _, l := range doc.Layers {
		if l.Name == "" {
			l.Name = "features"
		}
		p, err := planLayer(ctx, l, tables.give(l.Name))
		if err != nil {
			return err
		}
		p.name = identifierOf(identifiers, l.Name)
		if err := db.create(p, description(doc)); err != nil {
			return err
		}
		if err := db.fill(ctx, p, l); err != nil {
			return err
		}
	}
	return db.run("COMMIT")
}

// identifierOf keeps a layer's name as it is unless it was given already; the
// standard wants them all different.
func identifierOf(given names, name string) string {
	if !given[name] {
		given[name] = true
		return name
	}
	return given.give(name)
}

func description(doc wire.Document) string {
	said := []string{}
	for _, s := range []string{doc.Title, doc.Notice} {
		if s != "" {
			said = append(said, s)
		}
	}
	return strings.Join(said, ": ")
}

func (db database) run(statement string, args ...driver.Value) error {
	named := make([]driver.NamedValue, len(args))
	for i, a := range args {
		named[i] = driver.NamedValue{Ordinal: i + 1, Value: a}
	}
	// The background: nothing here takes long, and the driver watches any other
	// context with a goroutine for every row.
	if _, err := db.ExecContext(context.Background(), statement, named); err != nil {
		return fmt.Errorf("gpkg: %w", err)
	}
	return nil
}

// create makes a layer's table and describes it.
func (db database) create(p *plan, description string) error {
	columns := []string{"fid INTEGER PRIMARY KEY NOT NULL"}
	if p.spatial() {
		columns = append(columns, "geom "+p.shape())
	}
	if p.ids.column() {
		columns = append(columns, "id TEXT UNIQUE")
	}
	for _, c := range p.properties {
		columns = append(columns, quoted(c.column.column)+" "+declared[c.kind])
	}
	if err := db.run("CREATE TABLE " + quoted(p.table) + " (" + strings.Join(columns, ", ") + ")"); err != nil {
		return err
	}
	kind, srs := "attributes", driver.Value(nil)
	if p.spatial() {
		kind, srs = "features", int64(wgs84)
	}
	box := make([]driver.Value, 4)
	if p.bounded {
		box = []driver.Value{p.bound.Min[0], p.bound.Min[1], p.bound.Max[0], p.bound.Max[1]}
	}
	row := append(append([]driver.Value{p.table, kind, p.name, description, unchanged}, box...), srs)
	if err := db.run("INSERT INTO gpkg_contents VALUES (?,?,?,?,?,?,?,?,?,?)", row...); err != nil {
		return err
	}
	if p.spatial() {
		if err := db.run("INSERT INTO gpkg_geometry_columns VALUES (?,'geom',?,?,?,?)", p.table, p.shape(), int64(wgs84), p.some(p.withZ), p.some(p.withM)); err != nil {
			return err
		}
	}
	return db.describe(p)
}

// describe says which columns hold JSON and which have another name.
func (db database) describe(p *plan) error {
	const insert = "INSERT INTO gpkg_data_columns (table_name, column_name, name, mime_type) VALUES (?,?,?,?)"
	if p.ids.json() {
		if err := db.run(insert, p.table, "id", nil, jsonType); err != nil {
			return err
		}
	}
	for _, c := range p.properties {
		var name, mime driver.Value
		if c.column.column != c.name {
			name = c.name
		}
		if c.asJSON() {
			mime = jsonType
		}
		if name == nil && mime == nil {
			continue
		}
		if err := db.run(insert, p.table, c.column.column, name, mime); err != nil {
			return err
		}
	}
	return nil
}

// fill writes a layer's rows, one at a time.
func (db database) fill(ctx context.Context, p *plan, l wire.Layer) (err error) {
	given := 1 + len(p.properties) // fid and properties
	if p.spatial() {
		given++
	}
	if p.ids.column() {
		given++
	}
	insert, err := db.PrepareContext(context.Background(), "INSERT INTO "+quoted(p.table)+" VALUES (?"+strings.Repeat(",?", given-1)+")")
	if err != nil {
		return fmt.Errorf("gpkg: %w", err)
	}
	defer func() { err = errors.Join(err, insert.Close()) }()
	number := 0
	for f, err := range l.Features {
		number++
		if err == nil {
			err = ctx.Err()
		}
		var row []driver.NamedValue
		if err == nil {
			row, err = p.row(f, number)
		}
		if err == nil {
			err = inserted(insert, row, f)
		}
		if err != nil {
			return inLayer(err, l.Name, number)
		}
	}
	return nil
}

func inserted(insert driver.Stmt, row []driver.NamedValue, f wire.Feature) error {
	_, err := insert.(driver.StmtExecContext).ExecContext(context.Background(), row)
	var failed sqlite3.Error
	if errors.As(err, &failed) && failed.ExtendedCode == sqlite3.ErrConstraintUnique {
		return &wire.Error{Rule: wire.RuleID, Byte: -1, Got: f.ID, Err: err}
	}
	if err != nil {
		return fmt.Errorf("gpkg: %w", err)
	}
	return nil
}

func (p *plan) row(f wire.Feature, number int) ([]driver.NamedValue, error) {
	row := []driver.NamedValue{}
	add := func(v driver.Value) { row = append(row, driver.NamedValue{Ordinal: len(row) + 1, Value: v}) }
	fid := int64(number)
	if p.ids.keyed() {
		fid, _ = exactInteger(f.ID)
	}
	add(fid)
	if p.spatial() {
		if f.Geometry.Empty() {
			add(nil)
		} else if blob, err := encodeBlob(f.Geometry); err != nil {
			return nil, err
		} else {
			add(blob)
		}
	}
	if p.ids.column() {
		add(p.ids.value(f))
	}
	first := len(row)
	for range p.properties {
		add(nil)
	}
	err := eachMember(f.Properties, func(name string, value json.RawMessage) error {
		c := p.byName[name]
		if c == nil {
			return &wire.Error{Rule: RuleColumns, Path: name, Byte: -1, Err: errors.New("the second walk through the layer found what the first did not")}
		}
		v, err := c.value(value)
		row[first+c.place].Value = v
		return err
	})
	return row, err
}

func (p *idPlan) value(f wire.Feature) driver.Value {
	switch {
	case f.IDKind == wire.NoID:
		return nil
	case p.json() && f.IDKind == wire.StringID:
		return string(appendText(nil, f.ID))
	}
	return f.ID
}

// value is a JSON value as its column keeps it.
func (c *property) value(value json.RawMessage) (driver.Value, error) {
	if c.asJSON() {
		var b bytes.Buffer
		if err := json.Compact(&b, value); err != nil {
			return nil, &wire.Error{Rule: wire.RuleSyntax, Path: c.name, Byte: -1, Err: err}
		}
		return b.String(), nil
	}
	if value[0] == 'n' {
		return nil, nil
	}
	var err error
	var v driver.Value
	switch c.kind {
	case integers:
		v, err = strconv.ParseInt(string(value), 10, 64)
	case reals:
		v, err = strconv.ParseFloat(string(value), 64)
	case booleans:
		v, err = strconv.ParseBool(string(value))
	case texts:
		var text string
		err = json.Unmarshal(value, &text)
		v = text
	}
	if err != nil {
		return nil, &wire.Error{Rule: wire.RuleSyntax, Path: c.name, Byte: -1, Err: err}
	}
	return v, nil
}
