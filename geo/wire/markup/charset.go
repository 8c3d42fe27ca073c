package markup

import (
	"bytes"
	"encoding/binary"
	"regexp"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"caneward/geo/wire"
)

// declared finds the encoding in an XML declaration (XML 1.0 section 4.3.3).
var declared = regexp.MustCompile(`^<\?xml[^>]*\sencoding\s*=\s*["']([A-Za-z][A-Za-z0-9._-]*)["']`)

// charsets are the one-byte encodings that files of western and eastern
// European languages come in. ISO-8859-1 is read as Windows-1252, its
// superset, as the WHATWG Encoding Standard has it: who writes the first name
// means the second.
var charsets = map[string]*charmap.Charmap{
	"iso-8859-1": charmap.Windows1252, "iso8859-1": charmap.Windows1252, "latin1": charmap.Windows1252,
	"us-ascii": charmap.Windows1252, "ascii": charmap.Windows1252,
	"windows-1252": charmap.Windows1252, "cp1252": charmap.Windows1252,
	"iso-8859-15": charmap.ISO8859_15, "iso-8859-2": charmap.ISO8859_2, "iso-8859-9": charmap.Windows1254,
	"windows-1250": charmap.Windows1250, "windows-1251": charmap.Windows1251, "windows-1254": charmap.Windows1254,
	"koi8-r": charmap.KOI8R, "ibm437": charmap.CodePage437, "ibm850": charmap.CodePage850,
}

// toUTF8 brings a document into UTF-8 without its mark. Bytes that are UTF-8
// stay, whatever the declaration says: somebody has converted them since.
func toUTF8(data []byte) ([]byte, *wire.Error) {
	if order := utf16Order(data); order != nil {
		return fromUTF16(data, order), nil
	}
	data = bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))
	if utf8.Valid(data) {
		return data, nil
	}
	name := "utf-8"
	if m := declared.FindSubmatch(data[:min(len(data), 256)]); m != nil {
		name = strings.ToLower(string(m[1]))
	}
	charset, known := charsets[name]
	if !known {
		e := fail(data, RuleEncoding, invalidAt(data))
		if name != "utf-8" {
			e.Got = name
		}
		return nil, e
	}
	out := make([]byte, 0, len(data)+len(data)/8)
	for _, b := range data {
		out = utf8.AppendRune(out, charset.DecodeByte(b))
	}
	return out, nil
}

func invalidAt(data []byte) int {
	at := 0
	for at < len(data) {
		r, n := utf8.DecodeRune(data[at:])
		if r == utf8.RuneError && n <= 1 {
			break
		}
		at += n
	}
	return at
}

// utf16Order goes by the mark, or by the first letter (XML 1.0 appendix F.1).
func utf16Order(data []byte) binary.ByteOrder {
	if len(data) < 4 {
		return nil
	}
	switch {
	case data[0] == 0xFF && data[1] == 0xFE, data[0] == '<' && data[1] == 0:
		return binary.LittleEndian
	case data[0] == 0xFE && data[1] == 0xFF, data[0] == 0 && data[1] == '<':
		return binary.BigEndian
	}
	return nil
}

func fromUTF16(data []byte, order binary.ByteOrder) []byte {
	out := make([]byte, 0, len(data)/2)
	for i := 0; i+1 < len(data); i += 2 {
		r := rune(order.Uint16(data[i:]))
		if utf16.IsSurrogate(r) && i+3 < len(data) {
			if pair := utf16.DecodeRune(r, rune(order.Uint16(data[i+2:]))); pair != utf8.RuneError {
				r = pair
				i += 2
			}
		}
		out = utf8.AppendRune(out, r)
	}
	return bytes.TrimPrefix(out, []byte("\uFEFF"))
}
