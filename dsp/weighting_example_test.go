package dsp_test

import (
	"fmt"
	"math"

	"headstack/dsp"
)

// A 6.3 kHz tone of 1 V r.m.s. lies at the top of the 468 weighting, 12.2 dB.
func ExampleDetector468() {
	const rate = 48000
	filter, detector := dsp.NewFilter468(rate), dsp.NewDetector468(rate)
	x := make([]float64, rate)
	for i := range x {
		x[i] = math.Sqrt2 * math.Sin(2*math.Pi*6300*float64(i)/rate)
	}
	filter.Process(x, x)
	detector.Process(x, x) // x is now the momentary reading
	settled := x[int((filter.Settle()+detector.Settle())*rate):]
	fmt.Printf("%.1f dB re 1 V\n", 20*math.Log10(settled[len(settled)-1]))
	// Output: 12.2 dB re 1 V
}

// Speed that wavers by ±0.1 % four times a second and drifts: the two ways of reading.
func ExampleTwoSigma() {
	const rate = 1000
	filter, detector := dsp.NewFilterFlutter(rate), dsp.NewDetectorFlutter(rate)
	weighted := make([]float64, 10*rate) // per cent
	for i := range weighted {
		t := float64(i) / rate
		weighted[i] = 0.4 + 0.01*t + 0.1*math.Sin(2*math.Pi*4*t)
	}
	filter.Process(weighted, weighted)
	weighted = weighted[int(filter.Settle()*rate):]
	reading := make([]float64, len(weighted))
	detector.Process(reading, weighted)
	fmt.Printf("two-sigma ±%.3f %%, quasi-peak ±%.3f %%\n", dsp.TwoSigma(weighted), reading[len(reading)-1])
	// Output: two-sigma ±0.100 %, quasi-peak ±0.100 %
}
