package plot_test

import (
	"encoding/xml"
	"flag"
	"fmt"
	"html/template"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/measure"
	"headstack/plot"
)

var keep = flag.String("svg", "", "folder in which to keep the pictures of the tests")

func save(t *testing.T, name string, svg template.HTML) {
	if *keep == "" {
		return
	}
	page := `<body style="margin:8px;background:#fff">` + string(svg)
	if err := os.WriteFile(filepath.Join(*keep, name+".html"), []byte(page), 0o644); err != nil {
		t.Fatal(err)
	}
}

func result(track int, hz, v, half float64) measure.Result {
	return measure.Result{Name: "response", Track: track, ToneHz: hz, Value: v, Lo: v - half, Hi: v + half, Unit: "dB"}
}

func sixTracks() []measure.Result {
	var out []measure.Result
	for tr := 1; tr <= 6; tr++ {
		for _, hz := range []float64{10000, 63, 125, 315, 1000, 3150, 6300, 12500} {
			v := 0.2 * float64(tr%3)
			if tr == 5 {
				v -= 54.6 * 0.45e-6 / (0.09525 / hz)
			}
			if hz == 315 {
				v = 0
			}
			if tr == 2 {
				v = -48
			}
			out = append(out, result(tr, hz, v, 0.05+hz/40000))
		}
	}
	return out
}

// wellFormed parses the SVG as XML and returns the text of all elements named.
func wellFormed(t *testing.T, svg template.HTML, element string) []string {
	t.Helper()
	var out []string
	dec := xml.NewDecoder(strings.NewReader(string(svg)))
	in := false
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatalf("not well-formed: %v\n%s", err, svg)
		}
		switch k := tok.(type) {
		case xml.StartElement:
			in = k.Name.Local == element
			for _, a := range k.Attr {
				if a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") {
					t.Errorf("<%s %s=%q> would be refused by the page's content policy", k.Name.Local, a.Name.Local, a.Value)
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("<%s %s=%q>", k.Name.Local, a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			if in {
				out = append(out, string(k))
			}
		case xml.EndElement:
			in = false
		}
	}
}

// checkXML is wellFormed for properties, which have no *testing.T.
func checkXML(t failer, doc string) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(doc))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Errorf("not well-formed: %v\n%s", err, doc)
			return
		}
		k, ok := tok.(xml.StartElement)
		seen := map[string]bool{}
		for _, a := range k.Attr {
			if ok && (strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf")) {
				t.Errorf("<%s %s=%q>", k.Name.Local, a.Name.Local, a.Value)
			}
			if seen[a.Name.Local] {
				t.Errorf("<%s> has %s twice", k.Name.Local, a.Name.Local)
			}
			seen[a.Name.Local] = true
		}
	}
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

func TestResponseNamesTracksAndThirdOctaves(t *testing.T) {
	svg := plot.Response(sixTracks(), plot.Options{})
	save(t, "response", svg)
	texts := wellFormed(t, svg, "text")
	// The preferred numbers of ISO 266:1997 within the measured span.
	for _, want := range []string{"1", "2", "3", "4", "5", "6", "63", "1k", "10k", "frequency, Hz"} {
		if !contains(texts, want) {
			t.Errorf("no text %q in %q", want, texts)
		}
	}
	if n := strings.Count(string(svg), "<polyline"); n != 6 {
		t.Errorf("%d curves, want 6", n)
	}
	if again := plot.Response(sixTracks(), plot.Options{}); again != svg {
		t.Error("two drawings of the same figures differ")
	}
}

func TestResponsePointsLieOnTheAxis(t *testing.T) {
	// Equal ratios of frequency must be equal distances, equal decibels equal heights.
	svg := string(plot.Response([]measure.Result{
		result(1, 100, 0, 0), result(1, 1000, 2, 0), result(1, 10000, -2, 0)}, plot.Options{}))
	i := strings.Index(svg, `<polyline points="`)
	var x, y [3]float64
	if _, err := fmt.Sscanf(svg[i+len(`<polyline points="`):], "%f,%f %f,%f %f,%f", &x[0], &y[0], &x[1], &y[1], &x[2], &y[2]); err != nil {
		t.Fatal(err)
	}
	if d := (x[1] - x[0]) - (x[2] - x[1]); math.Abs(d) > 0.11 { // one decimal is written
		t.Errorf("decades differ by %.2f", d)
	}
	if d := (y[0] - y[1]) - (y[2] - y[0]); math.Abs(d) > 0.11 {
		t.Errorf("2 dB up and 2 dB down differ by %.2f", d)
	}
	if y[1] >= y[0] {
		t.Error("a higher level must lie higher")
	}
}

func TestResponseMarksWhatLeavesTheAxis(t *testing.T) {
	svg := plot.Response(sixTracks(), plot.Options{})
	if !contains(wellFormed(t, svg, "text"), "−48") {
		t.Error("the dead track's value is not written at the edge")
	}
}

func TestResponseStates(t *testing.T) {
	refused := measure.Result{Name: "response", Track: 1, ToneHz: 1000, Refused: "tone absent", Value: math.NaN()}
	many := []measure.Result{}
	for tr := 1; tr <= 24; tr++ {
		for _, hz := range []float64{31.5, 100, 1000, 10000, 20000} {
			many = append(many, result(tr, hz, float64(tr%5)-2, 0.3))
		}
	}
	for name, in := range map[string][]measure.Result{
		"empty":    nil,
		"refused":  {refused},
		"single":   {result(1, 315, 0, 0.1)},
		"infinite": {{Name: "response", Track: 1, ToneHz: 100, Value: -1, Lo: math.Inf(-1), Hi: math.Inf(1)}, result(1, 200, 1, 1)},
		"enormous": many,
	} {
		t.Run(name, func(t *testing.T) {
			svg := plot.Response(in, plot.Options{ID: "r-" + name, Title: "<script>alert(1)</script>"})
			save(t, "response-"+name, svg)
			texts := wellFormed(t, svg, "text")
			if got := contains(texts, "no response was measured"); got != (name == "empty" || name == "refused") {
				t.Errorf("says so: %v", got)
			}
		})
	}
}

func lane(key string, shared bool) plot.Lane {
	l := plot.Lane{Key: key}
	for i, part := range []string{"H-", "RY1-", "U3-", "C11-", "VRa-", "R21-/C14-", "VRb-", "U5-", "X2-", "C19-", "W5", "S1", "U20", "FD", "U30-L"} {
		s := plot.PathStage{ID: part + key, Part: part + key, Mark: plot.Mark(i % 2)}
		if i >= 10 {
			s.ID, s.Part = part, part
		}
		if i == 3 && key == "3" {
			s.Mark, s.P = plot.MarkSuspect, 0.63
		}
		if i == 4 && key == "3" {
			s.Mark, s.P = plot.MarkSuspect, 0.004
		}
		l.Stages = append(l.Stages, s)
	}
	return l
}

func TestPath(t *testing.T) {
	p := plot.PathPlot{Title: "play, track 3", Main: lane("3", true), Above: 2,
		Ticks: []plot.Tick{{After: 2, Part: "TP10-3", Read: true}, {After: 3, Part: "TP11-3", Next: true}, {After: 3, Part: "TP99-3"}, {After: 9, Part: "TP12-3"}}}
	for _, k := range []string{"1", "2", "4", "5", "6"} {
		p.Siblings = append(p.Siblings, lane(k, true))
	}
	svg := plot.Path(p)
	save(t, "path", svg)
	texts := wellFormed(t, svg, "text")
	for _, want := range []string{"C11-3", "63\u2009%", "<1\u2009%", "next: TP11-3", "TP10-3", "W5", "6"} {
		if !contains(texts, want) {
			t.Errorf("no text %q in %q", want, texts)
		}
	}
	desc := strings.Join(wellFormed(t, svg, "desc"), "")
	if !strings.Contains(desc, "15 stages") || !strings.Contains(desc, "2 suspect") || !strings.Contains(desc, "C11-3") || !strings.Contains(desc, "Next reading at TP11-3") {
		t.Errorf("desc: %s", desc)
	}
	// Shared stages are drawn once: 15 on the main lane, 10 own ones per sibling.
	if n := strings.Count(string(svg), `class="mark`); n != 15+5*10 {
		t.Errorf("%d marks, want 65", n)
	}
	if plot.Path(p) != svg {
		t.Error("two drawings differ")
	}
}

func TestPathEmptyAndEnormous(t *testing.T) {
	save(t, "path-empty", plot.Path(plot.PathPlot{Title: "nothing"}))
	p := plot.PathPlot{Title: "many", Main: lane("12", true), Above: 11}
	for k := 1; k <= 24; k++ {
		if k != 12 {
			p.Siblings = append(p.Siblings, lane(fmt.Sprint(k), true))
		}
	}
	svg := plot.Path(p)
	save(t, "path-enormous", svg)
	wellFormed(t, svg, "text")
}
