package dsp

import (
	"math/rand/v2"
	"testing"
)

// benchNoise is one block as a measure would pass it on.
func benchNoise() []float64 {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 4096)
	for i := range x {
		x[i] = 0.1 * r.NormFloat64()
	}
	return x
}

func perSampleMetric(b *testing.B, block int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(block), "ns/sample")
}

func BenchmarkFilter(b *testing.B) {
	for _, c := range []struct {
		name string
		f    *Filter
	}{{"A", NewFilterA(96000)}, {"468", NewFilter468(96000)}, {"flutter", NewFilterFlutter(1000)}} {
		b.Run(c.name, func(b *testing.B) {
			x := benchNoise()
			y := make([]float64, len(x))
			for b.Loop() {
				c.f.Process(y, x)
			}
			perSampleMetric(b, len(x))
		})
	}
}

// Noise weighted and read, as for one track of a 96 kHz capture.
func BenchmarkNoise468(b *testing.B) {
	f, d := NewFilter468(96000), NewDetector468(96000)
	x := benchNoise()
	y := make([]float64, len(x))
	for b.Loop() {
		f.Process(y, x)
		d.Process(y, y)
	}
	perSampleMetric(b, len(x))
}

func BenchmarkQuasiPeakFlutter(b *testing.B) {
	f, d := NewFilterFlutter(1000), NewDetectorFlutter(1000)
	x := benchNoise()
	y := make([]float64, len(x))
	for b.Loop() {
		f.Process(y, x)
		d.Process(y, y)
	}
	perSampleMetric(b, len(x))
}

// Ten minutes of a speed signal at 1 kHz.
func BenchmarkTwoSigma(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 3))
	x := make([]float64, 600000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	for b.Loop() {
		TwoSigma(x)
	}
	perSampleMetric(b, len(x))
}

// What it costs to begin: design and calibration.
func BenchmarkNew468(b *testing.B) {
	for b.Loop() {
		NewFilter468(96000)
		NewDetector468(96000)
	}
}
