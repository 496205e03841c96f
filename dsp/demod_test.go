package dsp_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"headstack/dsp"
)

// The pass band must be flat to 1e-6 and the delay and phase exact, or the
// levels of a line-up would lean on the filter.
func TestDemodulatorIsFlatAndInPhase(t *testing.T) {
	const amp, phase = 0.3, 0.7
	for _, rate := range []float64{16000, 44100, 48000, 96000} {
		for _, b := range []dsp.Band{{CarrierHz: 40, PassHz: 20, StopHz: 60}, {CarrierHz: 1000, PassHz: 80, StopHz: 240}, {CarrierHz: 7000, PassHz: 200, StopHz: 600}} {
			for _, off := range []float64{-1, -0.5, 0, 0.37, 1} {
				f := b.CarrierHz + off*b.PassHz
				x := tone(rate, 2, amp, f, phase)
				d := dsp.NewDemodulator(rate, b)
				for i := 0; i < len(x); i += 1000 { // in pieces, as a capture comes
					d.Feed(x[i:min(i+1000, len(x))])
				}
				z := d.Output()
				if len(z) < 20 {
					t.Fatalf("%g Hz, %+v: %d outputs", rate, b, len(z))
				}
				for m, v := range z {
					at := d.Start() + float64(m)/d.Rate()
					want := cmplx.Rect(amp, phase+2*math.Pi*off*b.PassHz*at)
					if e := cmplx.Abs(v-want) / amp; e > 1e-6 {
						t.Fatalf("%g Hz, %+v, offset %g Hz: z[%d] off by %.3g of the amplitude, tolerance 1e-6", rate, b, off*b.PassHz, m, e)
					}
				}
			}
		}
	}
}

func TestDemodulatorRejects(t *testing.T) {
	b := dsp.Band{CarrierHz: 1000, PassHz: 80, StopHz: 240}
	for _, f := range []float64{10, 50, 500, 760, 1240, 2000, 5000, 6320, 7000, 9000, 13000, 17000, 23000} {
		d := dsp.NewDemodulator(48000, b)
		d.Feed(tone(48000, 1, 1, f, 0.1))
		for _, v := range d.Output() {
			if a := 20 * math.Log10(cmplx.Abs(v)); a > -118 {
				t.Fatalf("%g Hz comes through a band around 1 kHz at %.1f dB, want below −118", f, a)
			}
		}
	}
}

func tone(rate, seconds, amp, f, phase float64) []float64 {
	x := make([]float64, int(rate*seconds))
	for i := range x {
		x[i] = amp * math.Cos(2*math.Pi*f*float64(i)/rate+phase)
	}
	return x
}

func TestWelchOfWhiteNoise(t *testing.T) {
	const rate, sd = 48000.0, 0.01
	r := rand.New(rand.NewPCG(3, 4))
	w := dsp.NewWelch(4096, rate, 20, 20000)
	x := make([]float64, 20*int(rate))
	for i := range x {
		x[i] = 0.25 + sd*r.NormFloat64() // a direct part that must not count
	}
	for i := 0; i < len(x); i += 777 {
		w.Feed(x[i:min(i+777, len(x))])
	}
	mean := 0.0
	for _, p := range w.BlockPowers() {
		mean += p
	}
	mean /= float64(len(w.BlockPowers()))
	want := sd * sd * (20000 - 20) / (rate / 2)
	// The relative standard error of a noise power is sqrt(1/(bandwidth·time)).
	if tol := 5 / math.Sqrt(20000*20); math.Abs(mean/want-1) > tol {
		t.Errorf("power in band %.6g, want %.6g within %.2g of it", mean, want, tol)
	}
	d, ok := w.Density()
	total := 0.0
	for _, v := range d {
		total += v * rate / 4096
	}
	if tol := 5 / math.Sqrt(24000*20); !ok || math.Abs(total/(sd*sd)-1) > tol {
		t.Errorf("total power %.6g, want %.6g within %.2g of it", total, sd*sd, tol)
	}
	if _, ok := dsp.NewWelch(4096, rate, 20, 20000).Density(); ok {
		t.Error("a density from no block")
	}
}

// toneBand is what the measures keep around a tone: ±2 % of speed and 60 Hz of flutter.
func toneBand(f float64) dsp.Band {
	pass := math.Min(0.02*f+60, 0.35*f)
	return dsp.Band{CarrierHz: f, PassHz: pass, StopHz: math.Min(math.Max(2.2*pass, pass+60), 0.97*f)}
}

func BenchmarkDemodulator(b *testing.B) {
	for _, carrier := range []float64{63, 1000, 10000, 16000} {
		b.Run(fmt.Sprintf("%gHz", carrier), func(b *testing.B) {
			x := tone(96000, 10, 0.5, carrier, 0)
			feedBlocks(b, x, func() func([]float64) {
				d := dsp.NewDemodulator(96000, toneBand(carrier))
				return func(x []float64) { d.Feed(x); d.Drain() }
			})
		})
	}
}

// feedBlocks times a signal fed in blocks as a capture's are.
func feedBlocks(b *testing.B, x []float64, start func() func([]float64)) {
	for b.Loop() {
		feed := start()
		for i := 0; i < len(x); i += 8192 {
			feed(x[i:min(i+8192, len(x))])
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(x)), "ns/sample")
}

func BenchmarkWelch(b *testing.B) {
	x := tone(96000, 10, 0.5, 1000, 0)
	feedBlocks(b, x, func() func([]float64) { return dsp.NewWelch(32768, 96000, 20, 20000).Feed })
}

// What is expected, too little or too much, makes room and no difference.
func TestDemodulatorExpect(t *testing.T) {
	x := make([]float64, 48000)
	for i := range x {
		x[i] = math.Sin(0.13 * float64(i))
	}
	outputs := func(seconds float64) []complex128 {
		d := dsp.NewDemodulator(48000, dsp.Band{CarrierHz: 1000, PassHz: 80, StopHz: 176})
		d.Expect(seconds)
		for at := 0; at < len(x); at += 5000 {
			d.Feed(x[at:min(at+5000, len(x))])
		}
		return d.Output()
	}
	want := outputs(0)
	for _, seconds := range []float64{0.1, 1, 10} {
		if got := outputs(seconds); !slices.Equal(got, want) {
			t.Errorf("expecting %g s changes the output", seconds)
		}
	}
	if room := cap(outputs(1)); room >= len(want)*5/4 {
		t.Errorf("room for %d outputs, %d came", room, len(want))
	}
}
