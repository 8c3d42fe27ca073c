package paper

import (
	"math"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// family is the one type: its digits are all as wide, so that columns line up.
const family = "go"

// face is upright or bold.
type face string

const (
	plain face = ""
	bold  face = "B"
)

// lead is the height of a line of type, in sizes of the type.
const lead = 1.25

func (p Points) mm() Millimetres { return Millimetres(float64(p) * millimetresPerInch / pointsPerInch) }

// line is the height of a line at this size.
func (p Points) line() Millimetres { return p.mm() * lead }

// lostLetter takes the place of what the type does not hold.
const lostLetter = '□'

var typeface = sync.OnceValue(func() *sfnt.Font {
	f, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		panic("paper: the type that comes with the program cannot be read: " + err.Error())
	}
	return f
})

// writable makes any text one line of letters the type holds.
func (d *Doc) writable(s string) string {
	var buffer sfnt.Buffer
	return strings.Map(func(r rune) rune {
		switch {
		case r >= ' ' && r < 0x7f:
			return r
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
			return -1
		}
		// fpdf writes no letters beyond the basic plane.
		if i, err := typeface().GlyphIndex(&buffer, r); err != nil || i == 0 || r > 0xffff {
			d.lost = true
			return lostLetter
		}
		return r
	}, s)
}

func (d *Doc) font(f face, size Points) { d.pdf.SetFont(family, string(f), float64(size)) }

// width of a text in one line.
func (d *Doc) width(s string, f face, size Points) Millimetres {
	d.font(f, size)
	return Millimetres(d.pdf.GetStringWidth(d.writable(s)))
}

// text writes one line with its baseline at y.
func (d *Doc) text(x, y Millimetres, s string, f face, size Points) {
	d.font(f, size)
	d.pdf.Text(float64(x), float64(y), d.writable(s))
}

// forced writes small type on a page that is no longer the last. fpdf believes
// the last font set to hold on every page.
func (d *Doc) forced(x, y Millimetres, s string) {
	d.font(plain, LeastType)
	d.pdf.SetFontSize(float64(LeastType))
	d.pdf.Text(float64(x), float64(y), d.writable(s))
}

// fitted cuts a text with an ellipsis to what fits.
func (d *Doc) fitted(s string, f face, size Points, room Millimetres) string {
	if d.width(s, f, size) <= room {
		return s
	}
	s = d.fitting(d.writable(s), f, size, room-d.width("…", f, size))
	return strings.TrimRight(s, " ") + "…"
}

// wrapped breaks a text into lines between words; a word wider than the line
// is cut.
func (d *Doc) wrapped(s string, f face, size Points, room Millimetres) []string {
	// A column made for a word is its width but for rounding.
	const rounding Millimetres = 1e-6
	room += rounding
	var lines []string
	line := ""
	for _, word := range strings.Fields(d.writable(s)) {
		for word != "" && d.width(word, f, size) > room {
			head := d.fitting(word, f, size, room)
			if line != "" {
				lines = append(lines, line)
				line = ""
			}
			lines = append(lines, head)
			word = word[len(head):]
		}
		switch {
		case line == "":
			line = word
		case d.width(line+" "+word, f, size) <= room:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// fitting is the longest beginning that fits, one letter at least.
func (d *Doc) fitting(word string, f face, size Points, room Millimetres) string {
	var w Millimetres
	for i, r := range word {
		if w += d.width(string(r), f, size); i > 0 && w > room {
			return word[:i]
		}
	}
	return word
}

// Number writes a figure with so many decimals and thousands apart: 1,234.5, in
// both languages, as in the United States and Mexico. No number is a dash.
func Number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	s := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, fraction, _ := strings.Cut(s, ".")
	var b strings.Builder
	if v < 0 && strings.Trim(s, "0.") != "" {
		b.WriteRune('−')
	}
	for i, r := range whole {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteRune(r)
	}
	if fraction != "" {
		b.WriteString("." + fraction)
	}
	return b.String()
}
