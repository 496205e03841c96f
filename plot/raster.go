package plot

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"strconv"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// maxPixels bounds the memory of one picture: 4 bytes each.
const maxPixels = 64 << 20

// paper and inkColour are the raster's ground and text colour: a picture outside a
// page is printed or mailed, so it is always dark on white.
var (
	paper     = color.NRGBA{0xff, 0xff, 0xff, 0xff}
	inkColour = color.NRGBA{0x1e, 0x1c, 0x19, 0xff}
)

// WritePNG writes the drawing as PNG, dark on white, scale pixels to each CSS pixel:
// 1 for a screen, 2 for print and fine screens. It is an error unless the scale is
// from 0.25 to 8 and the picture has at most 64 million pixels.
func WritePNG(w io.Writer, d Drawing, scale float64) error {
	if !(scale >= 0.25 && scale <= 8) {
		return fmt.Errorf("plot: scale %g is not from 0.25 to 8", scale)
	}
	wide, high := math.Ceil(d.w*scale), math.Ceil(d.h*scale)
	if !(wide >= 1 && high >= 1) || wide*high > maxPixels {
		return fmt.Errorf("plot: a picture of %.0f by %.0f pixels is not from 1 to %d pixels in all; choose a smaller scale", wide, high, maxPixels)
	}
	r := raster{scale: scale, img: image.NewRGBA(image.Rect(0, 0, int(wide), int(high)))}
	draw.Draw(r.img, r.img.Bounds(), image.NewUniform(paper), image.Point{}, draw.Src)
	d.on(&r)
	if err := png.Encode(w, r.img); err != nil {
		return fmt.Errorf("writing the picture %q as PNG: %w", d.title, err)
	}
	return nil
}

// raster draws on an image; every shape becomes outlines that are filled.
type raster struct {
	img   *image.RGBA
	scale float64
	buf   sfnt.Buffer
}

func (r *raster) line(x1, y1, x2, y2 float64, k ink) {
	r.stroke([]float64{x1, y1, x2, y2}, k)
}

func (r *raster) polyline(points []float64, k ink) { r.stroke(points, k) }

func (r *raster) segments(points []float64, k ink) {
	var o outline
	for i := 0; i+3 < len(points); i += 4 {
		o.thicken(points[i:i+4], k.lineWidth())
	}
	r.fill(&o, k.stroke, k.opacity)
}

func (r *raster) polygon(points []float64, k ink) {
	if k.fill != "" && k.fill != "none" && len(points) >= 6 {
		var o outline
		o.move(points[0], points[1])
		for i := 2; i+1 < len(points); i += 2 {
			o.to(points[i], points[i+1])
		}
		r.fill(&o, k.fill, k.tint)
	}
	if k.stroke != "" && len(points) >= 4 {
		// Once round and one side more, so that the first corner is joined too.
		closed := append(append([]float64{}, points...), points[:4]...)
		r.stroke(closed, k)
	}
}

func (r *raster) rect(x, y, w, h float64, k ink) {
	r.polygon([]float64{x, y, x + w, y, x + w, y + h, x, y + h}, k)
}

// circleSides makes polygons of circles of a few pixels; the error is under a
// hundredth of the radius.
const circleSides = 32

func (r *raster) circle(x, y, radius float64, k ink) {
	p := make([]float64, 0, 2*circleSides)
	for i := range circleSides {
		s, c := math.Sincos(2 * math.Pi * float64(i) / circleSides)
		p = append(p, x+radius*c, y-radius*s)
	}
	r.polygon(p, k)
}

func (r *raster) stroke(points []float64, k ink) {
	if k.stroke == "" || len(points) < 4 {
		return
	}
	var o outline
	for _, part := range dashed(points, k.dash) {
		o.thicken(part, k.lineWidth())
	}
	r.fill(&o, k.stroke, k.opacity)
}

func (r *raster) text(x, y float64, anchor, s string, k ink) {
	// At natural size the text takes the room it has in the raster's own font.
	w := advance(s, k)
	at := 0.0
	switch anchor {
	case "middle":
		at = -w / 2
	case "end":
		at = -w
	}
	var o outline
	for _, c := range s {
		r.glyph(&o, x, y, at, c, k)
		at += k.glyphAdvance(c) * k.textSize()
	}
	r.fill(&o, k.fill, k.tint)
}

// glyph adds a letter whose origin lies at along the text's line from x, y.
func (r *raster) glyph(o *outline, x, y, at float64, c rune, k ink) {
	if _, blank := spaces[c]; blank {
		return
	}
	f := k.font()
	i, err := f.GlyphIndex(&r.buf, c)
	if err != nil {
		return
	}
	segs, err := f.LoadGlyph(&r.buf, i, fixed.I(advanceUnits), nil)
	if err != nil {
		return
	}
	m := k.textSize() / advanceUnits / 64
	place := func(p fixed.Point26_6) (float64, float64) {
		dx, dy := at+float64(p.X)*m, float64(p.Y)*m
		if k.turned {
			return x + dy, y - dx
		}
		return x + dx, y + dy
	}
	for _, s := range segs {
		ax, ay := place(s.Args[0])
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			o.move(ax, ay)
		case sfnt.SegmentOpLineTo:
			o.to(ax, ay)
		case sfnt.SegmentOpQuadTo:
			bx, by := place(s.Args[1])
			o.quad(ax, ay, bx, by)
		case sfnt.SegmentOpCubeTo:
			bx, by := place(s.Args[1])
			cx, cy := place(s.Args[2])
			o.cube(ax, ay, bx, by, cx, cy)
		}
	}
}

// fill paints an outline. Only its own rectangle is gone through: a picture has
// hundreds of shapes.
func (r *raster) fill(o *outline, colour string, opacity float64) {
	if len(o.ops) == 0 {
		return
	}
	b := image.Rect(int(math.Floor(o.x0*r.scale))-1, int(math.Floor(o.y0*r.scale))-1,
		int(math.Ceil(o.x1*r.scale))+1, int(math.Ceil(o.y1*r.scale))+1).Intersect(r.img.Bounds())
	if b.Empty() {
		return
	}
	z := vector.NewRasterizer(b.Dx(), b.Dy())
	o.replay(z, r.scale, float64(b.Min.X), float64(b.Min.Y))
	z.Draw(r.img, b, image.NewUniform(colourOf(colour, opacity)), image.Point{})
}

// colourOf reads #rrggbb; every other name is the text colour.
func colourOf(s string, opacity float64) color.NRGBA {
	c := inkColour
	if len(s) == 7 && s[0] == '#' {
		if v, err := strconv.ParseUint(s[1:], 16, 32); err == nil {
			c = color.NRGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 0xff}
		}
	}
	if opacity > 0 && opacity < 1 {
		c.A = uint8(math.Round(255 * opacity))
	}
	return c
}
