package paper

import (
	"bytes"
	"fmt"
	"image/color"
	"slices"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
)

// Info is what a file says of itself, beside its pages.
type Info struct {
	Title    string
	Keywords string    // plain ASCII, so that it can be found in the file as it stands
	When     time.Time // the file's date: that of the record, not of the clock
}

// Document is a PDF file in the making. Its methods must follow a first [Document.Page].
type Document struct {
	Size    Size
	pdf     *fpdf.Fpdf
	pages   int
	missing []rune
}

// New begins a document without a page.
func New(size Size, info Info) *Document {
	p := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: size.W, Ht: size.H}})
	p.SetCatalogSort(true)
	when := info.When.UTC()
	p.SetCreationDate(when)
	p.SetModificationDate(when)
	p.SetProducer("headstack", false)
	p.SetMargins(0, 0, 0)
	p.SetAutoPageBreak(false, 0)
	p.SetCellMargin(0)
	p.AddUTF8FontFromBytes("sans", "", plainTTF)
	p.AddUTF8FontFromBytes("sans", "B", boldTTF)
	d := &Document{Size: size, pdf: p}
	p.SetTitle(d.letters(info.Title), true)
	p.SetKeywords(info.Keywords, false)
	p.SetLang("en")
	p.SetFont("sans", "", 9)
	return d
}

// Page begins a new page.
func (d *Document) Page() {
	d.pdf.AddPage()
	d.pages++
}

// Pages is how many there are.
func (d *Document) Pages() int { return d.pages }

// Bytes ends the document and gives it whole.
func (d *Document) Bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := d.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("writing the PDF: %w", err)
	}
	return b.Bytes(), nil
}

// Missing are the letters that were written as U+FFFD because the fonts lack them, in the
// order in which they came.
func (d *Document) Missing() []rune { return slices.Clone(d.missing) }

// letters makes of s what the fonts can write. Breaks and tabs become spaces.
func (d *Document) letters(s string) string {
	has := hasLetter()
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r == replacement || has(r):
			return r
		case unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
			return -1 // shows nothing anywhere
		}
		if !slices.Contains(d.missing, r) {
			d.missing = append(d.missing, r)
		}
		return replacement
	}, strings.ToValidUTF8(s, string(replacement)))
}

// Type is how a text looks.
type Type struct {
	Size float64 // points
	Bold bool
	Grey float64 // 0 black to 1 white
}

// point is in mm: 1/72 inch.
const point = 25.4 / 72

// Line is the height of a line of text, mm: 1.22 of its size, so that descenders stay off
// what is below.
func (t Type) Line() float64 { return 1.22 * t.Size * point }

// Up is how far the letters of a line stand over its baseline, Down how far below, mm: the
// ascender of DejaVu Sans is 0.76 em and its descender 0.24 em (read from its outlines).
func (t Type) Up() float64   { return 0.76 * t.Size * point }
func (t Type) Down() float64 { return 0.24 * t.Size * point }

func (d *Document) set(t Type) {
	style := ""
	if t.Bold {
		style = "B"
	}
	d.pdf.SetFont("sans", style, t.Size)
	g := int(255*t.Grey + 0.5)
	d.pdf.SetTextColor(g, g, g)
}

// Width is how wide s is, mm.
func (d *Document) Width(s string, t Type) float64 {
	d.set(t)
	return d.pdf.GetStringWidth(d.letters(s))
}

// Text writes s with its baseline at y; anchor is start, middle or end, and lies at x.
func (d *Document) Text(x, y float64, anchor, s string, t Type) {
	s = d.letters(s)
	if strings.TrimSpace(s) == "" {
		return
	}
	d.set(t)
	switch anchor {
	case "middle":
		x -= d.pdf.GetStringWidth(s) / 2
	case "end":
		x -= d.pdf.GetStringWidth(s)
	}
	d.pdf.Text(x, y, s)
}

func (d *Document) stroke(width float64, grey float64, dash ...float64) {
	g := int(255*grey + 0.5)
	d.pdf.SetDrawColor(g, g, g)
	d.pdf.SetLineWidth(width)
	d.pdf.SetDashPattern(dash, 0)
}

// Line draws a line, width mm wide; dash are lengths of lines and gaps.
func (d *Document) Line(x1, y1, x2, y2, width float64, dash ...float64) {
	d.stroke(width, 0, dash...)
	d.pdf.Line(x1, y1, x2, y2)
}

// Box draws the outline of a rectangle, its line lying inside.
func (d *Document) Box(x, y, w, h, width float64) {
	d.stroke(width, 0)
	d.pdf.Rect(x+width/2, y+width/2, w-width, h-width, "D")
}

// Field fills a rectangle with grey, 0 black to 1 white.
func (d *Document) Field(x, y, w, h, grey float64) {
	g := int(255*grey + 0.5)
	d.pdf.SetFillColor(g, g, g)
	d.pdf.Rect(x, y, w, h, "F")
}

// RulerLength is that of [Document.Ruler], mm.
const RulerLength = 100.0

// Ruler draws a line of 100 mm from x, y with a tick each 10 mm and says what it is for. It
// takes 6 mm below y.
func (d *Document) Ruler(x, y float64) {
	for i := 0; i <= 10; i++ {
		h := 1.5
		if i%5 == 0 {
			h = 2.5
		}
		at := x + float64(i)*RulerLength/10
		d.Line(at, y, at, y+h, 0.2)
	}
	d.Line(x, y, x+RulerLength, y, 0.2)
	d.Text(x+2, y+5, "start", "100 mm: lay a ruler on it. If it is not, print again at 100 %, without “fit to page”.", Type{Size: 6})
}

// opacity is that of what is drawn next.
func (d *Document) opacity(c color.NRGBA) {
	d.pdf.SetAlpha(float64(c.A)/255, "Normal")
}
