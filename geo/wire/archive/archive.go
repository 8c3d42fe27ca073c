// Package archive opens ZIP files that strangers send (APPNOTE.TXT 6.3.10),
// wholly in memory: it writes nothing, follows nothing, and bounds what a small
// file can unpack to. It also writes archives that come out the same for the
// same content.
package archive

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"caneward/geo/wire"

	"golang.org/x/text/encoding/charmap"
)

// The rules of archives, beside wire.RuleTruncated and wire.RuleNothing.
const (
	RulePath      wire.Rule = "archive-path"      // a name that leads out of the archive, or is no name
	RuleKind      wire.Rule = "archive-kind"      // a symbolic link, device or other thing that is no file
	RuleEntries   wire.Rule = "archive-entries"   // more than Limits.Entries
	RuleUnpacked  wire.Rule = "archive-unpacked"  // more than Limits.Unpacked
	RuleRatio     wire.Rule = "archive-ratio"     // unpacks to more than Limits.Ratio times its size
	RuleOverlap   wire.Rule = "archive-overlap"   // two files share bytes
	RuleDuplicate wire.Rule = "archive-duplicate" // a name twice, capitals or not
	RuleEncrypted wire.Rule = "archive-encrypted" // asks for a password
	RuleMethod    wire.Rule = "archive-method"    // packed in a way that is not read here
	RuleChecksum  wire.Rule = "archive-checksum"  // unpacks to something else than was packed
	RuleDamaged   wire.Rule = "archive-damaged"   // the directory or an entry makes no sense
	RuleMissing   wire.Rule = "archive-missing"   // no such file in it
	RuleNested    wire.Rule = "archive-nested"    // noted: an archive inside, left out
)

// ratioFrom is how many bytes a file may unpack to whatever its ratio: a short
// file of blanks packs a thousandfold and harms nobody.
const ratioFrom = 1 << 20

// localHeader is the fixed part of what precedes a file's bytes (section 4.3.7).
const localHeader = 30

// encryptedFlag is bit 0 of the general purpose flags (section 4.4.4).
const encryptedFlag = 1

// Signatures of sections 4.3.7, 4.3.12 and 4.3.16.
var (
	fileSignature      = []byte("PK\x03\x04")
	directorySignature = []byte("PK\x01\x02")
	endSignature       = []byte("PK\x05\x06")
)

// Entry is a file of an archive.
type Entry struct {
	Name string // cleaned: forward slashes, no "." or ".." steps, not absolute
	Size int64  // unpacked, as the archive says; Read holds it to that
}

// Archive is a ZIP file whose directory has been checked. Its methods must not
// be called from several goroutines at once.
type Archive struct {
	limits   wire.Limits
	entries  []Entry
	files    map[string]*zip.File
	notes    []*wire.Error
	unpacked int64
}

// Is reports whether data begins as a ZIP file does.
func Is(data []byte) bool {
	return bytes.HasPrefix(data, fileSignature) || bytes.HasPrefix(data, endSignature)
}

// Open checks the directory of an archive and unpacks nothing. Folders and what
// systems leave behind (__MACOSX, .DS_Store, ._*, Thumbs.db, desktop.ini) are
// passed over; archives inside are passed over with a note. The error is an
// *wire.Error or the context's: RulePath, RuleKind, RuleDuplicate and
// RuleOverlap name the entry; RuleEntries counts every file, passed over or
// not, and the files of an archive that is stored inside unpacked.
func Open(ctx context.Context, data []byte, l wire.Limits) (*Archive, error) {
	return OpenAt(ctx, bytes.NewReader(data), int64(len(data)), l)
}

// OpenAt is Open for an archive that is not in memory. Other errors are the
// reader's.
func OpenAt(ctx context.Context, from io.ReaderAt, size int64, l wire.Limits) (*Archive, error) {
	l = l.Filled()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if size > l.Bytes {
		return nil, &wire.Error{Rule: wire.RuleBytes, Limit: l.Bytes, Byte: l.Bytes}
	}
	found, err := lookFor(ctx, from, size)
	if err != nil {
		return nil, err
	}
	// archive/zip builds a structure for each directory header it finds, whatever
	// count the end of the directory states, zip64 or not; each has a signature,
	// so the signatures bound them before any is built.
	if found.headers > l.Entries {
		return nil, &wire.Error{Rule: RuleEntries, Limit: int64(l.Entries), Byte: found.first}
	}
	r, err := zip.NewReader(from, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, found.unreadable(size, err)
	}
	a := &Archive{limits: l, files: map[string]*zip.File{}}
	for _, f := range r.File {
		if err := a.add(f); err != nil {
			return nil, err
		}
	}
	if err := disjoint(r.File, size); err != nil {
		return nil, err
	}
	return a, nil
}

// landmarks are the signatures of a file.
type landmarks struct {
	headers     int   // directory headers
	first, last int64 // the first header and the last end of a directory; -1 for none
	begins      bool  // as an archive does
}

// lookFor reads the whole file once, a piece at a time; the pieces overlap by
// what a signature cut in two needs.
func lookFor(ctx context.Context, from io.ReaderAt, size int64) (landmarks, error) {
	const piece, overlap = 1 << 20, 3
	found := landmarks{first: -1, last: -1}
	buffer := make([]byte, min(size, piece+overlap))
	for at := int64(0); at < size; at += piece {
		if err := ctx.Err(); err != nil {
			return found, err
		}
		b := buffer[:min(int64(len(buffer)), size-at)]
		if _, err := from.ReadAt(b, at); err != nil && !errors.Is(err, io.EOF) {
			return found, err
		}
		if at == 0 {
			found.begins = Is(b)
		}
		if n := bytes.Count(b, directorySignature); n > 0 {
			if found.headers == 0 {
				found.first = int64(bytes.Index(b, directorySignature)) + at
			}
			found.headers += n
		}
		if i := bytes.LastIndex(b, endSignature); i >= 0 {
			found.last = at + int64(i)
		}
	}
	return found, nil
}

// unreadable tells a file cut short, which lacks the directory at its end, from
// one whose directory is broken.
func (l landmarks) unreadable(size int64, err error) *wire.Error {
	if size == 0 {
		return &wire.Error{Rule: wire.RuleNothing, Byte: 0}
	}
	if l.begins && l.last < 0 {
		return &wire.Error{Rule: wire.RuleTruncated, Byte: size, Err: err}
	}
	return &wire.Error{Rule: RuleDamaged, Byte: max(0, l.last), Err: err}
}

func (a *Archive) add(f *zip.File) *wire.Error {
	raw := nameOf(f)
	name, ok := clean(raw)
	if !ok {
		named := raw
		if named == "" {
			named = `""` // an entry without a name is still that entry
		}
		return &wire.Error{Rule: RulePath, Entry: named, Got: raw, Byte: -1}
	}
	mode := f.Mode()
	if mode.IsDir() || strings.HasSuffix(raw, "/") {
		return nil
	}
	if !mode.IsRegular() {
		return &wire.Error{Rule: RuleKind, Entry: name, Got: mode.Type().String(), Byte: -1}
	}
	if junk(name) {
		return nil
	}
	key := strings.ToLower(name)
	if a.files[key] != nil {
		return &wire.Error{Rule: RuleDuplicate, Entry: name, Got: name, Byte: -1}
	}
	a.files[key] = f
	if nested(key) {
		a.notes = append(a.notes, &wire.Error{Rule: RuleNested, Entry: name, Got: name, Byte: -1, Count: 1})
		return nil
	}
	a.entries = append(a.entries, Entry{Name: name, Size: int64(min(f.UncompressedSize64, 1<<62))})
	return nil
}

// nameOf gives a name as text: UTF-8 where it is marked so or happens to be,
// code page 437 otherwise (appendix D).
func nameOf(f *zip.File) string {
	if utf8.ValidString(f.Name) {
		return f.Name
	}
	if !f.NonUTF8 {
		return strings.ToValidUTF8(f.Name, string(utf8.RuneError))
	}
	// Every byte is a letter of code page 437: decoding cannot fail.
	text, _ := charmap.CodePage437.NewDecoder().String(f.Name)
	return text
}

// clean refuses every name that some system would take for a place outside the
// archive: section 4.4.17 allows neither drives, nor a leading slash, nor
// backslashes.
func clean(name string) (string, bool) {
	if name == "" || strings.ContainsAny(name, "\x00\\") || strings.HasPrefix(name, "/") {
		return "", false
	}
	if len(name) > 1 && name[1] == ':' {
		return "", false
	}
	if slices.Contains(strings.Split(name, "/"), "..") {
		return "", false
	}
	name = path.Clean(name)
	return name, utf8.ValidString(name)
}

// junk is what desktop systems put into archives unasked.
func junk(name string) bool {
	if strings.HasPrefix(name, "__MACOSX/") || strings.Contains(name, "/__MACOSX/") {
		return true
	}
	base := path.Base(name)
	return base == ".DS_Store" || strings.HasPrefix(base, "._") || strings.EqualFold(base, "Thumbs.db") || strings.EqualFold(base, "desktop.ini")
}

// nested goes by the ending, given in small letters.
func nested(name string) bool {
	switch path.Ext(name) {
	case ".zip", ".kmz", ".7z", ".rar", ".gz", ".tgz", ".tar", ".bz2", ".xz", ".zst":
		return true
	}
	return false
}

// disjoint refuses files that share bytes: a few packed bytes counted a
// thousand times over are how a small archive unpacks to terabytes.
func disjoint(files []*zip.File, size int64) *wire.Error {
	type stretch struct {
		from, to int64
		name     string
	}
	all := make([]stretch, 0, len(files))
	for _, f := range files {
		at, err := f.DataOffset()
		if err != nil {
			return &wire.Error{Rule: RuleDamaged, Entry: nameOf(f), Got: nameOf(f), Byte: -1, Err: err}
		}
		if f.CompressedSize64 > uint64(size) || at+int64(f.CompressedSize64) > size {
			return &wire.Error{Rule: wire.RuleTruncated, Entry: nameOf(f), Byte: at}
		}
		all = append(all, stretch{at - localHeader, at + int64(f.CompressedSize64), nameOf(f)})
	}
	slices.SortStableFunc(all, func(a, b stretch) int { return int(a.from - b.from) })
	for i := 1; i < len(all); i++ {
		if all[i].from < all[i-1].to {
			return &wire.Error{Rule: RuleOverlap, Entry: all[i].name, Got: all[i-1].name, Byte: all[i].from}
		}
	}
	return nil
}

// Entries are the files, in the order of the archive's directory.
func (a *Archive) Entries() []Entry { return slices.Clone(a.entries) }

// Notes are the archives inside that were passed over.
func (a *Archive) Notes() []*wire.Error { return a.notes }

// Read unpacks one file, capitals or not. What is unpacked counts towards
// Limits.Unpacked each time. The error is an *wire.Error with Entry set, or the
// context's.
func (a *Archive) Read(ctx context.Context, name string) ([]byte, error) {
	f, r, err := a.open(name)
	if err != nil {
		return nil, err
	}
	// Deflate grows text about fourfold; more is made room for as it comes, since
	// the stated size costs a liar nothing.
	const usual = 4
	out := make([]byte, 0, min(f.UncompressedSize64, usual*f.CompressedSize64+bytes.MinRead)+1)
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if len(out) == cap(out) {
			out = slices.Grow(out, max(bytes.MinRead, min(len(out), int(f.UncompressedSize64)-len(out)+1)))
		}
		n, err := r.Read(out[len(out):cap(out)])
		out = out[:len(out)+n]
		a.unpacked += int64(n)
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, readError(name, err)
		}
	}
}

// Stream unpacks one file bit by bit, capitals or not, as Read does whole. Its
// reader's errors are those of Read.
func (a *Archive) Stream(ctx context.Context, name string) (io.ReadCloser, error) {
	_, r, err := a.open(name)
	if err != nil {
		return nil, err
	}
	return &stream{ctx, a, r, name}, nil
}

// open opens a file of the archive that the limits allow.
func (a *Archive) open(name string) (*zip.File, io.ReadCloser, error) {
	f := a.files[strings.ToLower(name)]
	if f == nil {
		return nil, nil, &wire.Error{Rule: RuleMissing, Entry: name, Got: name, Byte: -1}
	}
	if err := a.allow(f, name); err != nil {
		return nil, nil, err
	}
	r, err := f.Open()
	if err != nil {
		return nil, nil, readError(name, err)
	}
	return f, r, nil
}

type stream struct {
	ctx context.Context
	of  *Archive
	io.ReadCloser
	name string
}

func (s *stream) Read(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := s.ReadCloser.Read(p)
	s.of.unpacked += int64(n)
	if err != nil && !errors.Is(err, io.EOF) {
		err = readError(s.name, err)
	}
	return n, err
}

// allow judges by the stated size, which archive/zip holds the file to: it ends
// with an error at the first byte beyond.
func (a *Archive) allow(f *zip.File, name string) *wire.Error {
	if f.Flags&encryptedFlag != 0 {
		return &wire.Error{Rule: RuleEncrypted, Entry: name, Got: name, Byte: -1}
	}
	if f.Method != zip.Store && f.Method != zip.Deflate {
		return &wire.Error{Rule: RuleMethod, Entry: name, Got: methodName(f.Method), Byte: -1}
	}
	if left := a.limits.Unpacked - a.unpacked; f.UncompressedSize64 > uint64(max(0, left)) {
		return &wire.Error{Rule: RuleUnpacked, Entry: name, Got: name, Limit: a.limits.Unpacked, Byte: -1}
	}
	if f.UncompressedSize64 > ratioFrom && f.UncompressedSize64/uint64(a.limits.Ratio) > f.CompressedSize64 {
		return &wire.Error{Rule: RuleRatio, Entry: name, Got: name, Limit: int64(a.limits.Ratio), Byte: -1}
	}
	return nil
}

// methodName is the name of section 4.4.5, or its number.
func methodName(m uint16) string {
	switch m {
	case 9:
		return "Deflate64"
	case 12:
		return "bzip2"
	case 14:
		return "LZMA"
	case 93:
		return "Zstandard"
	case 95:
		return "XZ"
	case 99:
		return "AES"
	}
	return "method " + strconv.Itoa(int(m))
}

func readError(name string, err error) error {
	rule := RuleDamaged
	switch {
	case errors.Is(err, zip.ErrChecksum):
		rule = RuleChecksum
	case errors.Is(err, io.ErrUnexpectedEOF):
		rule = wire.RuleTruncated
	}
	return &wire.Error{Rule: rule, Entry: name, Got: name, Byte: -1, Err: err}
}
