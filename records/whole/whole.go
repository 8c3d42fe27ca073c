// Package whole is a farm in one file, a ZIP archive: its records in open
// formats for whoever goes on with them elsewhere, and its whole history, from
// which the same farm can be made again here, hash for hash.
//
//	README.txt            what stands where, in English and Spanish
//	farm.json             the farm, counts, the newest hash, when the archive was made
//	revisions.jsonl       every revision of every record, one JSON object a line
//	documents.jsonl       every revision of what the farm has one of
//	photos.jsonl, photos/ who took each photo and when; the photos
//	farm.gpkg             current records as a GeoPackage
//	geojson/, csv/        current records, one file a kind
//	pdf/                  a planting plan of every block that has one
package whole

import (
	"encoding/hex"
	"encoding/json"
	"time"

	"caneward/records"
)

// Names of the files that a farm is made again from.
const (
	nameManifest  = "farm.json"
	nameRevisions = "revisions.jsonl"
	nameDocuments = "documents.jsonl"
	namePhotos    = "photos.jsonl"
	nameReadme    = "README.txt"
	nameGPKG      = "farm.gpkg"
)

// form names what this is; version goes up when an older program could not
// read it.
const (
	form    = "caneward farm, whole"
	version = 1
)

// Manifest is farm.json.
type Manifest struct {
	Form    string    `json:"form"`
	Version int       `json:"version"`
	Made    time.Time `json:"made"`
	Program string    `json:"program"`
	Farm    farmLine  `json:"farm"`
	// Sequence and Head are those of the newest revision; 0 and "" without any.
	Sequence  int64  `json:"sequence"`
	Head      string `json:"head"`
	Documents int    `json:"documents"`
	Photos    int    `json:"photos"`
	// Current counts the records that are not closed, by kind.
	Current map[records.Kind]int `json:"current"`
}

type farmLine struct {
	ID       records.FarmID `json:"id"`
	Chain    records.FarmID `json:"chain"` // the id that the hashes are made with
	Name     string         `json:"name"`
	Zone     string         `json:"zone"`
	Invented bool           `json:"invented"`
	Created  time.Time      `json:"created"`
}

type byLine struct {
	Person records.PersonID `json:"person"`
	Name   string           `json:"name"`
	Role   records.Role     `json:"role"`
	Why    string           `json:"why"`
}

func (b byLine) author() records.Author {
	return records.Author{Person: b.Person, Name: b.Name, Role: b.Role, Why: b.Why}
}

type revisionLine struct {
	Sequence   int64           `json:"sequence"`
	Kind       records.Kind    `json:"kind"`
	ID         records.ID      `json:"id"`
	Revision   int             `json:"revision"`
	Deleted    bool            `json:"deleted"`
	By         byLine          `json:"by"`
	At         time.Time       `json:"at"`
	Shape      string          `json:"shape"` // EWKB in hexadecimal digits; "" for none
	Properties json.RawMessage `json:"properties"`
	Hash       string          `json:"hash"`
}

type documentLine struct {
	Name     records.DocumentName `json:"name"`
	Revision int                  `json:"revision"`
	By       byLine               `json:"by"`
	At       time.Time            `json:"at"`
	Content  json.RawMessage      `json:"content"`
	Hash     string               `json:"hash"`
}

type photoLine struct {
	ID   records.ID `json:"id"`
	Type string     `json:"type"`
	By   byLine     `json:"by"`
	At   time.Time  `json:"at"`
	Sum  string     `json:"sha256"`
}

// endings of photos' names, by media type.
var endings = map[string]string{"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp"}

func (p photoLine) file() string { return "photos/" + string(p.ID) + endings[p.Type] }

// hash reads 64 hexadecimal digits.
func hash(s string) (h [32]byte, ok bool) {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != len(h) {
		return h, false
	}
	return [32]byte(b), true
}
