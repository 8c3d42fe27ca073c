// Package paper makes pages for print: headed and numbered pages, tables that
// break over them, boxes of caution, lines to sign on, and maps true to scale.
// Everything reads the same in black and white.
//
// Lengths on the page are Millimetres from the page's upper left corner, x to
// the right and y down. Numbers in the file are rounded to a thousandth of a
// point for drawings and a hundredth for text: 0.2 and 2 micrometres. The same
// calls with the same Head give the same bytes.
package paper

import (
	"bytes"
	"context"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Millimetres is a length on the page.
type Millimetres float64

// Points is a size of type; 72 make an inch.
type Points float64

const (
	millimetresPerInch = 25.4 // exact
	pointsPerInch      = 72.0
	// LeastType is the smallest type that goes on a page.
	LeastType Points = 8
	// MaxPages bounds a document: more is no paper anybody carries.
	MaxPages = 400
)

// Size is a size of paper.
type Size struct {
	Name          string
	Width, Height Millimetres // upright
}

// Letter is 8.5 by 11 inches (ANSI/ASME Y14.1, size A); A4 is ISO 216.
var (
	Letter = Size{"letter", 215.9, 279.4}
	A4     = Size{"a4", 210, 297}
)

// Margins: office printers reach to 4 to 6 mm of the edge (common practice, no
// source); the left one leaves room for punching.
const (
	side   Millimetres = 15
	top    Millimetres = 9
	bottom Millimetres = 17
)

var (
	inventedMark = words.New("paper-invented", "Invented data: demonstration farm, not a real place", "Datos inventados: finca de demostración, no es un lugar real")
	pageOf       = words.New("paper-page-of", "page {page} of {pages}", "página {page} de {pages}")
	madeBy       = words.New("paper-made-by", "made by caneward {version} from records up to sequence {sequence}, {time}", "hecho por caneward {version} con los registros hasta la secuencia {sequence}, {time}")
	lettersLost  = words.New("paper-letters-lost", "□ stands for a letter that this page has no type for.", "□ ocupa el lugar de una letra que esta página no puede escribir.")
	tooManyPages = words.New("paper-too-many-pages", "This would be more than {limit} pages. Ask for less on one paper.", "Esto serían más de {limit} páginas. Pida menos en un solo documento.")
)

// Head is what every page says of itself.
type Head struct {
	Farm     string
	Invented bool // marks every page
	Title    words.Text
	Line     words.Text // season or date
	Language words.Language
	Size     Size // the zero Size is Letter

	// Made is when, and Zone where, the paper was made; with Version and Sequence
	// it says what the paper shows.
	Made     time.Time
	Zone     *time.Location // nil is UTC
	Version  string
	Sequence int64
}

// SizeIn is the usual paper where a time zone is: Letter in the Americas, else
// A4.
func SizeIn(zone string) Size {
	if strings.HasPrefix(zone, "America/") {
		return Letter
	}
	return A4
}

// Doc is a document being written from the first page to the last.
type Doc struct {
	head  Head
	ctx   context.Context
	pdf   *fpdf.Fpdf
	page  page
	pages []page
	y     Millimetres // where the next thing goes
	lost  bool        // a letter was replaced
	err   error
}

// page is the size of one page as it lies.
type page struct{ width, height Millimetres }

func (p page) right() Millimetres { return p.width - side }
func (p page) inner() Millimetres { return p.width - 2*side }
func (p page) floor() Millimetres { return p.height - bottom }

// New begins a document without a page. Work stops when ctx ends.
func New(ctx context.Context, head Head) *Doc {
	if head.Size == (Size{}) {
		head.Size = Letter
	}
	if head.Zone == nil {
		head.Zone = time.UTC
	}
	pdf := fpdf.New("P", "mm", "", "")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(float64(side), float64(top), float64(side))
	// Without these three the same pages differ from run to run.
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(head.Made.UTC())
	pdf.SetModificationDate(head.Made.UTC())
	pdf.AddUTF8FontFromBytes(family, "", goregular.TTF)
	pdf.AddUTF8FontFromBytes(family, "B", gobold.TTF)
	d := &Doc{head: head, ctx: ctx, pdf: pdf}
	pdf.SetLang(string(head.Language))
	pdf.SetTitle(d.writable(head.Title.In(head.Language)), true)
	pdf.SetCreator(d.writable("caneward "+head.Version), true)
	return d
}

// Say is a text in the document's language.
func (d *Doc) Say(t words.Text) string { return t.In(d.head.Language) }

// Err is what stopped the document, nil while it goes on: fault.TooCostly over
// MaxPages, the context's error.
func (d *Doc) Err() error {
	if d.err == nil {
		d.err = d.ctx.Err()
	}
	return d.err
}

// Page begins a page, upright or lying.
func (d *Doc) Page(landscape bool) {
	if d.Err() != nil {
		return
	}
	if len(d.pages) == MaxPages {
		d.err = fault.New(fault.TooCostly, tooManyPages.With(words.Args{"limit": MaxPages}))
		return
	}
	d.page = page{d.head.Size.Width, d.head.Size.Height}
	orientation := "P"
	if landscape {
		d.page = page{d.page.height, d.page.width}
		orientation = "L"
	}
	d.pdf.AddPageFormat(orientation, fpdf.SizeType{Wd: float64(d.head.Size.Width), Ht: float64(d.head.Size.Height)})
	d.pages = append(d.pages, d.page)
	d.y = d.header()
}

// landscape reports how the page lies.
func (d *Doc) landscape() bool { return d.page.width > d.page.height }

// Pages counts the pages begun.
func (d *Doc) Pages() int { return len(d.pages) }

// Heights of the header's parts, and of the box with the mark of invented data.
const (
	headerHeight   Millimetres = 15
	inventedHeight Millimetres = 6.5
	afterHeader    Millimetres = 5
)

// header writes the head of a page and says where the page goes on.
func (d *Doc) header() Millimetres {
	line := d.Say(d.head.Line)
	room := d.page.inner() - d.width(line, plain, 9) - 4
	d.text(side, top+4, d.fitted(d.head.Farm, bold, 10, room), bold, 10)
	d.text(d.page.right()-d.width(line, plain, 9), top+4, line, plain, 9)
	d.text(side, top+11.5, d.fitted(d.Say(d.head.Title), bold, 16, d.page.inner()), bold, 16)
	d.rule(side, d.page.right(), top+headerHeight, 0.5)
	y := top + headerHeight
	if d.head.Invented {
		y += 1.8
		d.boxed(side, y, d.page.inner(), inventedHeight, Stroke{Width: 0.6})
		mark := d.Say(inventedMark.Plain())
		d.text(side+(d.page.inner()-d.width(mark, bold, 10))/2, y+4.6, mark, bold, 10)
		y += inventedHeight
	}
	return y + afterHeader
}

// footers go on last, when the number of pages is known.
func (d *Doc) footers() {
	last := d.page
	made := d.Say(madeBy.With(words.Args{"version": d.head.Version, "sequence": d.head.Sequence,
		"time": d.head.Made.In(d.head.Zone).Format("2006-01-02 15:04 MST")}))
	for i, p := range d.pages {
		d.pdf.SetPage(i + 1)
		d.page = p
		y := p.height - bottom + 5
		d.rule(side, p.right(), y, 0.25)
		// fpdf turns y over with the height of the last page begun.
		y += last.height - p.height
		number := d.Say(pageOf.With(words.Args{"page": i + 1, "pages": len(d.pages)}))
		d.forced(p.right()-d.width(number, plain, LeastType), y+4, number)
		d.forced(side, y+4, d.fitted(made, plain, LeastType, p.inner()-d.width(number, plain, LeastType)-4))
		if d.lost {
			d.forced(side, y+8, d.Say(lettersLost.Plain()))
		}
	}
	d.page = last
}

// Bytes ends the document and gives the file.
func (d *Doc) Bytes() ([]byte, error) {
	if err := d.Err(); err != nil {
		return nil, err
	}
	if len(d.pages) == 0 {
		d.Page(false)
	}
	d.footers()
	var b bytes.Buffer
	if err := d.pdf.Output(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
