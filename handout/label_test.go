package handout_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"headstack/diagnosis"
	"headstack/handout"
	"headstack/job"
	"headstack/paper"
	"headstack/paper/pdftest"
)

func some(n int) []handout.Label {
	var out []handout.Label
	for i := range n {
		out = append(out, handout.Label{Mark: fmt.Sprintf("M%d", i+1), Title: "title of it", Lines: []string{"a line", "and another, ±3 µV into 4 Ω"}, Foot: "job-0001"})
	}
	return out
}

func printed(t *testing.T, labels []handout.Label, g handout.Geometry, from int, outline bool) handout.Printed {
	t.Helper()
	p, err := handout.Labels(labels, g, from, outline, noon)
	if err != nil {
		t.Fatalf("%s: %v", g.Name, err)
	}
	return p
}

// Each label prints inside its own edges and inside the printable part of the sheet, from
// the label that was asked for on.
func TestLabelsStandWhereTheyShould(t *testing.T) {
	all := handout.Geometries()
	plain, err := handout.PlainPaper(paper.Letter, 60, 30)
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range append(all, plain) {
		from := g.PerSheet() - 1
		p := printed(t, some(3), g, from, false)
		if p.Sheets != 2 || len(p.Cut) > 0 {
			t.Errorf("%s: %d sheets, cut %v", g.Name, p.Sheets, p.Cut)
		}
		pdftest.Inside(t, p.PDF, paper.Margin)
		text := pdftest.Pages(t, p.PDF)
		if len(text) != 2 || strings.Contains(text[0], "M3") || !strings.Contains(text[0], "M2") || !strings.Contains(text[1], "M3") {
			t.Errorf("%s: pages %q", g.Name, text)
		}
		if g.Cut { // its lines are ink too
			continue
		}
		above := g.Top + float64(g.Rows-1)*g.PitchY
		if b := pdftest.Ink(t, p.PDF, 1, pdftest.Box{X1: g.Paper.W, Y1: above - 0.5}); b != (pdftest.Box{}) {
			t.Errorf("%s: from label %d prints above its row at %+v", g.Name, from, b)
		}
		// The last label but one lies in its column, up to the ruler.
		x := g.Left + float64((from-1)%g.Columns)*g.PitchX
		b := pdftest.Ink(t, p.PDF, 1, pdftest.Box{X1: x + g.W + (g.PitchX-g.W)/2, Y0: above, Y1: g.Paper.H - paper.Margin - 4})
		if b.X0 < x || b.X1 > x+g.W || b.Y0 < above || b.Y1 > above+g.H {
			t.Errorf("%s: label %d prints %+v, its left edge is %.1f, its upper %.1f", g.Name, from, b, x, above)
		}
	}
}

func TestEachSheetHasARulerOfTrueLength(t *testing.T) {
	for _, g := range handout.Geometries() {
		p := printed(t, some(g.PerSheet()+1), g, 1, false)
		for page := 1; page <= p.Sheets; page++ {
			b := pdftest.Ink(t, p.PDF, page, pdftest.Box{X1: paper.Margin + 1 + paper.RulerLength + 1, Y0: g.Paper.H - paper.Margin - 1, Y1: g.Paper.H})
			if got := b.X1 - b.X0; math.Abs(got-paper.RulerLength) > 0.6 {
				t.Errorf("%s, sheet %d: the ruler is %.2f mm long", g.Name, page, got)
			}
		}
	}
}

// The longest text is cut with a sign that it was, and named; none runs into the next label.
func TestLongLabelIsCutAndNamed(t *testing.T) {
	g, err := handout.GeometryNamed("5 × 13, 38.1 x 21.2 mm, a4")
	if err != nil {
		t.Fatal(err)
	}
	long := handout.Label{Mark: "F12", Title: strings.Repeat("a very long title ", 6), Lines: []string{strings.Repeat("many words of a symptom ", 20)}, Foot: "job-0001"}
	p := printed(t, []handout.Label{long, {Mark: "F13", Title: "fader 3"}}, g, 1, false)
	if fmt.Sprint(p.Cut) != "[F12]" {
		t.Errorf("cut %v", p.Cut)
	}
	if text := pdftest.Text(t, p.PDF); !strings.Contains(text, "…") || !strings.Contains(text, "F12") {
		t.Errorf("text %q", text)
	}
	b := pdftest.Ink(t, p.PDF, 1, pdftest.Box{X0: g.Left, X1: g.Left + g.W + 1, Y1: g.Top + g.H + 3})
	if b.X1 > g.Left+g.W || b.Y1 > g.Top+g.H {
		t.Errorf("label 1 prints %+v, over its edges", b)
	}
}

func TestGeometryThatCannotBe(t *testing.T) {
	for _, c := range []struct{ size, grid, label, pitch, first, want string }{
		{"A4", "3x8", "71x37", "", "", "end 213 mm"},
		{"A4", "3x8", "70x37", "60x37", "", "overlap"},
		{"A4", "3x9", "70x37", "", "", "end 333 mm"},
		{"A4", "2.5x8", "70x37", "", "", "whole numbers"},
		{"A4", "1000x1000", "70x37", "", "", "up to 600"},
		{"A4", "40x40", "12x8", "", "", "at most 600"},
		{"A4", "", "500x37", "", "", "up to the sheet"},
		{"A4", "", "5x5", "", "", "from 12 x 8 mm"},
		{"A4", "0x3", "70x37", "", "", "no label"},
		{"A4", "", "70", "", "", "as in 70x37"},
		{"A4", "", "NaNxInf", "", "", "as in 70x37"},
		{"A4", "", "70x37", "70x37", "", "without a grid"},
		{"A3", "", "70x37", "", "", "A4 or letter"},
	} {
		if _, err := handout.ParseGeometry(c.size, c.grid, c.label, c.pitch, c.first); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	g, err := handout.ParseGeometry("letter", "3 x 10", "66,7 x 25.4 mm", "69.85x25.4", "4.75 x 12.7")
	if err != nil || g.PerSheet() != 30 || g.Left != 4.75 {
		t.Errorf("%+v, %v", g, err)
	}
	for _, from := range []int{-1, 31} {
		if _, err := handout.Labels(some(1), g, from, false, noon); err == nil {
			t.Errorf("label %d of 30 is taken", from)
		}
	}
}

func FuzzParseGeometry(f *testing.F) {
	f.Add("A4", "3x8", "70x37", "", "0x0.5")
	f.Add("letter", "", "1e3x-0", "x", "")
	f.Fuzz(func(t *testing.T, size, grid, label, pitch, first string) {
		g, err := handout.ParseGeometry(size, grid, label, pitch, first)
		if err != nil {
			return
		}
		if err := g.Check(); err != nil || g.PerSheet() < 1 || g.PerSheet() > 600 {
			t.Errorf("%+v: %v", g, err)
		}
	})
}

// A number sticks on the recorder: it stays when entries before it are taken back.
func TestFaultsKeepTheirNumbers(t *testing.T) {
	b, id := fixture(t, "hexastrand")
	wrong := check(t, b, id, job.Check{Item: "fader/1", Outcome: diagnosis.Faulty}, "")
	check(t, b, id, job.Check{Function: "play", Key: "5", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomDull}, "by ear")
	check(t, b, id, job.Check{Item: "fader/3", Outcome: diagnosis.Intermittent}, "scratches")
	check(t, b, id, job.Check{Item: "fader/2", Outcome: diagnosis.Works}, "")
	if _, err := b.Withdraw(t.Context(), id, wrong.Seq, "wrong fader"); err != nil {
		t.Fatal(err)
	}
	check(t, b, id, job.Check{Item: "fader/3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomDead}, "now dead")
	var got []string
	for _, f := range handout.Faults(view(t, b, id)) {
		got = append(got, fmt.Sprint(f.Mark(), "|", f.What, "|", f.Track, "|", f.Symptom, "|", f.Remark))
	}
	want := []string{"F3|fader 3||dead|now dead", "F2|play a test tape, track panned left|5|dull|by ear"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got %q, want %q", got, want)
	}
	labels := handout.FaultLabels(view(t, b, id))
	if len(labels) != 2 || !strings.Contains(labels[1].Title, "track 5") || !strings.Contains(labels[0].Foot, "2031-05-04") {
		t.Errorf("labels %+v", labels)
	}
	check(t, b, id, job.Check{Item: "fader/3", Outcome: diagnosis.Works}, "cleaned")
	if n := len(handout.Faults(view(t, b, id))); n != 1 {
		t.Errorf("%d faults stand once fader 3 works", n)
	}
}

func TestConnectorSidesShareTheirMark(t *testing.T) {
	for _, def := range []string{"hexastrand", "octogrange"} {
		b, id := fixture(t, def)
		labels, v, err := handout.LabelsOf(t.Context(), b, id, handout.OfConnectors, true)
		if err != nil {
			t.Fatal(err)
		}
		want := 0
		for _, c := range v.Def.Connectors {
			want += 2 * len(v.Def.ReplicaKeys(c.Each))
		}
		if len(labels) != want || want == 0 {
			t.Errorf("%s: %d labels, want %d", def, len(labels), want)
		}
		for i := 0; i+1 < len(labels); i += 2 {
			a, c := labels[i], labels[i+1]
			if a.Mark != c.Mark || a.Title == c.Title && a.Lines[0] == c.Lines[0] {
				t.Errorf("%s: sides %+v and %+v", def, a, c)
			}
		}
	}
}

func TestTapeLabelSaysWhatItsLevelIs(t *testing.T) {
	b, id := worked(t)
	labels, _, err := handout.LabelsOf(t.Context(), b, id, handout.OfTapes, false)
	if err != nil {
		t.Fatal(err)
	}
	g, _ := handout.PlainPaper(paper.A4, 70, 37)
	p := printed(t, labels, g, 1, false)
	text := strings.Join(strings.Fields(pdftest.Text(t, p.PDF)), " ")
	for _, want := range []string{"Pendle Brook", "250", "nWb/m", "short-circuit", "315", "9.525", "cm/s", "3180 + 70", "µs", "passes: 1 in job-0001"} {
		if !strings.Contains(text, want) {
			t.Errorf("the label does not say %q: %q", want, text)
		}
	}
}

func TestNothingToLabel(t *testing.T) {
	b, id := fixture(t, "hexastrand")
	_, _, err := handout.LabelsOf(t.Context(), b, id, handout.OfFaults, false)
	if _, ok := errors.AsType[*handout.NoLabelsError](err); !ok {
		t.Errorf("%v", err)
	}
	if _, _, err := handout.LabelsOf(t.Context(), b, id, "hats", false); err == nil {
		t.Error("labels of hats")
	}
}

// A strip is as wide as its channels.
func TestStripsAreOfTheWidthAskedFor(t *testing.T) {
	b, id := worked(t)
	v := view(t, b, id)
	for _, width := range []float64{12.5, 20, 33, 60} {
		p, err := handout.Strips(v, paper.A4, width, map[int]string{2: "second violin"}, noon)
		if err != nil {
			t.Fatal(err)
		}
		pdftest.Inside(t, p.PDF, paper.Margin)
		n := min(6, int((paper.A4.W-2*paper.Margin)/width))
		ink := pdftest.Ink(t, p.PDF, 1, pdftest.Box{X1: paper.A4.W, Y0: paper.Margin + 6.5, Y1: paper.Margin + 14})
		if got, want := ink.X1-ink.X0, float64(n)*width; math.Abs(got-want) > 0.6 {
			t.Errorf("%g mm: %d channels take %.2f mm, want %.1f", width, n, got, want)
		}
		text := strings.Join(strings.Fields(pdftest.Text(t, p.PDF)), " ")
		for _, want := range []string{"second", "violin", "dull"} { // a typed note; a fault of track 5
			if !strings.Contains(text, want) {
				t.Errorf("%g mm: no %q on %q", width, want, text)
			}
		}
	}
	for _, width := range []float64{0, 3, 100, math.NaN()} {
		if _, err := handout.Strips(v, paper.A4, width, nil, noon); err == nil {
			t.Errorf("a channel of %g mm is taken", width)
		}
	}
	if _, err := handout.Strips(v, paper.A4, 20, map[int]string{7: "x"}, noon); err == nil || !strings.Contains(err.Error(), "1 to 6") {
		t.Errorf("a note for track 7 of 6: %v", err)
	}
}

func TestLabelsAreTheSameForTheSameRecord(t *testing.T) {
	g := handout.Geometries()[0]
	if a, b := printed(t, some(30), g, 3, true), printed(t, some(30), g, 3, true); !bytes.Equal(a.PDF, b.PDF) {
		t.Error("two runs differ")
	}
}
