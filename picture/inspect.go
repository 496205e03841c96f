package picture

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
)

// What is taken at most. A telephone's photograph has some 5 MB and 12 to 50 million pixels.
const (
	MaxBytes  = 32 << 20
	MaxPixels = 60_000_000
	MaxMemory = 256 << 20 // bytes while decoding, estimated from the header
	maxEdge   = 20_000    // pixels: 1 × 60 000 000 is no picture
	maxScans  = 100       // of a progressive JPEG, each of which passes over all pixels; usual are ten
)

// The types of picture that are taken and made.
const (
	PNG  = "image/png"
	JPEG = "image/jpeg"
)

// Error says why a picture was not taken and what to do.
type Error struct {
	Problem string // "has 81 million pixels; at most 60 million are taken"
	Advice  string // what to do
	Err     error  // what the decoder said, where it did
}

func (e *Error) Error() string {
	if e.Err != nil {
		return e.Problem + ": " + e.Err.Error()
	}
	return e.Problem
}

// Unwrap returns what the decoder said.
func (e *Error) Unwrap() error { return e.Err }

// Hint says what to do.
func (e *Error) Hint() string { return e.Advice }

// Info is what the header of a picture says.
type Info struct {
	Type          string // [PNG] or [JPEG]
	Width, Height int    // pixels, upright
	Orientation   int    // 1 to 8 as EXIF counts; 1: as it is stored
}

// Inspect reads the header of a picture. Its errors are of type [*Error].
func Inspect(data []byte) (Info, error) {
	if len(data) > MaxBytes {
		return Info{}, tooManyBytes()
	}
	switch {
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return inspectPNG(data)
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return inspectJPEG(data)
	}
	return Info{}, notTaken(data)
}

func tooManyBytes() error {
	return &Error{Problem: fmt.Sprintf("has more than %d MiB", MaxBytes>>20), Advice: "Take it again at a lower resolution, or save it as JPEG of usual quality."}
}

// TooManyBytes is the error of a picture longer than [MaxBytes], for those who read it.
func TooManyBytes() error { return tooManyBytes() }

// IsPDF tells a PDF file by its beginning; the header may stand within the first 1024 bytes
// (ISO 32000-1, annex H).
func IsPDF(data []byte) bool {
	return bytes.Contains(data[:min(len(data), 1024)], []byte("%PDF-"))
}

// notTaken names a format that is known and not taken.
func notTaken(data []byte) error {
	const asPicture = "Save it as PNG or JPEG and add that."
	head := data[:min(len(data), 1024)]
	ftyp := len(head) >= 12 && string(head[4:8]) == "ftyp"
	switch {
	case len(data) == 0:
		return &Error{Problem: "is empty", Advice: "Choose the file again: what was sent has no bytes."}
	case IsPDF(data):
		return &Error{Problem: "is a PDF document", Advice: "Give the number of the page that is wanted; where that is refused, save the page as a picture, PNG at 200 dots per inch or more, and add that."}
	case ftyp && bytes.Contains(head[8:min(len(head), 32)], []byte("hei")), ftyp && bytes.Contains(head[8:min(len(head), 32)], []byte("mif1")):
		return &Error{Problem: "is a HEIC photograph", Advice: "Set the telephone's camera to JPEG (its most compatible format), or save the photograph as JPEG, and add that."}
	case bytes.Contains(head, []byte("<svg")):
		return &Error{Problem: "is an SVG drawing, which can carry active content", Advice: asPicture}
	case bytes.HasPrefix(head, []byte("GIF8")):
		return &Error{Problem: "is a GIF picture", Advice: asPicture}
	case len(head) >= 12 && string(head[:4]) == "RIFF" && string(head[8:12]) == "WEBP":
		return &Error{Problem: "is a WebP picture", Advice: asPicture}
	case bytes.HasPrefix(head, []byte("II*\x00")), bytes.HasPrefix(head, []byte("MM\x00*")):
		return &Error{Problem: "is a TIFF or raw picture", Advice: asPicture}
	}
	return &Error{Problem: "is neither PNG nor JPEG", Advice: asPicture}
}

// checkSize refuses what is too large; perPixel is bytes in memory while decoding.
func checkSize(w, h int, perPixel float64) error {
	pixels := float64(w) * float64(h)
	switch {
	case w < 1 || h < 1:
		return &Error{Problem: fmt.Sprintf("is %d by %d pixels: nothing to show", w, h), Advice: "Save it again and add that."}
	case w > maxEdge || h > maxEdge:
		return &Error{Problem: fmt.Sprintf("is %d by %d pixels; at most %d along one edge are taken", w, h, maxEdge), Advice: "Scale it down and add that."}
	case pixels > MaxPixels:
		return &Error{Problem: fmt.Sprintf("has %.0f million pixels; at most %d million are taken", pixels/1e6, MaxPixels/1_000_000), Advice: "Scale it down, or take it at a lower resolution, and add that."}
	case pixels*perPixel > MaxMemory:
		return &Error{Problem: fmt.Sprintf("would take %.0f MiB to decode; at most %d are given", pixels*perPixel/(1<<20), MaxMemory>>20), Advice: "Save it as plain JPEG (not progressive) or PNG of 8 bits a colour, or scale it down, and add that."}
	}
	return nil
}

func broken(what string, err error) error {
	return &Error{Problem: "cannot be read as " + what, Advice: "Copy it again from where it came: the file is cut short or damaged.", Err: err}
}

func inspectPNG(data []byte) (Info, error) {
	c, err := png.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return Info{}, broken("PNG", err)
	}
	bytesPer := 4.0
	switch c.ColorModel {
	case color.RGBA64Model, color.NRGBA64Model:
		bytesPer = 8
	case color.Gray16Model:
		bytesPer = 2
	case color.GrayModel:
		bytesPer = 1
	}
	if _, ok := c.ColorModel.(color.Palette); ok {
		bytesPer = 1
	}
	if err := checkSize(c.Width, c.Height, bytesPer); err != nil {
		return Info{}, err
	}
	// One bit a pixel at the least, at the most that deflate can make of it.
	if raw := float64(c.Width) * float64(c.Height) / 8; raw > 1032*float64(len(data)) {
		return Info{}, broken("PNG", fmt.Errorf("%d bytes cannot hold %d by %d pixels", len(data), c.Width, c.Height))
	}
	return upright(PNG, c, pngOrientation(data)), nil
}

func inspectJPEG(data []byte) (Info, error) {
	c, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return Info{}, broken("JPEG", err)
	}
	h := readJPEG(data)
	bytesPer := 4.0 // three at most, and rounding up to whole blocks
	if h.progressive {
		bytesPer += 4 * h.perPixel // coefficients of all components are kept, four bytes each
	}
	if err := checkSize(c.Width, c.Height, bytesPer); err != nil {
		return Info{}, err
	}
	if n := bytes.Count(data, []byte{0xff, markSOS}); n > maxScans {
		return Info{}, broken("JPEG", fmt.Errorf("%d scans; usual are ten", n))
	}
	return upright(JPEG, c, orientationOf(h.exif)), nil
}

func upright(kind string, c image.Config, orientation int) Info {
	i := Info{Type: kind, Width: c.Width, Height: c.Height, Orientation: orientation}
	if orientation > 4 {
		i.Width, i.Height = i.Height, i.Width
	}
	return i
}

// pngOrientation looks for an eXIf chunk (PNG third edition, 11.3.4.5) before the pixels.
func pngOrientation(data []byte) int {
	for p := 8; p+8 <= len(data); {
		n := int64(binary.BigEndian.Uint32(data[p:]))
		kind := string(data[p+4 : p+8])
		end := int64(p) + 8 + n
		if end > int64(len(data)) || kind == "IEND" {
			break
		}
		if kind == "eXIf" {
			return orientationOf(data[p+8 : end])
		}
		p = int(end) + 4
	}
	return 1
}
