package paper

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	_ "image/png" // copies of the bench are either

	"codeberg.org/go-pdf/fpdf"
)

// Photograph is a picture made of pixels with what is said under it.
type Photograph struct {
	Data    []byte // JPEG or PNG; nil: only the caption is set
	Caption string
}

const (
	photoColumns = 2
	photoGap     = 5.0  // between columns, mm
	photoHigh    = 75.0 // the most that one takes, so that three rows fit on a page, mm
	photoLines   = 20   // of a caption, the most
	photoQuality = 82   // of JPEG: lettering on a board stays legible at 200 dots per inch
)

// Photographs sets photographs in two columns, each whole, with its caption on the same
// page. The error names the one that is no picture.
func (f *Flow) Photographs(list []Photograph) error {
	wide := (f.Wide() - (photoColumns-1)*photoGap) / photoColumns
	for i := 0; i < len(list); i += photoColumns {
		row := list[i:min(i+photoColumns, len(list))]
		names := make([]string, len(row))
		sizes := make([][2]float64, len(row))
		lines := make([][]string, len(row))
		high, under := 0.0, 0
		for k, p := range row {
			var err error
			if names[k], sizes[k], err = f.register(p.Data, wide); err != nil {
				return fmt.Errorf("paper: %s: %w", p.Caption, err)
			}
			if lines[k] = f.Wrap(p.Caption, wide, Small); len(lines[k]) > photoLines {
				lines[k] = append(lines[k][:photoLines-1], "… (the record has all of it)")
			}
			high, under = max(high, sizes[k][1]), max(under, len(lines[k]))
		}
		f.Need(high + 1 + float64(under)*Small.Line())
		top := f.y
		for k := range row {
			x := f.Left + float64(k)*(wide+photoGap)
			if names[k] != "" {
				f.pdf.ImageOptions(names[k], x, top, sizes[k][0], sizes[k][1], false, fpdf.ImageOptions{ImageType: "jpg"}, 0, "")
				f.Box(x, top, sizes[k][0], sizes[k][1], 0.15)
			}
			y := top + sizes[k][1] + 1
			for n, l := range lines[k] {
				f.Text(x, y+Small.Up()+float64(n)*Small.Line(), "start", l, Small)
			}
		}
		f.y = top + high + 1 + float64(under)*Small.Line() + 3
	}
	return nil
}

// register puts a picture into the document once, by its hash, and says how large it is set
// in a column, mm. It is written as JPEG on white whatever it was: the same bytes in give the
// same file.
func (f *Flow) register(data []byte, wide float64) (name string, size [2]float64, err error) {
	if len(data) == 0 {
		return "", size, nil
	}
	img, kind, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return "", size, err
	}
	w, h := float64(img.Bounds().Dx()), float64(img.Bounds().Dy())
	if w < 1 || h < 1 {
		return "", size, fmt.Errorf("a picture of %g by %g pixels", w, h)
	}
	size = [2]float64{wide, wide * h / w}
	if size[1] > photoHigh {
		size = [2]float64{photoHigh * w / h, photoHigh}
	}
	if _, grey := img.(*image.Gray); kind != "jpeg" && !grey {
		ground := image.NewRGBA(img.Bounds())
		draw.Draw(ground, ground.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
		draw.Draw(ground, ground.Bounds(), img, img.Bounds().Min, draw.Over)
		img = ground
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: photoQuality}); err != nil {
		return "", size, err
	}
	sum := sha256.Sum256(out.Bytes())
	name = hex.EncodeToString(sum[:])
	f.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "jpg"}, bytes.NewReader(out.Bytes()))
	return name, size, f.pdf.Error()
}
