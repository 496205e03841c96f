package plot_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

type failer interface {
	Helper()
	Errorf(format string, args ...any)
}

// readable checks that no text meets another and none is cut off.
func readable(t failer, d plot.Drawing) {
	t.Helper()
	w, h := d.Size()
	boxes := plot.TextBoxes(d)
	for i, a := range boxes {
		// Half a pixel for the rounding of coordinates.
		if a.X0 < -0.5 || a.Y0 < -0.5 || a.X1 > w+0.5 || a.Y1 > h+0.5 {
			t.Errorf("%q: text %q at %.1f,%.1f to %.1f,%.1f leaves the picture of %.0f by %.0f", d.Title(), a.Text, a.X0, a.Y0, a.X1, a.Y1, w, h)
		}
		for _, b := range boxes[i+1:] {
			if a.X0 < b.X1-0.5 && b.X0 < a.X1-0.5 && a.Y0 < b.Y1-0.5 && b.Y0 < a.Y1-0.5 {
				t.Errorf("%q: %q (%.1f,%.1f to %.1f,%.1f) and %q (%.1f,%.1f to %.1f,%.1f) run together", d.Title(),
					a.Text, a.X0, a.Y0, a.X1, a.Y1, b.Text, b.X0, b.Y0, b.X1, b.Y1)
			}
		}
	}
}

func TestDemoIsReadable(t *testing.T) {
	for _, p := range demo() {
		if p.name == "path" || p.name == "connector" {
			continue // names of parts are as long as they are, and shortened by count of letters
		}
		for _, w := range []float64{760, 360, 1100, 240} {
			t.Run(fmt.Sprintf("%s-%.0f", p.name, w), func(t *testing.T) {
				d := p.draw(w)
				readable(t, d)
				for _, b := range plot.TextBoxes(d) {
					if m := plot.Missing(b.Text); m != "" {
						t.Errorf("the raster's font lacks %q of %q", m, b.Text)
					}
				}
			})
		}
	}
}

// awkward draws figures of every kind, most of them sensible.
func awkward() *rapid.Generator[float64] {
	return rapid.Custom(func(t *rapid.T) float64 {
		switch rapid.IntRange(0, 19).Draw(t, "kind") {
		case 0:
			return math.NaN()
		case 1:
			return math.Inf(1)
		case 2:
			return math.Inf(-1)
		case 3:
			return rapid.Float64().Draw(t, "any")
		case 4:
			return 0
		case 5:
			return rapid.Float64Range(-1e6, 1e6).Draw(t, "large")
		case 6:
			return rapid.Float64Range(-1e-6, 1e-6).Draw(t, "small")
		}
		return rapid.Float64Range(-20, 20).Draw(t, "usual")
	})
}

var widths = rapid.SampledFrom([]float64{0, 240, 360, 760, 1200})

func anyTrace() *rapid.Generator[measure.Trace] {
	label := rapid.SampledFrom([]string{"", "capstan", "take-up reel, at the end of the tape", "flywheel", "100 Hz", "2 × pinch roller", "<&>\x00"})
	return rapid.Custom(func(t *rapid.T) measure.Trace {
		tr := measure.Trace{Name: rapid.SampledFrom([]string{"speed", "speed_spectrum", "staircase", "", "distortion_steps", "level_steps"}).Draw(t, "name"),
			Track: rapid.IntRange(0, 24).Draw(t, "track"), ToneHz: rapid.SampledFrom([]float64{0, 315, 10000}).Draw(t, "tone"),
			Section: rapid.SampledFrom([]string{"", "A", "a section with a very long name indeed, of many words"}).Draw(t, "section"),
			X:       measure.Axis{Label: "time", Unit: rapid.SampledFrom([]string{"s", "Hz", "dB"}).Draw(t, "x unit"), Log: rapid.Bool().Draw(t, "x log")},
			Y:       measure.Axis{Label: "amount", Unit: rapid.SampledFrom([]string{"%", "dB"}).Draw(t, "y unit"), Log: rapid.Bool().Draw(t, "y log")}}
		for range rapid.IntRange(0, 50).Draw(t, "points") {
			tr.Points = append(tr.Points, measure.Point{X: awkward().Draw(t, "x"), Y: awkward().Draw(t, "y"), Lo: awkward().Draw(t, "lo"), Hi: awkward().Draw(t, "hi")})
		}
		for range rapid.IntRange(0, 12).Draw(t, "marks") {
			tr.Marks = append(tr.Marks, measure.Mark{X: awkward().Draw(t, "mx"), Y: awkward().Draw(t, "my"), Label: label.Draw(t, "label")})
		}
		return tr
	})
}

func anyResult(name, unitName string) *rapid.Generator[measure.Result] {
	return rapid.Custom(func(t *rapid.T) measure.Result {
		r := measure.Result{Name: name, Unit: unitName, Track: rapid.IntRange(1, 24).Draw(t, "track"), TrackB: rapid.IntRange(1, 24).Draw(t, "track b"),
			ToneHz: rapid.SampledFrom([]float64{0, 40, 315, 1000, 10000, 12500, math.NaN(), math.Inf(1), -3}).Draw(t, "tone"),
			Value:  awkward().Draw(t, "value"), Lo: awkward().Draw(t, "lo"), Hi: awkward().Draw(t, "hi")}
		if rapid.IntRange(0, 4).Draw(t, "refuse") == 0 {
			r.Refused = rapid.SampledFrom([]string{"tone absent", "section too short", "below −90.1 dB", "below −84 dB"}).Draw(t, "why")
		}
		r.Conditions.SpeedCmS = rapid.SampledFrom([]float64{0, 9.525, math.NaN()}).Draw(t, "speed")
		return r
	})
}

// sound checks what holds of every drawing.
func sound(t *rapid.T, d plot.Drawing) {
	readable(t, d)
	checkXML(t, string(d.SVG()))
	checkXML(t, "<div>"+string(plot.TableOf(d).HTML())+"</div>")
	tb := plot.TableOf(d)
	for _, row := range tb.Rows {
		if len(row) != len(tb.Head) {
			t.Errorf("row %q has %d cells under %d headings", row, len(row), len(tb.Head))
		}
	}
}

func TestAnyTracesAreReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ts := rapid.SliceOfN(anyTrace(), 0, 9).Draw(t, "traces")
		sound(t, plot.Traces(ts, plot.Options{Width: widths.Draw(t, "width")}))
	})
}

func TestAnyResponseIsReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ms := rapid.SliceOfN(anyResult("response", "dB"), 0, 80).Draw(t, "measures")
		mask := rapid.SampledFrom(append(plot.Masks(), plot.Mask{}, plot.Mask{Bands: []plot.MaskBand{{FromHz: math.NaN(), ToHz: 3}, {FromHz: 100, ToHz: 50}, {FromHz: 20, ToHz: 1e9, LowDB: -200, HighDB: 200}}})).Draw(t, "mask")
		sound(t, plot.DrawResponse(ms, plot.Options{Width: widths.Draw(t, "width"), Mask: mask.Bands}))
	})
}

func TestAnyCrosstalkIsReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ms := rapid.SliceOfN(anyResult("crosstalk", "dB"), 0, 80).Draw(t, "measures")
		sound(t, plot.Crosstalk(ms, plot.Options{Width: widths.Draw(t, "width")}))
	})
}

func TestAnyDelaysAreReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ms := rapid.SliceOfN(anyResult("delay", "µs"), 0, 60).Draw(t, "measures")
		ms = append(ms, anyResult("azimuth_line", "arcmin").Draw(t, "line"))
		var centres []unit.Metre
		for range rapid.IntRange(0, 24).Draw(t, "centres") {
			centres = append(centres, unit.Metre(awkward().Draw(t, "centre")*1e-3))
		}
		sound(t, plot.DelayAcross(ms, centres, plot.Options{Width: widths.Draw(t, "width")}))
	})
}

func TestAnyStepsAreReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ts := rapid.SliceOfN(anyTrace(), 0, 8).Draw(t, "traces")
		ms := rapid.SliceOfN(anyResult("mol_3pct", "dB"), 0, 8).Draw(t, "measures")
		sound(t, plot.Steps(ts, ms, plot.Options{Width: widths.Draw(t, "width")}))
	})
}

func TestFlagsKeepOffEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x0 := rapid.Float64Range(30, 90).Draw(t, "x0")
		x1 := x0 + rapid.Float64Range(120, 700).Draw(t, "wide")
		xs := rapid.SliceOfN(rapid.Float64Range(x0, x1), 0, 24).Draw(t, "xs")
		names := rapid.SliceOfN(rapid.SampledFrom([]string{"capstan", "take-up reel, at the end", "belt", "100 Hz", "2 × pinch roller"}), len(xs), len(xs)).Draw(t, "names")
		fs, rows := plot.FlagSpans(xs, names, x0, x1)
		for i, a := range fs {
			if a.Row < 0 || a.Row >= rows {
				t.Errorf("row %d of %d", a.Row, rows)
			}
			if !a.Letter && (a.From < x0 || a.To > x1) {
				t.Errorf("name from %.1f to %.1f leaves %.1f to %.1f", a.From, a.To, x0, x1)
			}
			for j, b := range fs {
				if i != j && a.Row == b.Row && i < j && a.From < b.To && b.From < a.To {
					t.Errorf("names %d and %d run together", i, j)
				}
				// The line of b goes through all rows below its own.
				if i != j && b.Row >= a.Row && b.X > a.From && b.X < a.To {
					t.Errorf("the line of %d runs through the name of %d", j, i)
				}
			}
		}
	})
}
