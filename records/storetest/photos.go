package storetest

import (
	"bytes"
	"errors"
	"image"
	"image/png"
	"testing"

	"caneward/blocks/fault"
	"caneward/records"
)

// picture is a PNG of so many pixels across.
func picture(t *testing.T, width int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, width, 2))); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func testPhotos(t *testing.T, s Store) {
	farm(t, s, "f")
	farm(t, s, "g")
	g := ids(41)
	a, b := g.New(), g.New()
	put := func(f records.FarmID, id records.ID, kind string, data []byte) (bool, error) {
		return s.PutPhoto(bg, f, records.Photo{ID: id, Type: kind, Data: data, By: author})
	}
	small, other := picture(t, 3), picture(t, 4)
	for i, want := range []bool{true, false} {
		if created, err := put("f", a, "image/png", small); err != nil || created != want {
			t.Errorf("put %d: created %v, %v; want %v", i+1, created, err, want)
		}
	}
	for _, c := range []struct {
		name string
		farm records.FarmID
		id   records.ID
		kind string
		data []byte
		want fault.Kind
	}{
		{"another picture", "f", a, "image/png", other, fault.Conflict},
		{"another farm that is not there", "h", b, "image/png", small, fault.Missing},
		{"no id", "f", "x", "image/png", small, fault.Invalid},
		{"another type", "f", b, "image/jpeg", small, fault.Invalid},
		{"no picture", "f", b, "image/png", []byte("hello"), fault.Invalid},
		{"a type that is not taken", "f", b, "image/gif", small, fault.Invalid},
		{"too large", "f", b, "image/png", append(bytes.Clone(small), make([]byte, records.PhotoLimit)...), fault.TooLarge},
	} {
		_, err := put(c.farm, c.id, c.kind, c.data)
		wantKind(t, c.name, err, c.want)
	}
	got, err := s.Photo(bg, "f", a)
	if err != nil || got.Type != "image/png" || !bytes.Equal(got.Data, small) || got.By.Name != author.Name || got.At.IsZero() {
		t.Errorf("photo %+v, %v", got.By, err)
	}
	_, err = s.Photo(bg, "g", a)
	wantKind(t, "the photo of another farm", err, fault.Missing)
	_, err = s.Photo(bg, "f", b)
	wantKind(t, "a photo that is not there", err, fault.Missing)
	if _, err := put("f", b, "image/png", other); err != nil {
		t.Fatal(err)
	}
	var seen []records.ID
	if err := s.EachPhoto(bg, "f", func(p records.Photo) error { seen = append(seen, p.ID); return nil }); err != nil || len(seen) != 2 || seen[0] > seen[1] {
		t.Errorf("each gave %v, %v", seen, err)
	}
	stop := errors.New("stop")
	if err := s.EachPhoto(bg, "f", func(records.Photo) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("each gave %v; want the visitor's error", err)
	}
}
