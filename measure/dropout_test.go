package measure

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Exact Poisson intervals as printed in tables: E. S. Pearson and H. O. Hartley,
// Biometrika Tables for Statisticians 1, table 40 (values from memory): counts 0, 1,
// 2, 3, 5 and 10 at 95 %.
func TestGarwood(t *testing.T) {
	for _, c := range []struct {
		n      int
		lo, hi float64
	}{{0, 0, 3.69}, {1, 0.0253, 5.57}, {2, 0.242, 7.22}, {3, 0.619, 8.77}, {5, 1.62, 11.67}, {10, 4.80, 18.39}} {
		lo, hi := garwood(c.n)
		if math.Abs(lo-c.lo) > 0.006 || math.Abs(hi-c.hi) > 0.006 {
			t.Errorf("%d: %.4f to %.4f, the table has %g to %g", c.n, lo, hi, c.lo, c.hi)
		}
	}
}

// holes is a level with rectangular falls of the given depth.
func holes(depth float64, length float64, at ...float64) func(float64) float64 {
	return func(t float64) float64 {
		for _, a := range at {
			if t >= a && t < a+length {
				return -depth
			}
		}
		return 0
	}
}

func TestDropOutsAreCounted(t *testing.T) {
	at := []float64{2, 3.5, 6.203, 7, 8.1111}
	for _, c := range []struct {
		name          string
		depth, length float64
		count         int
	}{
		{"deep", 20, 0.03, 5},
		{"just deep enough", 7, 0.05, 5},
		{"shallow", 5, 0.2, 0},
		{"short", 20, 0.009, 0},
		{"long and gone", 60, 0.3, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			u := &unsteady{rate: 32000, tape: tapeOf(10, 315, 1000, 10000), tracks: 1, noise: unsteadyAmp * 1e-2}
			u.gainDB = func(int, int) func(float64) float64 { return holes(c.depth, c.length, at...) }
			rep := u.run(t)
			for _, sec := range []string{"a", "b", "c"} {
				r := get(t, rep, "dropouts", sec, 1, 0)
				minutes := 9.4 / 60
				near(t, r, float64(c.count)/minutes, 0.02*float64(c.count)/minutes)
				if c.count > 0 && !strings.Contains(r.Method, "deepest") {
					t.Errorf("%s: method %q", sec, r.Method)
				}
				if c.count == 0 && (r.Lo != 0 || r.Hi < 3.6/minutes) {
					t.Errorf("%s: none seen, interval %.2f to %.2f per minute, want 0 to 3.69 in 9.4 s", sec, r.Lo, r.Hi)
				}
			}
			for _, tr := range rep.Traces {
				if tr.Name != "level_time" || tr.Section != "b" || c.count == 0 {
					continue
				}
				if len(tr.Points) > 600 || len(tr.Marks) != c.count {
					t.Errorf("%d points, %d marks", len(tr.Points), len(tr.Marks))
				}
				for i, m := range tr.Marks { // where and how deep they are
					if math.Abs(m.X-at[i]) > 0.012 {
						t.Errorf("mark at %.3f s, drop-out at %.3f s", m.X, at[i])
					}
					lowest := 0.0
					for _, p := range tr.Points {
						if math.Abs(p.X-at[i]-c.length/2) < 0.05 {
							lowest = math.Min(lowest, p.Lo)
						}
					}
					if c.length >= 0.05 && c.depth < 40 && math.Abs(lowest+c.depth) > 0.3 {
						t.Errorf("the course falls to %.2f dB, the drop-out to %.2f", lowest, -c.depth)
					}
				}
			}
		})
	}
}

// Steady tones near the noise make no drop-outs, or are refused.
func TestNoiseMakesNoDropOuts(t *testing.T) {
	for _, db := range []float64{10, 14, 18, 30} {
		u := &unsteady{rate: 16000, tape: tapeOf(60, 315, 3150), tracks: 1, seed: 4}
		for _, hz := range []float64{315, 3150} {
			band, _ := toneBand(hz, u.rate)
			u.noise = unsteadyAmp / math.Sqrt2 * math.Pow(10, -db/20) * math.Sqrt(u.rate/2/(band.PassHz+band.StopHz))
			r := get(t, u.run(t), "dropouts", map[float64]string{315: "a", 3150: "b"}[hz], 1, 0)
			switch {
			case db < 13 && !strings.Contains(r.Refused, "too near the noise") && !strings.Contains(r.Refused, "tone too weak"):
				t.Errorf("%g Hz %g dB over the noise in its band: %.1f per minute, refused %q", hz, db, r.Value, r.Refused)
			case db > 17 && (r.Refused != "" || r.Value != 0):
				t.Errorf("%g Hz %g dB over the noise in its band: %.1f per minute, refused %q", hz, db, r.Value, r.Refused)
			case r.Refused == "" && r.Value != 0:
				t.Errorf("%g Hz %g dB over the noise in its band: %.1f per minute", hz, db, r.Value)
			}
		}
	}
}

// Drop-outs that come as a Poisson process: the exact interval holds the rate at least
// as often as it says; with some 30 expected, 95 to 97 %.
func TestDropOutCoverage(t *testing.T) {
	runs, long := coverRuns(30, 12)
	const perSecond = 0.5
	covered(runs, 4000, func(seed uint64, count func(string, Result, float64)) {
		r := rand.New(rand.NewPCG(seed, 31))
		u := &unsteady{rate: 8000, tape: tapeOf(60, 315), tracks: 1, seed: seed, noise: unsteadyAmp * 3e-3}
		u.gainDB = func(_, _ int) func(float64) float64 {
			var at []float64
			for x := r.ExpFloat64() / perSecond; x < 60; x += r.ExpFloat64() / perSecond {
				at = append(at, x)
			}
			return holes(25, 0.03, at...)
		}
		m, f := u.render()
		rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: u.tape, Geometry: heads(1)}, known(f))
		if err != nil {
			t.Error(err)
			return
		}
		// Two closer together than the rule's 20 ms, or overlapping, are one: the rate
		// of those that can be told apart is that of gaps longer than 50 ms.
		rate := 60 * perSecond * math.Exp(-perSecond*(0.03+dropSeconds))
		count("dropouts", get(t, rep, "dropouts", "a", 1, 0), rate)
	}).check(t, long)
}
