package dsp_test

import (
	"fmt"
	"math"
	"math/cmplx"

	"headstack/dsp"
)

// The complex amplitude of a tone 3 Hz above the expected 1 kHz turns three times a
// second and has the tone's peak as its modulus.
func ExampleDemodulator() {
	const rate = 48000
	x := make([]float64, rate)
	for i := range x {
		x[i] = 0.25 * math.Cos(2*math.Pi*1003*float64(i)/rate)
	}
	d := dsp.NewDemodulator(rate, dsp.Band{CarrierHz: 1000, PassHz: 80, StopHz: 200})
	d.Feed(x)
	z := d.Output()
	n := len(z) - 1
	turn := 0.0
	for i := range n {
		turn += cmplx.Phase(z[i+1] * cmplx.Conj(z[i]))
	}
	fmt.Printf("peak %.4f, offset %.3f Hz\n", cmplx.Abs(z[n/2]), turn/(2*math.Pi)/float64(n)*d.Rate())
	// Output: peak 0.2500, offset 3.000 Hz
}

// The mean of a wandering series has a wider interval than that of a steady one with
// the same scatter from sample to sample.
func ExampleMean() {
	steady, wandering := make([]float64, 1000), make([]float64, 1000)
	for i := range steady {
		quick := math.Mod(float64(i*i)*0.618, 1) - 0.5
		steady[i] = 2 + quick
		wandering[i] = 2 + quick + math.Sin(2*math.Pi*float64(i)/700)
	}
	a, _ := dsp.Mean(steady)
	b, _ := dsp.Mean(wandering)
	fmt.Println(a.Half() < 0.1, b.Half() > 5*a.Half())
	// Output: true true
}
