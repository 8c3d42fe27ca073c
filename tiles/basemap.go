package tiles

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"caneward/geo"
)

// ErrNoTile says that the base map has no such tile.
var ErrNoTile = errors.New("tiles: the base map has no such tile")

// BaseMap is a source of ready-drawn tiles. Every method is safe for
// concurrent use.
type BaseMap interface {
	Info() Info
	// Tile is one image; ErrNoTile where the map has none.
	Tile(context.Context, Address) (Image, error)
	Close() error
}

// Info describes a base map. Attribution is what must be shown beside it, as
// plain text; empty when the source says none.
type Info struct {
	Kind        string // "file" or "server"
	Name        string
	Attribution string
	MinZoom     uint32
	MaxZoom     uint32
	Bounds      *geo.Box // nil where unknown
}

// Image is one tile and its media type.
type Image struct {
	Data []byte
	Type string
}

// imageTypes are the images a browser draws on a map.
var imageTypes = map[string]bool{"image/png": true, "image/jpeg": true, "image/webp": true}

// imageType goes by the content, not by what anybody says of it; empty for
// anything that is not a picture the map can draw.
func imageType(data []byte) string {
	if t := http.DetectContentType(data); imageTypes[t] {
		return t
	}
	return ""
}

// OpenBaseMap opens a file of tiles (MBTiles 1.3 with png, jpg or webp) or, for
// a text that begins with http:// or https://, a tile server whose address
// holds {z}, {x} and {y}.
func OpenBaseMap(source string) (BaseMap, error) {
	if strings.HasPrefix(source, "http://") || strings.HasPrefix(source, "https://") {
		return openUpstream(source)
	}
	return openArchive(source)
}
