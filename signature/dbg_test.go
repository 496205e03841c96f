package signature_test

import (
	"os"
	"strconv"
	"testing"

	"headstack/signature"
	"headstack/sim"
)

func TestOne(t *testing.T) {
	seed, _ := strconv.Atoi(os.Getenv("SEED"))
	b := benchOf(os.Getenv("REEL") != "")
	s, rng := newScene(b, uint64(seed))
	s.put(signature.Cause(os.Getenv("CAUSE")), rng)
	var m sim.Memory
	rep := s.capture(t, &m)
	e, err := signature.Explain(rep, b.opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v arc %.2f %+v", s.causes, s.arc, s.faults)
	for _, f := range e.Findings {
		t.Logf("   %.4f %s %v: %s / %s", f.Probability, f.Cause, f.Tracks, f.Sentence, f.WouldSeparate)
		for _, p := range f.Parameters {
			t.Logf("        %s %d %.3f %.3f..%.3f", p.Name, p.Track, p.Value, p.Lo, p.Hi)
		}
	}
	for _, o := range e.Open {
		t.Log("OPEN ", o.Sentence, " / ", o.WouldSeparate)
	}
	t.Log(e.SetAside, e.Warnings, e.Method)
	for _, r := range rep.Measures {
		switch r.Name {
		case "level", "delay", "noise_floor", "flicker_treble", "flicker_all_band":
			if r.TrackB == 0 || r.ToneHz == 10000 {
				t.Logf("%s %d %d %s %.3f %.3f..%.3f %s", r.Name, r.Track, r.TrackB, r.Section, r.Value, r.Lo, r.Hi, r.Refused)
			}
		}
	}
}
