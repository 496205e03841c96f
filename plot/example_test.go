package plot_test

import (
	"bytes"
	"fmt"
	"image/png"
	"strings"

	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

// plain makes thin spaces and minus signs typeable.
func plain(s string) string {
	return strings.NewReplacer("\u2009", " ", unit.Minus, "-").Replace(s)
}

func ExampleResponse() {
	svg := plot.Response([]measure.Result{
		{Name: "response", Track: 1, ToneHz: 315, Value: 0, Lo: -0.05, Hi: 0.05, Unit: "dB"},
		{Name: "response", Track: 1, ToneHz: 10000, Value: -2.3, Lo: -2.5, Hi: -2.1, Unit: "dB"},
	}, plot.Options{Title: "Response, first pass"})
	fmt.Println(strings.Contains(string(svg), "<title id=\"response-t\">Response, first pass</title>"))
	// Output: true
}

func ExampleDrawResponse_mask() {
	m, _ := plot.MaskNamed("cassette, playback of test tape")
	d := plot.DrawResponse([]measure.Result{
		{Name: "response", Track: 1, ToneHz: 315, Value: 0, Lo: -0.05, Hi: 0.05, Unit: "dB"},
		{Name: "response", Track: 1, ToneHz: 6300, Value: -2.3, Lo: -2.5, Hi: -2.1, Unit: "dB"},
	}, plot.Options{Mask: m.Bands})
	fmt.Println(plain(plot.TableOf(d).Rows[0][2]))
	fmt.Println(m.Bands[0].Source)
	// Output:
	// -2.30 ±0.20 dB, outside by -0.30 dB
	// common practice, no source, from memory
}

func ExampleTrace() {
	d := plot.Trace(measure.Trace{Name: "drift", Reference: "3150 Hz at 9.525 cm/s",
		X: measure.Axis{Label: "time", Unit: "min"}, Y: measure.Axis{Label: "mean speed error", Unit: "%"},
		Points: []measure.Point{{X: 0, Y: 0.71, Lo: 0.69, Hi: 0.73}, {X: 10, Y: 0.42, Lo: 0.41, Hi: 0.43}}}, plot.Options{})
	fmt.Print(plain(plot.TableOf(d).Text()))
	// Output:
	// Drift of the speed; 0 is: 3150 Hz at 9.525 cm/s
	// time    mean speed error
	// 0 min   0.710 ±0.020 %
	// 10 min  0.420 ±0.010 %
	// Intervals are 95 %.
}

func ExampleTrace_spectrum() {
	d := plot.Trace(measure.Trace{Name: "speed_spectrum",
		X:      measure.Axis{Label: "rate of fluctuation", Unit: "Hz", Log: true},
		Y:      measure.Axis{Label: "speed deviation", Unit: "%", Log: true},
		Points: []measure.Point{{X: 0.5, Y: 0.002, Lo: 0.002, Hi: 0.002}, {X: 4.2, Y: 0.03, Lo: 0.03, Hi: 0.03}, {X: 50, Y: 0.001, Lo: 0.001, Hi: 0.001}},
		Marks:  []measure.Mark{{X: 4.2, Y: 0.03, Label: "flywheel"}}}, plot.Options{})
	fmt.Println(plain(strings.Join(plot.TableOf(d).Rows[0], " | ")))
	// Output: 4.2 Hz | 0.03 % | flywheel
}

func ExampleTraces() {
	var ts []measure.Trace
	for track := 1; track <= 24; track++ {
		ts = append(ts, measure.Trace{Name: "level_time", Track: track, X: measure.Axis{Label: "time", Unit: "s"}, Y: measure.Axis{Label: "level", Unit: "dB"},
			Points: []measure.Point{{X: 0, Y: 0}, {X: 1, Y: -0.1 * float64(track), Lo: -0.1 * float64(track), Hi: -0.1 * float64(track)}}})
	}
	d := plot.Traces(ts, plot.Options{Width: 360})
	fmt.Println(strings.Count(string(d.SVG()), ">track "), "panels")
	// Output: 24 panels
}

func ExampleCrosstalk() {
	d := plot.Crosstalk([]measure.Result{
		{Name: "crosstalk", Track: 1, TrackB: 2, ToneHz: 1000, Value: -47.2, Lo: -47.5, Hi: -46.9, Unit: "dB"},
		{Name: "crosstalk", Track: 2, TrackB: 1, ToneHz: 1000, Refused: "section too short"},
	}, plot.Options{})
	fmt.Print(plain(plot.TableOf(d).Text()))
	// Output:
	// Crosstalk, dB; intervals are 95 %
	// tracks    1 kHz
	// 1 into 2  -47.20 ±0.30 dB
	// 2 into 1  not measured: section too short
}

func ExampleDelayAcross() {
	d := plot.DelayAcross([]measure.Result{
		{Name: "delay", Track: 1, TrackB: 2, ToneHz: 10000, Value: 1.9, Lo: 1.7, Hi: 2.1, Unit: "µs"},
		{Name: "delay", Track: 1, TrackB: 3, ToneHz: 10000, Value: 3.8, Lo: 3.6, Hi: 4.0, Unit: "µs"},
		{Name: "azimuth_line", Value: 1, Lo: 0.9, Hi: 1.1, Unit: "arcmin", Conditions: measure.Conditions{SpeedCmS: 9.525}},
	}, []unit.Metre{0.31e-3, 0.93e-3, 1.55e-3}, plot.Options{})
	fmt.Println(plain(d.Describe()))
	// Output: Delay of each track against track 1. Track 2: +1.90 ±0.20 µs at 10 kHz. Track 3: +3.80 ±0.20 µs at 10 kHz. Azimuth of all tracks: +1.00 ±0.10 arcmin. All figures are in the table below.
}

func ExampleSteps() {
	d := plot.Steps([]measure.Trace{{Name: "distortion_steps", Track: 1, ToneHz: 315,
		X:      measure.Axis{Label: "recorded level", Unit: "dB"},
		Y:      measure.Axis{Label: "third harmonic", Unit: "%", Log: true},
		Points: []measure.Point{{X: 0, Y: 0.9, Lo: 0.85, Hi: 0.95}, {X: 6, Y: 3.6, Lo: 3.4, Hi: 3.8}}}},
		[]measure.Result{{Name: "mol_3pct", Track: 1, ToneHz: 315, Value: 5.1, Lo: 4.9, Hi: 5.3, Unit: "dB"}}, plot.Options{})
	for _, r := range plot.TableOf(d).Rows {
		fmt.Println(plain(strings.Join(r, " | ")))
	}
	// Output:
	// track 1 at 315 Hz | 0 dB | – | 0.900 ±0.050 %
	// track 1 at 315 Hz | +6 dB | – | 3.60 ±0.20 %
	// track 1 at 315 Hz | where it reaches 3 % | 5.10 ±0.20 dB | 3 %
}

func ExampleWritePNG() {
	d := plot.DrawConnector(plot.ConnectorPlot{Title: "W5 seen from Tape", Pins: 10, Touch: 4})
	var b bytes.Buffer
	if err := plot.WritePNG(&b, d, 2); err != nil {
		fmt.Println(err)
		return
	}
	c, err := png.DecodeConfig(&b)
	fmt.Println(c.Width, c.Height, err)
	// Output: 432 124 <nil>
}
