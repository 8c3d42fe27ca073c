package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/tiles"
	"caneward/web/problem"
)

var (
	noSuchTile  = words.New("web-no-such-tile", "There is no such tile or layer.", "No existe tal tesela o capa.")
	tileTooFull = words.New("web-tile-too-full", "This tile would hold more than {most} things. Zoom in.", "Esta tesela contendría más de {most} cosas. Acerque el mapa.")
)

// layers are what tiles show, and which properties go with it.
var layers = map[string]struct {
	kind       records.Kind
	properties []string
	points     bool
}{
	"blocks":       {records.Blocks, []string{"name", "crop", "cultivar"}, false},
	"rows":         {records.Rows, []string{"block", "number"}, false},
	"surroundings": {records.Surroundings, []string{"kind", "name"}, false},
	"finds":        {records.Finds, []string{"block", "row", "plant", "cause", "state", "severity", "found_at"}, true},
}

const (
	// tileMost bounds what one tile is drawn from. Points are thinned, so only
	// memory bounds them: 200,000 finds take some 100 MB while they are drawn.
	tileMost       = 20_000
	tileMostPoints = 200_000
	// tileText is the longest property a tile carries, in bytes.
	tileText = 100
)

// tile answers with a vector tile of one layer.
func (s *Server) tile(x *exchange) error {
	layer, known := layers[x.vars["layer"]]
	at, err := tiles.ParseAddress(x.vars["z"], x.vars["x"], x.vars["y"])
	if err != nil || !known {
		return fault.New(fault.Missing, noSuchTile.Plain())
	}
	most := tileMost
	if layer.points {
		most = tileMostPoints
	}
	var features []tiles.Feature
	box := at.Box()
	err = x.view(func(r records.Reader) error {
		// One list, not steps: over a box every step looks at all of it again.
		page, err := r.List(layer.kind, records.Query{Box: &box, Limit: most})
		if err != nil {
			return err
		}
		if page.More {
			return fault.New(fault.TooCostly, tileTooFull.With(words.Args{"most": most}))
		}
		for _, rev := range page.Revisions {
			features = append(features, tiles.Feature{Geometry: rev.Record.Geometry.Flat, Properties: tileProperties(rev, layer.properties)})
		}
		return x.r.Context().Err()
	})
	if err != nil {
		return err
	}
	if layer.points {
		features = tiles.Thin(at, features)
	}
	data, err := tiles.Encode(at, x.vars["layer"], features)
	if err != nil {
		return err
	}
	if len(data) == 0 {
		x.w.Header().Set("Cache-Control", "private, no-cache")
		x.w.WriteHeader(http.StatusNoContent)
		return nil
	}
	sum := sha256.Sum256(data)
	return x.tagged(`"`+hex.EncodeToString(sum[:8])+`"`, tiles.MediaType, data)
}

// tileProperties takes the named texts, numbers and yes-or-nos of a record.
func tileProperties(rev records.Revision, names []string) map[string]any {
	out := map[string]any{"id": string(rev.ID)}
	var members map[string]json.RawMessage
	if json.Unmarshal(rev.Record.Properties, &members) != nil {
		return out
	}
	for _, name := range names {
		var v any
		if json.Unmarshal(members[name], &v) != nil {
			continue
		}
		switch v := v.(type) {
		case string:
			out[name] = cut(v, tileText)
		case float64, bool:
			out[name] = v
		}
	}
	return out
}

func cut(s string, most int) string {
	for len(s) > most {
		_, size := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-size]
	}
	return s
}

// baseInfo says what the base map is, and what must be shown beside it.
func (s *Server) baseInfo(x *exchange) error {
	if s.BaseMap == nil {
		return x.json(http.StatusOK, map[string]any{"kind": "none"})
	}
	i := s.BaseMap.Info()
	answer := map[string]any{"kind": i.Kind, "name": i.Name, "attribution": i.Attribution, "min_zoom": i.MinZoom, "max_zoom": i.MaxZoom, "tiles": "/base/{z}/{x}/{y}"}
	if b := i.Bounds; b != nil {
		answer["bounds"] = [4]float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}
	}
	return x.json(http.StatusOK, answer)
}

// baseTile hands on a picture of the base map.
func (s *Server) baseTile(x *exchange) error {
	at, err := tiles.ParseAddress(x.vars["z"], x.vars["x"], x.vars["y"])
	if err != nil {
		return fault.New(fault.Missing, noSuchTile.Plain())
	}
	x.w.Header().Set("Cache-Control", "private, max-age=86400")
	if s.BaseMap == nil {
		x.w.WriteHeader(http.StatusNoContent)
		return nil
	}
	image, err := s.BaseMap.Tile(x.r.Context(), at)
	switch {
	case errors.Is(err, tiles.ErrNoTile):
		x.w.WriteHeader(http.StatusNoContent)
		return nil
	case errors.Is(err, tiles.ErrUpstream) && !errors.Is(err, context.Canceled):
		s.Logger.WarnContext(x.r.Context(), "base map", "id", traceOf(x.r).id, "err", err)
		problem.Send(x.w, x.lang, problem.Upstream(x.lang, x.r.URL.Path))
		return nil
	case err != nil:
		return err
	}
	return x.send(http.StatusOK, image.Type, image.Data)
}
