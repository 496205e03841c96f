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

// Hum and a tone of one capture, each at its own low rate, with what is done drained as
// it comes.
func ExampleBank() {
	const rate = 96000
	b := dsp.NewBank(rate, []dsp.Band{
		{CarrierHz: 50, PassHz: 4, StopHz: 12},
		{CarrierHz: 1000, PassHz: 80, StopHz: 200},
	})
	block := make([]float64, 8192)
	last := make([]float64, 2)
	for at := 0; at < 3*rate; at += len(block) {
		for i := range block {
			t := float64(at+i) / rate
			block[i] = 0.001*math.Cos(2*math.Pi*50*t) + 0.25*math.Cos(2*math.Pi*1000*t)
		}
		b.Feed(block)
		for i := range last {
			for _, z := range b.Drain(i) {
				last[i] = cmplx.Abs(z)
			}
		}
	}
	fmt.Printf("50 Hz: %.5f, 1 kHz: %.5f\n", last[0], last[1])
	// Output: 50 Hz: 0.00100, 1 kHz: 0.25000
}

// What is below 400 Hz, at 1 kHz instead of 96.
func ExampleDecimator() {
	const rate = 96000
	x := make([]float64, rate)
	for i := range x {
		t := float64(i) / rate
		x[i] = math.Cos(2*math.Pi*100*t) + math.Cos(2*math.Pi*10000*t)
	}
	d := dsp.NewDecimator(rate, 96, 400)
	d.Feed(x)
	y := d.Drain()
	n := len(y) / 2
	t := d.Start() + float64(n)/d.Rate()
	fmt.Printf("%.0f Hz, off by less than a millionth: %v\n", d.Rate(), math.Abs(y[n]-math.Cos(2*math.Pi*100*t)) < 1e-6)
	// Output: 1000 Hz, off by less than a millionth: true
}
