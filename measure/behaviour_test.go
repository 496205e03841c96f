package measure

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"headstack/dsp"
	"headstack/testtape"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// basic is a quick capture of three tracks.
func basic() *synth {
	return &synth{rate: 16000, tape: tapeOf(4, 315, 1000, 5000, 0), tracks: 3, speed: 1.004, amp: constant(0.2), noise: 5e-4, seed: 3}
}

func wantRefused(t *testing.T, r Result, part string) {
	t.Helper()
	if !strings.Contains(r.Refused, part) {
		t.Errorf("%s of track %d, %d in %q: %+v refused %q, want a reason with %q", r.Name, r.Track, r.TrackB, r.Section, r.Value, r.Refused, part)
	}
	if r.Value != 0 || r.Lo != 0 || r.Hi != 0 {
		t.Errorf("%s of track %d: a refusal with numbers %g %g %g", r.Name, r.Track, r.Value, r.Lo, r.Hi)
	}
}

func wantWarning(t *testing.T, r Result, part string) {
	t.Helper()
	if !strings.Contains(strings.Join(r.Warnings, "\n"), part) {
		t.Errorf("%s of track %d, %d in %q: warnings %q (refused %q), want one with %q", r.Name, r.Track, r.TrackB, r.Section, r.Warnings, r.Refused, part)
	}
}

func TestDeadTrackIsRefusedAndListed(t *testing.T) {
	s := basic()
	s.amp = func(k, i int) float64 {
		if k == 1 {
			return 0
		}
		return 0.2
	}
	rep := s.run(t)
	for _, sec := range []string{"a", "b", "c"} {
		wantRefused(t, get(t, rep, "level", sec, 2, 0), "tone absent")
		wantRefused(t, get(t, rep, "response", sec, 2, 0), "tone absent")
		wantRefused(t, get(t, rep, "speed_error", sec, 2, 0), "tone absent")
	}
	wantRefused(t, get(t, rep, "noise", "d", 2, 0), "reference")
	wantRefused(t, get(t, rep, "azimuth", "", 1, 2), "no tone")
	if r := get(t, rep, "azimuth", "", 1, 3); r.Refused != "" {
		t.Errorf("azimuth 1, 3: %s", r.Refused)
	}
	if r := get(t, rep, "speed_error", "", 0, 0); math.Abs(r.Value-0.4) > 0.001 {
		t.Errorf("speed error %g, want 0.4", r.Value)
	}
	s.noise = 0
	wantRefused(t, get(t, s.run(t), "level", "a", 2, 0), "track silent")
}

func TestWeakTrackIsStillMeasured(t *testing.T) {
	s := basic()
	s.amp = func(k, i int) float64 { return []float64{0.2, 0.002, 0.2}[k] } // −40 dB, 12 dB over its noise
	rep := s.run(t)
	for _, sec := range []string{"a", "b", "c"} {
		r := get(t, rep, "level", sec, 2, 0)
		if want := 20 * math.Log10(0.002); r.Refused != "" || math.Abs(r.Value-want) > 0.2 || r.Lo > want || r.Hi < want-0.2 {
			t.Errorf("section %s: %+v, want %.2f", sec, r, want)
		}
	}
}

func TestSectionNotFoundIsListed(t *testing.T) {
	s := basic()
	m, f := s.render()
	f.places[1] = place{index: 1, reason: "no tone near 1000 Hz"}
	f.places[2].endS = f.places[2].startS + 0.9
	f.places[3].partial = true
	rep, err := measureTape(context.Background(), []Source{m.source("x.wav")}, Options{Tape: s.tape, Geometry: heads(3), Case: CaseOpen}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	wantRefused(t, get(t, rep, "level", "b", 1, 0), "section not found: no tone near 1000 Hz")
	wantRefused(t, get(t, rep, "response", "b", 3, 0), "section not found")
	wantRefused(t, get(t, rep, "level", "c", 1, 0), "too short")
	wantWarning(t, get(t, rep, "noise", "d", 1, 0), "cut by the start or end")
	if c := get(t, rep, "level", "a", 2, 0).Conditions; c.Case != CaseOpen || c.Channel != 2 || c.Capture != "x.wav" || c.Tape != "test" || c.SpeedCmS != 9.525 {
		t.Errorf("conditions %+v", c)
	}
	if len(rep.Sections) != 4 || rep.Sections[1].Found || rep.Sections[1].Reason == "" || !rep.Sections[0].Found {
		t.Errorf("sections %+v", rep.Sections)
	}
	if _, err := json.Marshal(rep); err != nil {
		t.Error(err)
	}
}

func TestReferenceMissing(t *testing.T) {
	s := basic()
	m, f := s.render()
	f.places[0] = place{index: 0, reason: "cut off"}
	rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: s.tape, Geometry: heads(3)}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	wantRefused(t, get(t, rep, "response", "b", 1, 0), "no reference")
	wantRefused(t, get(t, rep, "noise", "d", 1, 0), "no reference")
	if r := get(t, rep, "level", "b", 1, 0); r.Refused != "" {
		t.Errorf("level refused: %s", r.Refused)
	}
}

func TestWarnings(t *testing.T) {
	s := basic()
	s.add = func(k int, tm float64) float64 {
		switch {
		case k == 1 && tm > 1 && tm < 3: // hum beside 315 Hz
			return 0.005 * math.Sin(2*math.Pi*350*tm)
		case k == 2 && tm > 2 && tm < 2.03: // a drop-out
			return -0.2 * 0.8 * math.Sin(2*math.Pi*315*1.004*tm)
		}
		return 0
	}
	s.noise = 0
	rep := s.run(t)
	wantWarning(t, get(t, rep, "level", "a", 2, 0), "hum at 350 Hz")
	wantWarning(t, get(t, rep, "level", "a", 3, 0), "level unsteady")
	for _, sec := range []string{"a", "b", "c"} {
		if w := get(t, rep, "level", sec, 1, 0).Warnings; len(w) > 0 {
			t.Errorf("clean section %s: warnings %q", sec, w)
		}
	}
	s.add, s.amp = nil, func(k, i int) float64 { return 1.2 }
	m, f := s.render()
	for _, ch := range m.ch {
		for i, v := range ch {
			ch[i] = math.Max(-1, math.Min(1, v))
		}
	}
	rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: s.tape, Geometry: heads(3)}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	wantWarning(t, get(t, rep, "level", "a", 1, 0), "clipped")
}

func TestPolarityReversed(t *testing.T) {
	s := basic()
	s.invert = []bool{false, true, false}
	s.behind = []float64{0, 40e-6, -25e-6}
	rep := s.run(t)
	for _, sec := range []string{"a", "b", "c"} {
		r := get(t, rep, "delay", sec, 1, 2)
		wantWarning(t, r, "polarity reversed")
		if math.Abs(r.Value-40/1.004) > 0.5 {
			t.Errorf("delay in %s: %.3f µs, want %.3f", sec, r.Value, 40/1.004)
		}
		if r := get(t, rep, "delay", sec, 1, 3); math.Abs(r.Value+25/1.004) > 0.5 || len(r.Warnings) > 0 {
			t.Errorf("delay 1, 3 in %s: %.3f µs, warnings %q", sec, r.Value, r.Warnings)
		}
	}
}

// A stereo bus carries two tracks at a time, all against track 1.
func TestTwoAtATime(t *testing.T) {
	s := basic()
	s.behind = []float64{0, 40e-6, 90e-6}
	m, f := s.render()
	one := &memory{rate: m.rate, ch: [][]float64{m.ch[0], m.ch[1]}}
	two := &memory{rate: m.rate, ch: [][]float64{m.ch[2], m.ch[0]}} // left is track 3
	rep, err := measureTape(context.Background(), []Source{one.source("12.wav", 1, 2), two.source("31.wav", 3, 1)}, Options{Tape: s.tape, Geometry: heads(3)}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	levels := 0
	for _, r := range rep.Measures {
		if r.Name == "level" && r.Track == 1 && r.Section == "a" {
			levels++
		}
	}
	if levels != 2 {
		t.Errorf("track 1 was captured twice but has %d levels", levels)
	}
	if r := get(t, rep, "delay", "c", 1, 3); math.Abs(r.Value-90/1.004) > 0.5 || r.Conditions.Capture != "31.wav" {
		t.Errorf("delay 1, 3: %+v", r)
	}
	r := get(t, rep, "delay", "c", 2, 3)
	if math.Abs(r.Value-50/1.004) > 0.5 {
		t.Errorf("delay 2, 3: %.3f, want %.3f", r.Value, 50/1.004)
	}
	wantWarning(t, r, "through track 1, from two passes")
	az := get(t, rep, "azimuth", "", 2, 3)
	wantWarning(t, az, "through track 1, from two passes")
	if want := math.Atan(50e-6*0.09525/0.62e-3) * arcminPerRadian; math.Abs(az.Value-want) > 0.2 {
		t.Errorf("azimuth 2, 3: %.3f, want %.3f", az.Value, want)
	}
	line := get(t, rep, "azimuth_line", "", 0, 0)
	if want := math.Atan(45e-6*0.09525/0.62e-3) * arcminPerRadian; math.Abs(line.Value-want) > 0.5 || !strings.Contains(line.Method, "largest deviation") {
		t.Errorf("line: %+v, want about %.2f", line, want)
	}
}

func TestFringingIsTakenOffWhereItApplies(t *testing.T) {
	s := basic()
	m, f := s.render()
	response := func(layout testtape.Layout, compensated bool) Result {
		s.tape.TrackLayout, s.tape.FringingCompensated = layout, compensated
		rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: s.tape, Geometry: heads(3)}, known(f))
		if err != nil {
			t.Fatal(err)
		}
		return get(t, rep, "response", "c", 2, 0)
	}
	plain := response(testtape.PerTrack, false)
	if full := response(testtape.FullWidth, true); full.Value != plain.Value {
		t.Errorf("compensated tape: %.3f, want %.3f as per-track", full.Value, plain.Value)
	}
	full := response(testtape.FullWidth, false)
	// Fringing raises the reference tone, so a flat capture means that treble is
	// higher than it should be.
	if d := full.Value - plain.Value; d < 0.2 || d > 1.5 || !strings.Contains(full.Method, "fringing") {
		t.Errorf("full-width tape: %.3f dB more than per-track, want 0.2 to 1.5; method %q", d, full.Method)
	}
	if r := response(testtape.FullWidth, false); r.Track != 2 {
		t.Fatal(r.Track)
	}
}

func TestStatedLevelsAreAllowedFor(t *testing.T) {
	s := basic()
	s.tape.Sections[0].LevelDB, s.tape.Sections[1].LevelDB, s.tape.Sections[2].LevelDB = 0, -10, -20
	s.amp = func(k, i int) float64 { return 0.2 * math.Pow(10, []float64{0, -10 + 1.5, -20 - 0.7, 0}[i]/20) }
	rep := s.run(t)
	for sec, want := range map[string]float64{"a": 0, "b": 1.5, "c": -0.7} {
		if r := get(t, rep, "response", sec, 1, 0); math.Abs(r.Value-want) > 0.02 {
			t.Errorf("response in %s: %.3f, want %.2f", sec, r.Value, want)
		}
	}
}

func TestErrors(t *testing.T) {
	s := basic()
	m, f := s.render()
	opt := Options{Tape: s.tape}
	if _, err := TestTape(context.Background(), nil, Options{}); !errors.Is(err, ErrNoTape) {
		t.Errorf("no tape: %v", err)
	}
	if _, err := measureTape(context.Background(), []Source{m.source("x.wav", 1, 2)}, opt, known(f)); err == nil || !strings.Contains(err.Error(), "x.wav") || !strings.Contains(err.Error(), "one track per channel") {
		t.Errorf("wrong tracks: %v", err)
	}
	broken := errors.New("cable pulled")
	src := m.source("x.wav")
	opens := 0
	src.Open = func() (dsp.Stream, func() error, error) {
		opens++
		if opens == 2 {
			return nil, nil, broken
		}
		return &memory{rate: m.rate, ch: m.ch}, nil, nil
	}
	if _, err := measureTape(context.Background(), []Source{src}, opt, known(f)); !errors.Is(err, broken) {
		t.Errorf("second opening: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := measureTape(ctx, []Source{m.source("x.wav")}, opt, known(f)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestUnusedChannelAndProgress(t *testing.T) {
	s := basic()
	m, f := s.render()
	last := 0.0
	rep, err := measureTape(context.Background(), []Source{m.source("x", 2, 0, 1)}, Options{Tape: s.tape, Geometry: heads(3), Progress: func(d float64) {
		if d < last {
			t.Errorf("progress went back from %g to %g", last, d)
		}
		last = d
	}}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	if last != 1 {
		t.Errorf("progress ended at %g", last)
	}
	for _, r := range rep.Measures {
		if r.Track > 2 || r.TrackB > 2 {
			t.Errorf("%s of track %d, %d: that channel was left out", r.Name, r.Track, r.TrackB)
		}
	}
	if r := get(t, rep, "delay", "a", 1, 2); r.Refused != "" {
		t.Error(r.Refused)
	}
}
