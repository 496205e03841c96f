// Package pdftest looks at PDF files with the tools of poppler, for tests: how many pages,
// how large, what their text is, where their ink lies. Where the tools are not installed the
// test is skipped, with what would be checked, or fails where HEADSTACK_NEED_TOOLS is 1.
package pdftest

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// DPI of the pictures that are looked at.
const DPI = 100

func tool(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("%s is not installed (poppler-utils)", name)
		}
		t.Skipf("%s is not installed (poppler-utils): the pages are not looked at", name)
	}
	cmd := exec.Command(path, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, stderr.String())
	}
	if s := strings.TrimSpace(stderr.String()); s != "" {
		t.Errorf("%s: %s", name, s) // a file that a reader has to mend
	}
	return out
}

func file(t *testing.T, pdf []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Text is what can be searched and copied of a file.
func Text(t *testing.T, pdf []byte) string {
	t.Helper()
	return string(tool(t, "pdftotext", "-layout", "-enc", "UTF-8", file(t, pdf), "-"))
}

// Pages is the text of each page.
func Pages(t *testing.T, pdf []byte) []string {
	t.Helper()
	return strings.Split(strings.TrimSuffix(Text(t, pdf), "\f"), "\f")
}

// PageSize is that of the first page, mm.
func PageSize(t *testing.T, pdf []byte) (w, h float64) {
	t.Helper()
	for line := range strings.Lines(string(tool(t, "pdfinfo", file(t, pdf)))) {
		if rest, ok := strings.CutPrefix(line, "Page size:"); ok {
			if _, err := fmt.Sscanf(strings.TrimSpace(rest), "%f x %f", &w, &h); err != nil {
				t.Fatalf("page size %q: %v", rest, err)
			}
		}
	}
	return w * 25.4 / 72, h * 25.4 / 72
}

// Box is a part of a page, mm from its upper left corner.
type Box struct{ X0, Y0, X1, Y1 float64 }

// Render draws the pages in grey.
func Render(t *testing.T, pdf []byte) []*image.Gray {
	t.Helper()
	data := tool(t, "pdftoppm", "-gray", "-r", fmt.Sprint(DPI), file(t, pdf))
	var out []*image.Gray
	for len(data) > 0 {
		var w, h, most int
		if _, err := fmt.Sscanf(string(data[:min(len(data), 40)]), "P5\n%d %d\n%d\n", &w, &h, &most); err != nil {
			t.Fatalf("page %d as a picture: %v", len(out)+1, err)
		}
		data = data[len(fmt.Sprintf("P5\n%d %d\n%d\n", w, h, most)):]
		out = append(out, &image.Gray{Pix: data[:w*h], Stride: w, Rect: image.Rect(0, 0, w, h)})
		data = data[w*h:]
	}
	return out
}

// Ink is the least box that holds all that is printed within a part of a page, counted from
// 1; the zero box where nothing is.
func Ink(t *testing.T, pdf []byte, page int, within Box) Box {
	t.Helper()
	pages := Render(t, pdf)
	if page < 1 || page > len(pages) {
		t.Fatalf("page %d of %d", page, len(pages))
	}
	return inkOf(pages[page-1], within)
}

func inkOf(img *image.Gray, within Box) Box {
	const mm = 25.4 / DPI
	out := Box{}
	b := img.Bounds()
	for y := max(0, int(within.Y0/mm)); y < min(b.Dy(), int(within.Y1/mm)+1); y++ {
		for x := max(0, int(within.X0/mm)); x < min(b.Dx(), int(within.X1/mm)+1); x++ {
			if img.GrayAt(x, y) == (color.Gray{Y: 255}) {
				continue
			}
			px := Box{float64(x) * mm, float64(y) * mm, float64(x+1) * mm, float64(y+1) * mm}
			if out == (Box{}) {
				out = px
			}
			out = Box{min(out.X0, px.X0), min(out.Y0, px.Y0), max(out.X1, px.X1), max(out.Y1, px.Y1)}
		}
	}
	return out
}

// Inside fails where a page is empty, or prints nearer than margin mm to its edge.
func Inside(t *testing.T, pdf []byte, margin float64) {
	t.Helper()
	const pixel = 25.4 / DPI
	for i, img := range Render(t, pdf) {
		w, h := float64(img.Bounds().Dx())*pixel, float64(img.Bounds().Dy())*pixel
		b := inkOf(img, Box{X1: w, Y1: h})
		if b == (Box{}) {
			t.Errorf("page %d is empty", i+1)
			continue
		}
		if b.X0 < margin-pixel || b.Y0 < margin-pixel || b.X1 > w-margin+2*pixel || b.Y1 > h-margin+2*pixel {
			t.Errorf("page %d prints from %.1f, %.1f to %.1f, %.1f mm of %.1f x %.1f", i+1, b.X0, b.Y0, b.X1, b.Y1, w, h)
		}
	}
}
