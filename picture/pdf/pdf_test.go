package pdf_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"strings"
	"testing"

	"headstack/picture"
	"headstack/picture/pdf"
)

// document is a PDF of two pages of 200 by 100 points: a black square of 20 points with
// its lower left corner at 150, 20 on the second, nothing on the first.
func document() []byte {
	draw := "150 20 20 20 re f\n"
	objects := []string{
		"<</Type/Catalog/Pages 2 0 R>>",
		"<</Type/Pages/Kids[3 0 R 4 0 R]/Count 2/MediaBox[0 0 200 100]>>",
		"<</Type/Page/Parent 2 0 R>>",
		"<</Type/Page/Parent 2 0 R/Contents 5 0 R>>",
		fmt.Sprintf("<</Length %d>>stream\n%sendstream", len(draw), draw),
	}
	var b bytes.Buffer
	b.WriteString("%PDF-1.4\n")
	var at []int
	for i, o := range objects {
		at = append(at, b.Len())
		fmt.Fprintf(&b, "%d 0 obj\n%s\nendobj\n", i+1, o)
	}
	start := b.Len()
	fmt.Fprintf(&b, "xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for _, p := range at {
		fmt.Fprintf(&b, "%010d 00000 n \n", p)
	}
	fmt.Fprintf(&b, "trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n", len(objects)+1, start)
	return b.Bytes()
}

func TestPage(t *testing.T) {
	if testing.Short() {
		t.Skip("short: making the sandbox ready takes some seconds of processor time")
	}
	data, err := pdf.Page(t.Context(), document(), 2)
	if err != nil {
		t.Fatal(err)
	}
	img, info, err := picture.Decode(data)
	if err != nil || info.Width != picture.CopyEdge || info.Height != picture.CopyEdge/2 {
		t.Fatalf("%+v, %v", info, err)
	}
	// 200 points are 4096 pixels; the page's y runs upwards.
	box := dark(img)
	point := picture.CopyEdge / 200.0
	want := image.Rect(int(150*point), int(60*point), int(170*point), int(80*point))
	for _, d := range []int{box.Min.X - want.Min.X, box.Min.Y - want.Min.Y, box.Max.X - want.Max.X, box.Max.Y - want.Max.Y} {
		if d < -2 || d > 2 {
			t.Fatalf("the square is at %v, want %v", box, want)
		}
	}
	_, err = pdf.Page(t.Context(), document(), 3)
	if e, ok := errors.AsType[*picture.Error](err); !ok || !strings.Contains(e.Problem, "pages are 1 to 2") {
		t.Errorf("page 3: %v", err)
	}
}

// dark is the box of all dark pixels.
func dark(img image.Image) image.Rectangle {
	var box image.Rectangle
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, _, _, _ := img.At(x, y).RGBA(); r < 0x8000 {
				box = box.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return box
}

func TestWhatIsNotDrawn(t *testing.T) {
	_, err := pdf.Page(t.Context(), []byte("\x89PNG\r\n\x1a\n"), 1)
	if e, ok := errors.AsType[*picture.Error](err); !ok || e.Hint() == "" {
		t.Errorf("a PNG: %v", err)
	}
	if testing.Short() {
		t.Skip("short: no sandbox")
	}
	_, err = pdf.Page(t.Context(), []byte("%PDF-1.4\nand no more"), 1)
	if e, ok := errors.AsType[*picture.Error](err); !ok || !strings.Contains(e.Hint(), "save the page as a picture") {
		t.Errorf("a broken document: %v", err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := pdf.Page(gone, document(), 1); !errors.Is(err, context.Canceled) {
		t.Errorf("after it was stopped: %v", err)
	}
}
