package sheet

import (
	"errors"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// number reads a figure with a decimal point or comma. Thousands is the sign
// that separates thousands in its column, 0 for none; where both signs stand,
// the last is the decimal one.
func number(cell string, thousands byte) (float64, bool) {
	text := tidy(cell)
	if text == "" || len(text) > 40 {
		return 0, false
	}
	for i := range len(text) {
		switch c := text[i]; {
		case c >= '0' && c <= '9', c == '+', c == '-', c == '.', c == ',', c == 'e', c == 'E':
		default:
			return 0, false
		}
	}
	if thousands == 0 {
		thousands = groupSign(text)
	}
	if thousands != 0 {
		text = strings.ReplaceAll(text, string(thousands), "")
	}
	text = strings.Replace(text, ",", ".", 1)
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// tidy takes away what spreadsheets put around figures: white space of every
// kind, the apostrophe that marks text, other minus signs.
func tidy(cell string) string {
	text := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(cell), "'"))
	if isASCII(text) {
		return text
	}
	return plainSigns.Replace(text)
}

var plainSigns = strings.NewReplacer("\u2212", "-", "\u2013", "-", "\u00a0", " ", "\u202f", " ")

func isASCII(text string) bool {
	for i := range len(text) {
		if text[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// groupSign is the sign that separates thousands in a figure that proves it: it
// stands twice, or before the other one.
func groupSign(text string) byte {
	comma, point := strings.IndexByte(text, ','), strings.IndexByte(text, '.')
	switch {
	case strings.Count(text, ",") > 1, comma >= 0 && point > comma:
		return ','
	case strings.Count(text, ".") > 1, point >= 0 && comma > point:
		return '.'
	}
	return 0
}

var (
	errAngle      = errors.New("no angle")
	errHemisphere = errors.New("the letter contradicts the sign")
)

// degrees is an angle with the letter of its hemisphere, 0 for none.
type degrees struct {
	value  float64 // signed
	letter byte    // N S E W O
}

// dms is degrees, perhaps minutes, perhaps seconds, each with its mark. The
// masculine ordinal often stands for the degree sign.
var dms = regexp.MustCompile(`^([+-]?)\s*(\d+(?:[.,]\d+)?)\s*(?:°|º|˚|deg\.?|d|:|\s)?\s*` +
	`(?:(\d+(?:[.,]\d+)?)\s*(?:'|’|‘|′|´|` + "`" + `|min\.?|m|:|\s)?\s*` +
	`(?:(\d+(?:[.,]\d+)?)\s*(?:"|”|“|″|''|’’|′′|´´|sec\.?|s)?)?)?$`)

// letters are hemispheres as words and letters; longer ones first.
var letters = []struct {
	text   string
	letter byte
}{
	{"north", 'N'}, {"south", 'S'}, {"east", 'E'}, {"west", 'W'}, {"norte", 'N'}, {"oeste", 'W'}, {"este", 'E'}, {"sur", 'S'},
	{"n", 'N'}, {"s", 'S'}, {"e", 'E'}, {"w", 'W'}, {"o", 'O'},
}

// angle reads 36.3131, 36°18'47.2"N, N 36 18 47.2, 36d18m47.2s and their like.
// Minutes and seconds must be below 60, and only the last figure may have a
// fraction. The letter O is Spanish oeste, west.
func angle(cell string) (degrees, error) {
	text := strings.ToLower(tidy(cell))
	if text == "" || len(text) > 60 {
		return degrees{}, errAngle
	}
	text, letter := hemisphere(text)
	m := dms.FindStringSubmatch(text)
	if m == nil {
		return degrees{}, errAngle
	}
	d := degrees{letter: letter}
	figures := []string{m[2], m[3], m[4]}
	unit := 3600.0
	for i, f := range figures {
		if f == "" {
			break
		}
		v, err := strconv.ParseFloat(strings.Replace(f, ",", ".", 1), 64)
		last := i == len(figures)-1 || figures[i+1] == ""
		if err != nil || i > 0 && v >= 60 || !last && v != math.Trunc(v) {
			return degrees{}, errAngle
		}
		d.value += v * unit
		unit /= 60
	}
	d.value /= 3600
	negative := letter == 'S' || letter == 'W' || letter == 'O'
	if m[1] == "-" && letter != 0 || m[1] == "+" && negative {
		return d, errHemisphere
	}
	if m[1] == "-" || negative {
		d.value = -d.value
	}
	return d, nil
}

// secondsMark ends an angle whose minutes have an m: the s is no south then.
var secondsMark = regexp.MustCompile(`\d\s*m(?:in\.?)?\s*\d+(?:[.,]\d+)?\s*s$`)

// hemisphere takes the letter or word off either end.
func hemisphere(text string) (rest string, letter byte) {
	for _, l := range letters {
		if after, ok := strings.CutPrefix(text, l.text); ok && !startsWithLetter(after) {
			return strings.TrimLeft(after, " .:"), l.letter
		}
		if before, ok := strings.CutSuffix(strings.TrimRight(text, " ."), l.text); ok {
			if l.text == "s" && secondsMark.MatchString(text) {
				continue
			}
			return strings.TrimRight(before, " "), l.letter
		}
	}
	return text, 0
}

func startsWithLetter(s string) bool { return s != "" && s[0] >= 'a' && s[0] <= 'z' }

// pair reads two angles in one cell and gives latitude and longitude. Letters
// tell which is which; without them the first is the latitude unless lonFirst.
func pair(cell string, lonFirst bool) (lat, lon degrees, err error) {
	text := strings.Trim(tidy(cell), "()[] ")
	if len(text) > 120 {
		return lat, lon, errAngle
	}
	for _, split := range splits(text) {
		a, errA := angle(split[0])
		b, errB := angle(split[1])
		if errA == nil && errB == nil {
			return sides(a, b, lonFirst)
		}
	}
	return lat, lon, errAngle
}

func sides(a, b degrees, lonFirst bool) (lat, lon degrees, err error) {
	northA, northB := isNorthing(a.letter), isNorthing(b.letter)
	switch {
	case a.letter == 0 && b.letter == 0:
		if lonFirst {
			a, b = b, a
		}
		return a, b, nil
	case a.letter != 0 && b.letter != 0 && northA == northB:
		return a, b, errHemisphere
	case a.letter != 0 && !northA, b.letter != 0 && northB:
		return b, a, nil
	}
	return a, b, nil
}

func isNorthing(letter byte) bool { return letter == 'N' || letter == 'S' }

// splits are the ways to cut a cell in two, the surest first.
func splits(text string) [][2]string {
	var out [][2]string
	for _, sep := range []string{";", ", ", "/", "|", ","} {
		if strings.Count(text, sep) == 1 {
			a, b, _ := strings.Cut(text, sep)
			out = append(out, [2]string{a, b})
		}
	}
	// 36,31 -94,44 and 36°18'47"N 94°26'28"W: at any run of spaces, or after a
	// letter, one of which leaves an angle on both sides.
	const most = 8
	for i, n := 1, 0; i < len(text) && n < most; i++ {
		if text[i] == ' ' || strings.IndexByte("NSns", text[i-1]) >= 0 || strings.IndexByte("EWOewo", text[i]) >= 0 {
			if a, b := text[:i], text[i:]; marked(a) == marked(b) {
				out = append(out, [2]string{a, b})
				n++
			}
		}
	}
	return out
}

// marked counts the figures of an angle.
func marked(text string) int {
	n, in := 0, false
	for _, c := range []byte(text) {
		digit := c >= '0' && c <= '9' || in && (c == '.' || c == ',')
		if digit && !in {
			n++
		}
		in = digit
	}
	return n
}
