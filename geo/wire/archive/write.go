package archive

import (
	"archive/zip"
	"fmt"
	"io"
	"time"
)

// written is the time that every file of an archive carries: the same content
// gives the same bytes. It is the first that the format can tell (section 4.4.6).
var written = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// File is a file to be put into an archive.
type File struct {
	Name string // forward slashes, as Open takes it
	Data []byte
}

// Write packs files in the given order.
func Write(w io.Writer, files []File) error {
	z := NewWriter(w)
	for _, f := range files {
		to, err := z.Create(f.Name)
		if err != nil {
			return err
		}
		if _, err := to.Write(f.Data); err != nil {
			return fmt.Errorf("archive: writing %s: %w", f.Name, err)
		}
	}
	return z.Close()
}

// Writer packs files one after the other.
type Writer struct{ zip *zip.Writer }

// NewWriter begins an archive; Close ends it.
func NewWriter(w io.Writer) *Writer { return &Writer{zip.NewWriter(w)} }

// Create begins a file, which ends with the next one or with Close. A name that
// Open would refuse is an error.
func (w *Writer) Create(name string) (io.Writer, error) {
	if cleaned, ok := clean(name); !ok || cleaned != name {
		return nil, fmt.Errorf("archive: %q cannot be a file's name", name)
	}
	to, err := w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: written})
	if err != nil {
		return nil, fmt.Errorf("archive: beginning %s: %w", name, err)
	}
	return to, nil
}

// Comment is a text that programs show beside the archive; "" for none.
func (w *Writer) Comment(text string) error { return w.zip.SetComment(text) }

// Close writes the directory. It does not close what it is written to.
func (w *Writer) Close() error {
	if err := w.zip.Close(); err != nil {
		return fmt.Errorf("archive: writing the directory: %w", err)
	}
	return nil
}
