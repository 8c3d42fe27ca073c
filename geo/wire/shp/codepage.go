package shp

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// encoding turns the bytes of a table into text: UTF-8 when letters is nil.
type encoding struct {
	letters *[256]rune
}

func (e encoding) utf8() bool { return e.letters == nil }

func lettersOf(m *charmap.Charmap) encoding {
	var letters [256]rune
	for i := range letters {
		letters[i] = m.DecodeByte(byte(i))
	}
	return encoding{&letters}
}

var windows1252 = lettersOf(charmap.Windows1252)

// byLabel are the code pages a .cpg names, without its prefixes; numbers are
// Windows' and DOS' own, 885911 and the like ISO 8859's parts.
var byLabel = map[string]*charmap.Charmap{
	"437": charmap.CodePage437, "850": charmap.CodePage850, "852": charmap.CodePage852, "855": charmap.CodePage855,
	"858": charmap.CodePage858, "860": charmap.CodePage860, "862": charmap.CodePage862, "863": charmap.CodePage863,
	"865": charmap.CodePage865, "866": charmap.CodePage866, "874": charmap.Windows874,
	"1250": charmap.Windows1250, "1251": charmap.Windows1251, "1252": charmap.Windows1252, "1253": charmap.Windows1253,
	"1254": charmap.Windows1254, "1255": charmap.Windows1255, "1256": charmap.Windows1256, "1257": charmap.Windows1257,
	"1258": charmap.Windows1258,
	// Latin 1's bytes 80 to 9F are controls, which no name holds; Windows-1252
	// has letters there and the same elsewhere.
	"88591": charmap.Windows1252, "88592": charmap.ISO8859_2, "88593": charmap.ISO8859_3, "88594": charmap.ISO8859_4,
	"88595": charmap.ISO8859_5, "88596": charmap.ISO8859_6, "88597": charmap.ISO8859_7, "88598": charmap.ISO8859_8,
	"88599": charmap.ISO8859_9, "885910": charmap.ISO8859_10, "885913": charmap.ISO8859_13, "885914": charmap.ISO8859_14,
	"885915": charmap.ISO8859_15, "885916": charmap.ISO8859_16,
	"10000": charmap.Macintosh,
}

// byDriver are the language drivers of byte 29 of a .dbf, by dBASE and FoxPro.
var byDriver = map[byte]*charmap.Charmap{
	0x01: charmap.CodePage437, 0x02: charmap.CodePage850, 0x03: charmap.Windows1252, 0x04: charmap.Macintosh,
	0x08: charmap.CodePage865, 0x09: charmap.CodePage437, 0x0A: charmap.CodePage850, 0x0B: charmap.CodePage437,
	0x0D: charmap.CodePage437, 0x0E: charmap.CodePage850, 0x0F: charmap.CodePage437, 0x10: charmap.CodePage850,
	0x11: charmap.CodePage437, 0x12: charmap.CodePage850, 0x14: charmap.CodePage850, 0x15: charmap.CodePage437,
	0x16: charmap.CodePage850, 0x17: charmap.CodePage865, 0x18: charmap.CodePage437, 0x19: charmap.CodePage437,
	0x1A: charmap.CodePage850, 0x1B: charmap.CodePage437, 0x1C: charmap.CodePage863, 0x1D: charmap.CodePage850,
	0x1F: charmap.CodePage852, 0x22: charmap.CodePage852, 0x23: charmap.CodePage852, 0x24: charmap.CodePage860,
	0x25: charmap.CodePage850, 0x26: charmap.CodePage866, 0x37: charmap.CodePage850, 0x40: charmap.CodePage852,
	0x57: charmap.Windows1252, 0x58: charmap.Windows1252, 0x59: charmap.Windows1252, 0x64: charmap.CodePage852,
	0x65: charmap.CodePage866, 0x66: charmap.CodePage865, 0x6C: charmap.CodePage863, 0x87: charmap.CodePage852,
	0xC8: charmap.Windows1250, 0xC9: charmap.Windows1251, 0xCA: charmap.Windows1254, 0xCB: charmap.Windows1253,
	0xCC: charmap.Windows1257,
}

// ofLabel reads a .cpg: "UTF-8", "ISO-8859-1", "88591", "ANSI 1252", "OEM 437"
// and their like.
func ofLabel(cpg []byte) (encoding, bool) {
	label := strings.ToUpper(string(bytes.TrimSpace(bytes.TrimPrefix(cpg, []byte("\xEF\xBB\xBF")))))
	label = strings.NewReplacer("-", "", "_", "", " ", "", "/", "", ":", "").Replace(label)
	if label == "UTF8" || label == "65001" || label == "CPUTF8" {
		return encoding{}, true
	}
	for _, prefix := range []string{"ISO", "ANSI", "OEM", "WINDOWS", "CP", "IBM", "DOS", "LDID"} {
		label = strings.TrimPrefix(label, prefix)
	}
	m, ok := byLabel[strings.TrimPrefix(label, "CP")]
	if !ok {
		return encoding{}, false
	}
	return lettersOf(m), true
}

// guess tells the encoding of a table without a usable .cpg. Text that is
// UTF-8 and has letters beyond ASCII is hardly ever meant otherwise, whatever
// the header says: most programs write the same driver byte always. sure is
// false where nothing says so.
func guess(driver byte, allUTF8 bool) (e encoding, sure bool) {
	if allUTF8 {
		return encoding{}, true
	}
	if m, ok := byDriver[driver]; ok {
		return lettersOf(m), true
	}
	return windows1252, false
}

func ascii(b []byte) bool {
	for _, c := range b {
		if c >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// appendText writes a cell as a JSON text. ok is false where UTF-8 was broken
// and the cell was read as Windows-1252.
func (e encoding) appendText(out, cell []byte) (_ []byte, ok bool) {
	ok = true
	letters := e.letters
	if letters == nil && !ascii(cell) && !utf8.Valid(cell) {
		ok, letters = false, windows1252.letters
	}
	out = append(out, '"')
	plain := 0 // start of what goes out as it stands
	for i, c := range cell {
		if c >= 0x20 && c < utf8.RuneSelf && c != '"' && c != '\\' || c >= utf8.RuneSelf && letters == nil {
			continue
		}
		out = append(out, cell[plain:i]...)
		plain = i + 1
		if c >= utf8.RuneSelf {
			out = utf8.AppendRune(out, letters[c])
		} else {
			out = appendEscaped(out, c)
		}
	}
	out = append(out, cell[plain:]...)
	return append(out, '"'), ok
}

const hex = "0123456789abcdef"

func appendEscaped(out []byte, c byte) []byte {
	switch c {
	case '"', '\\':
		return append(out, '\\', c)
	case '\n':
		return append(out, '\\', 'n')
	case '\r':
		return append(out, '\\', 'r')
	case '\t':
		return append(out, '\\', 't')
	}
	return append(out, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
}

// uncut takes off the beginning of a letter that the field was too short for;
// cell must reach to the field's end.
func uncut(cell []byte) []byte {
	for n := 1; n < utf8.UTFMax && n <= len(cell); n++ {
		if c := cell[len(cell)-n]; utf8.RuneStart(c) {
			if c >= utf8.RuneSelf && !utf8.FullRune(cell[len(cell)-n:]) {
				return cell[:len(cell)-n]
			}
			break
		}
	}
	return cell
}
