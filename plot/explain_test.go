package plot_test

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"headstack/plot"
	"headstack/signature"
)

//go:embed testdata/explanation.json
var explanationJSON []byte

// explanation is an invented one of six tracks.
func explanation() signature.Explanation {
	var x signature.Explanation
	if err := json.Unmarshal(explanationJSON, &x); err != nil {
		panic(err)
	}
	return x
}

// explanationOf repeats its curves over more tracks; one is dead, one was not measured.
func explanationOf(tracks int) signature.Explanation {
	x := explanation()
	six := x.Curves
	x.Curves = nil
	for i := range tracks {
		c := six[i%len(six)]
		c.Track = i + 1
		if i == 7 {
			c.Contributions = []signature.Contribution{{Cause: signature.HeadOpen, DB: make([]float64, len(c.Points))}}
			c.Points = append([]signature.CurvePoint{}, c.Points...)
			for k := range c.Points {
				p := &c.Points[k]
				p.MeasuredDB, p.FittedDB, p.Lo, p.Hi = -47, -47, -48, -46
				c.Contributions[0].DB[k] = -47
			}
		}
		if i == 8 {
			c.Points, c.Contributions = nil, nil
		}
		x.Curves = append(x.Curves, c)
	}
	return x
}

func TestExplanationShowsEachTrackAndCause(t *testing.T) {
	d := plot.Explain(explanation(), plot.Options{})
	svg := string(d.SVG())
	save(t, "explanation", d.SVG())
	save(t, "explanation-many", plot.Explain(explanationOf(24), plot.Options{}).SVG())
	save(t, "explanation-phone", plot.Explain(explanation(), plot.Options{Width: 360}).SVG())
	texts := wellFormed(t, d.SVG(), "text")
	for _, want := range []string{"track 1", "track 6", "uneven spacing", "low corner", "measured", "fitted", "set aside, not used", "frequency, Hz", "1k"} {
		if !contains(texts, want) {
			t.Errorf("no text %q in %q", want, texts)
		}
	}
	// Six fitted curves, and as many contributions as the fixture has: spacing on three
	// tracks, azimuth on all, one corner, one gain.
	if n := strings.Count(svg, "<polyline"); n != 6+3+6+1+1 {
		t.Errorf("%d lines, want 17", n)
	}
	if n := strings.Count(svg, `class="outside"`); n != 2 { // the point and its place in the key
		t.Errorf("%d crosses, want 2", n)
	}
	desc := d.Describe()
	for _, want := range []string{"Tracks 4 to 6 lose treble", "Track 2: low corner makes", "at 40\u2009Hz"} {
		if !strings.Contains(desc, want) {
			t.Errorf("the description has no %q: %s", want, desc)
		}
	}
}

// Each cause has a dash of its own, so that a photocopy tells them apart.
func TestCausesDifferWithoutColour(t *testing.T) {
	svg := string(plot.Explain(explanation(), plot.Options{}).SVG())
	seen := map[string]bool{}
	for _, part := range strings.Split(svg, "<line ")[1:] {
		tag, _, _ := strings.Cut(part, ">")
		if _, dash, ok := strings.Cut(tag, `stroke-dasharray="`); ok && strings.Contains(tag, "track k") {
			dash, _, _ = strings.Cut(dash, `"`)
			if seen[dash] {
				t.Errorf("dash %q stands twice in the key", dash)
			}
			seen[dash] = true
		}
	}
	if len(seen) != 4 {
		t.Errorf("%d dashes in the key for 4 causes: %v", len(seen), seen)
	}
}

func TestExplanationTable(t *testing.T) {
	tb := plot.TableOf(plot.Explain(explanation(), plot.Options{}))
	if len(tb.Rows) != 6*10 || len(tb.Head) != 3+4 {
		t.Fatalf("%d rows under %q", len(tb.Rows), tb.Head)
	}
	text := tb.Text()
	for _, want := range []string{"set aside", "Set aside: Track 1 at 6.3 kHz", "what a sound track plays", "track 1, 6.3\u2009kHz"} {
		if !strings.Contains(text, want) {
			t.Errorf("the table has no %q:\n%s", want, text)
		}
	}
	// The fixture's spacing of 0.58 µm at 9.525 cm/s: 54.6·0.58e-6·(10000−315)/0.09525 dB.
	for _, r := range tb.Rows {
		if r[0] == "track 6, 10\u2009kHz" && r[3] != "−3.22\u2009dB" {
			t.Errorf("spacing of track 6 at 10 kHz: %q under %q", r[3], tb.Head[3])
		}
	}
}

func TestExplanationStates(t *testing.T) {
	for name, x := range map[string]signature.Explanation{
		"nothing": {},
		"sound":   {Findings: []signature.Finding{{Cause: signature.None, Sentence: "Nothing is out of the ordinary."}}, Curves: []signature.Curve{{Track: 1, Points: []signature.CurvePoint{{Hz: 315, Lo: -0.1, Hi: 0.1}, {Hz: 1000, Lo: -0.1, Hi: 0.1}, {Hz: 10000, MeasuredDB: 0.1, Lo: -0.3, Hi: 0.4}}}}},
		"one tone": {Curves: []signature.Curve{{Track: 3, Points: []signature.CurvePoint{{Hz: 315}},
			Contributions: []signature.Contribution{{Cause: signature.Gain, DB: []float64{-3}}}}}},
	} {
		d := plot.Explain(x, plot.Options{})
		save(t, "explanation-"+name, d.SVG())
		readable(t, d)
		if said := contains(wellFormed(t, d.SVG(), "text"), "nothing was explained"); said != (name == "nothing") {
			t.Errorf("%s: says that nothing was explained: %v", name, said)
		}
	}
}

func anyExplanation() *rapid.Generator[signature.Explanation] {
	causes := []signature.Cause{signature.Gain, signature.Spacing, signature.SpacingRamp, signature.Azimuth, signature.GapWear, signature.NoiseReductionOn, signature.HighCorner, "goblins"}
	return rapid.Custom(func(t *rapid.T) signature.Explanation {
		x := signature.Explanation{Reference: rapid.SampledFrom([]string{"", "what a sound track plays"}).Draw(t, "reference")}
		for range rapid.IntRange(0, 26).Draw(t, "tracks") {
			c := signature.Curve{Track: rapid.IntRange(1, 24).Draw(t, "track")}
			n := rapid.IntRange(0, 12).Draw(t, "points")
			for i := range n {
				c.Points = append(c.Points, signature.CurvePoint{Hz: rapid.SampledFrom([]float64{0, -1, 40, 315, 1000, 10000, 16000, 1e300}).Draw(t, "hz"), Section: fmt.Sprint(i),
					MeasuredDB: awkward().Draw(t, "db"), Lo: awkward().Draw(t, "lo"), Hi: awkward().Draw(t, "hi"), FittedDB: awkward().Draw(t, "fit"), SetAside: rapid.Bool().Draw(t, "aside")})
			}
			for _, cause := range rapid.SliceOfN(rapid.SampledFrom(causes), 0, 4).Draw(t, "causes") {
				k := signature.Contribution{Cause: cause}
				for range rapid.IntRange(0, n+1).Draw(t, "values") {
					k.DB = append(k.DB, awkward().Draw(t, "part"))
				}
				c.Contributions = append(c.Contributions, k)
			}
			x.Curves = append(x.Curves, c)
		}
		return x
	})
}

func TestAnyExplanationIsReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sound(t, plot.Explain(anyExplanation().Draw(t, "explanation"), plot.Options{Width: widths.Draw(t, "width")}))
	})
}
