package sheet

import (
	"context"
	"io"
	"strings"

	"caneward/geo/wire"
)

// place is where a row starts: its physical line, from 1, and its byte, from 0.
type place struct{ line, byte int }

// row is one record. Its cells are good until the next one is read.
type row struct {
	place
	cells []string
	bare  bool // a single quote mark stands inside a quoted field
}

// scanner cuts text into rows after RFC 4180, for any separator and any of the
// three line ends. A quote mark means something only where a field starts:
// inches and seconds of arc stand in the middle.
type scanner struct {
	text      string
	delimiter byte
	at        int
	line      int // of at, from 1
	cells     []string
	ctx       context.Context // looked at where many rows are skipped; nil for short texts
}

func scan(text string, delimiter byte) *scanner {
	return &scanner{text: text, delimiter: delimiter, line: 1}
}

// next gives the next row that is more than white space and separators; io.EOF
// after the last. Other errors are *wire.Error or the context's.
func (s *scanner) next() (row, error) {
	for n := 1; s.at < len(s.text); n++ {
		if n%checkEvery == 0 && s.ctx != nil && s.ctx.Err() != nil {
			return row{}, s.ctx.Err()
		}
		if s.lineEnd() {
			continue
		}
		r, err := s.row()
		if err != nil {
			return r, err
		}
		for _, cell := range r.cells {
			if !blank(cell) {
				return r, nil
			}
		}
	}
	return row{}, io.EOF
}

func blank(cell string) bool { return strings.TrimSpace(cell) == "" }

func (s *scanner) row() (row, error) {
	r := row{place: place{s.line, s.at}}
	s.cells = s.cells[:0]
	for {
		cell, bare, err := s.field()
		if err != nil {
			return r, err
		}
		r.bare = r.bare || bare
		if len(s.cells) == maxColumns {
			return r, &wire.Error{Rule: RuleWide, Line: r.line, Byte: int64(r.byte), Limit: maxColumns}
		}
		s.cells = append(s.cells, cell)
		if s.at < len(s.text) && s.text[s.at] == s.delimiter {
			s.at++
			continue
		}
		s.lineEnd()
		r.cells = s.cells
		return r, nil
	}
}

// lineEnd passes one line end, if any.
func (s *scanner) lineEnd() bool {
	switch {
	case s.at == len(s.text):
		return false
	case strings.HasPrefix(s.text[s.at:], "\r\n"):
		s.at += 2
	case s.text[s.at] == '\n' || s.text[s.at] == '\r':
		s.at++
	default:
		return false
	}
	s.line++
	return true
}

// field reads up to the separator or line end, which it leaves.
func (s *scanner) field() (cell string, bare bool, err error) {
	start := s.at
	for s.at < len(s.text) && s.text[s.at] == ' ' {
		s.at++
	}
	if s.at < len(s.text) && s.text[s.at] == '"' {
		return s.quoted()
	}
	for s.at < len(s.text) && !s.fieldEnds(s.at) {
		s.at++
	}
	if s.at-start > maxField {
		return "", false, &wire.Error{Rule: RuleField, Line: s.line, Byte: int64(start), Limit: maxField}
	}
	return s.text[start:s.at], false, nil
}

func (s *scanner) fieldEnds(at int) bool {
	c := s.text[at]
	return c == s.delimiter || c == '\n' || c == '\r'
}

// quoted reads a quoted field. A single mark inside it, followed by more text,
// stands for itself while the field stays on its line; on a field of several
// lines it is the sign of a mark that was never closed.
func (s *scanner) quoted() (cell string, bare bool, err error) {
	start, line := s.at, s.line
	s.at++
	from := s.at
	var built strings.Builder
	for s.at < len(s.text) {
		if s.at-start > maxField {
			return "", false, &wire.Error{Rule: RuleField, Line: line, Byte: int64(start), Limit: maxField}
		}
		if s.lineEnd() {
			continue
		}
		if s.text[s.at] != '"' {
			s.at++
			continue
		}
		if strings.HasPrefix(s.text[s.at:], `""`) {
			built.WriteString(s.text[from : s.at+1])
			s.at += 2
			from = s.at
			continue
		}
		if after := s.after(s.at + 1); after == len(s.text) || s.fieldEnds(after) {
			cell = s.text[from:s.at]
			if built.Len() > 0 {
				built.WriteString(cell)
				cell = built.String()
			}
			s.at = after
			if bare && s.line > line {
				return "", false, &wire.Error{Rule: RuleQuote, Line: line, Byte: int64(start), Got: shorten(s.text[start:])}
			}
			return cell, bare, nil
		}
		bare = true
		s.at++
	}
	return "", false, &wire.Error{Rule: RuleQuote, Line: line, Byte: int64(start), Got: shorten(s.text[start:])}
}

// after passes spaces.
func (s *scanner) after(at int) int {
	for at < len(s.text) && s.text[at] == ' ' && s.delimiter != ' ' {
		at++
	}
	return at
}

// shorten is a cell or the start of one as messages quote it, on one line.
func shorten(text string) string {
	const most = 40
	if len(text) > 4*most {
		text = text[:4*most]
	}
	text = strings.TrimSpace(strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' {
			return ' '
		}
		return r
	}, text))
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "…"
	}
	return text
}

// The separators that are tried; among equals the earlier wins.
var delimiters = []byte{'\t', ';', '|', ','}

// How much is looked at to find the separator and the header.
const (
	sampleRows  = 50
	sampleBytes = 256 << 10
)

// sample gives the first rows; what goes wrong later in the file is not its
// matter.
func sample(text string, delimiter byte) [][]string {
	cut := len(text) > sampleBytes
	if cut {
		text = text[:sampleBytes]
	}
	s := scan(text, delimiter)
	var rows [][]string
	for len(rows) < sampleRows {
		r, err := s.next()
		if err != nil {
			break
		}
		rows = append(rows, append([]string(nil), r.cells...))
	}
	if cut && len(rows) > 1 && len(rows) < sampleRows {
		rows = rows[:len(rows)-1]
	}
	return rows
}

// findDelimiter takes the separator under which a header is understood, then
// the one that gives most rows the same number of cells, then the one that
// gives most cells.
func findDelimiter(text string, o Options) byte {
	best, bestScore := byte(','), [3]float64{}
	for _, d := range delimiters {
		rows := sample(text, d)
		share, width := steadiness(rows)
		if width < 2 {
			continue
		}
		score := [3]float64{0, share, float64(width)}
		if _, ok := findHeader(rows, o); ok {
			score[0] = 1
		}
		if better(score, bestScore) {
			best, bestScore = d, score
		}
	}
	return best
}

func better(a, b [3]float64) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] > b[i]
		}
	}
	return false
}

// steadiness is the share of rows that have the commonest number of cells.
func steadiness(rows [][]string) (share float64, width int) {
	counts := map[int]int{}
	for _, r := range rows {
		counts[len(r)]++
	}
	for w, n := range counts {
		if n > counts[width] || n == counts[width] && w > width {
			width = w
		}
	}
	if len(rows) == 0 {
		return 0, 0
	}
	return float64(counts[width]) / float64(len(rows)), width
}

// separatorLine takes the first line "sep=;" that some programs write.
func separatorLine(text string) (delimiter byte, length int) {
	const prefix = "sep="
	if len(text) <= len(prefix) || !strings.EqualFold(text[:len(prefix)], prefix) {
		return 0, 0
	}
	s := scan(text[len(prefix)+1:], 0)
	if strings.IndexByte(string(delimiters), text[len(prefix)]) >= 0 && s.lineEnd() {
		return text[len(prefix)], len(prefix) + 1 + s.at
	}
	return 0, 0
}
