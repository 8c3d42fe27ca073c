package tiles

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	_ "github.com/mattn/go-sqlite3" // the driver "sqlite3"

	"caneward/geo"
)

// sqliteHeader opens every SQLite 3 file (sqlite.org/fileformat2.html, 1.3.1).
const sqliteHeader = "SQLite format 3\x00"

// maxImage is the largest tile handed on; a 512 pixel photograph takes 0.3 MB.
const maxImage = 2 << 20

// archive is an MBTiles 1.3 file, opened for reading only. Its rows count from
// the south (TMS), ours from the north.
type archive struct {
	db   *sql.DB
	info Info
}

func openArchive(path string) (BaseMap, error) {
	if err := checkHeader(path); err != nil {
		return nil, err
	}
	whole, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("base map %s: %w", path, err)
	}
	dsn := url.URL{Scheme: "file", Path: whole, RawQuery: "mode=ro&immutable=1&_query_only=1"}
	db, err := sql.Open("sqlite3", dsn.String())
	if err != nil {
		return nil, fmt.Errorf("base map %s: %w", path, err)
	}
	info, err := readMetadata(db)
	if err == nil {
		_, err = db.Exec(`SELECT tile_data FROM tiles WHERE zoom_level = 0 AND tile_column = 0 AND tile_row = 0`)
	}
	if err != nil {
		db.Close()
		return nil, fmt.Errorf("base map %s is no MBTiles file: %w", path, err)
	}
	if info.Name == "" {
		info.Name = filepath.Base(path)
	}
	return &archive{db: db, info: info}, nil
}

func checkHeader(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("base map: %w", err)
	}
	defer f.Close()
	head := make([]byte, len(sqliteHeader))
	if _, err := io.ReadFull(f, head); err != nil || string(head) != sqliteHeader {
		return fmt.Errorf("base map %s is no MBTiles file: it does not begin as SQLite files do", path)
	}
	return nil
}

// readMetadata reads the table of the specification's section "Metadata".
func readMetadata(db *sql.DB) (Info, error) {
	rows, err := db.Query(`SELECT name, value FROM metadata`)
	if err != nil {
		return Info{}, err
	}
	defer rows.Close()
	said := map[string]string{}
	for rows.Next() {
		var name, value sql.NullString
		if err := rows.Scan(&name, &value); err != nil {
			return Info{}, err
		}
		said[name.String] = value.String
	}
	if err := rows.Err(); err != nil {
		return Info{}, err
	}
	switch said["format"] {
	case "png", "jpg", "jpeg", "webp":
	default:
		return Info{}, fmt.Errorf("its tiles are %q; png, jpg and webp are read", said["format"])
	}
	info := Info{Kind: "file", Name: said["name"], Attribution: said["attribution"], MaxZoom: MaxZoom, Bounds: parseBounds(said["bounds"])}
	if z, err := strconv.ParseUint(said["minzoom"], 10, 32); err == nil && z <= MaxZoom {
		info.MinZoom = uint32(z)
	}
	if z, err := strconv.ParseUint(said["maxzoom"], 10, 32); err == nil && z <= MaxZoom {
		info.MaxZoom = uint32(z)
	}
	return info, nil
}

func parseBounds(text string) *geo.Box {
	parts := strings.Split(text, ",")
	if len(parts) != 4 {
		return nil
	}
	var n [4]float64
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || v != v || v < -180 || v > 180 {
			return nil
		}
		n[i] = v
	}
	return &geo.Box{Min: geo.Position{n[0], n[1]}, Max: geo.Position{n[2], n[3]}}
}

func (m *archive) Info() Info { return m.info }

func (m *archive) Close() error { return m.db.Close() }

func (m *archive) Tile(ctx context.Context, a Address) (Image, error) {
	var data []byte
	row := uint32(1)<<a.Z - 1 - a.Y
	err := m.db.QueryRowContext(ctx, `SELECT tile_data FROM tiles WHERE zoom_level = ? AND tile_column = ? AND tile_row = ? AND length(tile_data) <= ?`,
		a.Z, a.X, row, maxImage).Scan(&data)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Image{}, ErrNoTile
	case err != nil:
		return Image{}, fmt.Errorf("base map tile %d/%d/%d: %w", a.Z, a.X, a.Y, err)
	}
	kind := imageType(data)
	if kind == "" {
		return Image{}, ErrNoTile
	}
	return Image{Data: data, Type: kind}, nil
}
