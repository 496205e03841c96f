package bias

import (
	"context"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"headstack/capture"
	"headstack/dsp"
	"headstack/measure"
	"headstack/programme"
)

// replay writes what a machine plays of a plan's rounds, one after the other with silence
// between, as a WAV of a channel for each track: each tone of the staircase by the curve
// of its track, the trim turned within 1.3 s of each mark from one position to the next,
// noise, the level wandering as tape does, and the speed 0.4 % up.
type replay struct {
	plan   *Plan
	tracks map[int]*bench
	rate   float64
	speed  float64
	noise  float64 // r.m.s. of full scale
	wander float64 // r.m.s., dB
	seed   uint64
}

// only is the programme with the k-th tone of its staircase alone.
func only(p *programme.Programme, k int) *programme.Programme {
	q := *p
	q.Parts = append([]programme.Part(nil), p.Parts...)
	for i, part := range q.Parts {
		if len(part.All) == 2 {
			q.Parts[i].All = part.All[k : k+1]
		}
	}
	return &q
}

func (y replay) write(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	channels := len(y.plan.Tracks)
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: channels, SampleRate: int(y.rate)})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(y.seed, 7))
	out := make([][]float64, channels)
	put := func(c int, x []float64) { // channel c plays x, the others hiss
		for k := range out {
			out[k] = make([]float64, len(x))
			for i := range x {
				out[k][i] = y.noise * r.NormFloat64()
				if k == c {
					out[k][i] += x[i]
				}
			}
		}
		if err := w.Write(out, len(x)); err != nil {
			t.Fatal(err)
		}
	}
	for c, track := range y.plan.Tracks {
		put(-1, make([]float64, int(2*y.rate)))
		y.round(t, track, r, func(x []float64) { put(c, x) })
		put(-1, make([]float64, int(2*y.rate)))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// round is the sound of one track's round.
func (y replay) round(t *testing.T, track TrackPlan, r *rand.Rand, put func([]float64)) {
	b := y.tracks[track.Trim.Track]
	var wipers []float64
	for _, p := range track.Positions {
		wipers = append(wipers, b.wiper(p))
	}
	rate := y.rate / y.speed // of the recording: played faster
	open := func(k int) dsp.Stream {
		s, err := only(y.plan.Programme, k).Signal(track.Round, rate)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	treble, low := open(0), open(1)
	start, part := y.plan.staircase()
	x, z := [][]float64{make([]float64, 4096)}, [][]float64{make([]float64, 4096)}
	at, wander := 0, 0.0
	loud := gain(y.plan.Programme.ReferenceDBFS)
	for {
		n, err := treble.Read(x)
		if errors.Is(err, io.EOF) {
			return
		}
		for got := 0; got < n; { // both streams in step
			m, err := low.Read([][]float64{z[0][got:n]})
			if err != nil {
				t.Fatal(err)
			}
			got += m
		}
		for i := range n {
			s := float64(at+i)/rate - start
			wander += -wander/(0.3*rate) + y.wander*math.Sqrt(2/(0.3*rate))*r.NormFloat64()
			if over := s - part.Seconds - programme.StaircaseBackSteps*part.StepSeconds; over >= 0 && over < part.Seconds {
				k := int(over / part.StepSeconds)
				c := x[0][i] / loud
				x[0][i] -= loud * thirdAt(track.Positions[k]) / 100 * (4*c*c*c - 3*c) // −sin 3θ of sin θ
			}
			if s < 0 || s >= part.Seconds {
				continue // both streams hold the same
			}
			k := min(len(wipers)-1, int(s/part.StepSeconds))
			p := wipers[k]
			if since := s - float64(k)*part.StepSeconds; k > 0 && since < 1.3 {
				p = wipers[k-1] + (p-wipers[k-1])*math.Max(0, since-0.3)
			}
			bias := b.truth.bias(p)
			x[0][i] = x[0][i]*gain(b.truth.treble(bias)-1+wander) + z[0][i]*gain(b.truth.low(bias)+wander)
		}
		at += n
		put(x[0][:n])
	}
}

// thirdAt is the third harmonic of the low tone at 0 dB, percent: least at 0.6.
func thirdAt(position float64) float64 { return 0.6 + 8*math.Pow(position-0.6, 2) }

func gain(db float64) float64 { return math.Pow(10, db/20) }

// From sound to the fitted peak: two tracks at 38 cm/s, a round each, real WAV bytes,
// found and measured as any capture.
func TestFromSound(t *testing.T) {
	if testing.Short() {
		t.Skip("renders and measures three minutes of sound")
	}
	want := Want{Tones: studio, Aim: UsualAim(38.1, 12.7e-6), Third: true}
	y := replay{rate: 48000, speed: 1.004, noise: 3e-4, wander: 0.1, seed: 1, tracks: map[int]*bench{}}
	var trims []Trim
	for _, track := range []int{1, 2} {
		b := newBench(40+track, 0.25, 0.03)
		b.trim.Track = track
		y.tracks[track] = b
		trims = append(trims, b.trim)
	}
	var err error
	if y.plan, err = New(want, trims...); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "staircase.wav")
	y.write(t, path)
	src := measure.Source{Name: "staircase.wav", Tracks: []int{1, 2}, Open: func() (dsp.Stream, func() error, error) {
		r, err := capture.Open(path)
		if err != nil {
			return nil, nil, err
		}
		return r, r.Close, nil
	}}
	rep, err := measure.Recording(context.Background(), []measure.Source{src}, y.plan.Programme, measure.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, trim := range trims {
		b := y.tracks[trim.Track]
		s, doubts, err := y.plan.Heard(rep, trim.Track, nil)
		if err != nil {
			t.Fatalf("%v (%v)", err, doubts)
		}
		for k, r := range s.Readings {
			if r.Treble == nil || r.Low == nil || r.Third == nil {
				t.Fatalf("track %d, step %d was not read: %v", trim.Track, k+1, doubts)
			}
			if v := thirdAt(r.Position); math.Abs(r.Third.Value-v) > 0.05*v {
				t.Errorf("track %d, step %d: third harmonic %.3f %%, want %.3f", trim.Track, k+1, r.Third.Value, v)
			}
			x := b.truth.bias(r.Position)
			// The low tone at the first step is 0; the treble comes back 1 dB lower.
			first := b.truth.low(b.truth.bias(s.Readings[0].Position))
			t.Logf("track %d, step %d: treble %.2f ± %.2f dB, with the trim exactly there %.2f; low tone %.2f, %.2f; third harmonic %.3f ± %.3f %%", trim.Track, k+1, r.Treble.Value, r.Treble.SD, b.truth.treble(x)-1-first, r.Low.Value, b.truth.low(x)-first, r.Third.Value, r.Third.SD)
		}
		c, err := Fit(trim, want.Tones, s)
		if err != nil {
			t.Fatal(err)
		}
		if c.Peak == nil {
			t.Fatalf("track %d: %s: %s", trim.Track, c.Verdict, c.Why)
		}
		set := c.Set(want.Aim)
		t.Logf("track %d: peak at %s, off by %.2f dB of bias; set to %s, true fall %.2f dB, expected %.2f to %.2f", trim.Track, c.Peak.Words, b.truth.bias(c.Peak.Position), set.At.Words, b.fallAt(set.At.Position), set.Fall.Lo, set.Fall.Hi)
		if last := s.Readings[len(s.Readings)-1].Position; set.Third == nil {
			if set.At.Position < last {
				t.Errorf("track %d: no third harmonic at the setting", trim.Track)
			}
		} else if v := thirdAt(set.At.Position); v < set.Third.Lo-0.1*v || v > set.Third.Hi+0.1*v {
			t.Errorf("track %d: third harmonic at the setting %.3f (%.3f to %.3f) %%, want %.3f", trim.Track, set.Third.Value, set.Third.Lo, set.Third.Hi, v)
		}
		if e := math.Abs(b.truth.bias(c.Peak.Position)); e > 0.35 {
			t.Errorf("track %d: peak off by %.2f dB of bias", trim.Track, e)
		}
		if f := b.fallAt(set.At.Position); math.Abs(f-want.Aim.FallDB) > 0.7 {
			t.Errorf("track %d: a fall of %.2f dB, want %.1f", trim.Track, f, want.Aim.FallDB)
		}
	}
	if _, _, err := y.plan.Heard(rep, 3, nil); !errors.Is(err, ErrReadings) {
		t.Errorf("a track that is not in the plan: %v", err)
	}
}
