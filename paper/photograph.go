package paper

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	_ "image/png" // copies of the bench are either
	"maps"
	"slices"

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
		shots := make([]*shot, len(row))
		sizes := make([][2]float64, len(row))
		lines := make([][]string, len(row))
		high, under := 0.0, 0
		for k, p := range row {
			var err error
			if shots[k], sizes[k], err = f.register(p.Data, wide); err != nil {
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
			if shots[k] != nil {
				f.photograph(shots[k], x, top, sizes[k][0], sizes[k][1])
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

// shot is a picture that lies in the document.
type shot struct {
	name   string
	across int // pixels across as it lies there, w of which are the picture
	w, h   int
}

// register puts a picture into the document once and says how large it is set in a column,
// mm. It is written as JPEG on white whatever it was: the same bytes in give the same file.
//
// The library orders pictures in the file by their width alone, those of one width by
// chance. So each gets a width of its own, by white columns on the right that are cut off
// where it is drawn.
func (f *Flow) register(data []byte, wide float64) (s *shot, size [2]float64, err error) {
	if len(data) == 0 {
		return nil, size, nil
	}
	sum := sha256.Sum256(data)
	name := hex.EncodeToString(sum[:])
	if s = f.shots[name]; s == nil {
		if s, err = f.embed(name, data); err != nil {
			return nil, size, err
		}
	}
	w, h := float64(s.w), float64(s.h)
	size = [2]float64{wide, wide * h / w}
	if size[1] > photoHigh {
		size = [2]float64{photoHigh * w / h, photoHigh}
	}
	return s, size, nil
}

func (f *Flow) embed(name string, data []byte) (*shot, error) {
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	b := img.Bounds()
	if b.Empty() {
		return nil, fmt.Errorf("a picture of %d by %d pixels", b.Dx(), b.Dy())
	}
	s := &shot{name: name, across: b.Dx(), w: b.Dx(), h: b.Dy()}
	for slices.ContainsFunc(slices.Collect(maps.Values(f.shots)), func(o *shot) bool { return o.across == s.across }) {
		s.across++
	}
	ground := image.NewRGBA(image.Rect(0, 0, s.across, s.h))
	draw.Draw(ground, ground.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(ground, image.Rect(0, 0, s.w, s.h), img, b.Min, draw.Over)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, ground, &jpeg.Options{Quality: photoQuality}); err != nil {
		return nil, err
	}
	f.pdf.RegisterImageOptionsReader(name, jpegImage, &out)
	if f.shots == nil {
		f.shots = map[string]*shot{}
	}
	f.shots[name] = s
	return s, f.pdf.Error()
}

var jpegImage = fpdf.ImageOptions{ImageType: "jpg"}

// photograph draws a picture with its frame.
func (f *Flow) photograph(s *shot, x, y, w, h float64) {
	f.pdf.ClipRect(x, y, w, h, false)
	f.pdf.ImageOptions(s.name, x, y, w*float64(s.across)/float64(s.w), h, false, jpegImage, 0, "")
	f.pdf.ClipEnd()
	f.Box(x, y, w, h, 0.15)
}
