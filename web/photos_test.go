package web

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"
)

// A photo is kept once, given back as it came, and only to its own farm.
func TestPhotos(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		var b bytes.Buffer
		must(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 8, 8)), nil))
		scout, id := s.as("scout"), s.ids.New()
		at := "/farms/mine/photos/" + string(id)
		put := func(c *client, data []byte, kind string) int {
			return c.do("PUT", at, data, "Content-Type", kind).status
		}
		for _, tc := range []struct {
			name   string
			who    *client
			data   []byte
			kind   string
			status int
		}{
			{"a viewer", s.as("viewer"), b.Bytes(), "image/jpeg", 403},
			{"no picture", scout, []byte("hello"), "image/jpeg", 422},
			{"a type that is not taken", scout, b.Bytes(), "image/gif", 415},
			{"too large", scout, make([]byte, 3<<20), "image/jpeg", 413},
			{"first", scout, b.Bytes(), "image/jpeg", 201},
			{"again", scout, b.Bytes(), "image/jpeg", 200},
			{"another under its id", scout, append(b.Bytes(), 0), "image/jpeg", 409},
		} {
			if got := put(tc.who, tc.data, tc.kind); got != tc.status {
				t.Errorf("%s: %d, want %d", tc.name, got, tc.status)
			}
		}
		g := s.as("viewer").do("GET", at, nil)
		if g.status != 200 || !bytes.Equal(g.body, b.Bytes()) || g.header.Get("Content-Type") != "image/jpeg" {
			t.Errorf("%d %s, %d bytes", g.status, g.header.Get("Content-Type"), len(g.body))
		}
		if g := s.as("stranger").do("GET", at, nil); g.status != 404 {
			t.Errorf("a stranger: %d", g.status)
		}
		if g := scout.do("GET", "/farms/mine/photos/"+string(s.ids.New()), nil); g.status != 404 {
			t.Errorf("no such photo: %d", g.status)
		}
	})
}
