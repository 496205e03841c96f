package sim

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"testing"

	"headstack/capture"
	"headstack/programme"
)

// A compander left on while recording halves steps in dB, one left on in replay doubles
// them; a sliding band moves low treble alone.
func TestRecordingNoiseReduction(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 4, SpeedCmS: 19.05, Kinds: []programme.Kind{programme.Companding}})
	r := PerfectRecording(p)
	for i, n := range []NoiseReduction{CompanderEncode, CompanderDecode, SlidingEncode, SlidingDecode} {
		r.Tracks[i].NoiseReduction = n
	}
	x, truth := playedOut(t, r)
	level := func(c int, name string, hz float64) float64 {
		from, to := inside(t, truth, name)
		v := db(line(x[c], 48000, hz, from, to))
		near(t, name+" level", v, want(t, truth, "level", c+1, 0, name, hz), 0.002)
		return v
	}
	for c, steps := range [][2]float64{{5, 5}, {20, 20}, {10, 0}, {10, 0}} {
		low := level(c, "companding 1 kHz -20 dB", 1000) - level(c, "companding 1 kHz -30 dB", 1000)
		high := level(c, "companding 10 kHz -20 dB", 10000) - level(c, "companding 10 kHz -30 dB", 10000)
		if c < 2 {
			near(t, "step at 1 kHz", low, steps[0], 0.005)
			near(t, "step at 10 kHz", high, steps[1], 0.005)
			continue
		}
		// 10 dB·f²/(f² + 1.5²) times a third of the way, by hand.
		near(t, "step at 1 kHz", low, 10+[]float64{-1, 1}[c-2]*10.0/3/(1+1.5*1.5), 0.005)
		near(t, "step at 10 kHz", high, 10+[]float64{-1, 1}[c-2]*10.0/3/(1+0.15*0.15), 0.005)
	}
	if v := want(t, truth, "noise_reduction_left_on", 1, 0, "", 0); v != 1 {
		t.Errorf("truth of noise reduction left on: %v", v)
	}
}

// The staircase follows its parabola, between marks of silence.
func TestRecordingStaircase(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 1, SpeedCmS: 19.05, Kinds: []programme.Kind{programme.Staircase}})
	r := PerfectRecording(p)
	r.Tracks[0].Bias = &BiasCurve{PeakStep: 3.3, DropDB: 0.25}
	x, truth := playedOut(t, r)
	from, _ := inside(t, truth, "staircase")
	from -= 0.05
	for k := range 8 {
		off := float64(k) - 3.3
		start := from + 4*float64(k)
		got := db(line(x[0], 48000, 10000, start+0.3, start+3.7))
		near(t, "step of the staircase", got, -14-20-0.25*off*off, 0.002)
		if k > 0 {
			if gap := cmplx.Abs(line(x[0], 48000, 10000, start-0.09, start+0.09)); gap > 1e-9 {
				t.Errorf("mark %d: %g in the gap", k, gap)
			}
		}
	}
}

// Cables change what a channel carries, rounds where it lies.
func TestRecordingCablesAndRounds(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 4, SpeedCmS: 19.05, TracksPerRound: 2, Kinds: []programme.Kind{programme.Identity, programme.OneTrack}})
	r := PerfectRecording(p)
	r.Rounds = []int{0, 1}
	r.RecordCables = []int{2, 1, 3, 4}
	r.ReplayCables = []int{1, 2, 4, 3}
	x, truth := playedOut(t, r)
	strongest := func(c, round int) int {
		best, at := 0.0, 0
		for _, part := range truth.Parts {
			if part.Round != round || part.Name != "identity" {
				continue
			}
			for k := 1; k <= 4; k++ {
				a := cmplx.Abs(line(x[c], 48000, programme.IdentityHz(k, 4), part.StartS+0.05, part.EndS-0.05))
				if a > best {
					best, at = a, k
				}
			}
		}
		if best < 0.01 {
			return 0
		}
		return at
	}
	for c, wanted := range []int{2, 1, 4, 3} {
		round := c / 2
		if got := strongest(c, round); got != wanted || float64(got) != want(t, truth, "identity", c+1, 0, "", 0) {
			t.Errorf("channel %d carries track %d, want %d (truth %v)", c+1, got, wanted, want(t, truth, "identity", c+1, 0, "", 0))
		}
		if got := strongest(c, 1-round); got != 0 {
			t.Errorf("channel %d carries track %d in the round that is not its own", c+1, got)
		}
	}
	if n := len(truth.Parts); n != 2*len(p.Parts) {
		t.Errorf("%d true parts, want two rounds of %d", n, len(p.Parts))
	}
}

// Flutter of recording and replay meet as their phases say; the heads' distance
// decides off tape. The speed is read off the zero crossings of the tone.
func TestRecordingFlutter(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 1, SpeedCmS: 19.05, Kinds: []programme.Kind{programme.Tone}})
	for name, c := range map[string]struct {
		change func(r *Recording)
		want   float64 // % peak at 5 Hz, worked out by hand; negative: not
	}{
		"cancel":  {func(r *Recording) { r.ReplayFlutter[0].PhaseDeg = 40 }, 0},
		"double":  {func(r *Recording) { r.ReplayFlutter[0].PhaseDeg = 220 }, 0.4},
		"quarter": {func(r *Recording) { r.ReplayFlutter[0].PhaseDeg = 130 }, 0.2 * math.Sqrt2},
		// 19.05 mm at 19.05 cm/s is 0.1 s, half a turn of 5 Hz.
		"off tape half": {func(r *Recording) { r.ReplayFlutter, r.OffTape, r.HeadDistanceMM = nil, true, 19.05 }, 0.4},
		"off tape full": {func(r *Recording) { r.ReplayFlutter, r.OffTape, r.HeadDistanceMM = nil, true, 38.1 }, 0},
		"speed differs": {func(r *Recording) { r.ReplaySpeedErrorPercent, r.ReplayFlutter = 2, nil }, -1},
	} {
		t.Run(name, func(t *testing.T) {
			r := PerfectRecording(p)
			r.RecordFlutter = []Line{{Hz: 5, PercentPeak: 0.2, PhaseDeg: 40}}
			r.ReplayFlutter = []Line{{Hz: 5, PercentPeak: 0.2}}
			c.change(&r)
			x, truth := playedOut(t, r)
			from, to := inside(t, truth, "speed tone")
			hz := 5.0
			if c.want < 0 {
				hz = 5.1
			}
			if len(truth.Flutter) != 1 || math.Abs(truth.Flutter[0].Hz-hz) > 1e-9 {
				t.Fatalf("true lines %+v, want one at %v Hz", truth.Flutter, hz)
			}
			got := speedLine(x[0], 48000, 3150*(1+r.ReplaySpeedErrorPercent/100), hz, from, to)
			near(t, "flutter at 5 Hz, %", got, truth.Flutter[0].PercentPeak, 0.002)
			if c.want >= 0 {
				near(t, "flutter at 5 Hz by hand, %", got, c.want, 0.002)
			}
			near(t, "truth of wow_rms", want(t, truth, "wow_rms", 0, 0, "", 0), truth.Flutter[0].PercentPeak/math.Sqrt2, 1e-9)
		})
	}
}

// speedLine is the peak in per cent of a line of the speed, from the times of the
// rising zero crossings of a tone.
func speedLine(x []float64, rate, carrier, hz, from, to float64) float64 {
	var phase []float64 // deviation of time at each crossing, s
	var at []float64
	k := 0.0
	first := 0.0
	for i := int(from * rate); i < int(to*rate); i++ {
		if x[i] < 0 && x[i+1] >= 0 {
			t := (float64(i) + x[i]/(x[i]-x[i+1])) / rate
			if k == 0 {
				first = t
			}
			phase = append(phase, k/carrier-(t-first))
			at = append(at, t)
			k++
		}
	}
	// Whole turns of the line only, line taken off.
	n := 0
	for n < len(at) && at[n]-at[0] <= math.Floor((at[len(at)-1]-at[0])*hz)/hz {
		n++
	}
	var mean, slope, tt, tm float64
	for i := range n {
		mean += phase[i] / float64(n)
		tm += at[i] / float64(n)
	}
	for i := range n {
		slope += (at[i] - tm) * (phase[i] - mean)
		tt += (at[i] - tm) * (at[i] - tm)
	}
	slope /= tt
	var sum complex128
	for i := range n {
		sum += complex(phase[i]-mean-slope*(at[i]-tm), 0) * cmplx.Rect(1, -2*math.Pi*hz*at[i])
	}
	// Position is speed/(2πf).
	return 2 * cmplx.Abs(sum) / float64(n) * 2 * math.Pi * hz * 100
}

// Two tones give exactly the products that the cubic has: with equal peaks A, those of
// the third order are 3/4·a·A³ each, of the second b·A².
func TestRecordingIntermodulation(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 1, SpeedCmS: 19.05, Kinds: []programme.Kind{programme.TwoTone}})
	r := PerfectRecording(p)
	r.Tracks[0].MOLDB, r.Tracks[0].EvenPercent = new(6.0), 0.5
	x, truth := playedOut(t, r)
	from, to := inside(t, truth, "two tones")
	peak := math.Pow(10, -6./20)
	// a from the definition: third harmonic of a tone of output +6 dB is 3 %.
	u := 4 * 0.03 / (1 + 3*0.03)
	in := math.Pow(10, 6./20) / (1 - 0.75*u)
	a, b := u/(in*in), 2*0.005
	full := math.Pow(10, -14./20)
	for hz, wanted := range map[float64]float64{730: 0.75 * a * peak * peak * peak, 1540: 0.75 * a * peak * peak * peak, 270: b * peak * peak, 2270: b * peak * peak} {
		near(t, "product", cmplx.Abs(line(x[0], 48000, hz, from, to))/full, wanted, 1e-6)
	}
	mean := peak * (1 - a*peak*peak*(0.75+1.5))
	near(t, "intermodulation_3", want(t, truth, "intermodulation_3", 1, 0, "", 0), 100*math.Sqrt2*0.75*a*peak*peak*peak/mean, 1e-6)
}

// The WAV, its truth file, and the stream are the same thing.
func TestRecordingFile(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 2, SpeedCmS: 9.525, Kinds: []programme.Kind{programme.Identity}})
	r := PerfectRecording(p)
	r.CutHeadS, r.CutTailS = 5, 3
	r.Tracks[1].Noise = &Noise{LevelDBFS: -60}
	path := filepath.Join(t.TempDir(), "replay.wav")
	truth, err := RenderRecordingFile(context.Background(), path, r)
	if err != nil {
		t.Fatal(err)
	}
	f, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got := readAll(t, f)
	direct, streamTruth := playedOut(t, r)
	if len(got[0]) != len(direct[0]) || int64(len(got[0])) != truth.Frames {
		t.Fatalf("%d frames in the file, %d in the stream, %d in the truth", len(got[0]), len(direct[0]), truth.Frames)
	}
	for c := range got {
		for i := range got[c] {
			if math.Abs(got[c][i]-direct[c][i]) > 1.0/(1<<23) {
				t.Fatalf("channel %d, frame %d: %v in the file, %v in the stream", c, i, got[c][i], direct[c][i])
			}
		}
	}
	data, err := os.ReadFile(TruthPath(path))
	if err != nil {
		t.Fatal(err)
	}
	back, err := ReadRecordingTruth(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(back)
	b, _ := json.Marshal(streamTruth)
	if !bytes.Equal(a, b) {
		t.Error("the truth read back differs from the stream's")
	}
	if start := truth.Parts[0]; !start.Partial && start.Present {
		t.Errorf("start mark %+v, the capture begins after it", start)
	}
	// Programme time 8 s, with 2 s of lead-in and 5 s cut.
	if ref := truth.Parts[1]; math.Abs(ref.StartS) > 1e-9 || math.Abs(ref.EndS-(2+3+8-5)) > 1e-9 {
		t.Errorf("reference at %+v, want 0 to 8 s", ref)
	}
}

func TestRecordingImpossible(t *testing.T) {
	p := standardProgramme(t, programme.Options{Tracks: 2, SpeedCmS: 9.525})
	for name, change := range map[string]func(*Recording){
		"tracks":     func(r *Recording) { r.Tracks = r.Tracks[:1] },
		"cables":     func(r *Recording) { r.RecordCables = []int{1} },
		"channel":    func(r *Recording) { r.Channels = []int{3} },
		"leak":       func(r *Recording) { r.Leaks = []Leak{{From: 1, To: 1, DB: -3}} },
		"round":      func(r *Recording) { r.Rounds = []int{1} },
		"overdriven": func(r *Recording) { r.Tracks[0].MOLDB = new(-3.0) },
		"crosstalk":  func(r *Recording) { r.Tracks[0].CrosstalkDB = -40 },
		"flutter":    func(r *Recording) { r.ReplayFlutter = []Line{{Hz: 0}} },
		"programme":  func(r *Recording) { r.Programme = &programme.Programme{} },
		"nothing":    func(r *Recording) { r.CutHeadS = 1000 },
		"off tape":   func(r *Recording) { r.OffTape, r.CutHeadS = true, 1 },
	} {
		r := PerfectRecording(p)
		change(&r)
		if _, _, err := r.Play(); !errors.Is(err, ErrScenario) {
			t.Errorf("%s: error %v, want %v", name, err, ErrScenario)
		}
	}
}
