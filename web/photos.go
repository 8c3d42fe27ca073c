package web

import (
	"mime"
	"net/http"
	"strconv"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
)

// putPhoto keeps a picture under the id its phone gave it; sent again it
// answers as before.
func (s *Server) putPhoto(x *exchange) error {
	if !people.May(x.role, people.Write, records.Finds) {
		return fault.New(fault.Forbidden, roleForbids.With(words.Args{"role": people.RoleName(x.role)}))
	}
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	kind, _, err := mime.ParseMediaType(x.r.Header.Get("Content-Type"))
	if err != nil {
		return err // the route has read it before
	}
	created, err := x.records().PutPhoto(x.r.Context(), x.farm, records.Photo{ID: records.ID(x.vars["photo"]), Type: kind, Data: data, By: x.author("")})
	if err != nil {
		return err
	}
	status := http.StatusOK
	if created {
		status = http.StatusCreated
	}
	x.w.WriteHeader(status)
	return nil
}

// photo gives a picture. It never changes, so a browser may keep it; but only
// the browser of whoever may see it.
func (s *Server) photo(x *exchange) error {
	p, err := x.records().Photo(x.r.Context(), x.farm, records.ID(x.vars["photo"]))
	if err != nil {
		return err
	}
	h := x.w.Header()
	h.Set("Content-Type", p.Type)
	h.Set("Content-Length", strconv.Itoa(len(p.Data)))
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	h.Set("Content-Disposition", "inline")
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	if x.r.Method == http.MethodHead {
		return nil
	}
	_, err = x.w.Write(p.Data)
	return err
}
