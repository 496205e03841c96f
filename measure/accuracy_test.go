package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// The bar for noiseless tones, from the requirements: level 0.01 dB, speed 0.002 %,
// delay 0.2 µs; with 45 dB signal to noise and 0.1 % flutter 0.05 dB, 0.01 %, 1 µs.
func TestAccuracy(t *testing.T) {
	rates := []float64{48000, 44100, 96000}
	if testing.Short() {
		rates = rates[:1]
	}
	every := atLength()
	for _, rate := range rates {
		for i, speed := range []float64{0.94, 0.997, 1, 1.0213, 1.06} {
			for _, noisy := range []bool{false, true} {
				// All speeds only at leisure; each rate and each end of the
				// speeds always.
				if !every && (i == 1 || i == 2 || (rate != 48000 && (speed != 1.06 || !noisy))) {
					continue
				}
				t.Run(fmt.Sprintf("%g_%g_noisy=%v", rate, speed, noisy), func(t *testing.T) {
					r := rand.New(rand.NewPCG(uint64(i), uint64(rate)))
					s := &synth{rate: rate, tape: tapeOf(10, 315, 40, 1000, 6300, 16000, 0), tracks: 3, speed: speed, amp: constant(0.3), seed: uint64(i) + 1}
					s.behind = []float64{0, 288e-6 * speed, -101e-6 * speed}
					level, speedTol, delay := 0.01, 0.002, 0.2
					s.add = func(int, float64) float64 { return 0.02 } // a direct voltage must not count
					if noisy {
						level, speedTol, delay = 0.05, 0.01, 1
						s.noise = 0.3 / math.Sqrt2 * math.Pow(10, -45.0/20)
						s.lines = flutterOf(r, 0.001)
					}
					rep := s.run(t)
					near := func(res Result, want, tol float64) {
						t.Helper()
						if res.Refused != "" || math.Abs(res.Value-want) > tol {
							t.Errorf("%s %s tracks %d %d: %.6f, want %.6f within %g %s (refused %q)", res.Name, res.Section, res.Track, res.TrackB, res.Value, want, tol, res.Unit, res.Refused)
						}
					}
					for _, sec := range s.tape.Sections {
						if sec.ToneHz == 0 {
							continue
						}
						for k := 1; k <= 3; k++ {
							near(get(t, rep, "level", sec.Name, k, 0), 20*math.Log10(0.3), level)
							near(get(t, rep, "response", sec.Name, k, 0), 0, 2*level)
							near(get(t, rep, "speed_error", sec.Name, k, 0), 100*(speed-1), speedTol)
						}
						near(get(t, rep, "delay", sec.Name, 1, 2), 288, delay)
						near(get(t, rep, "delay", sec.Name, 1, 3), -101, delay)
						near(get(t, rep, "delay", sec.Name, 2, 3), -389, delay)
					}
					near(get(t, rep, "speed_error", "", 0, 0), 100*(speed-1), speedTol)
					near(get(t, rep, "azimuth", "", 1, 2), math.Atan(288e-6*speed*0.09525/0.62e-3)*arcminPerRadian, 0.2)
				})
			}
		}
	}
}
