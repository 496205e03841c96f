// Package board draws invented boards: pictures of the boards of a definition with its
// parts in rows, as a photograph would show them, and the true places beside. Demo and
// tests mark points on them.
package board

import (
	"image"
	"image/color"
	"image/draw"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"headstack/machine"
)

// Place is where a designator stands on a drawn board: fractions of width and height from
// the upper left corner.
type Place struct {
	Part string
	X, Y float64
}

// The size of a drawn board and of the cells in which its parts stand, in pixels.
const (
	Width, Height = 2000, 1400
	cellW, cellH  = 100, 76
	margin        = 50
)

var (
	laminate = color.RGBA{38, 84, 58, 255}
	copper   = color.RGBA{72, 128, 84, 255}
	silk     = color.RGBA{232, 232, 220, 255}
	bodies   = []color.RGBA{{30, 30, 34, 255}, {150, 96, 40, 255}, {38, 60, 120, 255}, {170, 170, 160, 255}, {120, 40, 36, 255}}
	edge     = color.RGBA{18, 40, 28, 255}
)

// Draw draws a board of a definition. The parts stand row by row in the order of the definition:
// connectors, test points, trims, stages; what does not fit is left out.
func Draw(def *machine.Definition, id string) (image.Image, []Place) {
	img := image.NewRGBA(image.Rect(0, 0, Width, Height))
	fill(img, img.Rect, edge)
	fill(img, img.Rect.Inset(18), laminate)
	for y := margin + cellH/2; y < Height-margin; y += cellH { // a track under every row
		fill(img, image.Rect(40, y+22, Width-40, y+26), copper)
	}
	var places []Place
	seen := map[string]bool{}
	perRow := (Width - 2*margin) / cellW
	rows := (Height - 2*margin) / cellH
	put := func(kind int, part string) {
		n := len(places)
		if seen[part] || n >= perRow*rows {
			return
		}
		seen[part] = true
		x, y := margin+n%perRow*cellW+cellW/2, margin+n/perRow*cellH+cellH/2
		component(img, kind, x, y)
		label(img, x-cellW/2+4, y+30, part)
		places = append(places, Place{part, float64(x) / Width, float64(y) / Height})
	}
	for _, c := range def.Connectors {
		for _, k := range def.ReplicaKeys(c.Each) {
			part := c.ID
			if c.Each != "" {
				part += "-" + k
			}
			if c.A.Board == id || c.B.Board == id {
				put(3, part)
			}
		}
	}
	for _, t := range def.TestPoints {
		for _, k := range def.ReplicaKeys(t.Each) {
			if t.Board == id {
				put(1, def.Designator(t.Part, t.Each, k))
			}
		}
	}
	for _, t := range def.Trims {
		for _, k := range def.ReplicaKeys(t.Each) {
			if t.Board == id {
				put(2, def.Designator(t.Part, t.Each, k))
			}
		}
	}
	for _, in := range def.Instances() {
		if in.Stage.Board == id {
			put(len(in.Stage.ID)%2*4, in.Part())
		}
	}
	return img, places
}

// component draws a body on its pads, in a shape that goes with its kind.
func component(img *image.RGBA, kind, x, y int) {
	pad := color.RGBA{196, 176, 120, 255}
	fill(img, image.Rect(x-38, y-4, x+38, y+4), pad)
	switch kind {
	case 1: // a pin
		fill(img, image.Rect(x-9, y-9, x+9, y+9), pad)
		fill(img, image.Rect(x-4, y-4, x+4, y+4), silk)
	case 2: // a trimmer with its slot
		fill(img, image.Rect(x-20, y-20, x+20, y+20), bodies[2])
		fill(img, image.Rect(x-12, y-2, x+12, y+2), silk)
	case 3: // a header
		fill(img, image.Rect(x-40, y-13, x+40, y+13), bodies[3])
		for i := -3; i <= 3; i++ {
			fill(img, image.Rect(x+11*i-3, y-5, x+11*i+3, y+5), bodies[0])
		}
	default:
		fill(img, image.Rect(x-26, y-15, x+26, y+15), bodies[kind%len(bodies)])
		fill(img, image.Rect(x-26, y-15, x-20, y+15), silk)
	}
}

func fill(img *image.RGBA, r image.Rectangle, c color.RGBA) {
	draw.Draw(img, r, image.NewUniform(c), image.Point{}, draw.Src)
}

func label(img *image.RGBA, x, y int, text string) {
	d := font.Drawer{Dst: img, Src: image.NewUniform(silk), Face: basicfont.Face7x13, Dot: fixed.P(x, y)}
	d.DrawString(text)
}
