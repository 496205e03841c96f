package picture

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"

	"golang.org/x/image/draw"
)

// CopyEdge is the longest edge of what [Copy] makes, in pixels: the lettering of a circuit
// diagram of A3 size can be read at it (10 pixels a millimetre).
const CopyEdge = 4096

// jpegQuality is that of what is encoded here, at which blocks do not show yet.
// Common practice, no source.
const jpegQuality = 88

// Decode returns a picture upright. Errors are of type [*Error].
func Decode(data []byte) (image.Image, Info, error) {
	return decode(data, 0)
}

// decode scales down to a longest edge of at most edge pixels; 0: as it is.
func decode(data []byte, edge int) (image.Image, Info, error) {
	info, err := Inspect(data)
	if err != nil {
		return nil, info, err
	}
	var img image.Image
	if info.Type == PNG {
		img, err = png.Decode(bytes.NewReader(data))
	} else {
		img, err = jpeg.Decode(bytes.NewReader(data))
	}
	if err != nil {
		return nil, info, broken(map[string]string{PNG: "PNG", JPEG: "JPEG"}[info.Type], err)
	}
	if edge > 0 && max(info.Width, info.Height) > edge {
		b := img.Bounds()
		w, h := fitEdge(b.Dx(), b.Dy(), edge)
		img = Scale(img, w, h)
		info.Width, info.Height = fitEdge(info.Width, info.Height, edge)
	}
	return turn(img, info.Orientation), info, nil
}

// fitEdge scales w by h to a longest edge.
func fitEdge(w, h, edge int) (int, int) {
	if w >= h {
		return edge, max(1, int(float64(h)*float64(edge)/float64(w)+0.5))
	}
	return max(1, int(float64(w)*float64(edge)/float64(h)+0.5)), edge
}

// Copy returns a picture as it may be shown: upright, encoded anew as PNG or JPEG, as it
// was given, with nothing beside its pixels; its longest edge is at most [CopyEdge]. Info is
// that of the copy. Errors are of type [*Error].
func Copy(data []byte) ([]byte, Info, error) {
	img, info, err := decode(data, CopyEdge)
	if err != nil {
		return nil, info, err
	}
	out, err := Encode(img, info.Type)
	b := img.Bounds()
	return out, Info{Type: info.Type, Width: b.Dx(), Height: b.Dy(), Orientation: 1}, err
}

// Encode writes a picture as [PNG] or [JPEG].
func Encode(img image.Image, kind string) ([]byte, error) {
	var b bytes.Buffer
	var err error
	switch kind {
	case PNG:
		err = png.Encode(&b, img)
	case JPEG:
		err = jpeg.Encode(&b, img, &jpeg.Options{Quality: jpegQuality})
	default:
		err = fmt.Errorf("no pictures of type %q are made", kind)
	}
	return b.Bytes(), err
}

// Scale returns a picture of w by h pixels, at least 1 each.
func Scale(img image.Image, w, h int) image.Image {
	out := image.NewRGBA(image.Rect(0, 0, max(1, w), max(1, h)))
	draw.BiLinear.Scale(out, out.Bounds(), img, img.Bounds(), draw.Src, nil)
	return out
}

// turn brings a picture upright. Orientation is EXIF's: where the first row and the first
// column of what is stored belong (CIPA DC-008-2019, 4.6.4, tag 0x0112).
func turn(img image.Image, orientation int) image.Image {
	if orientation <= 1 || orientation > 8 {
		return img
	}
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	from, ok := img.(*image.RGBA)
	if !ok || from.Rect.Min != (image.Point{}) {
		from = image.NewRGBA(image.Rect(0, 0, w, h))
		draw.Draw(from, from.Rect, img, b.Min, draw.Src)
	}
	ow, oh := w, h
	if orientation > 4 {
		ow, oh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, ow, oh))
	for y := range oh {
		for x := range ow {
			sx, sy := x, y
			switch orientation {
			case 2: // mirrored left to right
				sx = w - 1 - x
			case 3: // upside down
				sx, sy = w-1-x, h-1-y
			case 4: // mirrored top to bottom
				sy = h - 1 - y
			case 5: // mirrored along the falling diagonal
				sx, sy = y, x
			case 6: // to be turned a quarter clockwise
				sx, sy = y, h-1-x
			case 7: // mirrored along the rising diagonal
				sx, sy = w-1-y, h-1-x
			case 8: // to be turned a quarter anticlockwise
				sx, sy = w-1-y, x
			}
			copy(out.Pix[out.PixOffset(x, y):][:4], from.Pix[from.PixOffset(sx, sy):][:4])
		}
	}
	return out
}
