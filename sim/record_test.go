package sim

import (
	"errors"
	"io"
	"math"
	"math/cmplx"
	"testing"

	"headstack/dsp"
	"headstack/programme"
)

func standardProgramme(t testing.TB, o programme.Options) *programme.Programme {
	t.Helper()
	p, err := programme.New(o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// played renders a recording into memory.
func playedOut(t testing.TB, r Recording) ([][]float64, RecordingTruth) {
	t.Helper()
	s, truth, err := r.Play()
	if err != nil {
		t.Fatal(err)
	}
	return readAll(t, s), truth
}

func readAll(t testing.TB, s dsp.Stream) [][]float64 {
	t.Helper()
	out := make([][]float64, s.Channels())
	buf := make([][]float64, s.Channels())
	for c := range buf {
		buf[c] = make([]float64, 3000)
	}
	for {
		n, err := s.Read(buf)
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		for c := range buf {
			out[c] = append(out[c], buf[c][:n]...)
		}
	}
}

// line is the complex peak of a sine in x between two times, by the definition of the
// Fourier sum under a window (four-term Blackman-Harris, side lobes -92 dB; Harris,
// Proc. IEEE 66(1), 1978). The phase is that of a sine at time from.
func line(x []float64, rate, hz, from, to float64) complex128 {
	lo, hi := int(math.Ceil(from*rate)), int(to*rate)
	var sum complex128
	weight := 0.0
	for i := lo; i < hi; i++ {
		u := 2 * math.Pi * (float64(i-lo) + 0.5) / float64(hi-lo)
		w := 0.35875 - 0.48829*math.Cos(u) + 0.14128*math.Cos(2*u) - 0.01168*math.Cos(3*u)
		sum += complex(w*x[i], 0) * cmplx.Rect(1, -2*math.Pi*hz*(float64(i)/rate-from))
		weight += w
	}
	return sum * complex(2/weight, 0) * 1i
}

func db(x complex128) float64 { return 20 * math.Log10(cmplx.Abs(x)) }

// inside is the middle of a part.
func inside(t testing.TB, truth RecordingTruth, name string) (from, to float64) {
	t.Helper()
	for _, p := range truth.Parts {
		if p.Name == name && p.Present {
			return p.StartS + 0.05, p.EndS - 0.05
		}
	}
	t.Fatalf("part %q is not in the capture", name)
	return 0, 0
}

func want(t testing.TB, truth RecordingTruth, name string, track, trackB int, section string, hz float64) float64 {
	t.Helper()
	v, ok := truth.Find(name, track, trackB, section, hz)
	if !ok {
		t.Fatalf("no truth of %s for tracks %d, %d in %q at %v Hz", name, track, trackB, section, hz)
	}
	return v
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.6g, want %.6g ± %.2g", what, got, want, tolerance)
	}
}

// A perfect recorder gives back what the programme is, but for level and lead-in.
func TestRecordingPerfect(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 2, SpeedCmS: 19.05, Kinds: programme.Kinds()})
	r := PerfectRecording(p)
	r.Tracks[0].EraseDepthDB, r.Tracks[1].EraseDepthDB = 0, 0
	r.ReferenceDBFS = p.ReferenceDBFS
	got, _ := playedOut(t, r)
	s, err := p.Signal(0, 48000)
	if err != nil {
		t.Fatal(err)
	}
	wanted := readAll(t, s)
	lead := 96000
	worst := 0.0
	for c := range wanted {
		punch := int((p.Start(len(p.Parts)-1)+8)*48000) + lead
		for i, x := range wanted[c] {
			if d := i + lead - punch; d > -300 && d < 300 {
				continue // the punch-in of an erasure of nothing still has its edge
			}
			worst = max(worst, math.Abs(got[c][i+lead]-x))
		}
	}
	if worst > 1e-7 {
		t.Errorf("replay of a perfect recorder differs from the programme by %g", worst)
	}
}

// What is stated as truth is in the signal: harmonics, compression, saturation, 3 %
// level, crosstalk, erasure, polarity, responses.
func TestRecordingTruths(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 2, SpeedCmS: 19.05})
	r := PerfectRecording(p)
	r.RecordSpeedErrorPercent, r.ReplaySpeedErrorPercent = -0.4, 1.1
	r.Tracks[0].MOLDB, r.Tracks[0].EvenPercent, r.Tracks[0].SaturationDB = new(5.0), 0.3, new(-2.0)
	r.Tracks[0].EraseDepthDB, r.Tracks[0].SpacingUm, r.Tracks[0].GainDB = 55, 1.5, -1.2
	r.Tracks[1].RecordPolarityReversed, r.Tracks[1].RecordGainDB = true, 0.7
	r.Tracks[1].MOLDB = new(8.0)
	r.Tracks[1].HighCornerHz = 14000
	r.Leaks = []Leak{{From: 1, To: 2, DB: -45, DBPerOctave: -2}, {From: 2, To: 1, DB: -60}}
	x, truth := playedOut(t, r)
	ratio, rate := 1.011/0.996, 48000.0
	near(t, "speed error", want(t, truth, "speed_error", 0, 0, "", 0), (ratio-1)*100, 1e-9)

	for c := range 2 {
		for _, part := range p.Parts {
			for _, s := range part.All {
				from, to := inside(t, truth, part.Name)
				if part.Kind == programme.Erase {
					to = (from + to) / 2
				}
				level := want(t, truth, "level", c+1, 0, part.Name, s.Hz)
				near(t, part.Name+" level", db(line(x[c], rate, s.Hz*ratio, from, to)), level, 0.002)
				if part.Kind != programme.Step || s.Hz > TrebleHz {
					continue
				}
				one := cmplx.Abs(line(x[c], rate, s.Hz*ratio, from, to))
				for n := 2; n <= 3; n++ {
					h := cmplx.Abs(line(x[c], rate, float64(n)*s.Hz*ratio, from, to)) / one * 100
					w := want(t, truth, []string{"harmonic_2", "harmonic_3"}[n-2], c+1, 0, part.Name, s.Hz)
					near(t, part.Name+" harmonic, %", h, w, 0.002)
				}
			}
		}
	}
	recordingCrosstalk(t, x, truth, ratio, rate)
	recordingErasure(t, x, truth, ratio, rate)
	recordingPolarity(t, x, truth, ratio, rate)
}

func recordingCrosstalk(t *testing.T, x [][]float64, truth RecordingTruth, ratio, rate float64) {
	from, to := inside(t, truth, "reference")
	ref := []float64{db(line(x[0], rate, 1000*ratio, from, to)), db(line(x[1], rate, 1000*ratio, from, to))}
	for _, hz := range []float64{1000, 10000} {
		for a := range 2 {
			b := 1 - a
			from, to := inside(t, truth, []string{"track 1 alone", "track 2 alone"}[a])
			got := db(line(x[b], rate, hz*ratio, from, to)) - ref[b] - db(line(x[a], rate, hz*ratio, from, to)) + ref[a]
			near(t, "crosstalk", got, want(t, truth, "crosstalk", a+1, b+1, "", hz), 0.02)
		}
	}
	near(t, "crosstalk 1 to 2", want(t, truth, "crosstalk", 1, 2, "", 1000), -45, 1) // track 2 was recorded 0.7 dB higher
}

func recordingErasure(t *testing.T, x [][]float64, truth RecordingTruth, ratio, rate float64) {
	from, to := inside(t, truth, "erase")
	middle := (from + to) / 2
	for c, depth := range []float64{55, 70} {
		before := db(line(x[c], rate, 1000*ratio, from, middle-0.1))
		after := db(line(x[c], rate, 1000*ratio, middle+0.1, to))
		near(t, "erase depth", before-after, want(t, truth, "erase_depth", c+1, 0, "", 1000), 0.02)
		near(t, "erase depth as set", before-after, depth, 3) // leaks from the other track add
	}
}

// Polarity shows in the angle between the two components of the identity tone.
func recordingPolarity(t *testing.T, x [][]float64, truth RecordingTruth, ratio, rate float64) {
	from, to := inside(t, truth, "identity")
	for c := range 2 {
		hz := programme.IdentityHz(c+1, 2) * ratio
		one, two := line(x[c], rate, hz, from, to), line(x[c], rate, 2*hz, from, to)
		deg := func(z complex128) float64 { return cmplx.Phase(z) * 180 / math.Pi }
		reversed, sure := programme.Reversed(programme.IdentityPhase(deg(one), deg(two)))
		if w := want(t, truth, "polarity", c+1, 0, "", 0) < 0; reversed != w || !sure {
			t.Errorf("track %d: reversed %v (sure %v), truth %v", c+1, reversed, sure, w)
		}
	}
}

// The stated 3 % and saturation levels are those of the recorded tape: the harmonic of
// a tone recorded at mol_3pct_recorded is 3 %, and no 10 kHz tone gets above sol.
func TestRecordingLimits(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 1, SpeedCmS: 9.525, Kinds: []programme.Kind{programme.Step}})
	r := PerfectRecording(p)
	r.Tracks[0].MOLDB, r.Tracks[0].SaturationDB = new(4.5), new(-3.0)
	_, truth := playedOut(t, r)
	mol, in := want(t, truth, "mol_3pct", 1, 0, "", 0), want(t, truth, "mol_3pct_recorded", 1, 0, "", 0)

	// The programme again with its last step at that level.
	for i := range p.Parts {
		if p.Parts[i].Name == "level step +10 dB" {
			p.Parts[i].All[0].LevelDB = in
		}
	}
	x, truth := playedOut(t, r)
	from, to := inside(t, truth, "level step +10 dB")
	one, three := line(x[0], 48000, 315, from, to), line(x[0], 48000, 945, from, to)
	near(t, "third harmonic, %", 100*cmplx.Abs(three)/cmplx.Abs(one), 3, 0.001)
	from, to = inside(t, truth, "reference")
	ref := db(line(x[0], 48000, 315, from, to))
	near(t, "3 % level", db(one)-ref, mol, 0.002)
	near(t, "3 % level on tape", db(one)+14, 4.5, 0.002)

	top := math.Inf(-1)
	for _, part := range p.Parts {
		if part.Kind == programme.Step && part.All[0].Hz == 10000 {
			from, to := inside(t, truth, part.Name)
			top = max(top, db(line(x[0], 48000, 10000, from, to))-ref)
		}
	}
	sol := want(t, truth, "sol", 1, 0, "", 0)
	if top > sol+0.001 || top < sol-0.1 { // the steps of 2 dB straddle a flat maximum
		t.Errorf("highest 10 kHz step at %.3f dB, saturation at %.3f dB", top, sol)
	}
}
