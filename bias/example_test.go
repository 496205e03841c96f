package bias_test

import (
	"fmt"
	"math"

	"headstack/bias"
)

// A track at 38 cm/s whose trim has 12 dB of bias from stop to stop: seven steps are
// planned, recorded, replayed and fitted, and the trim is set for the customary fall.
func Example() {
	trim := bias.Trim{ID: "VR1-3", Track: 3, Sign: 1, Now: 0.55, Law: bias.Law{SpanDB: 12, Spread: 0.25, Bend: 0.2, BendSD: 0.15}}
	want := bias.Want{Tones: bias.Tones{TrebleHz: 10000, LowHz: 1000, SpeedCmS: 38.1}, Aim: bias.UsualAim(38.1, 12.7e-6)}
	plan, err := bias.New(want, trim)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("turn to", plan.Tracks[0].Words)

	// What the replay gives; here a formula with its peak at 0.4 of the travel.
	var pass bias.Staircase
	for i, p := range plan.Tracks[0].Positions {
		u := trim.Law.DB(p) - trim.Law.DB(0.4)
		off := 0.08 * float64(i%3-1) // readings scatter
		pass.Readings = append(pass.Readings, bias.Reading{Position: p,
			Treble: &bias.Level{Value: -1 - 0.33*u*u + off, SD: 0.1},
			Low:    &bias.Level{Value: -0.1*math.Pow(u-2, 2) - off, SD: 0.1}})
	}
	curve, err := bias.Fit(trim, want.Tones, pass)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s at %.1f of the travel\n", curve.Verdict, curve.Peak.Position)
	set := curve.Set(want.Aim)
	fmt.Printf("set to %.1f of it\n", set.At.Position)
	fmt.Printf("expect a fall between %.0f and %.0f dB\n", set.Fall.Lo, set.Fall.Hi)
	// Output:
	// turn to [7:45 o'clock 8:45 o'clock 9:45 o'clock 10:45 o'clock 12:00 o'clock 1:00 o'clock 2:15 o'clock]
	// peak at 0.4 of the travel
	// set to 0.7 of it
	// expect a fall between 2 and 4 dB
}
