package intake

import (
	"bytes"
	"encoding/binary"
	"regexp"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// sniffed is how much of a file's head is looked at to tell its format.
const sniffed = 4096

var (
	wasUTF16 = words.New("intake-was-utf16",
		"The file's encoding was UTF-16; it was read as such.",
		"La codificación del archivo era UTF-16; se leyó como tal.")
	wasUTF32 = words.New("intake-was-utf32",
		"The file's encoding was UTF-32; it was read as such.",
		"La codificación del archivo era UTF-32; se leyó como tal.")
	wasWindows = words.New("intake-was-windows",
		"The file's encoding is not UTF-8; its text was read as Windows-1252, for example “{example}”. Check the names.",
		"La codificación del archivo no es UTF-8; su texto se leyó como Windows-1252, por ejemplo «{example}». Revise los nombres.")
)

// declared finds the encoding that an XML declaration names.
var declared = regexp.MustCompile(`^\s*<\?xml[^>]*\sencoding\s*=\s*["']([A-Za-z0-9._-]+)["']`)

// toUTF8 brings text into UTF-8, saying so. What is no text stays as it is, and
// so does XML that names its encoding: its reader goes by that.
func (p *Proposal) toUTF8(data []byte) []byte {
	if isZip(data, "") {
		return data
	}
	if order := utf32Order(data); order != nil {
		p.note(fault.Detail{Text: wasUTF32.Plain()})
		return fromUTF32(data, order)
	}
	if order := utf16Order(data); order != nil {
		p.note(fault.Detail{Text: wasUTF16.Plain()})
		return fromUTF16(data, order)
	}
	data = bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))
	if utf8.Valid(data) || bytes.IndexByte(data, 0) >= 0 {
		return data
	}
	if m := declared.FindSubmatch(data[:min(len(data), sniffed)]); m != nil && !strings.EqualFold(string(m[1]), "utf-8") {
		return data
	}
	return p.fromWindows(data)
}

// utf16Order tells UTF-16 by its mark, or by the zero beside the first letter;
// nil for anything else.
func utf16Order(data []byte) binary.ByteOrder {
	if len(data) < 2 {
		return nil
	}
	switch {
	case data[0] == 0xFF && data[1] == 0xFE, data[0] != 0 && data[1] == 0:
		return binary.LittleEndian
	case data[0] == 0xFE && data[1] == 0xFF, data[0] == 0 && data[1] != 0:
		return binary.BigEndian
	}
	return nil
}

// utf32Order tells UTF-32 by its mark.
func utf32Order(data []byte) binary.ByteOrder {
	switch {
	case bytes.HasPrefix(data, []byte("\xFF\xFE\x00\x00")):
		return binary.LittleEndian
	case bytes.HasPrefix(data, []byte("\x00\x00\xFE\xFF")):
		return binary.BigEndian
	}
	return nil
}

func fromUTF32(data []byte, order binary.ByteOrder) []byte {
	out := make([]byte, 0, len(data)/4)
	for i := 4; i+3 < len(data); i += 4 {
		out = utf8.AppendRune(out, rune(order.Uint32(data[i:])))
	}
	return out
}

func fromUTF16(data []byte, order binary.ByteOrder) []byte {
	units := make([]uint16, 0, len(data)/2)
	for i := 0; i+1 < len(data); i += 2 {
		units = append(units, order.Uint16(data[i:]))
	}
	text := string(utf16.Decode(units))
	return []byte(strings.TrimPrefix(text, "\uFEFF"))
}

// fromWindows reads what is not UTF-8 as Windows-1252, which gives every byte a
// letter: the usual case on farms' computers of western languages, and a guess
// that the notice shows. Letters that are UTF-8 stay: in Windows-1252 their
// bytes would be an accented capital followed by a sign, which no word holds,
// while files put together from two programs' do.
func (p *Proposal) fromWindows(data []byte) []byte {
	at := 0
	for at < len(data) {
		r, n := utf8.DecodeRune(data[at:])
		if r == utf8.RuneError && n == 1 {
			break
		}
		at += n
	}
	out := make([]byte, 0, len(data)+len(data)/8)
	example := ""
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			r = charmap.Windows1252.DecodeByte(data[i])
		}
		out = utf8.AppendRune(out, r)
		if i == at {
			example = around(data, i)
		}
		i += n
	}
	p.mended(fault.Detail{Text: wasWindows.With(words.Args{"example": example}),
		Line: fault.P(1 + bytes.Count(data[:at], []byte{'\n'})), Byte: fault.P(int64(at))})
	return out
}

// around is the word a byte stands in, as Windows-1252.
func around(data []byte, at int) string {
	const reach = 20
	edge := func(b byte) bool { return b < '.' || strings.IndexByte(`:;<>[]{}`, b) >= 0 }
	from, to := at, at+1
	for from > 0 && at-from < reach && !edge(data[from-1]) {
		from--
	}
	for to < len(data) && to-at < reach && !edge(data[to]) {
		to++
	}
	var out strings.Builder
	for _, b := range data[from:to] {
		out.WriteRune(charmap.Windows1252.DecodeByte(b))
	}
	return out.String()
}

// isZip goes by the signatures of APPNOTE.TXT 6.3.10, sections 4.3.7 and
// 4.3.16.
func isZip(data []byte, _ string) bool {
	return bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte("PK\x05\x06"))
}

// isTable takes any text whose first line is split by commas, semicolons or
// tabs.
func isTable(data []byte, _ string) bool {
	line, _, _ := bytes.Cut(bytes.TrimSpace(data[:min(len(data), sniffed)]), []byte("\n"))
	return !startsWith(data, '<') && bytes.IndexByte(data[:min(len(data), sniffed)], 0) < 0 && bytes.ContainsAny(line, ",;\t")
}

// startsWith looks at the first byte that is no white space.
func startsWith(data []byte, c byte) bool {
	trimmed := bytes.TrimLeft(data[:min(len(data), sniffed)], " \t\r\n")
	return len(trimmed) > 0 && trimmed[0] == c
}
