package trim_test

import (
	"fmt"

	"headstack/machine"
	"headstack/measure"
	"headstack/trim"
)

// Two tracks are low. The first turn is by what the definition says of the trim; what it
// did tells how far to turn the second.
func Example() {
	d, _ := machine.Builtin("hexastrand")
	model, err := trim.ForMachine(d, trim.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	level := func(track int) trim.Quantity { return trim.Quantity{Measure: "level", Track: track} }
	bench := trim.NewBench(model)
	read := func(track int, dB float64) {
		doubts, err := bench.Read(trim.Reading{Quantity: level(track), Value: dB, SD: 0.05})
		fmt.Println("read", dB, "dB on track", track, doubts, err)
	}
	next := func() trim.Turn {
		turns, err := bench.Next([]trim.Target{{Quantity: level(1), Tolerance: 0.5}, {Quantity: level(2), Tolerance: 0.5}})
		if err != nil {
			fmt.Println(err)
			return trim.Turn{}
		}
		fmt.Println(turns[0].Sentence)
		return turns[0]
	}
	read(1, -3)
	read(2, -2)
	for _, came := range []float64{0.9, 0.05, 0.1} { // what the meter showed after each turn
		t := next()
		_ = bench.Turn(trim.Move{Trim: t.Trim, By: t.By})
		read(t.Target.Quantity.Track, came)
	}
	next()
	s, _ := bench.Sensitivity("VRa-3")
	fmt.Println("track 3's, not turned yet:", s)
	// Output:
	// read -3 dB on track 1 [] <nil>
	// read -2 dB on track 2 [] <nil>
	// Turn VRa-1 (play level, track 1) 69° clockwise: play level, track 1 goes from −3.000 ±0.098 dB to about 0.0 (−1.2 to +1.9) dB, inside with 49 %.
	// read 0.9 dB on track 1 [] <nil>
	// Turn VRa-2 (play level, track 2) 37° clockwise: play level, track 2 goes from −2.000 ±0.098 dB to about 0.00 ±0.60 dB, inside with 90 %.
	// read 0.05 dB on track 2 [] <nil>
	// Turn VRa-1 (play level, track 1) 16° anticlockwise: play level, track 1 goes from +0.898 ±0.098 dB to about 0.00 ±0.22 dB, inside with over 99 %.
	// read 0.1 dB on track 1 [] <nil>
	// Enough: play level, track 1 is at +0.080 ±0.088 dB (inside with over 99 %).
	// track 3's, not turned yet: 0.056 ±0.014 dB/°
}

// The lid bends the deck: read closed and open before anything is touched, the 10 kHz of a
// track is set that much off.
func ExampleCase() {
	d, _ := machine.Builtin("hexastrand")
	model, err := trim.ForMachine(d, trim.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	q := trim.Quantity{Measure: "response", Track: 2, ToneHz: 10000}
	stick := trim.Prop{Name: "stick", Angle: 40}
	c, err := trim.NewCase(model, "HX-0417", stick, []trim.CaseReading{
		{Machine: "HX-0417", Quantity: q, State: measure.CaseClosed, Closing: 1, Value: -1.9, SD: 0.03},
		{Machine: "HX-0417", Quantity: q, State: measure.CaseClosed, Closing: 2, Value: -1.8, SD: 0.03},
		{Machine: "HX-0417", Quantity: q, State: measure.CaseOpen, Prop: stick, Closing: 1, Value: -0.7, SD: 0.03},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	_, at := c.OpenTarget(trim.Target{Quantity: q, Tolerance: 1})
	fmt.Println("set it open to", at)
	fmt.Println(c.Usable(q, 1).Sentence)
	// Output:
	// set it open to +1.14 ±0.56 dB
	// Set play response at 10 kHz, track 2 open: the open case adds +1.14 ±0.56 dB, known to within the tolerance of ±1 dB.
}

// A level 2 dB low comes up while the trim is turned.
func ExampleLive() {
	r, _ := trim.ParseRange("±6 dB")
	q := trim.Quantity{Measure: "level", Track: 1}
	l := trim.NewLive(trim.New("VR1-1", "VR1", q, 1, r), trim.Figure{Value: 0.044, Lo: 0.035, Hi: 0.055}, true,
		trim.Target{Quantity: q, Tolerance: 0.5}, "dB")
	last := trim.Direction("")
	for k := range 50 {
		at := min(-2+max(0, float64(k-15))*0.1, 0)
		if s := l.Feed(float64(k)/10, at, 0.05); s.Direction != last {
			fmt.Printf("%.1f s: %s\n", float64(k)/10, s.Direction)
			last = s.Direction
		}
	}
	// Output:
	// 0.0 s: too unsteady to say
	// 0.2 s: turn clockwise
	// 3.1 s: stop
}
