package live

import (
	"context"
	"testing"
	"time"

	"headstack/sim"
)

// TestEnough: the tape may be stopped in the middle of its last section, once that is known well enough, and
// not before.
func TestEnough(t *testing.T) {
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.4, func(sc *sim.Scenario) { sc.Channels = []int{2, 5} })
	cfg := p.config(t)
	cfg.Expect.Tracks = []int{2, 5}
	cfg.Want = DefaultWant()
	cfg.Want.FlutterS = 3
	s := begin(t, cfg)
	last := p.truth.Sections[len(p.truth.Sections)-1]
	at := func(seconds float64) int { return int(seconds*float64(p.rate)) * p.n }
	push(t, s, p.frames[:at(last.StartS+2)])
	settled := func(until func(State) bool) State {
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		defer stop()
		for seq := uint64(0); ; {
			st, err := s.Wait(ctx, seq)
			if err != nil || until(st) {
				return st
			}
			seq = st.Seq
		}
	}
	n := len(p.truth.Sections) - 1
	st := settled(func(st State) bool { return st.Sections[n].Stage == Running })
	if st.Enough || st.Sections[n].Enough || st.Sections[n].Lacks == "" {
		t.Errorf("2 s into %q of which 3 s are wanted: enough %v, lacks %q", st.Sections[n].Name, st.Enough, st.Sections[n].Lacks)
	}
	push(t, s, p.frames[at(last.StartS+2):at(last.StartS+6)])
	st = settled(func(st State) bool { return st.Enough })
	if !st.Enough || st.Phase != PhaseRunning || st.Sections[n].Stage != Running {
		t.Errorf("6 s into %q: enough %v, it is %s and lacks %q", st.Sections[n].Name, st.Enough, st.Sections[n].Stage, st.Sections[n].Lacks)
	}
	k, err := s.Close()
	if err != nil || !k.Enough {
		t.Errorf("kept: enough %v, %v", k.Enough, err)
	}
}

// TestNotEnough: a level that is wanted better than the tape gives it is never enough, and says so.
func TestNotEnough(t *testing.T) {
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.3, func(sc *sim.Scenario) { sc.Channels = []int{2} })
	cfg := p.config(t)
	cfg.Expect.Tracks = []int{2}
	cfg.Want = DefaultWant()
	cfg.Want.LevelDB = 1e-5
	s := begin(t, cfg)
	push(t, s, p.frames)
	k, err := s.Close()
	if err != nil || k.Enough {
		t.Errorf("enough %v, %v", k.Enough, err)
	}
	for _, x := range s.State().Sections {
		if x.ToneHz > 0 && (x.Enough || x.Lacks == "") {
			t.Errorf("%q: enough %v, lacks %q", x.Name, x.Enough, x.Lacks)
		}
	}
}
