package plot_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

// picture is a drawing of invented figures, such as a bench would have.
type picture struct {
	name string
	draw func(width float64) plot.Drawing
}

const demoSeed = 7

func demo() []picture {
	return []picture{
		{"response", func(w float64) plot.Drawing { return plot.DrawResponse(sixTracks(), plot.Options{Width: w}) }},
		{"response-mask", func(w float64) plot.Drawing {
			m, _ := plot.MaskNamed("cassette, playback of test tape")
			return plot.DrawResponse(sixTracks(), plot.Options{Width: w, Mask: m.Bands})
		}},
		{"response-din", func(w float64) plot.Drawing {
			m, _ := plot.MaskNamed("DIN 45500 part 4, whole chain")
			return plot.DrawResponse(manyResponses(24), plot.Options{Width: w, Mask: m.Bands})
		}},
		{"explanation", func(w float64) plot.Drawing { return plot.Explain(explanation(), plot.Options{Width: w}) }},
		{"explanation-many", func(w float64) plot.Drawing { return plot.Explain(explanationOf(24), plot.Options{Width: w}) }},
		{"wear", func(w float64) plot.Drawing { return plot.Wear(worn(6), plot.Options{Width: w}) }},
		{"wear-many", func(w float64) plot.Drawing { return plot.Wear(worn(24), plot.Options{Width: w}) }},
		{"speed", func(w float64) plot.Drawing { return plot.Trace(speedTrace(), plot.Options{Width: w}) }},
		{"spectrum", func(w float64) plot.Drawing { return plot.Trace(spectrumTrace(), plot.Options{Width: w}) }},
		{"drift", func(w float64) plot.Drawing { return plot.Trace(driftTrace(), plot.Options{Width: w}) }},
		{"level-four", func(w float64) plot.Drawing { return plot.Traces(levelTraces(4, 1), plot.Options{Width: w}) }},
		{"level-six-bands", func(w float64) plot.Drawing { return plot.Traces(levelTraces(6, 3), plot.Options{Width: w}) }},
		{"level-many", func(w float64) plot.Drawing { return plot.Traces(levelTraces(24, 1), plot.Options{Width: w}) }},
		{"staircase", func(w float64) plot.Drawing { return plot.Traces(staircases(), plot.Options{Width: w}) }},
		{"crosstalk", func(w float64) plot.Drawing {
			return plot.Crosstalk(crosstalks(6, 100, 1000, 10000), plot.Options{Width: w})
		}},
		{"crosstalk-one", func(w float64) plot.Drawing { return plot.Crosstalk(crosstalks(8, 1000), plot.Options{Width: w}) }},
		{"crosstalk-many", func(w float64) plot.Drawing { return plot.Crosstalk(crosstalks(24, 1000), plot.Options{Width: w}) }},
		{"across", func(w float64) plot.Drawing {
			d, c := delays(6)
			return plot.DelayAcross(d, c, plot.Options{Width: w})
		}},
		{"across-many", func(w float64) plot.Drawing {
			d, c := delays(24)
			return plot.DelayAcross(d, c, plot.Options{Width: w})
		}},
		{"across-evenly", func(w float64) plot.Drawing {
			d, _ := delays(8)
			return plot.DelayAcross(d, nil, plot.Options{Width: w})
		}},
		{"steps", func(w float64) plot.Drawing {
			ts, ms := levelSteps(3)
			return plot.Steps(ts, ms, plot.Options{Width: w})
		}},
		{"steps-eight", func(w float64) plot.Drawing {
			ts, ms := levelSteps(8)
			return plot.Steps(ts, ms, plot.Options{Width: w})
		}},
		{"path", func(w float64) plot.Drawing {
			return plot.DrawPath(plot.PathPlot{Title: "play, track 3", Main: lane("3", true),
				Ticks: []plot.Tick{{After: 3, Part: "TP11-3", Next: true}}})
		}},
		{"connector", func(w float64) plot.Drawing {
			return plot.DrawConnector(plot.ConnectorPlot{Title: "W5 seen from Tape", Pins: 10, Touch: 4})
		}},
	}
}

// TestDemoPictures keeps the pictures to be looked at: go test -run Demo -svg folder.
func TestDemoPictures(t *testing.T) {
	for _, p := range demo() {
		for _, w := range []float64{760, 360} {
			d := p.draw(w)
			name := fmt.Sprintf("%s-%.0f", p.name, w)
			wellFormed(t, d.SVG(), "text")
			save(t, name, d.SVG())
			if *keep == "" {
				continue
			}
			f, err := os.Create(filepath.Join(*keep, name+".png"))
			if err != nil {
				t.Fatal(err)
			}
			if err := plot.WritePNG(f, d, 1.5); err != nil {
				t.Error(err)
			}
			if err := f.Close(); err != nil {
				t.Error(err)
			}
		}
	}
}

func noise() func() float64 { return rand.New(rand.NewPCG(demoSeed, 0)).NormFloat64 }

func manyResponses(tracks int) []measure.Result {
	n := noise()
	var out []measure.Result
	for tr := 1; tr <= tracks; tr++ {
		for _, hz := range []float64{40, 63, 125, 315, 1000, 3150, 6300, 10000, 12500} {
			v := 0.5*n() - 2.5*math.Pow(hz/12500, 2)*float64(tr)/float64(tracks)
			out = append(out, result(tr, hz, v, 0.1+hz/50000))
		}
	}
	return out
}

func speedTrace() measure.Trace {
	n := noise()
	t := measure.Trace{Name: "speed", Section: "3150 Hz", ToneHz: 3150, Reference: "mean speed of the section",
		X: measure.Axis{Label: "time in the capture", Unit: "s"}, Y: measure.Axis{Label: "speed deviation", Unit: "%"},
		Extremes: true, Method: "momentary frequency of the tone, its bounds the least and the most within, not an interval"}
	for i := range 600 {
		x := float64(i) * 0.05
		y := 0.06*math.Sin(2*math.Pi*0.55*x) + 0.03*math.Sin(2*math.Pi*4.2*x) + 0.01*n()
		t.Points = append(t.Points, measure.Point{X: 62 + x, Y: y, Lo: y - 0.02 - 0.01*math.Abs(n()), Hi: y + 0.02 + 0.01*math.Abs(n())})
	}
	return t
}

func spectrumTrace() measure.Trace {
	n := noise()
	t := measure.Trace{Name: "speed_spectrum", Reference: "mean speed of the section",
		X: measure.Axis{Label: "rate of fluctuation", Unit: "Hz", Log: true}, Y: measure.Axis{Label: "speed deviation", Unit: "%", Log: true}}
	lines := []measure.Mark{{X: 0.31, Y: 0.012, Label: "supply reel"}, {X: 0.55, Y: 0.06, Label: "take-up reel"}, {X: 1.1, Y: 0.008, Label: "2 × take-up reel"},
		{X: 2.1, Y: 0.02, Label: "pinch roller"}, {X: 4.2, Y: 0.03, Label: "flywheel"}, {X: 8.4, Y: 0.011, Label: "2 × flywheel"}, {X: 11.6, Y: 0.009, Label: "capstan"},
		{X: 12.3, Y: 0.02, Label: "belt"}, {X: 33, Y: 0.004, Label: "motor"}, {X: 66, Y: 0.003, Label: "2 × motor"}, {X: 100, Y: 0.006, Label: "100 Hz"}, {X: 188, Y: 0.002, Label: "188 Hz"}}
	for i := range 400 {
		f := 0.2 * math.Pow(1000, float64(i)/399)
		y := 0.0012 * math.Pow(f, -0.35) * math.Exp(0.4*n())
		for _, l := range lines {
			y = math.Hypot(y, l.Y*math.Exp(-math.Pow(math.Log(f/l.X)/0.02, 2)))
		}
		t.Points = append(t.Points, measure.Point{X: f, Y: y, Lo: y, Hi: y})
	}
	t.Marks = lines
	return t
}

func driftTrace() measure.Trace {
	t := measure.Trace{Name: "drift", Reference: "3150 Hz at the tape's nominal 9.525 cm/s",
		X: measure.Axis{Label: "time in the capture", Unit: "min"}, Y: measure.Axis{Label: "mean speed error", Unit: "%"}}
	for i := range 24 {
		x := float64(i) * 1.25
		y := 0.41 + 0.35*math.Exp(-x/6)
		t.Points = append(t.Points, measure.Point{X: x, Y: y, Lo: y - 0.02 - 0.001*x, Hi: y + 0.02 + 0.001*x})
	}
	return t
}

func levelTraces(tracks, bands int) []measure.Trace {
	n := noise()
	var out []measure.Trace
	for tr := 1; tr <= tracks; tr++ {
		for b := range bands {
			hz := []float64{10000, 1000, 315}[b]
			t := measure.Trace{Name: "level_time", Track: tr, ToneHz: hz, Reference: "median of the section's level",
				X: measure.Axis{Label: "time from the start of the section", Unit: "s"}, Y: measure.Axis{Label: "level", Unit: "dB"}}
			for i := range 150 {
				y := 0.25 * n() * math.Sqrt(hz/10000)
				if tr%6 == 5 && i > 70 && i < 76 {
					y -= 9
				}
				t.Points = append(t.Points, measure.Point{X: float64(i) * 0.2, Y: y, Lo: y - 0.3, Hi: y + 0.3})
			}
			if tr%6 == 5 {
				t.Marks = append(t.Marks, measure.Mark{X: 14.4, Y: -9.4, Label: "drop-out 9 dB, 1100 ms"})
			}
			out = append(out, t)
		}
	}
	return out
}

func staircases() []measure.Trace {
	var out []measure.Trace
	for tr := 1; tr <= 3; tr++ {
		t := measure.Trace{Name: "staircase", Track: tr, Section: "bias", ToneHz: 6300, Reference: "the first step",
			X: measure.Axis{Label: "step"}, Y: measure.Axis{Label: "level", Unit: "dB"}}
		for k := 1; k <= 12; k++ {
			d := float64(k) - 6 - float64(tr)*0.7
			y := 5 - 0.14*d*d - 0.02*d*d*d/3
			t.Points = append(t.Points, measure.Point{X: float64(k), Y: y, Lo: y - 0.1, Hi: y + 0.1})
		}
		out = append(out, t)
	}
	return out
}

func crosstalks(tracks int, tones ...float64) []measure.Result {
	n := noise()
	var out []measure.Result
	for _, hz := range tones {
		for a := 1; a <= tracks; a++ {
			for b := 1; b <= tracks; b++ {
				if a == b {
					continue
				}
				r := measure.Result{Name: "crosstalk", Track: a, TrackB: b, ToneHz: hz, Unit: "dB", Reference: "track's own level when the same tone is recorded on it"}
				r.Value = -44 - 9*math.Abs(float64(a-b)) + 2*n() + 6*math.Log10(1000/hz)
				r.Lo, r.Hi = r.Value-0.4, r.Value+0.4
				if r.Value < -88 {
					r.Refused = fmt.Sprintf("no crosstalk found: below %.1f dB (95 %%), which is the noise", r.Value)
				}
				if a == 4 && b == 2 {
					r.Refused = "track 4 does not carry the tone"
				}
				if a == 3 && b == 5 {
					r.Value, r.Lo, r.Hi = -12.3, -12.4, -12.2
					r.Refused = ""
				}
				out = append(out, r)
			}
		}
	}
	return out
}

func delays(tracks int) ([]measure.Result, []unit.Metre) {
	n := noise()
	var out []measure.Result
	var centres []unit.Metre
	speed := measure.Conditions{SpeedCmS: 9.525}
	for i := range tracks {
		centres = append(centres, unit.Metre(0.31e-3+0.62e-3*float64(i)))
	}
	for b := 2; b <= tracks; b++ {
		for _, hz := range []float64{315, 1000, 6300, 10000} {
			v := float64(b-1)*0.62*2.9 + 0.8*math.Sin(float64(b)*2) + 0.2*n()
			half := 0.3 + 900/hz
			out = append(out, measure.Result{Name: "delay", Track: 1, TrackB: b, ToneHz: hz, Value: v, Lo: v - half, Hi: v + half, Unit: "µs", Conditions: speed})
		}
	}
	return append(out, measure.Result{Name: "azimuth_line", Value: 0.95, Lo: 0.82, Hi: 1.08, Unit: "arcmin", Conditions: speed}), centres
}

func levelSteps(tracks int) ([]measure.Trace, []measure.Result) {
	n := noise()
	var ts []measure.Trace
	var ms []measure.Result
	for tr := 1; tr <= tracks; tr++ {
		level := measure.Trace{Name: "level_steps", Track: tr, ToneHz: 315, Reference: "recorded: the programme's 0 dB; replayed level of the same track in section \"reference\" (recorded at 0 dB)",
			X: measure.Axis{Label: "recorded level", Unit: "dB"}, Y: measure.Axis{Label: "replayed level", Unit: "dB"}}
		third := level
		third.Name, third.Y = "distortion_steps", measure.Axis{Label: "third harmonic", Unit: "%", Log: true}
		third.Reference = "recorded: the programme's 0 dB; the fundamental = 100 %"
		for x := -12.0; x <= 10; x += 2 {
			y := x - 0.8*math.Exp((x-7)/3) + 0.03*n()
			level.Points = append(level.Points, measure.Point{X: x, Y: y, Lo: y - 0.08, Hi: y + 0.08})
			h := 0.9 * math.Exp((x-0.3*float64(tr))*0.23) * math.Exp(0.05*n())
			third.Points = append(third.Points, measure.Point{X: x, Y: h, Lo: h * 0.93, Hi: h * 1.08})
		}
		ts = append(ts, level, third)
		in := math.Log(3/0.9)/0.23 + 0.3*float64(tr)
		out := in - 0.8*math.Exp((in-7)/3)
		r := measure.Result{Name: "mol_3pct", Track: tr, ToneHz: 315, Unit: "dB", Value: out, Lo: out - 0.25, Hi: out + 0.25}
		if tr == 7 {
			r.Refused = "3 % not reached up to +6 dB: at least 5.8 dB"
		}
		ms = append(ms, r)
	}
	return ts, ms
}
