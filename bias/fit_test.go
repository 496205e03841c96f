package bias

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
)

// bench draws staircases of seeded tracks.
type bench struct {
	r     *rand.Rand
	truth truth
	trim  Trim
	play  float64 // of the trim, share of the travel; each approach takes up another part of it
	noise float64 // of a reading, dB
}

// newBench draws a track whose treble peaks somewhere in the middle of the trim, and
// what is known of the trim: its law within 25 %.
func newBench(seed uint64, lawSpread, play float64) *bench {
	r := rand.New(rand.NewPCG(seed, 0xb1a5))
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	b := &bench{r: r, truth: drawTruth(r), noise: 0.15, play: play}
	b.trim = Trim{ID: "T", Track: 1, Sign: 1, Law: Law{SpanDB: u(11, 15), Spread: lawSpread, Bend: 0.2, BendSD: 0.15}}
	real := b.trim.Law
	if lawSpread > 0 {
		real.SpanDB *= u(1-lawSpread, 1+lawSpread)
		real.Bend = u(-0.1, 0.5)
	}
	peak := u(0.35, 0.5)
	b.truth.bias = func(p float64) float64 { return real.DB(p) - real.DB(peak) }
	b.trim.Now = clamp(peak + u(1, 4)/b.trim.Law.SpanDB) // where it was set by somebody, about right
	b.trim.Backlash = play
	return b
}

// wiper is where the trim really stands, set to p from below.
func (b *bench) wiper(p float64) float64 {
	return p + b.play*(b.r.Float64()-0.5) + map[bool]float64{true: hand, false: 0}[b.play > 0]*b.r.NormFloat64()
}

// stairs are n steps evenly from and to so many dB by the law of the position now.
func (b *bench) stairs(n int, from, to float64) Staircase {
	mid := b.trim.Law.DB(b.trim.Now)
	var out []float64
	for i := range n {
		out = append(out, clamp(b.trim.Law.Position(mid+from+(to-from)*float64(i)/float64(n-1))))
	}
	return b.record(slices.Compact(out))
}

func (b *bench) record(at []float64) Staircase {
	var s Staircase
	for _, p := range at {
		x := b.truth.bias(b.wiper(p))
		s.Readings = append(s.Readings, Reading{Position: p,
			Treble: &Level{Value: -3 + b.truth.treble(x) + b.noise*b.r.NormFloat64(), SD: b.noise},
			Low:    &Level{Value: -2 + b.truth.low(x) + b.noise*b.r.NormFloat64(), SD: b.noise}})
	}
	return s
}

var studio = Tones{TrebleHz: 10000, LowHz: 1000, SpeedCmS: 38.1}

func runs(few int) int {
	if os.Getenv("HEADSTACK_LONG") == "1" {
		return 500
	}
	return few
}

// The bar: with a trim whose law is known, and with one that is not.
func TestPeakOfSevenSteps(t *testing.T) {
	for _, c := range []struct {
		name      string
		law, play float64
		within    float64
	}{{"law known", 0, 0, 0.25}, {"law within 25 %, play of 3 %", 0.25, 0.03, 0.33}} {
		var miss []float64
		n := runs(60)
		for seed := range n {
			b := newBench(uint64(seed), c.law, c.play)
			got, err := Fit(b.trim, studio, b.stairs(7, -5.5, 2.5))
			if err != nil {
				t.Fatal(err)
			}
			if got.Verdict != Peak {
				t.Logf("%s, seed %d: %s: %s", c.name, seed, got.Verdict, got.Why)
				continue
			}
			miss = append(miss, math.Abs(b.truth.bias(got.Peak.Position)))
		}
		slices.Sort(miss)
		if len(miss) < n*97/100 {
			t.Errorf("%s: %d of %d staircases show a peak", c.name, len(miss), n)
		}
		if q := quantile(miss, 0.95); q > c.within {
			t.Errorf("%s: 95 %% of peaks within %.3f dB of bias, want %.2f", c.name, q, c.within)
		}
	}
}
