package plot_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"headstack/plot"
)

func render(t *testing.T, d plot.Drawing, scale float64) *image.RGBA {
	t.Helper()
	var b bytes.Buffer
	if err := plot.WritePNG(&b, d, scale); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	flat := image.NewRGBA(img.Bounds()) // its pixels are read fast
	draw.Draw(flat, flat.Bounds(), img, img.Bounds().Min, draw.Src)
	return flat
}

func dark(c color.RGBA) bool { return int(c.R)+int(c.G)+int(c.B) < 3*0xf0 }

// inked is the rectangle of all that is not paper, in CSS pixels.
func inked(img *image.RGBA, scale float64) (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if dark(img.RGBAAt(x, y)) {
				x0, y0 = math.Min(x0, float64(x)/scale), math.Min(y0, float64(y)/scale)
				x1, y1 = math.Max(x1, float64(x+1)/scale), math.Max(y1, float64(y+1)/scale)
			}
		}
	}
	return x0, y0, x1, y1
}

var number = regexp.MustCompile(`-?\d+(\.\d+)?`)

// drawnIn is the rectangle of all lines of an SVG, read from its text, without texts;
// faint ones, which an image may show too palely to count, where they are asked for.
func drawnIn(t *testing.T, svg string, faint bool) (x0, y0, x1, y1 float64) {
	t.Helper()
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	see := func(x, y float64) {
		x0, y0, x1, y1 = math.Min(x0, x), math.Min(y0, y), math.Max(x1, x), math.Max(y1, y)
	}
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := dec.Token()
		if err != nil {
			return x0, y0, x1, y1
		}
		k, ok := tok.(xml.StartElement)
		if !ok || k.Name.Local == "text" || k.Name.Local == "svg" {
			continue
		}
		a := map[string]string{}
		for _, at := range k.Attr {
			a[at.Name.Local] = at.Value
		}
		if !faint && a["stroke-opacity"] != "" || !faint && a["fill-opacity"] != "" {
			continue
		}
		f := func(n string) float64 { v, _ := strconv.ParseFloat(a[n], 64); return v }
		switch k.Name.Local {
		case "line":
			see(f("x1"), f("y1"))
			see(f("x2"), f("y2"))
		case "rect":
			see(f("x"), f("y"))
			see(f("x")+f("width"), f("y")+f("height"))
		case "circle":
			see(f("cx")-f("r"), f("cy")-f("r"))
			see(f("cx")+f("r"), f("cy")+f("r"))
		case "polyline", "polygon", "path":
			n := number.FindAllString(a["points"]+a["d"], -1)
			for i := 0; i+1 < len(n); i += 2 {
				x, _ := strconv.ParseFloat(n[i], 64)
				y, _ := strconv.ParseFloat(n[i+1], 64)
				see(x, y)
			}
		}
	}
}

func TestPNGAndSVGAgreeOnExtents(t *testing.T) {
	const scale = 1
	for _, p := range demo() {
		for _, w := range []float64{760, 360} {
			if testing.Short() && w == 760 {
				continue
			}
			d := p.draw(w)
			img := render(t, d, scale)
			wide, high := d.Size()
			if b := img.Bounds(); b.Dx() != int(math.Ceil(wide*scale)) || b.Dy() != int(math.Ceil(high*scale)) {
				t.Errorf("%s: %v, want %.0f by %.0f at scale %d", p.name, b, wide, high, scale)
			}
			ix0, iy0, ix1, iy1 := inked(img, scale)
			sx0, sy0, sx1, sy1 := drawnIn(t, string(d.SVG()), false)
			// All lines lie within the ink, and the ink within lines and texts. A pixel,
			// a heavy line's half width, and the rounding of coordinates: 1.5.
			const tol = 1.5
			if ix0 > sx0+tol || iy0 > sy0+tol || ix1 < sx1-tol || iy1 < sy1-tol {
				t.Errorf("%s at %.0f: ink %.1f,%.1f to %.1f,%.1f does not reach the lines %.1f,%.1f to %.1f,%.1f", p.name, w, ix0, iy0, ix1, iy1, sx0, sy0, sx1, sy1)
			}
			sx0, sy0, sx1, sy1 = drawnIn(t, string(d.SVG()), true)
			for _, b := range plot.TextBoxes(d) {
				sx0, sy0, sx1, sy1 = math.Min(sx0, b.X0), math.Min(sy0, b.Y0), math.Max(sx1, b.X1), math.Max(sy1, b.Y1)
			}
			if ix0 < sx0-tol || iy0 < sy0-tol || ix1 > sx1+tol || iy1 > sy1+tol {
				t.Errorf("%s at %.0f: ink %.1f,%.1f to %.1f,%.1f outside lines and texts %.1f,%.1f to %.1f,%.1f", p.name, w, ix0, iy0, ix1, iy1, sx0, sy0, sx1, sy1)
			}
		}
	}
}

func TestPNGHasThePointsOfTheSVG(t *testing.T) {
	d := plot.Trace(driftTrace(), plot.Options{})
	svg := string(d.SVG())
	img := render(t, d, 2)
	dots := regexp.MustCompile(`<circle cx="([\d.]+)" cy="([\d.]+)" r="2.6"`).FindAllStringSubmatch(svg, -1)
	if len(dots) != 24 {
		t.Fatalf("%d points, want 24", len(dots))
	}
	for _, m := range dots {
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		if c := img.RGBAAt(int(2*x), int(2*y)); !dark(c) {
			t.Errorf("no ink at the point %s, %s: %v", m[1], m[2], c)
		}
	}
}

func TestPNGTextStandsWhereTheSVGHasIt(t *testing.T) {
	d := plot.Trace(driftTrace(), plot.Options{})
	img := render(t, d, 2)
	for _, b := range plot.TextBoxes(d) {
		n := 0
		for y := int(2 * b.Y0); y < int(2*b.Y1); y++ {
			for x := int(2 * b.X0); x < int(2*b.X1); x++ {
				if dark(img.RGBAAt(x, y)) {
					n++
				}
			}
		}
		// Letters cover between a tenth and a half of their field.
		if share := float64(n) / (4 * (b.X1 - b.X0) * (b.Y1 - b.Y0)); share < 0.05 || share > 0.6 {
			t.Errorf("%q covers %.2f of its field", b.Text, share)
		}
	}
}

func TestPNGIsTheSameEveryTime(t *testing.T) {
	for _, p := range demo()[:3] {
		var a, b bytes.Buffer
		d, again := p.draw(360), p.draw(360)
		if d.SVG() != again.SVG() {
			t.Errorf("%s: two SVGs differ", p.name)
		}
		if plot.WritePNG(&a, d, 1) != nil || plot.WritePNG(&b, again, 1) != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s: two PNGs differ", p.name)
		}
	}
}

type broken struct{}

var errBroken = errors.New("disk full")

func (broken) Write([]byte) (int, error) { return 0, errBroken }

func TestPNGErrors(t *testing.T) {
	d := plot.Trace(driftTrace(), plot.Options{})
	for _, scale := range []float64{0, -1, 9, 1e9, math.NaN(), math.Inf(1)} {
		if err := plot.WritePNG(&bytes.Buffer{}, d, scale); err == nil {
			t.Errorf("scale %g is accepted", scale)
		}
	}
	if err := plot.WritePNG(&bytes.Buffer{}, plot.Trace(driftTrace(), plot.Options{Width: 19000, Height: 19000}), 8); err == nil {
		t.Error("a picture of 23 thousand million pixels is accepted")
	}
	if err := plot.WritePNG(&bytes.Buffer{}, plot.Drawing{}, 1); err == nil {
		t.Error("an empty drawing is accepted")
	}
	if err := plot.WritePNG(broken{}, d, 1); !errors.Is(err, errBroken) {
		t.Errorf("a writer's error is lost: %v", err)
	}
}

// SVG 2, 13.5.6: the list of lengths is repeated along the path, an odd one twice over;
// what is left at the end is cut off.
func TestDashesAreThoseOfSVG(t *testing.T) {
	for _, c := range []struct {
		pattern string
		length  float64
		parts   int
		drawn   float64
	}{
		{"9 4", 130, 10, 90},
		{"9 4", 5, 1, 5},
		{"12 4 2 4", 44, 4, 28},
		{"5", 20, 2, 10},
		{"", 20, 1, 20},
		{"0 0", 20, 1, 20},
	} {
		for _, bend := range []float64{0, 1.0 / 3, 0.5, 0.9} {
			// The pattern goes on round a corner.
			l := c.length
			parts := plot.Dashed([]float64{0, 0, l * bend, 0, l * bend, l * (1 - bend)}, c.pattern)
			sum := 0.0
			for _, p := range parts {
				for i := 0; i+3 < len(p); i += 2 {
					sum += math.Hypot(p[i+2]-p[i], p[i+3]-p[i+1])
				}
			}
			if len(parts) != c.parts || math.Abs(sum-c.drawn) > 1e-9 {
				t.Errorf("%q over %g bent at %g: %d parts of %g in all, want %d of %g", c.pattern, l, bend, len(parts), sum, c.parts, c.drawn)
			}
		}
	}
}
