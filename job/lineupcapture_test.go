package job_test

import (
	"bytes"
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
)

const pendle = "pendle-brook-cassette"

// replayBench is a bench on which every capture of a test tape reads what the test says.
func replayBench(t testing.TB, heard *[]measure.Result) *job.Bench {
	t.Helper()
	b, _, _ := bench(t, job.BenchOptions{Measure: func(_ context.Context, _ []measure.Source, opt measure.Options) (measure.Report, error) {
		rep := measure.Report{Measures: slices.Clone(*heard)}
		for i := range rep.Measures {
			rep.Measures[i].Conditions = measure.Conditions{Case: opt.Case, Tape: opt.Tape.Name, SpeedCmS: opt.Tape.SpeedCmS}
		}
		return rep, nil
	}})
	return b
}

func within(name string, track int, section string, hz, value, half float64, unit string) measure.Result {
	return measure.Result{Name: name, Track: track, Section: section, ToneHz: hz, Value: value, Lo: value - half, Hi: value + half, Unit: unit}
}

func play(t testing.TB, b *job.Bench, id string, state measure.CaseState, tracks ...int) job.Entry {
	t.Helper()
	e, err := b.AddCapture(t.Context(), id, job.CaptureUpload{Name: "x.wav", Data: bytes.NewReader(fenWAV(t, len(tracks))), Tape: pendle, Tracks: tracks, Case: state})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// A capture is a pass of its tape, and its figures settle the steps that play it, in the
// order of the line-up, once it is known what full scale is.
func TestACaptureSettlesItsSteps(t *testing.T) {
	const out = -12.0 // dBFS, the reference output at the interface
	heard := []measure.Result{
		within("speed_error", 0, "speed 3150 Hz", 3150, 0.2, 0.02, "%"),
		within("wow_flutter_2sigma", 0, "speed 3150 Hz", 3150, 0.08, 0.01, "%"),
		within("drift", 0, "speed 3150 Hz", 3150, 0.01, 0.01, "%/min"),
		within("azimuth_line", 0, "", 0, 0.4, 0.2, "arcmin"),
		within("delay", 1, "10 kHz", 10000, 9, 1, "µs"), // no step reads it
	}
	b := replayBench(t, &heard)
	j := openJob(t, b)
	for _, g := range gates {
		rec(t, b, j.ID, gate(g))
	}
	target := stepOf(t, lineUp(t, b, j.ID), "level/VRa/1").Captured.Value // re the reference output
	for _, track := range []int{1, 6} {
		v := out + target
		if track == 6 {
			v += 1.3
		}
		heard = append(heard,
			within("level", track, "reference 315 Hz", 315, v, 0.03, "dBFS"),
			within("level", track, "1 kHz", 1000, v-5, 0.03, "dBFS"), // other sections, one of the same tone
			within("level", track, "315 Hz", 315, v-20, 0.03, "dBFS"),
			within("response", track, "10 kHz", 10000, 0.3, 0.1, "dB"))
	}
	e := play(t, b, j.ID, measure.CaseClosed, 1, 6)
	l := lineUp(t, b, j.ID)
	if l.Hearing.AtOnce != 2 || l.Tapes[0].Passes != 1 || !l.MayPlay {
		t.Errorf("hearing %+v, passes %d, may play %t", l.Hearing, l.Tapes[0].Passes, l.MayPlay)
	}
	// The transport is found steady by the very pass that it was a gate of: that is said.
	if len(l.Problems) != 2 || !strings.HasPrefix(l.Problems[0], "capture 1: test tape") || !strings.Contains(l.Problems[1], job.ReferenceOutput) {
		t.Errorf("problems %q, want one of the pass and one of full scale", l.Problems)
	}
	if s := stepOf(t, l, "azimuth/AZ"); s.Standing.State != lineup.StateDone || s.Last != e.Ref || s.Read.Value != 0.4 {
		t.Errorf("azimuth is %s by %q: %s", s.Standing.State, s.Last, s.Standing.Why)
	}
	if s := stepOf(t, l, "level/VRa/1"); s.Standing.State == lineup.StateDone {
		t.Error("a level in dBFS was held against a target, with nobody knowing what full scale is")
	}

	rec(t, b, j.ID, figure(job.ReferenceOutput, out, 0.05, "dBFS"))
	l = lineUp(t, b, j.ID)
	if l.OutputDBFS == nil || l.OutputDBFS.Value != out || len(l.Problems) != 1 {
		t.Errorf("output %+v, problems %q", l.OutputDBFS, l.Problems)
	}
	for id, want := range map[string]lineup.State{
		"speed/VR1": lineup.StateDone, "flutter/9.525": lineup.StateDone,
		"level/VRa/1": lineup.StateDone, "treble/VRb/1": lineup.StateDone, "level_again/9.525/1": lineup.StateDone,
		"level/VRa/6": lineup.StateDue, "treble/VRb/6": lineup.StateBlocked, "level/VRa/2": lineup.StateDue,
	} {
		if s := stepOf(t, l, id); s.Standing.State != want {
			t.Errorf("%s is %s (%s), want %s", id, s.Standing.State, s.Standing.Why, want)
		}
	}
	s := stepOf(t, l, "level/VRa/6")
	if s.Standing.Judgement == nil || math.Abs(s.Standing.Judgement.Error-1.3) > 1e-9 || s.Captured.Unit != "dBFS" {
		t.Errorf("level of track 6 is off by %+v, want 1.3 dB", s.Standing.Judgement)
	}
	if len(l.Turns) != 1 || l.Turns[0].Part != "VRa-6" || l.Turns[0].By >= 0 || math.Abs(l.Turns[0].Now.Value-1.3) > 0.05 {
		t.Errorf("turns %+v, want VRa-6 anticlockwise by 1.3 dB", l.Turns)
	}
	if !slices.Equal(l.Next, []string{"level/VRa/2", "level/VRa/3", "level/VRa/4", "level/VRa/5", "level/VRa/6"}) {
		t.Errorf("next %v", l.Next)
	}
	// As found stays the first reading, whatever is read later.
	if f := stepOf(t, l, "proof_level/9.525/6"); f.Found != e.Ref {
		t.Errorf("as found by %q, want %q", f.Found, e.Ref)
	}
}

// Own recordings are read by the steps of the record side, and by them alone.
func TestACaptureOfAProgrammeIsNoPass(t *testing.T) {
	heard := []measure.Result{within("level", 1, "reference 315 Hz", 315, -12, 0.03, "dBFS")}
	b := replayBench(t, &heard)
	j := openJob(t, b)
	play(t, b, j.ID, measure.CaseClosed, 1, 6)
	l := lineUp(t, b, j.ID)
	if s := stepOf(t, l, "record_level/VRc/1"); s.Found != "" {
		t.Errorf("a test tape was taken for an own recording: %s", s.Found)
	}
	if s := stepOf(t, l, "level/VRa/1"); s.Found != "capture 1" || s.Last != "" {
		t.Errorf("level before its turn: found %q, last %q; want as found alone", s.Found, s.Last)
	}
}

// Readings at a test point settle what is read there without a tape.
func TestReadingsAtTestPointsSettleTheirSteps(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ready(t, b, j.ID)
	rec(t, b, j.ID, figure("bias_frequency/VRo", 92.5, 0.1, "kHz"))
	rec(t, b, j.ID, job.Entry{Reading: &job.Reading{TestPoint: "TP30-3", Value: 91, Unit: "mV"}})
	l := lineUp(t, b, j.ID)
	if s := stepOf(t, l, "erase/9.525/3"); s.Standing.State != lineup.StateDone || s.Last != "reading 1" {
		t.Errorf("erase of track 3 is %s by %q: %s", s.Standing.State, s.Last, s.Standing.Why)
	}
	if s := stepOf(t, l, "erase/9.525/2"); s.Standing.State == lineup.StateDone {
		t.Error("a reading of track 3 settled track 2")
	}
	// A trap is tuned: two readings and the turn between say on which side the least lies.
	rec(t, b, j.ID, figure("trap/L7/3", 200, 5, "mV"))
	rec(t, b, j.ID, job.Entry{Turn: &job.Turn{Trim: "L7-3", By: 0.3}})
	rec(t, b, j.ID, figure("trap/L7/3", 120, 5, "mV"))
	if s := stepOf(t, lineUp(t, b, j.ID), "trap/L7/3"); s.Turn == nil || s.Turn.By <= 0 || s.Turn.Part != "L7-3" || s.Turn.Now.Unit != "dB" {
		t.Errorf("turn of the trap: %+v, want further the way that lowered it", s.Turn)
	}
}

// A whole evening: six passes of all tracks with turns between.
func BenchmarkLineUp(b *testing.B) {
	heard := []measure.Result{within("speed_error", 0, "speed 3150 Hz", 3150, 0.2, 0.02, "%"), within("azimuth_line", 0, "", 0, 0.4, 0.2, "arcmin")}
	for track := 1; track <= 6; track++ {
		heard = append(heard, within("level", track, "reference 315 Hz", 315, -12, 0.03, "dBFS"), within("response", track, "10 kHz", 10000, 0.3, 0.1, "dB"))
	}
	bench := replayBench(b, &heard)
	j := openJob(b, bench)
	rec(b, bench, j.ID, figure(job.ReferenceOutput, -12, 0.05, "dBFS"))
	for _, g := range gates {
		rec(b, bench, j.ID, gate(g))
	}
	for i := range 6 {
		play(b, bench, j.ID, measure.CaseClosed, 1, 2, 3, 4, 5, 6)
		for _, part := range []string{"VRa-1", "VRa-4", "VRb-2", "VRb-5"} {
			rec(b, bench, j.ID, turned(part, float64(5-i)))
		}
	}
	for b.Loop() {
		if _, _, err := bench.LineUp(b.Context(), j.ID); err != nil {
			b.Fatal(err)
		}
	}
}
