package web

import (
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
)

var (
	idDiffers    = words.New("web-id-differs", "The feature's id is {got}, the address says {want}.", "El id del elemento es {got}, la dirección dice {want}.")
	idNumber     = words.New("web-id-number", "The feature's id is a number; ids here are texts.", "El id del elemento es un número; aquí los id son textos.")
	crsMember    = words.New("web-crs-member", "The feature names the coordinate system {crs}; positions here are longitude, latitude in WGS 84 and no crs member is read.", "El elemento nombra el sistema de coordenadas {crs}; aquí las posiciones son longitud, latitud en WGS 84 y no se lee el miembro crs.")
	strayMember  = words.New("web-stray-member", "The member “{name}” stands beside properties and would be lost.", "El miembro «{name}» está fuera de properties y se perdería.")
	strayFix     = words.New("web-stray-member-fix", "Put it into properties.", "Póngalo dentro de properties.")
	whyTooLong   = words.New("web-why-too-long", "The reason may have at most {most} characters of text.", "El motivo puede tener como máximo {most} caracteres de texto.")
	whyNoText    = words.New("web-why-no-text", "The reason must be a text.", "El motivo debe ser un texto.")
	shapeRefused = words.New("web-feature-refused", "This feature cannot be taken; see below.", "Este elemento no se puede tomar; véase abajo.")
)

// whyMost bounds a reason, in characters.
const whyMost = 500

// ownMembers are what this server adds to a feature; a client may send them
// back as it got them.
var ownMembers = map[string]bool{"revision": true, "etag": true, "at": true, "by": true, "deleted": true, "links": true, "collection": true}

// decoded is a feature as a client sent it.
type decoded struct {
	record records.Record
	why    string
}

// decodeFeature reads one feature; its id, where it says one, must be the one
// it is sent under.
func decodeFeature(data []byte, id records.ID) (decoded, error) {
	f, err := wire.DecodeFeature(data, wire.Limits{})
	if err != nil {
		if refusal := intake.Refusal(err); refusal != nil {
			return decoded{}, refusal
		}
		return decoded{}, err
	}
	var details []fault.Detail
	add := func(field string, text words.Text, fix words.Text) {
		details = append(details, fault.Detail{Text: text, Field: field, Fix: fix})
	}
	switch {
	case f.IDKind == wire.NumberID:
		add("id", idNumber.Plain(), words.Text{})
	case f.IDKind == wire.StringID && f.ID != string(id):
		add("id", idDiffers.With(words.Args{"got": shorten(f.ID), "want": shorten(string(id))}), words.Text{})
	}
	if f.CRS != "" {
		add("crs", crsMember.With(words.Args{"crs": shorten(f.CRS)}), words.Text{})
	}
	out := decoded{record: records.Record{Geometry: f.Geometry, Properties: f.Properties}}
	for _, m := range f.Foreign {
		switch {
		case m.Name == "why":
			if json.Unmarshal(m.Value, &out.why) != nil {
				add("why", whyNoText.Plain(), words.Text{})
			} else if !goodWhy(out.why) {
				add("why", whyTooLong.With(words.Args{"most": whyMost}), words.Text{})
			}
		case !ownMembers[m.Name]:
			add(shorten(m.Name), strayMember.With(words.Args{"name": shorten(m.Name)}), strayFix.Plain())
		}
	}
	if details != nil {
		return decoded{}, fault.New(fault.Invalid, shapeRefused.Plain(), details...)
	}
	return out, nil
}

func goodWhy(why string) bool { return utf8.ValidString(why) && utf8.RuneCountInString(why) <= whyMost }

type link struct {
	Href  string `json:"href"`
	Rel   string `json:"rel"`
	Type  string `json:"type,omitempty"`
	Title string `json:"title,omitempty"`
}

type by struct {
	ID   records.PersonID `json:"id"`
	Name string           `json:"name"`
	Role records.Role     `json:"role"`
}

func byOf(a records.Author) by { return by{a.Person, a.Name, a.Role} }

// stamp is how this server writes a time: UTC, as many digits as it keeps.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// encodeFeature writes a revision as a feature with what the server knows of it
// beside the client's own: revision, etag, at, by, why, and links where given.
func encodeFeature(rev records.Revision, links []link) ([]byte, error) {
	f := wire.Feature{ID: string(rev.ID), IDKind: wire.StringID, Geometry: rev.Record.Geometry, Properties: rev.Record.Properties}
	add := func(name string, v any) error {
		raw, err := json.Marshal(v)
		f.Foreign = append(f.Foreign, wire.Member{Name: name, Value: raw})
		return err
	}
	members := []struct {
		name string
		v    any
		skip bool
	}{
		{"revision", rev.Number, false},
		{"etag", records.ETag(rev), false},
		{"at", stamp(rev.At), false},
		{"by", byOf(rev.By), false},
		{"why", rev.By.Why, rev.By.Why == ""},
		{"links", links, links == nil},
	}
	for _, m := range members {
		if m.skip {
			continue
		}
		if err := add(m.name, m.v); err != nil {
			return nil, err
		}
	}
	return wire.EncodeFeature(f)
}

func (x *exchange) itemPath(kind records.Kind, id records.ID) string {
	return x.farmBase() + "/collections/" + string(kind) + "/items/" + string(id)
}

func (x *exchange) itemLinks(kind records.Kind, id records.ID) []link {
	self := x.itemPath(kind, id)
	return []link{
		{self, "self", typeGeoJSON, ""},
		{self, "alternate", typeJSON, ""},
		{x.farmBase() + "/collections/" + string(kind), "collection", typeJSON, ""},
		{self + "/revisions", "version-history", typeJSON, ""},
	}
}

// sendItem answers with one revision.
func (x *exchange) sendItem(status int, rev records.Revision) error {
	data, err := encodeFeature(rev, x.itemLinks(rev.Kind, rev.ID))
	if err != nil {
		return err
	}
	if status == http.StatusCreated {
		x.w.Header().Set("Location", x.itemPath(rev.Kind, rev.ID))
	}
	h := x.w.Header()
	h.Set("ETag", records.ETag(rev))
	h.Set("Cache-Control", "private, no-cache")
	return x.send(status, typeGeoJSON, data)
}

// splitTags takes a list of entity tags apart. No tag of this server holds a
// comma.
func splitTags(header string) []string {
	var tags []string
	for _, t := range strings.Split(header, ",") {
		if t = strings.TrimSpace(t); t != "" {
			tags = append(tags, t)
		}
	}
	return tags
}

// plainTag is a tag of the number alone, such as "3", which a client that knows
// the revision but not its tag may send.
func plainTag(tag string) (int, bool) {
	inner, ok := strings.CutPrefix(tag, `"`)
	inner, closed := strings.CutSuffix(inner, `"`)
	n, err := strconv.Atoi(inner)
	return n, ok && closed && err == nil && n >= 1 && strconv.Itoa(n) == inner
}
