package dsp_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"headstack/dsp"
)

func TestDecimatorKeepsAndRejects(t *testing.T) {
	const rate = 96000.0
	for _, c := range []struct {
		factor int
		pass   float64
	}{{1, 20000}, {2, 20000}, {4, 10000}, {7, 1000}, {32, 1000}, {96, 400}, {480, 70}} {
		out := rate / float64(c.factor)
		for _, part := range []float64{0, 0.3, 0.8, 1} {
			f := part * c.pass
			d := dsp.NewDecimator(rate, c.factor, c.pass)
			d.Feed(tone(rate, 1, 0.4, f, 0.6))
			if d.Rate() != out || len(d.Output()) < 10 {
				t.Fatalf("by %d: rate %g, %d outputs", c.factor, d.Rate(), len(d.Output()))
			}
			for m, v := range d.Output() {
				at := d.Start() + float64(m)/d.Rate()
				if want := 0.4 * math.Cos(2*math.Pi*f*at+0.6); math.Abs(v-want) > 1e-6 {
					t.Fatalf("by %d, %g Hz: output %d is %.9f, want %.9f within 1e-6", c.factor, f, m, v, want)
				}
			}
		}
		for k := 1.0; k*out < rate/2; k = math.Ceil(1.7 * k) {
			for _, part := range []float64{-1, -0.5, 0, 0.5, 1} {
				f := k*out + part*c.pass
				d := dsp.NewDecimator(rate, c.factor, c.pass)
				d.Feed(tone(rate, 1, 1, f, 0.6))
				for _, v := range d.Output() {
					if a := 20 * math.Log10(math.Abs(v)); f < rate/2 && a > -119 {
						t.Fatalf("by %d: %g Hz folds onto %g Hz at %.1f dB, want below −120", c.factor, f, math.Abs(part*c.pass), a)
					}
				}
			}
		}
	}
}

func TestDecimatorRefuses(t *testing.T) {
	for _, c := range []struct {
		factor int
		pass   float64
	}{{0, 10}, {4, 0}, {4, 12000}, {4, math.NaN()}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("by %d, keeping %g Hz: no panic", c.factor, c.pass)
				}
			}()
			dsp.NewDecimator(96000, c.factor, c.pass)
		}()
	}
}

var bankBands = []dsp.Band{
	{CarrierHz: 50, PassHz: 3, StopHz: 8}, {CarrierHz: 150, PassHz: 3, StopHz: 8}, {CarrierHz: 1000, PassHz: 80, StopHz: 200},
	{CarrierHz: 2000, PassHz: 80, StopHz: 200}, {CarrierHz: 3000, PassHz: 80, StopHz: 200}, {CarrierHz: 14000, PassHz: 200, StopHz: 600},
}

// Each output of a bank is the amplitude of its tone alone, whatever the others.
func TestBankTellsCarriersApart(t *testing.T) {
	const rate, seconds = 96000.0, 3.0
	x := make([]float64, int(rate*seconds))
	amp := []float64{0.01, 0.002, 0.5, 0.003, 0.02, 0.1}
	for i, b := range bankBands {
		for k, v := range tone(rate, seconds, amp[i], b.CarrierHz+b.PassHz/2, float64(i)) {
			x[k] += v
		}
	}
	bank := dsp.NewBank(rate, bankBands)
	for i := 0; i < len(x); i += 1000 {
		bank.Feed(x[i:min(i+1000, len(x))])
	}
	for i, b := range bankBands {
		z := bank.Output(i)
		if len(z) < 10 {
			t.Fatalf("%g Hz: %d outputs", b.CarrierHz, len(z))
		}
		for m, v := range z {
			at := bank.Start(i) + float64(m)/bank.Rate(i)
			want := cmplx.Rect(amp[i], float64(i)+math.Pi*b.PassHz*at)
			// Half a millionth of the tone, and the strongest other 140 dB down.
			if e := cmplx.Abs(v - want); e > 5e-7*amp[i]+0.5e-7 {
				t.Fatalf("%g Hz: z[%d] off by %.3g, amplitude %g", b.CarrierHz, m, e, amp[i])
			}
		}
		if n := len(bank.Drain(i)); n != len(z) || len(bank.Output(i)) != 0 {
			t.Errorf("%g Hz: %d drained of %d, %d left", b.CarrierHz, n, len(z), len(bank.Output(i)))
		}
	}
}

// Bit by bit the same outputs, however the stream is cut and however often drained.
func TestOutputsDoNotDependOnPieces(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	x := make([]float64, 240000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	type run struct {
		feed  func([]float64)
		drain func() []complex128
	}
	kinds := map[string]func() run{
		"decimator": func() run {
			d := dsp.NewDecimator(48000, 12, 1500)
			return run{d.Feed, func() (z []complex128) {
				for _, v := range d.Drain() {
					z = append(z, complex(v, 0))
				}
				return z
			}}
		},
		"bank": func() run {
			b := dsp.NewBank(96000, bankBands)
			return run{b.Feed, func() []complex128 { return b.Drain(2) }}
		},
	}
	for _, b := range bankBands {
		kinds[fmt.Sprintf("%g Hz", b.CarrierHz)] = func() run {
			d := dsp.NewDemodulator(96000, b)
			return run{d.Feed, d.Drain}
		}
	}
	for name, start := range kinds {
		whole := start()
		whole.feed(x)
		want := append([]complex128{}, whole.drain()...)
		if len(want) < 3 {
			t.Fatalf("%s: %d outputs", name, len(want))
		}
		for _, piece := range []int{1, 7, 64, 1000, 8192, 30001} {
			cut := start()
			var got []complex128
			for i := 0; i < len(x); i += piece {
				cut.feed(x[i:min(i+piece, len(x))])
				got = append(got, cut.drain()...)
			}
			if len(got) != len(want) {
				t.Fatalf("%s in pieces of %d: %d outputs, want %d", name, piece, len(got), len(want))
			}
			for m := range want {
				if got[m] != want[m] {
					t.Fatalf("%s in pieces of %d: output %d is %v, want %v", name, piece, m, got[m], want[m])
				}
			}
		}
	}
}

func BenchmarkDecimator(b *testing.B) {
	x := tone(96000, 10, 0.5, 100, 0)
	for _, factor := range []int{4, 96} {
		b.Run(fmt.Sprintf("by%d", factor), func(b *testing.B) {
			feedBlocks(b, x, func() func([]float64) {
				d := dsp.NewDecimator(96000, factor, 0.4*96000/float64(factor))
				return func(x []float64) { d.Feed(x); d.Drain() }
			})
		})
	}
}

func BenchmarkBank(b *testing.B) {
	x := tone(96000, 10, 0.5, 1000, 0)
	for name, bands := range map[string][]dsp.Band{"harmonics of 1 kHz": bankBands[2:5], "hum and harmonics": bankBands[:5]} {
		b.Run(name, func(b *testing.B) {
			feedBlocks(b, x, func() func([]float64) { return dsp.NewBank(96000, bands).Feed })
		})
	}
}
