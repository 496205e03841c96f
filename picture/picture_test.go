package picture_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"headstack/picture"
)

// steps is a picture of which each pixel tells its place: red the column, green the row.
func steps(w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.SetRGBA(x, y, color.RGBA{uint8(x * 255 / max(1, w-1)), uint8(y * 255 / max(1, h-1)), 90, 255})
		}
	}
	return img
}

func pngOf(t testing.TB, img image.Image) []byte {
	t.Helper()
	data, err := picture.Encode(img, picture.PNG)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func jpegOf(t testing.TB, img image.Image) []byte {
	t.Helper()
	data, err := picture.Encode(img, picture.JPEG)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// exif is a TIFF structure with an orientation and a text that must not get out.
func exif(order binary.AppendByteOrder, orientation uint16) []byte {
	b := []byte("II*\x00")
	if order.AppendUint16(nil, 1)[0] == 0 {
		b = []byte("MM\x00*")
	}
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, 2)
	const secret = "53.1N 2.4W SECRET PLACE\x00"
	b = order.AppendUint16(b, 0x010e) // image description, text, longer than four bytes
	b = order.AppendUint16(b, 2)
	b = order.AppendUint32(b, uint32(len(secret)))
	b = order.AppendUint32(b, 8+2+24+4)
	b = order.AppendUint16(b, 0x0112)
	b = order.AppendUint16(b, 3)
	b = order.AppendUint32(b, 1)
	b = order.AppendUint16(b, orientation)
	b = order.AppendUint16(b, 0)
	b = order.AppendUint32(b, 0)
	return append(b, secret...)
}

// photograph puts EXIF into a JPEG, as a telephone does.
func photograph(t testing.TB, img image.Image, tiff []byte) []byte {
	t.Helper()
	plain := jpegOf(t, img)
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(body)+2))...)
	return append(append(out, body...), plain[2:]...)
}

// withChunk puts a chunk after the header of a PNG.
func withChunk(data []byte, kind string, body []byte) []byte {
	const header = 8 + 25
	c := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	c = append(append(c, kind...), body...)
	c = binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
	return append(append(bytes.Clone(data[:header]), c...), data[header:]...)
}

// CIPA DC-008-2019, 4.6.4, tag 0x0112: where row 0 and column 0 of the stored picture
// belong when it is looked at.
func TestOrientation(t *testing.T) {
	sides := [][2]string{{"top", "left"}, {"top", "right"}, {"bottom", "right"}, {"bottom", "left"},
		{"left", "top"}, {"right", "top"}, {"right", "bottom"}, {"left", "bottom"}}
	const w, h = 5, 3
	stored := steps(w, h)
	for i, side := range sides {
		data := withChunk(pngOf(t, stored), "eXIf", exif(binary.BigEndian, uint16(i+1)))
		got, info, err := picture.Decode(data)
		if err != nil {
			t.Fatal(err)
		}
		ow, oh := w, h
		if i >= 4 {
			ow, oh = h, w
		}
		if got.Bounds().Dx() != ow || got.Bounds().Dy() != oh || info.Width != ow || info.Height != oh {
			t.Fatalf("orientation %d: %v and %+v, want %d by %d", i+1, got.Bounds(), info, ow, oh)
		}
		for r := range h {
			for c := range w {
				x, y := 0, 0
				for k, n := range []int{r, c} {
					switch side[k] {
					case "top":
						y = n
					case "bottom":
						y = oh - 1 - n
					case "left":
						x = n
					case "right":
						x = ow - 1 - n
					}
				}
				if color.RGBAModel.Convert(got.At(x, y)) != stored.At(c, r) {
					t.Errorf("orientation %d: row %d column %d is not at %d, %d", i+1, r, c, x, y)
				}
			}
		}
	}
}

func TestCopyLeavesAllButThePixelsBehind(t *testing.T) {
	img := steps(400, 300)
	for name, data := range map[string][]byte{
		"jpeg, little end": photograph(t, img, exif(binary.LittleEndian, 6)),
		"jpeg, big end":    photograph(t, img, exif(binary.BigEndian, 6)),
		"png":              withChunk(withChunk(pngOf(t, img), "eXIf", exif(binary.BigEndian, 6)), "tEXt", []byte("Comment\x00SECRET PLACE")),
	} {
		if !bytes.Contains(data, []byte("SECRET PLACE")) {
			t.Fatalf("%s: the test's own picture carries nothing", name)
		}
		out, info, err := picture.Copy(data)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if info.Width != 300 || info.Height != 400 || info.Orientation != 1 {
			t.Errorf("%s: %+v, want 300 by 400 upright", name, info)
		}
		if bytes.Contains(out, []byte("SECRET")) || bytes.Contains(out, []byte("Exif")) || bytes.Contains(out, []byte("eXIf")) || bytes.Contains(out, []byte("tEXt")) {
			t.Errorf("%s: the copy carries what was beside the pixels", name)
		}
		// A quarter clockwise: what was stored at the left is on top.
		got, _, err := picture.Decode(out)
		if err != nil {
			t.Fatal(err)
		}
		r, _, _, _ := got.At(150, 5).RGBA()
		r2, _, _, _ := got.At(150, 395).RGBA()
		if r>>8 > 20 || r2>>8 < 235 {
			t.Errorf("%s: red is %d on top and %d below; want about 0 and 255", name, r>>8, r2>>8)
		}
	}
}

func TestALargePictureIsScaledDown(t *testing.T) {
	out, info, err := picture.Copy(pngOf(t, image.NewGray(image.Rect(0, 0, 8192, 1000))))
	if err != nil || info.Width != picture.CopyEdge || info.Height != 500 {
		t.Fatalf("%+v, %v; want %d by 500", info, err, picture.CopyEdge)
	}
	if c, err := png.DecodeConfig(bytes.NewReader(out)); err != nil || c.Width != picture.CopyEdge {
		t.Errorf("the copy is %d wide, %v", c.Width, err)
	}
}

// claims is a PNG header that promises w by h pixels of a colour type and depth.
func claims(w, h uint32, depth, colour byte) []byte {
	head := binary.BigEndian.AppendUint32([]byte("\x00\x00\x00\rIHDR"), w)
	head = append(binary.BigEndian.AppendUint32(head, h), depth, colour, 0, 0, 0)
	head = binary.BigEndian.AppendUint32(head, crc32.ChecksumIEEE(head[4:]))
	return append([]byte("\x89PNG\r\n\x1a\n"), head...)
}

func TestWhatIsNotTaken(t *testing.T) {
	many := jpegOf(t, steps(8, 8))
	for range 200 {
		many = append(many, 0xff, 0xda)
	}
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"nothing":         {nil, "empty"},
		"text":            {[]byte("hello"), "neither PNG nor JPEG"},
		"svg":             {[]byte(`<?xml version="1.0"?><svg onload="x()">`), "SVG"},
		"pdf":             {[]byte("%PDF-1.7\n"), "PDF"},
		"heic":            {[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), "HEIC"},
		"gif":             {[]byte("GIF89a"), "GIF"},
		"webp":            {[]byte("RIFF\x00\x00\x00\x00WEBPVP8 "), "WebP"},
		"tiff":            {[]byte("II*\x00\x08\x00\x00\x00"), "TIFF"},
		"bomb":            {claims(19000, 19000, 8, 6), "361 million"},
		"long edge":       {claims(60000, 10, 8, 0), "along one edge"},
		"deep":            {claims(7000, 7000, 16, 6), "MiB to decode"},
		"a lying header":  {claims(5000, 5000, 8, 6), "cannot hold"},
		"cut short":       {pngOf(t, steps(40, 40))[:120], "cannot be read as PNG"},
		"cut short, JPEG": {jpegOf(t, steps(400, 400))[:700], "cannot be read as JPEG"},
		"many scans":      {many, "scans"},
		"too long":        {append([]byte("\xff\xd8\xff"), make([]byte, picture.MaxBytes)...), "more than 32 MiB"},
	} {
		_, _, err := picture.Copy(c.data)
		e, ok := errors.AsType[*picture.Error](err)
		if !ok || !strings.Contains(err.Error(), c.want) || e.Hint() == "" {
			t.Errorf("%s: %v (hint %q), want %q and what to do", name, err, hintOf(e), c.want)
		}
	}
}

func hintOf(e *picture.Error) string {
	if e == nil {
		return ""
	}
	return e.Advice
}

// The mark must lie on the point, wherever that is, and the cut must show the picture there.
func TestCutIsAroundThePoint(t *testing.T) {
	img := image.NewRGBA(image.Rect(10, 20, 1210, 920)) // bounds that do not begin at 0
	for i := range img.Pix {
		img.Pix[i] = 128
	}
	for _, at := range [][2]float64{{0.5, 0.5}, {0, 0}, {1, 1}, {0.02, 0.97}, {0.7, 0.01}, {-3, 0.5}} {
		x, y := min(1, max(0, at[0])), min(1, max(0, at[1]))
		// A red spot of 9 pixels at the point.
		spot := image.NewRGBA(img.Rect)
		copy(spot.Pix, img.Pix)
		px, py := 10+int(x*1199), 20+int(y*899)
		for dy := -4; dy <= 4; dy++ {
			for dx := -4; dx <= 4; dx++ {
				spot.SetRGBA(px+dx, py+dy, color.RGBA{255, 0, 0, 255})
			}
		}
		cut := picture.Cut(spot, at[0], at[1], 320, 240)
		if b := cut.Bounds(); b.Dx() != 320 || b.Dy() != 240 {
			t.Fatalf("at %v the cut is %v", at, b)
		}
		sumX, sumY, n := 0.0, 0.0, 0.0
		whiteX, whiteY, m := 0.0, 0.0, 0.0
		for cy := range 240 {
			for cx := range 320 {
				r, g, _, _ := cut.At(cx, cy).RGBA()
				if r>>8 > 200 && g>>8 < 60 {
					sumX, sumY, n = sumX+float64(cx), sumY+float64(cy), n+1
				}
				if r>>8 == 255 && g>>8 == 255 {
					whiteX, whiteY, m = whiteX+float64(cx), whiteY+float64(cy), m+1
				}
			}
		}
		if n == 0 || m == 0 {
			t.Fatalf("at %v: %g pixels of the point, %g of the mark", at, n, m)
		}
		if x == 0.5 && y == 0.5 { // the mark is whole: its middle is the point, to a pixel
			if dx, dy := sumX/n-whiteX/m, sumY/n-whiteY/m; dx*dx+dy*dy > 2 {
				t.Errorf("the mark is off the point by %.1f, %.1f pixels", dx, dy)
			}
		}
	}
}

func TestCutOfASmallPictureIsSmaller(t *testing.T) {
	cut := picture.Cut(steps(60, 400), 0.5, 0.5, 320, 240)
	if b := cut.Bounds(); b.Dx() > 320 || b.Dy() != 240 || b.Dx() < 30 {
		t.Errorf("%v", b)
	}
}

func TestProgressivePicturesCountTheirCoefficients(t *testing.T) {
	// A frame header of three components at 4:4:4, 7000 by 4000, progressive: 16 bytes a
	// pixel or 427 MiB, where a plain one takes 4 or 107 MiB.
	frame := func(mark byte) []byte {
		b := []byte{0xff, 0xd8, 0xff, mark, 0, 17, 8}
		b = binary.BigEndian.AppendUint16(b, 4000)
		b = binary.BigEndian.AppendUint16(b, 7000)
		b = append(b, 3, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0)
		return append(b, 0xff, 0xda, 0, 12, 3, 1, 0, 2, 0, 3, 0, 0, 63, 0) // the first scan begins
	}
	if _, err := jpeg.DecodeConfig(bytes.NewReader(frame(0xc2))); err != nil {
		t.Fatalf("the test's own header: %v", err)
	}
	if _, err := picture.Inspect(frame(0xc0)); err != nil {
		t.Errorf("plain: %v", err)
	}
	if _, err := picture.Inspect(frame(0xc2)); err == nil || !strings.Contains(err.Error(), "MiB to decode") {
		t.Errorf("progressive: %v", err)
	}
}

func FuzzCopy(f *testing.F) {
	img := steps(24, 16)
	f.Add(pngOf(f, img))
	f.Add(jpegOf(f, img))
	f.Add(photograph(f, img, exif(binary.LittleEndian, 8)))
	f.Add(withChunk(pngOf(f, img), "eXIf", exif(binary.BigEndian, 5)))
	f.Add(claims(300, 300, 8, 6))
	f.Add([]byte("%PDF-1.4"))
	f.Fuzz(func(t *testing.T, data []byte) {
		info, err := picture.Inspect(data)
		if err != nil {
			if _, ok := errors.AsType[*picture.Error](err); !ok {
				t.Fatalf("an error of another type: %v", err)
			}
		} else if info.Width*info.Height > 4_000_000 {
			t.Skip() // allowed, and slow
		}
		out, made, err := picture.Copy(data)
		if err != nil {
			if e, ok := errors.AsType[*picture.Error](err); !ok || e.Problem == "" || e.Advice == "" {
				t.Fatalf("an error that does not say what to do: %#v", err)
			}
			return
		}
		// What is made is taken again, as it is.
		again, err := picture.Inspect(out)
		if err != nil || again != made || made.Orientation != 1 || max(made.Width, made.Height) > picture.CopyEdge {
			t.Fatalf("made %+v, read again as %+v (%v)", made, again, err)
		}
	})
}
