package dsp_test

import (
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"headstack/dsp"
)

// Channels are worked on side by side and share plans, designs and tables: each gets
// bit by bit what it gets alone. The race detector watches.
func TestWorkersShareTables(t *testing.T) {
	const seed = 21
	work := func(seed uint64) (out []float64) {
		r := rand.New(rand.NewPCG(seed, 1))
		x := make([]float64, 40000)
		for i := range x {
			x[i] = r.NormFloat64()
		}
		d := dsp.NewDemodulator(48000, dsp.Band{CarrierHz: 3100, PassHz: 90, StopHz: 230})
		d.Feed(x)
		for _, z := range d.Output() {
			out = append(out, real(z), imag(z))
		}
		w := dsp.NewWelch(2048, 48000, 20, 15000)
		w.Feed(x)
		out = append(out, w.BlockPowers()...)
		fit, _ := dsp.FitSlope(x[:700+seed%3], 4, nil)
		return append(out, fit.Slope.Value, fit.Slope.SE)
	}
	var want [6][]float64
	for i := range want {
		want[i] = work(seed + uint64(i))
	}
	var wg sync.WaitGroup
	for i := range want {
		for range 2 {
			wg.Go(func() {
				if got := work(seed + uint64(i)); !slices.Equal(got, want[i]) {
					t.Errorf("seed %d: results side by side differ from those alone", seed+i)
				}
			})
		}
	}
	wg.Wait()
}
