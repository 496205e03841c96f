package job_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"headstack/capture"
	"headstack/job"
	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim/trims"
	"headstack/trim"
)

// lining is a simulated recorder on a bench: what is done to it is recorded, what is
// played of it is captured, and nothing else is known.
type lining struct {
	t       *testing.T
	b       *job.Bench
	m       *trims.Recorder
	job     string
	targets map[string]float64 // of the closed recorder, by step
	heard   trims.Figures
	wav     []byte
	looked  map[string]bool // trims of which the travel was looked at
}

const simSpeed, simOutput = 9.525, -12.0

func newLining(t *testing.T, seed uint64) *lining {
	def, _ := machine.Builtin(hexastrand)
	m, err := trims.New(def, seed)
	if err != nil {
		t.Fatal(err)
	}
	x := &lining{t: t, m: m, targets: map[string]float64{}, looked: map[string]bool{}, wav: shortWAV(t)}
	x.b, _, _ = bench(t, job.BenchOptions{Measure: x.measure})
	x.job = openJob(t, x.b).ID
	for _, g := range gates {
		rec(t, x.b, x.job, gate(g))
	}
	rec(t, x.b, x.job, figure("flutter/9.525", 0.08, 0.01, "%"))
	rec(t, x.b, x.job, figure("drift/9.525", 0.02, 0.01, "%/min"))
	rec(t, x.b, x.job, figure(job.ReferenceOutput, simOutput, 0.02, "dBFS"))
	for _, s := range lineUp(t, x.b, x.job).Steps {
		if s.Captured != nil {
			x.targets[s.ID] = s.Captured.Value
		}
	}
	return x
}

// measure gives the figures of the pass that was just played, as a capture would.
func (x *lining) measure(_ context.Context, _ []measure.Source, opt measure.Options) (measure.Report, error) {
	f := x.heard
	var out []measure.Result
	add := func(r measure.Result, half float64) {
		r.Lo, r.Hi = r.Value-half, r.Value+half
		r.Conditions = measure.Conditions{Case: opt.Case, SpeedCmS: simSpeed}
		out = append(out, r)
	}
	add(measure.Result{Name: "speed_error", Value: f.SpeedPercent, Unit: "%", Section: "speed 3150 Hz", ToneHz: 3150}, 0.04)
	for _, tr := range f.Tracks {
		add(measure.Result{Name: "level", Track: tr.Track, Value: x.targets[fmt.Sprintf("level/VRa/%d", tr.Track)] + tr.LevelDB, Unit: "dBFS", Section: "reference 315 Hz", ToneHz: 315}, 0.2)
		add(measure.Result{Name: "response", Track: tr.Track, Value: x.targets[fmt.Sprintf("treble/VRb/%d", tr.Track)] + tr.ResponseDB[10000], Unit: "dB", Section: "10 kHz", ToneHz: 10000}, 0.2)
	}
	g := x.m.Def.Geometry().Tracks
	for _, d := range f.Delays {
		if d.A == 1 && d.B == 6 { // the longest arm; the others say little
			per := float64(g[5].Centre-g[0].Centre) / (simSpeed / 100) * math.Pi / 10800 // s per arcminute
			add(measure.Result{Name: "azimuth_line", Value: d.Seconds / per, Unit: "arcmin"}, 2e-6*1.96/per)
		}
	}
	return measure.Report{Measures: out}, nil
}

// hear plays and captures all tracks, two at a time.
func (x *lining) hear() {
	for _, pair := range [][]int{{1, 6}, {2, 5}, {3, 4}} {
		f, err := x.m.Play(trims.PlayHead, simSpeed, pair...)
		if err != nil {
			x.t.Fatal(err)
		}
		x.heard = f
		_, err = x.b.AddCapture(x.t.Context(), x.job, job.CaptureUpload{Name: "x.wav", Data: bytes.NewReader(x.wav), Tape: pendle, Tracks: pair, Case: measure.CaseState(f.Case)})
		if err != nil {
			x.t.Fatal(err)
		}
	}
}

func (x *lining) open(id string) {
	if slices.Contains(x.m.IsOpen(), id) {
		return
	}
	if err := x.m.Also(id); err != nil {
		x.t.Fatal(err)
	}
	rec(x.t, x.b, x.job, opened(id))
}

func (x *lining) close() {
	for _, id := range slices.Backward(x.m.IsOpen()) {
		rec(x.t, x.b, x.job, putBack(id))
	}
	x.m.Close()
}

func (x *lining) turn(t job.LineUpTurn) {
	by := t.By
	if t.Unit == trim.Degrees {
		by /= 360
	}
	went, err := x.m.Turn(trims.Ref{ID: t.Trim, Key: t.Key}, by)
	if err != nil {
		x.t.Fatal(err)
	}
	e := job.Turn{Trim: t.Trim, Key: t.Key, By: went, Unit: trim.Turns, Stopped: math.Abs(went-by) > 1e-9}
	if !x.looked[t.Trim] { // what a hand finds at the first turn of a kind
		x.looked[t.Trim] = true
		_, e.Travel, _ = x.m.KindOf(trims.Ref{ID: t.Trim, Key: t.Key})
	}
	rec(x.t, x.b, x.job, job.Entry{Turn: &e})
}

// replay are the steps of the replay side that a capture settles.
func (x *lining) left(l *job.LineUp) []string {
	var out []string
	for _, s := range l.Steps {
		switch s.Kind {
		case lineup.Speed, lineup.Azimuth, lineup.Level, lineup.Treble, lineup.LevelAgain, lineup.AzimuthAgain:
			if s.Standing.State != lineup.StateDone {
				out = append(out, s.ID)
			}
		}
	}
	return out
}

// round turns what is to be turned and captures all tracks anew; false when there is nothing
// to turn.
func (x *lining) round() bool {
	any := false
	for _, n := range lineUp(x.t, x.b, x.job).Turns {
		if n.Do != trim.DoTurn {
			continue
		}
		x.open("door")
		x.open("lid")
		x.turn(n)
		any = true
	}
	if any {
		x.hear()
	}
	return any
}

// The replay side of simulated recorders is lined up by what the record says alone: each
// turn is taken as it is asked for, all is captured anew, and the case is closed when
// nothing is left to turn. In the end the true figures are in tolerance, as far as readings
// of 0.1 dB r.m.s. tell.
func TestTheReplaySideIsLinedUpFromTheRecord(t *testing.T) {
	seeds := []uint64{3}
	if os.Getenv("HEADSTACK_LONG") != "" {
		seeds = nil
		for s := range uint64(20) {
			seeds = append(seeds, s)
		}
	}
	for _, seed := range seeds {
		x := newLining(t, seed)
		x.hear()
		x.open("door")
		x.open("lid")
		x.hear()
		closings := 0
		for ; closings < 7; closings++ {
			for i := 0; i < 10 && x.round(); i++ {
			}
			x.close()
			x.hear()
			if len(x.left(lineUp(t, x.b, x.job))) == 0 {
				break
			}
		}
		l := lineUp(t, x.b, x.job)
		t.Logf("seed %d: %d moves, %d passes, closed %d times, %d entries of doubt", seed, x.m.Count().Moves, l.Tapes[0].Passes, closings+1, len(l.Doubts))
		if left := x.left(l); len(left) > 0 {
			s := stepOf(t, l, left[0])
			t.Errorf("seed %d: left %v, the first %s: %s; turns %+v", seed, left, s.Standing.State, s.Standing.Why, l.Turns)
		}
		if l.Tapes[0].Passes != x.m.Count().Good {
			t.Errorf("seed %d: %d passes are counted, %d were played", seed, l.Tapes[0].Passes, x.m.Count().Good)
		}
		x.judge(seed)
	}
}

// judge holds what is true against the tolerances, widened by three readings' errors.
func (x *lining) judge(seed uint64) {
	truth := x.m.Truth().Speeds[0]
	out := func(what string, v, most float64) {
		if math.Abs(v) > most {
			x.t.Errorf("seed %d: %s is off by %.2f, allowed %.2f", seed, what, v, most)
		}
	}
	out("speed, %", truth.SpeedPercent, 1+0.06)
	out("azimuth, arcminutes", truth.PlayArcmin, 2+0.7)
	for _, tr := range truth.Tracks {
		out(fmt.Sprintf("level of track %d, dB", tr.Play.Track), tr.Play.LevelDB, 0.5+0.3)
		out(fmt.Sprintf("treble of track %d, dB", tr.Play.Track), tr.Play.ResponseDB[10000], 1.5+0.3)
	}
}

// shortWAV is a file of two channels that nothing is measured on.
func shortWAV(t testing.TB) []byte {
	t.Helper()
	f, err := os.Create(filepath.Join(t.TempDir(), "short.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 16, Channels: 2, SampleRate: 48000})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Write([][]float64{make([]float64, 10), make([]float64, 10)}, 10), w.Close()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return data
}
