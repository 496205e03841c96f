package picture

import (
	"image"
	"image/color"
	"math"

	"golang.org/x/image/draw"
)

// Cut returns the part of a picture around a point, w by h pixels (at least 16 each), with the
// point marked by a ring and four strokes. x and y are fractions of width and height from
// the upper left, held to 0…1. The part is a third of the picture along its longer edge, or less
// where the picture is so small that its pixels would show; at the picture's edge the point
// moves off the middle, and nothing beyond the edge is shown.
func Cut(img image.Image, x, y float64, w, h int) image.Image {
	w, h = max(16, w), max(16, h)
	x, y = hold(x), hold(y)
	b := img.Bounds()
	iw, ih := float64(b.Dx()), float64(b.Dy())
	// Picture pixels for each pixel of the cut.
	step := math.Max(math.Max(iw, ih)/3/float64(max(w, h)), 0.5)
	step = math.Min(step, math.Max(iw/float64(w), ih/float64(h)))
	pw, ph := math.Min(iw, step*float64(w)), math.Min(ih, step*float64(h))
	left := math.Min(math.Max(0, x*iw-pw/2), iw-pw)
	top := math.Min(math.Max(0, y*ih-ph/2), ih-ph)
	// Along an edge where the picture is shorter than the part, the cut is smaller.
	w, h = max(1, int(math.Round(pw/step))), max(1, int(math.Round(ph/step)))
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	part := image.Rect(b.Min.X+int(left), b.Min.Y+int(top), b.Min.X+int(math.Ceil(left+pw)), b.Min.Y+int(math.Ceil(top+ph))).Intersect(b)
	draw.BiLinear.Scale(out, out.Rect, img, part, draw.Src, nil)
	sx, sy := float64(w)/float64(part.Dx()), float64(h)/float64(part.Dy())
	ring(out, (x*iw-float64(part.Min.X-b.Min.X))*sx, (y*ih-float64(part.Min.Y-b.Min.Y))*sy)
	return out
}

// ring draws a mark around a point: a white line between two black ones, which shows on
// black, on white and on any colour, and four strokes that lead to it. The point itself
// stays free.
func ring(img *image.RGBA, cx, cy float64) {
	const radius, white, black, reach = 13.0, 1.6, 3.4, 30.0
	dark, light := color.RGBA{A: 255}, color.RGBA{255, 255, 255, 255}
	box := image.Rect(int(cx-reach)-2, int(cy-reach)-2, int(cx+reach)+3, int(cy+reach)+3).Intersect(img.Rect)
	for py := box.Min.Y; py < box.Max.Y; py++ {
		for px := box.Min.X; px < box.Max.X; px++ {
			dx, dy := float64(px)+0.5-cx, float64(py)+0.5-cy
			r := math.Hypot(dx, dy)
			d := math.Abs(r - radius)
			if r > radius && r < reach {
				d = math.Min(d, math.Min(math.Abs(dx), math.Abs(dy)))
			}
			switch {
			case d <= white:
				img.SetRGBA(px, py, light)
			case d <= black:
				img.SetRGBA(px, py, dark)
			}
		}
	}
}

func hold(v float64) float64 {
	if !(v > 0) {
		return 0
	}
	return math.Min(v, 1)
}
