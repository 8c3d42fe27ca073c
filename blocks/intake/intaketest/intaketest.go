// Package intaketest makes the files that the readers of imported files are
// tried with: sound ones and spoilt ones.
package intaketest

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"caneward/geo/wire/archive"
)

// Seeds are the files that are changed: the awkward ones and those that another
// program wrote, each format among them. The root is the repository's.
func Seeds(root string) (map[string][]byte, error) {
	out := map[string][]byte{}
	for _, under := range []string{"testdata/cases/files", "geo/wire"} {
		err := filepath.WalkDir(filepath.Join(root, under), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || strings.HasSuffix(path, ".go") || strings.Contains(path, "fuzz") || strings.HasSuffix(path, ".md") {
				return err
			}
			data, err := os.ReadFile(path)
			out[filepath.ToSlash(path)] = data
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Change spoils a file in one of the ways files are spoilt: bits lost, pieces
// missing, twice, or from another file, numbers run wild. Files in an archive
// are changed inside it half of the time, so that its sums still hold.
func Change(r *rand.Rand, data, other []byte) []byte {
	if archive.Is(data) && r.IntN(2) == 0 {
		if packed, err := changePacked(r, data, other); err == nil {
			return packed
		}
	}
	out := bytes.Clone(data)
	for range 1 + r.IntN(2) {
		if len(out) == 0 {
			return out
		}
		at := r.IntN(len(out))
		to := min(len(out), at+1+r.IntN(64))
		switch r.IntN(13) {
		case 0:
			out[at] ^= 1 << r.IntN(8)
		case 1:
			out[at] = byte(r.UintN(256))
		case 2:
			out = out[:at]
		case 3:
			out = append(out[:at:at], out[to:]...)
		case 4:
			out = append(out[:to:to], out[at:]...)
		case 5:
			if len(other) > 0 {
				from := r.IntN(len(other))
				piece := other[from:min(len(other), from+1+r.IntN(200))]
				out = append(append(out[:at:at], piece...), out[at:]...)
			}
		case 6:
			if i := bytes.IndexAny(out[at:], "0123456789"); i >= 0 {
				wild := []string{"-1", "99999999999999999999", "1e308", "0", "NaN", "36,5", "180.5", "", "0x7fffffff"}
				out = append(append(out[:at+i:at+i], wild[r.IntN(len(wild))]...), out[at+i+1:]...)
			}
		case 7:
			for i := at; i < to; i++ {
				out[i] = 0xFF
			}
		case 9, 10, 11, 12: // the file stays what it is and says something else
			if i := bytes.IndexAny(out[at:], "0123456789"); i >= 0 {
				out[at+i] = byte('0' + r.IntN(10))
			}
		case 8:
			for i := at; i < min(len(out), at+4); i++ {
				out[i] = byte(r.UintN(256))
			}
		}
	}
	return out
}

func changePacked(r *rand.Rand, data, other []byte) ([]byte, error) {
	from, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil || len(from.File) == 0 {
		return nil, errors.New("no archive")
	}
	spoilt := r.IntN(len(from.File))
	var b bytes.Buffer
	to := zip.NewWriter(&b)
	for i, f := range from.File {
		in, err := f.Open()
		if err != nil {
			return nil, err
		}
		content, err := io.ReadAll(in)
		if err != nil {
			return nil, err
		}
		if i == spoilt {
			content = Change(r, content, other)
		}
		w, err := to.Create(f.Name)
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(content); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), to.Close()
}
