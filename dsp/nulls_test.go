package dsp

import (
	"math"
	"testing"
)

// The filter's own taps, summed up here, must attenuate every band around every
// multiple of the new rate, and the droop must be undone.
func TestNullFilterStopsWhatFolds(t *testing.T) {
	for _, c := range []struct {
		d    int
		edge float64 // re the new rate
		pass float64
	}{{2, 0.01, 0.005}, {2, 0.2, 0.1}, {7, 0.05, 0.03}, {16, 0.04, 0.02}, {16, 0.15, 0.15}, {23, 0.1, 0.05}, {48, 0.03, 0.01}} {
		for _, atten := range []float64{120, 140} {
			edge := c.edge / float64(c.d)
			order, ok := nullOrder(c.d, edge, atten)
			if !ok {
				t.Errorf("no filter for a decimation by %d that keeps %g of the new rate", c.d, c.edge)
				continue
			}
			h := nullFilter(c.d, order, edge)
			for k := 1; k <= c.d/2; k++ {
				for i := -50; i <= 50; i++ {
					f := float64(k)/float64(c.d) + edge*float64(i)/50
					if g := 20 * math.Log10(math.Abs(gain(h, f))+1e-30); g > -atten {
						t.Errorf("decimation by %d, order %d: gain %.1f dB at %g of the new rate, want −%g", c.d, order, g, f*float64(c.d), atten)
					}
				}
			}
			u := undoDroop(c.d, order, edge, c.pass)
			for i := range 21 {
				f := c.pass * float64(i) / 20
				if g := gain(h, f/float64(c.d)) * gain(u, f); math.Abs(g-1) > 2e-8 {
					t.Errorf("decimation by %d, order %d: gain off by %.2g at %g of the new rate, want within 1e-8", c.d, order, g-1, f)
				}
			}
		}
	}
	if _, ok := nullOrder(8, 0.45/8, 140); ok {
		t.Error("a band wider than the filter can keep is accepted")
	}
}

// gain of symmetric taps.
func gain(h []float64, f float64) float64 {
	g := 0.0
	for k, v := range h {
		g += v * math.Cos(2*math.Pi*f*(float64(k)-float64(len(h)-1)/2))
	}
	return g
}

// The two filters of a demodulator together: flat in the pass band, and 140 dB down
// wherever something folds onto it. Of what folds there, the band's own image is not
// among these.
func TestDemodulatorFilters(t *testing.T) {
	for _, rate := range []float64{44100, 96000, 192000} {
		for _, b := range []Band{{31.5, 11, 30}, {63, 22, 61}, {1000, 80, 176}, {6300, 186, 409}, {10000, 260, 572}, {20000, 460, 1012}} {
			whole := decimation(rate, b)
			d1, h1, h2 := twoStages(whole, b.PassHz/rate, b.StopHz/rate, demodAttenDB)
			total := func(hz float64) float64 { return gain(h1, hz/rate) * gain(h2, hz/rate*float64(d1)) }
			for i := range 11 {
				hz := b.PassHz * float64(i) / 10
				if g := total(hz); math.Abs(g-1) > 2.2e-7 {
					t.Errorf("%+v at %g Hz: gain off by %.2g at %.4g Hz, want within 2.2e-7", b, rate, g-1, hz)
				}
			}
			out := rate / float64(whole)
			worst, at := 0.0, 0.0
			look := func(hz float64) {
				if g := math.Abs(total(hz)); g > worst {
					worst, at = g, hz
				}
			}
			for m := 1; m <= whole/2; m += 1 + m/40 {
				for _, part := range []float64{-1, -0.3, 0.5, 1} {
					if hz := float64(m)*out + part*b.PassHz; hz >= b.StopHz {
						look(hz)
					}
				}
			}
			for k := 1; k <= d1/2; k++ { // around the multiples of the intermediate rate
				for i := -10; i <= 10; i++ {
					look(float64(k)*rate/float64(d1) + float64(i)/10*b.StopHz)
				}
			}
			if db := 20 * math.Log10(worst); db > -138 {
				t.Errorf("%+v at %g Hz: %.1f dB at %g Hz, want −138", b, rate, db, at)
			}
		}
	}
}

func TestFramesDoNotDependOnPieces(t *testing.T) {
	for _, size := range []int{1, 4, 9, 20} {
		for step := 1; step <= size; step += 3 {
			for piece := 1; piece < 60; piece++ {
				f := frames{size: size, step: step}
				next := 0
				for at := 0; at < 300; at += piece {
					var x []float64
					for i := at; i < min(at+piece, 300); i++ {
						x = append(x, float64(i))
					}
					f.feed(x, func(span []float64, count int) {
						for m := range count {
							for i := range size {
								if span[m*step+i] != float64(next+i) {
									t.Fatalf("size %d, step %d, pieces of %d: stretch at %d has %g at %d", size, step, piece, next, span[m*step+i], i)
								}
							}
							next += step
						}
					})
				}
				if want := (300-size)/step*step + step; next != want {
					t.Fatalf("size %d, step %d, pieces of %d: stretches to %d, want %d", size, step, piece, next, want)
				}
			}
		}
	}
}
