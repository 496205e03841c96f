package paper_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"headstack/measure"
	"headstack/paper"
	"headstack/paper/pdftest"
	"headstack/plot"
)

var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

func compose(t *testing.T, size paper.Size, body func(f *paper.Flow)) []byte {
	t.Helper()
	pdf, err := paper.Compose(size, paper.Info{Title: "A title", When: noon}, "foot", body)
	if err != nil {
		t.Fatal(err)
	}
	return pdf
}

// Each sign is there as the letter that it is, not only as a shape: text can be searched
// and copied.
func TestSignsCanBeReadBack(t *testing.T) {
	const signs = "µ Ω λ ± − ■ ▲ ○ ◆ ✕ ≈ ◨ ◧ × ° é Ł ž Ж"
	pdf := compose(t, paper.A4, func(f *paper.Flow) {
		f.Para(signs, paper.Plain)
		f.Para("−3.42\u2009±0.12\u2009dB", paper.Strong)
	})
	text := pdftest.Text(t, pdf)
	for _, s := range strings.Fields(signs) {
		if !strings.Contains(text, s) {
			t.Errorf("%s cannot be read back from %q", s, text)
		}
	}
	// pdftotext may write a thin space as a plain one.
	if !strings.Contains(strings.ReplaceAll(text, "\u2009", " "), "−3.42 ±0.12 dB") {
		t.Errorf("the figure cannot be read back from %q", text)
	}
}

func TestThinSpaceHasItsWidth(t *testing.T) {
	d := paper.New(paper.A4, paper.Info{When: noon})
	d.Page()
	at := paper.Type{Size: 100}
	em := 100 * 25.4 / 72
	// A thin space is a fifth of an em (The Unicode Standard, table 6-2); a face may differ
	// by a little. DejaVu Sans says 0.2.
	if got := (d.Width("1\u2009V", at) - d.Width("1V", at)) / em; math.Abs(got-0.2) > 0.01 {
		t.Errorf("a thin space is %.3f em wide, want 0.2", got)
	}
}

func TestLettersThatTheFontsLackAreNamed(t *testing.T) {
	d := paper.New(paper.A4, paper.Info{When: noon})
	d.Page()
	d.Text(20, 20, "start", "漢 \U0001F4BE \x00 ok\u200b", paper.Plain)
	if got, want := fmt.Sprintf("%U", d.Missing()), "[U+6F22 U+1F4BE]"; got != want {
		t.Errorf("missing %s, want %s", got, want)
	}
	pdf := compose(t, paper.A4, func(f *paper.Flow) { f.Para("漢", paper.Plain) })
	if text := pdftest.Text(t, pdf); !strings.Contains(text, "U+6F22") || !strings.Contains(text, "\uFFFD") {
		t.Errorf("what is missing is not said: %q", text)
	}
}

func TestSameCallsGiveTheSameBytes(t *testing.T) {
	body := func(f *paper.Flow) {
		f.Heading(1, "Ω and λ")
		f.Draw(response())
		f.Table(table(30))
	}
	if a, b := compose(t, paper.A4, body), compose(t, paper.A4, body); !bytes.Equal(a, b) {
		t.Error("two runs differ")
	}
}

func TestTrueSize(t *testing.T) {
	for _, size := range paper.Sizes() {
		pdf := compose(t, size, func(f *paper.Flow) { f.Ruler(f.Left, 100) })
		w, h := pdftest.PageSize(t, pdf)
		if math.Abs(w-size.W) > 0.1 || math.Abs(h-size.H) > 0.1 {
			t.Errorf("%s is %.2f x %.2f mm, want %.1f x %.1f", size.Name, w, h, size.W, size.H)
		}
		// The ruler is the only thing between 99 and 103 mm from the top.
		b := pdftest.Ink(t, pdf, 1, pdftest.Box{X1: size.W, Y0: 99, Y1: 103})
		if got := b.X1 - b.X0; math.Abs(got-paper.RulerLength) > 0.35 { // line width and a pixel
			t.Errorf("%s: the ruler is %.2f mm long", size.Name, got)
		}
	}
}

func table(rows int) paper.Table {
	t := paper.Table{Caption: "Steps", Columns: []paper.Column{{Head: "number", Width: 20}, {Head: "words of it"}, {Head: "after", Width: 20, Pen: true}}}
	for i := range rows {
		t.Rows = append(t.Rows, paper.Row{Cells: paper.Cells(fmt.Sprint("row ", i), strings.Repeat("some words ", 12), "")})
	}
	return t
}

func TestTableRepeatsItsHeading(t *testing.T) {
	for _, size := range paper.Sizes() {
		pdf := compose(t, size, func(f *paper.Flow) {
			f.Para("before", paper.Plain)
			f.Table(table(90))
		})
		pages := pdftest.Pages(t, pdf)
		if len(pages) < 3 {
			t.Fatalf("%d pages", len(pages))
		}
		all := strings.Join(pages, "")
		for i := range 90 {
			if n := strings.Count(all+" ", fmt.Sprintf("row %d\n", i)) + strings.Count(all, fmt.Sprintf("row %d ", i)); n != 1 {
				t.Errorf("row %d stands %d times", i, n)
			}
		}
		for i, p := range pages {
			if !strings.Contains(p, "words of it") {
				t.Errorf("page %d has no heading", i+1)
			}
			if got := strings.Contains(p, "Steps, continued"); got != (i > 0) {
				t.Errorf("page %d continued: %v", i+1, got)
			}
			if want := fmt.Sprintf("page %d of %d", i+1, len(pages)); !strings.Contains(p, want) {
				t.Errorf("page %d does not say %q", i+1, want)
			}
		}
		pdftest.Inside(t, pdf, paper.Margin)
	}
}

// A row higher than a page goes on over pages, and nothing of it is lost.
func TestRowLongerThanAPage(t *testing.T) {
	var words []string
	for i := range 3000 {
		words = append(words, fmt.Sprintf("w%d", i))
	}
	pdf := compose(t, paper.A4, func(f *paper.Flow) {
		f.Table(paper.Table{Columns: []paper.Column{{Head: "long"}, {Head: "short"}}, Rows: []paper.Row{{Cells: paper.Cells(strings.Join(words, " "), "x")}}})
	})
	got := map[string]bool{}
	for _, w := range strings.Fields(pdftest.Text(t, pdf)) {
		got[w] = true
	}
	for _, w := range words {
		if !got[w] {
			t.Fatalf("%s is lost", w)
		}
	}
	pdftest.Inside(t, pdf, paper.Margin)
}

func TestLongWordIsCutNotLost(t *testing.T) {
	d := paper.New(paper.A4, paper.Info{When: noon})
	d.Page()
	word := strings.Repeat("abcdefghij", 30)
	lines := d.Wrap("x "+word+" y", 50, paper.Plain)
	for _, l := range lines {
		if w := d.Width(l, paper.Plain); w > 50 {
			t.Errorf("%q is %.1f mm wide", l, w)
		}
	}
	if got := strings.ReplaceAll(strings.Join(lines, ""), " ", ""); got != "x"+word+"y" {
		t.Errorf("wrapped to %q", got)
	}
}

func response() plot.Drawing {
	var rs []measure.Result
	for track := 1; track <= 4; track++ {
		for i, hz := range []float64{63, 315, 1000, 6300, 12500} {
			v := float64(track*i) / 5
			rs = append(rs, measure.Result{Name: "response", Track: track, ToneHz: hz, Value: v, Lo: v - 0.2, Hi: v + 0.2, Unit: "dB", Reference: "315 Hz"})
		}
	}
	return plot.DrawResponse(rs, plot.Options{})
}

// A drawing stands on the page as it is, scaled: its text is there, its ink within its field.
func TestDrawingOnPaper(t *testing.T) {
	g := response()
	d := paper.New(paper.A4, paper.Info{When: noon})
	d.Page()
	h := d.Draw(g, 30, 40, 120)
	w0, h0 := g.Size()
	if want := 120 * h0 / w0; math.Abs(h-want) > 1e-9 {
		t.Errorf("height %.2f, want %.2f", h, want)
	}
	pdf, err := d.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	b := pdftest.Ink(t, pdf, 1, pdftest.Box{X1: 210, Y1: 297})
	if b.X0 < 29.5 || b.Y0 < 39.5 || b.X1 > 150.5 || b.Y1 > 40.5+h || b.X1-b.X0 < 100 {
		t.Errorf("ink from %.1f, %.1f to %.1f, %.1f mm", b.X0, b.Y0, b.X1, b.Y1)
	}
	if text := pdftest.Text(t, pdf); !strings.Contains(text, "12.5k") && !strings.Contains(text, "frequency") {
		t.Errorf("the axis cannot be read: %q", text)
	}
}

func TestSizeNamed(t *testing.T) {
	for name, want := range map[string]paper.Size{"": paper.A4, "a4": paper.A4, "Letter": paper.Letter} {
		if got, err := paper.SizeNamed(name); err != nil || got != want {
			t.Errorf("%q: %v, %v", name, got, err)
		}
	}
	if _, err := paper.SizeNamed("A5"); err == nil {
		t.Error("A5 is taken")
	}
}
