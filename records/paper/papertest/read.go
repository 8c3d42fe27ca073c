// Package papertest reads back what package paper wrote, so that tests look at
// the pages and not at the calls: texts with their place and size, and paths in
// millimetres. It follows ISO 32000-1 as far as our own files need it: a plain
// cross-reference table, flate streams, type written as UTF-16.
package papertest

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf16"
)

// Page is what stands on one page. Lengths are millimetres from the upper left
// corner, y down.
type Page struct {
	Width, Height float64
	Texts         []Text
	Paths         []Path
}

// Text is one line of type where it begins. White halos are left out.
type Text struct {
	String string
	X, Y   float64
	Points float64 // size of the type
	Turned bool
}

// Path is one subpath that was drawn; Op is the operator that drew it: S, f, b,
// or n where it only clips.
type Path struct {
	Points [][2]float64
	Closed bool
	Op     string
	Width  float64 // of the stroke, mm
	Dashed bool
	White  bool // drawn in white
}

// All is the page's texts with blanks between.
func (p Page) All() string {
	var all []string
	for _, t := range p.Texts {
		all = append(all, t.String)
	}
	return strings.Join(all, " ")
}

// Has reports whether one line of type holds s.
func (p Page) Has(s string) bool {
	for _, t := range p.Texts {
		if strings.Contains(t.String, s) {
			return true
		}
	}
	return false
}

var (
	kids     = regexp.MustCompile(`/Kids \[([^\]]*)\]`)
	refs     = regexp.MustCompile(`(\d+) 0 R`)
	media    = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)
	contents = regexp.MustCompile(`/Contents (\d+) 0 R`)
)

// Read gives the pages in their order.
func Read(data []byte) ([]Page, error) {
	objects, err := table(data)
	if err != nil {
		return nil, err
	}
	var root []byte
	for _, o := range objects {
		if bytes.Contains(o, []byte("/Type /Pages")) {
			root = o
		}
	}
	m := kids.FindSubmatch(root)
	if m == nil {
		return nil, fmt.Errorf("papertest: no tree of pages")
	}
	usual := media.FindSubmatch(root)
	var pages []Page
	for _, ref := range refs.FindAllSubmatch(m[1], -1) {
		n, _ := strconv.Atoi(string(ref[1]))
		box := media.FindSubmatch(objects[n])
		if box == nil {
			box = usual
		}
		c := contents.FindSubmatch(objects[n])
		if box == nil || c == nil {
			return nil, fmt.Errorf("papertest: page object %d has no box or content", n)
		}
		k, _ := strconv.Atoi(string(c[1]))
		stream, err := unpacked(objects[k])
		if err != nil {
			return nil, err
		}
		w, _ := strconv.ParseFloat(string(box[1]), 64)
		h, _ := strconv.ParseFloat(string(box[2]), 64)
		r := reader{page: Page{Width: w * mm, Height: h * mm}, now: state{a: 1, d: 1}}
		if err := r.run(stream); err != nil {
			return nil, err
		}
		pages = append(pages, r.page)
	}
	return pages, nil
}

const mm = 25.4 / 72

// table cuts the file into its objects by the cross-reference table.
func table(data []byte) (map[int][]byte, error) {
	i := bytes.LastIndex(data, []byte("startxref"))
	if i < 0 {
		return nil, fmt.Errorf("papertest: no cross-reference")
	}
	at, err := strconv.Atoi(strings.Fields(string(data[i+9:]))[0])
	if err != nil || at >= len(data) {
		return nil, fmt.Errorf("papertest: cross-reference at %d of %d: %v", at, len(data), err)
	}
	out := map[int][]byte{}
	for n, line := range strings.Split(string(data[at:]), "\n")[2:] {
		f := strings.Fields(line)
		if len(f) != 3 {
			break
		}
		if f[2] != "n" {
			continue
		}
		start, err := strconv.Atoi(f[0])
		if err != nil || start >= len(data) {
			return nil, fmt.Errorf("papertest: object %d at %q", n, f[0])
		}
		end := bytes.Index(data[start:], []byte("\nendobj"))
		if end < 0 {
			return nil, fmt.Errorf("papertest: object %d has no end", n)
		}
		out[n] = data[start : start+end]
	}
	return out, nil
}

func unpacked(object []byte) ([]byte, error) {
	head, body, ok := bytes.Cut(object, []byte("stream\n"))
	if !ok {
		return nil, fmt.Errorf("papertest: an object without a stream")
	}
	body = bytes.TrimSuffix(body, []byte("\nendstream"))
	if !bytes.Contains(head, []byte("/FlateDecode")) {
		return body, nil
	}
	z, err := zlib.NewReader(bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(z)
}

// state is what q keeps and Q brings back.
type state struct {
	a, b, c, d, e, f float64 // matrix
	width            float64
	dashed           bool
	stroke, fill     float64
}

type reader struct {
	page     Page
	now      state
	kept     []state
	numbers  []float64
	last     string
	array    bool
	arrayLen int
	x, y     float64
	size     float64
	artifact bool
	open     []Path
	clip     bool
}

func (r *reader) point(x, y float64) [2]float64 {
	s := r.now
	return [2]float64{(s.a*x + s.c*y + s.e) * mm, r.page.Height - (s.b*x+s.d*y+s.f)*mm}
}

func (r *reader) run(data []byte) error {
	for i := 0; i < len(data); {
		switch c := data[i]; {
		case c == ' ' || c == '\n' || c == '\r' || c == '\t':
			i++
		case c == '(':
			s, n, err := literal(data[i:])
			if err != nil {
				return err
			}
			r.last = s
			i += n
		case c == '[':
			r.array, r.arrayLen = true, 0
			i++
		case c == ']':
			r.array = false
			i++
		default:
			j := i + 1
			for j < len(data) && !bytes.ContainsRune([]byte(" \n\r\t()[]"), rune(data[j])) {
				j++
			}
			word := string(data[i:j])
			i = j
			if v, err := strconv.ParseFloat(word, 64); err == nil {
				if r.array {
					r.arrayLen++
				} else {
					r.numbers = append(r.numbers, v)
				}
				continue
			}
			if strings.HasPrefix(word, "/") {
				continue
			}
			if err := r.operator(word); err != nil {
				return err
			}
			r.numbers = r.numbers[:0]
		}
	}
	return nil
}

// literal reads a string and says how many bytes it took.
func literal(data []byte) (string, int, error) {
	var out []byte
	for i := 1; i < len(data); i++ {
		switch data[i] {
		case '\\':
			i++
			if i == len(data) {
				return "", 0, fmt.Errorf("papertest: a string without an end")
			}
			if data[i] == 'r' {
				out = append(out, '\r')
			} else {
				out = append(out, data[i])
			}
		case ')':
			return string(out), i + 1, nil
		default:
			out = append(out, data[i])
		}
	}
	return "", 0, fmt.Errorf("papertest: a string without an end")
}

var needs = map[string]int{"cm": 6, "w": 1, "G": 1, "g": 1, "Tf": 1, "Td": 2, "m": 2, "l": 2, "c": 6, "re": 4}

func (r *reader) operator(word string) error {
	n := r.numbers
	if len(n) < needs[word] {
		return fmt.Errorf("papertest: %s with %d numbers", word, len(n))
	}
	switch word {
	case "q":
		r.kept = append(r.kept, r.now)
	case "Q":
		if len(r.kept) == 0 {
			return fmt.Errorf("papertest: Q without q")
		}
		r.now, r.kept = r.kept[len(r.kept)-1], r.kept[:len(r.kept)-1]
	case "cm":
		s := r.now
		r.now.a, r.now.b = n[0]*s.a+n[1]*s.c, n[0]*s.b+n[1]*s.d
		r.now.c, r.now.d = n[2]*s.a+n[3]*s.c, n[2]*s.b+n[3]*s.d
		r.now.e, r.now.f = n[4]*s.a+n[5]*s.c+s.e, n[4]*s.b+n[5]*s.d+s.f
	case "w":
		r.now.width = n[0] * mm
	case "d":
		r.now.dashed = r.arrayLen > 0
	case "G":
		r.now.stroke = n[0]
	case "g":
		r.now.fill = n[0]
	case "BMC":
		r.artifact = true
	case "EMC":
		r.artifact = false
	case "Tf":
		r.size = n[0]
	case "Td":
		r.x, r.y = n[0], n[1]
	case "Tj":
		r.show()
	case "m":
		r.open = append(r.open, Path{Points: [][2]float64{r.point(n[0], n[1])}})
	case "re":
		x, y, w, h := n[0], n[1], n[2], n[3]
		r.open = append(r.open, Path{Closed: true, Points: [][2]float64{r.point(x, y), r.point(x+w, y), r.point(x+w, y+h), r.point(x, y+h)}})
	case "l", "c":
		if len(r.open) == 0 {
			return fmt.Errorf("papertest: %s without a path", word)
		}
		p := &r.open[len(r.open)-1]
		p.Points = append(p.Points, r.point(n[len(n)-2], n[len(n)-1]))
	case "h":
		r.open[len(r.open)-1].Closed = true
	case "S", "s", "f", "f*", "B", "b", "n":
		r.paint(word)
	}
	return nil
}

func (r *reader) paint(op string) {
	for _, p := range r.open {
		p.Op, p.Width, p.Dashed = op, r.now.width, r.now.dashed
		p.White = r.now.stroke == 1 && op == "S"
		r.page.Paths = append(r.page.Paths, p)
	}
	r.open = nil
}

func (r *reader) show() {
	if r.artifact {
		return
	}
	units := make([]uint16, len(r.last)/2)
	for i := range units {
		units[i] = uint16(r.last[2*i])<<8 | uint16(r.last[2*i+1])
	}
	at := r.point(r.x, r.y)
	const level = 1e-6 // a sine of less is no turn
	r.page.Texts = append(r.page.Texts, Text{String: string(utf16.Decode(units)), X: at[0], Y: at[1], Points: r.size, Turned: math.Abs(r.now.b) > level})
}
