package instrument_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"headstack/instrument"
	"headstack/sim/meter"
)

// row feeds values at equal times and returns the first that stands.
func row(s *instrument.Settler, every time.Duration, step float64, values ...float64) (instrument.Steady, int) {
	for i, v := range values {
		s.Add(time.Duration(i)*every, instrument.Value{Value: v, Unit: "V", Step: step})
		if st, ok := s.Steady(); ok {
			return st, i
		}
	}
	return instrument.Steady{}, -1
}

func TestWhatStands(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	of := func(v float64, n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = v
		}
		return out
	}
	join := func(parts ...[]float64) (out []float64) {
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	slope, sway := make([]float64, 60), make([]float64, 60)
	for i := range slope {
		slope[i] = 1 + 0.002*float64(i)
		sway[i] = 1 + 0.01*math.Sin(float64(i)*2)
	}
	for name, c := range map[string]struct {
		step   float64
		values []float64
		want   float64
		at     int // index of the value that made it stand; -1: none
	}{ // four values a second: Hold is 6 steps after the first, Long 16
		"at once":                {1e-4, of(1.1, 9), 1.1, 6},
		"within three places":    {1e-3, []float64{1.1, 1.101, 1.102, 1.1, 1.101, 1.103, 1.101}, 1.101, 6},
		"an over-range first":    {1e-4, join(of(inf, 3), of(1.1, 9)), 1.1, 9},
		"no number in between":   {1e-4, join(of(1.1, 6), of(nan, 1), of(1.1, 9)), 1.1, 13},
		"a glitch in between":    {1e-4, join(of(1.1, 5), of(1100, 1), of(1.1, 9)), 1.1, 12},
		"a range on the way":     {1e-4, join(of(0.3, 4), of(0.31, 9)), 0.31, 10},
		"an over-range for good": {1e-4, of(inf, 40), 0, -1},
		"hardly a digit":         {0.1, of(0.3, 20), 0.3, 16},
		"nothing":                {1e-6, of(0, 20), 0, 16},
		"a slope":                {1e-5, slope, 0, -1},
		"that sways":             {1e-5, sway, 1, 16},
		"half here, half there":  {1e-5, join(of(1, 5), of(1.02, 5)), 0, -1},
	} {
		st, at := row(instrument.NewSettler(instrument.Settling{}), 250*time.Millisecond, c.step, c.values...)
		tolerance := 3 * c.step
		if name == "that sways" {
			tolerance = 0.01
		}
		if at != c.at || at >= 0 && math.Abs(st.Value-c.want) > tolerance {
			t.Errorf("%s: %+v at value %d, want %g at %d", name, st, at, c.want, c.at)
		}
		if at >= 0 && (st.Low > st.Value || st.High < st.Value || st.Count < 4 || st.Asked != at+1 || st.Held < 1500*time.Millisecond) {
			t.Errorf("%s: %+v does not hang together", name, st)
		}
	}
}

func TestAPauseBeginsAnew(t *testing.T) {
	s := instrument.NewSettler(instrument.Settling{})
	v := instrument.Value{Value: 1, Unit: "V", Step: 1e-4}
	for i := range 6 {
		s.Add(time.Duration(i)*250*time.Millisecond, v)
	}
	seen := s.Add(20*time.Second, v)
	if _, ok := s.Steady(); ok || seen.Held != 0 || seen.Restarts != 1 {
		t.Errorf("%+v", seen)
	}
}

// bench draws a meter and what its probe is put on.
func bench(r *rand.Rand) (meter.Model, float64) {
	m := meter.Model{Seed: r.Uint64(),
		Period:     time.Duration(50+r.IntN(450)) * time.Millisecond,
		Tau:        time.Duration(20+r.IntN(380)) * time.Millisecond,
		RangeDelay: time.Duration(100+r.IntN(800)) * time.Millisecond,
		Counts:     []int{2000, 4000, 6000, 60000}[r.IntN(4)],
		Glitch:     0.6, Long: r.IntN(2) == 0,
		Noise: []float64{0, 0.0005, 0.005}[r.IntN(3)],
	}
	return m, math.Exp(math.Log(2e-3) + r.Float64()*math.Log(20/2e-3)) // 2 mV to 20 V
}

// TestHowOftenASteadyValueIsWrong touches points with simulated meters: 50 to 500 ms a
// conversion, a converter that follows with 20 to 400 ms, 0.1 to 0.9 s on each range that
// does not fit, the first value of 60 % of the ranges in the unit of the one before, 2000
// to 60000 counts, a scatter of 0, 0.05 or 0.5 %. Each is touched three times, with the
// leads off for 0 to 2 s before. A value counts as wrong when it is off by more than 1 %
// and three times the scatter and one and a half counts of the range that fits. Of the
// rules beside it, one takes the first value and one the first two in a row that agree
// within 1 %. Found on 2026-11-29 with 21000 touches: 0 wrong, 0.02 % with no value in
// 20 s, 3.9 s to wait; first value 94.7 %, two alike 19.4 % wrong.
func TestHowOftenASteadyValueIsWrong(t *testing.T) {
	const touches = 3
	meters := 2000
	if os.Getenv("HEADSTACK_LONG") != "" {
		meters = 7000
	}
	r := rand.New(rand.NewPCG(1, 2))
	var wrong, none, first, pair, total int
	var waited time.Duration
	for range meters {
		m, _ := bench(r)
		c := meter.NewConverter(m)
		for range touches {
			_, volts := bench(r)
			for range int(r.Float64() * 2 / m.Period.Seconds()) {
				c.Convert(meter.Input{Open: true})
			}
			s := instrument.NewSettler(instrument.Settling{Floor: volts / 200})
			fits := 0.06
			for volts > fits {
				fits *= 10
			}
			off := func(v float64) bool {
				return !(math.Abs(v/volts-1) <= 0.01+3*m.Noise+1.5*fits/float64(m.Counts)/volts)
			}
			total++
			var before, took float64
			paired, done := false, false
			for n := 0; ; n++ {
				at := time.Duration(n) * m.Period
				if at > 20*time.Second {
					break
				}
				v, step := c.Convert(meter.Input{AC: volts, ToneHz: 315})
				if m.Long {
					step = math.Pow(10, math.Floor(math.Log10(max(math.Abs(v), 1e-9)))-8)
				}
				if n == 0 && off(v) {
					first++
				}
				if n > 0 && !paired && math.Abs(v-before) <= 0.01*math.Abs(v) {
					paired = true
					if off(v) {
						pair++
					}
				}
				before = v
				s.Add(at, instrument.Value{Value: v, Unit: "V", Step: step})
				if st, ok := s.Steady(); ok {
					took, done = st.Value, true
					waited += at
					break
				}
			}
			switch {
			case !done:
				none++
			case off(took):
				wrong++
				if testing.Verbose() && wrong < 10 {
					t.Logf("took %g for %g with %+v", took, volts, m)
				}
			}
		}
	}
	share := func(n int) float64 { return 100 * float64(n) / float64(total) }
	t.Logf("%d touches: wrong %.3f %%, none within 20 s %.2f %%, mean wait %.2f s; first value wrong %.1f %%, two alike wrong %.1f %%",
		total, share(wrong), share(none), waited.Seconds()/float64(total-none), share(first), share(pair))
	if share(wrong) > 0.1 || share(none) > 0.5 {
		t.Errorf("wrong %.3f %%, none %.2f %%: at most 0.1 and 0.5 are let through", share(wrong), share(none))
	}
	if pair < 20*(wrong+1) {
		t.Errorf("two alike are wrong %d times, this %d: the wait is not worth it", pair, wrong)
	}
}
