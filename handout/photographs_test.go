package handout_test

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/handout"
	"headstack/job"
	"headstack/measure"
	"headstack/paper"
	"headstack/paper/pdftest"
)

// shot is a picture with something on it, as a camera or a scanner gives it.
func shot(t *testing.T, w, h int, asPNG bool) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.SetRGBA(x, y, color.RGBA{uint8(255 * x / w), uint8(255 * y / h), uint8((x / 40 % 2) * 200), 255})
		}
	}
	var b bytes.Buffer
	var err error
	if asPNG {
		err = png.Encode(&b, img)
	} else {
		err = jpeg.Encode(&b, img, nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestPhotographsGoWithTheHandOver: each stands in it with its layer and caption, a tall one
// and a wide one, the same bytes each time; the card has none.
func TestPhotographsGoWithTheHandOver(t *testing.T) {
	b, id := worked(t)
	for i, p := range []struct {
		layer, caption string
		w, h           int
		png            bool
	}{{"", "as it came in", 900, 700, false}, {"lid", "W5 before it was parted: red stripe to the rear", 900, 1600, false}, {"lid", "C31-a, bulged", 640, 480, true}} {
		if _, err := b.AddPhotograph(t.Context(), id, job.PhotographUpload{File: "shot.img", Opening: p.layer, Caption: p.caption, Case: measure.CaseOpen,
			Data: bytes.NewReader(shot(t, p.w, p.h, p.png))}); err != nil {
			t.Fatalf("photograph %d: %v", i+1, err)
		}
	}
	made := func(document func(handout.Data, paper.Size) ([]byte, error)) []byte {
		t.Helper()
		d, err := handout.Gather(t.Context(), b, id, "headstack test", noAdvice)
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := document(d, paper.A4)
		if err != nil {
			t.Fatal(err)
		}
		return pdf
	}
	pdf := made(handout.HandOver)
	if n := bytes.Count(pdf, []byte("/Subtype /Image")); n != 3 {
		t.Errorf("%d pictures in the hand-over, want 3", n)
	}
	for range 4 { // two are of one width
		if !bytes.Equal(pdf, made(handout.HandOver)) {
			t.Fatal("made again, the hand-over has other bytes")
		}
	}
	if n := bytes.Count(made(handout.Card), []byte("/Subtype /Image")); n != 0 {
		t.Errorf("%d pictures on the card", n)
	}
	pdftest.Inside(t, pdf, paper.Margin)
	if err := os.WriteFile(filepath.Join(t.ArtifactDir(), "hand-over.pdf"), pdf, 0o600); err != nil { // to be looked at
		t.Fatal(err)
	}
	text := squeezed(t, pdf)
	for _, want := range []string{"Photographs", "closed, photograph 1", "as it came in", "lid unscrewed and propped at 70 degrees, photograph 2", "red stripe to the rear", "C31-a, bulged",
		"whole tape path clean and dry was seen to"} {
		if !strings.Contains(text, want) {
			t.Errorf("the hand-over does not say %q", want)
		}
	}
}
