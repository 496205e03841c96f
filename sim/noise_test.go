package sim_test

import (
	"math"
	"testing"

	"headstack/capture"
	"headstack/sim"
)

// The noise of a silent section is as defined in 20 Hz to 20 kHz: at a sampling
// rate of 40 kHz, where the band ends at half the rate, by plain r.m.s.
func TestNoiseLevel(t *testing.T) {
	for _, pole := range []float64{0, 0.6, -0.4} {
		sc := sim.Perfect(testTape(20), geometry())
		sc.Tape.Sections = sc.Tape.Sections[3:] // treble, then silence
		sc.Tape.Sections[0].Seconds, sc.Tape.Sections[0].ToneHz = 0.5, 315
		sc.Channels = []int{4}
		sc.SampleRate = 40000 // the band reaches up to half the rate
		sc.Tracks[3].Noise = &sim.Noise{LevelDBFS: -57, Pole: pole}
		x, truth := render(t, sc)
		cut, _ := section(t, x[0], truth, 1)
		mean, sum := 0.0, 0.0
		for _, v := range cut {
			mean += v / float64(len(cut))
		}
		for _, v := range cut {
			sum += (v - mean) * (v - mean)
		}
		got := 10*math.Log10(sum/float64(len(cut))) + 3.0103
		// 792 000 independent values: 0.007 dB; below 20 Hz lies 0.1 % of white
		// noise, up to 0.4 % with the pole: 0.02 dB.
		if math.Abs(got+57) > 0.045 {
			t.Errorf("pole %v: %.3f dBFS, want -57", pole, got)
		}
		level, _ := truth.Find("level", 4, 0, "treble")
		if told, ok := truth.Find("noise", 4, 0, ""); !ok || math.Abs(told-(-57-level)) > 1e-3 {
			t.Errorf("pole %v: true noise %v dB, want %v", pole, told, -57-level)
		}
	}
}

// At 96 kHz only the part of the noise below 20 kHz counts: measured by a direct
// Fourier sum over random lines of the band.
func TestNoiseBand(t *testing.T) {
	for _, pole := range []float64{0, 0.7} {
		sc := sim.Perfect(testTape(4), geometry())
		sc.Tape.Sections = sc.Tape.Sections[4:]
		sc.Tape.Reference.ToneHz = 1000 // there is no section of it
		sc.Channels, sc.SampleRate = []int{1}, 96000
		sc.Tracks[0].Noise = &sim.Noise{LevelDBFS: -40, Pole: pole}
		sc.Bits, sc.Encoding = 64, capture.Float
		x, _ := render(t, sc)
		const n = 2400 // 40 Hz lines, over 250 stretches: 0.03 dB over 500 lines
		power, stretches := 0.0, 0
		turn := make([][2]float64, n)
		for i := range turn {
			turn[i][0], turn[i][1] = math.Sincos(2 * math.Pi * float64(i) / n)
		}
		for at := 0; at+n <= len(x[0]); at += n {
			stretches++
			for k := 1; k <= 500; k += 9 { // every ninth line stands for nine
				var a, b float64
				for i := range n {
					j := i * k % n
					a, b = a+x[0][at+i]*turn[j][0], b+x[0][at+i]*turn[j][1]
				}
				power += 9 * 2 * (a*a + b*b) / (n * n)
			}
		}
		got := 10*math.Log10(power/float64(stretches)) + 3.0103
		// 56 lines of two degrees of freedom in each of 300 stretches: 0.034 dB;
		// the lines stand for 20 Hz to 20.02 kHz unevenly at a steep spectrum.
		if math.Abs(got+40) > 0.15 {
			t.Errorf("pole %v: %.3f dBFS in the band, want -40", pole, got)
		}
	}
}

func TestHum(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.Channels = []int{1}
	sc.MainsHz = 60
	sc.Tracks[0].Hum = &sim.Hum{LevelDBFS: -50, HarmonicsDB: []float64{-20, -6}}
	x, truth := render(t, sc)
	cut, first := section(t, x[0], truth, 4)
	for f, want := range map[float64]float64{60: -50, 120: -70, 180: -56} {
		// The other hum lines are orthogonal over whole periods of 60 Hz.
		fit := fitSine(cut[:len(cut)/800*800], first, 48000, f)
		if d := fit.levelDBFS() - want; math.Abs(d) > 0.002 {
			t.Errorf("%v Hz: off by %g dB", f, d)
		}
	}
	level, _ := truth.Find("level", 1, 0, "reference")
	want := 10*math.Log10(math.Pow(10, -5)+math.Pow(10, -7)+math.Pow(10, -5.6)) - level
	if told, _ := truth.Find("noise", 1, 0, ""); math.Abs(told-want) > 1e-4 {
		t.Errorf("true noise of hum %v dB, want %v", told, want)
	}
}
