package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"headstack/programme"
)

// compandingProgramme has weak steps of a middle and a treble tone.
func compandingProgramme() *programme.Programme {
	p := &programme.Programme{Format: 1, Name: "companding", Tracks: 1, SpeedCmS: 38.1, ReferenceHz: 1000, ReferenceDBFS: -12, Rounds: [][]int{{1}}}
	p.Parts = append(p.Parts, programme.Part{Name: "reference", Kind: programme.Tone, Seconds: 3, All: []programme.Sine{{Hz: 1000}}})
	for _, hz := range []float64{1000, 6300} {
		for db := -10.0; db >= -40; db -= 10 {
			p.Parts = append(p.Parts, programme.Part{Name: fmt.Sprintf("%g %g", hz, db), Kind: programme.Companding, Seconds: 1.5, StepSeconds: 1.5, All: []programme.Sine{{Hz: hz, LevelDB: db}}})
		}
	}
	return p
}

func newCompanded(seed uint64) *bent {
	s := newBent(seed)
	s.prog, s.a, s.aTreble, s.gain = compandingProgramme(), 0, 0, 0.2
	s.noise = s.gain / math.Sqrt2 * 1e-3
	return s
}

func TestNoiseReductionLeftOn(t *testing.T) {
	for _, c := range []struct {
		name          string
		expand, slide float64
		treble        float64 // expected, dB
		warn          string
	}{
		{"none", 1, 0, 0, ""},
		{"expander", 2, 0, 0, "levels 30 dB apart read 60 dB apart: a 2:1 compander is left on in replay"},
		{"compressor", 0.5, 0, 0, "levels 30 dB apart read 15 dB apart: a 2:1 compander was on in recording"},
		{"treble falls", 1, 0.2, -6, "treble reads 6.0 dB lower at -40 dB than at -10 dB"},
		{"treble rises", 1, -0.2, 6, "treble reads 6.0 dB higher at -40 dB than at -10 dB"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newCompanded(3)
			s.expand, s.slide, s.noise = c.expand, c.slide, s.noise/100
			rep := s.run(t)
			r := get(t, rep, "noise_reduction_left_on", "", 1, 0)
			if r.Refused != "" || math.Abs(r.Value-c.expand) > 0.003 || r.Unit != "dB/dB" || r.ToneHz != 1000 {
				t.Errorf("slope: %+v, want %g dB/dB at 1 kHz", r, c.expand)
			}
			if c.warn != "" {
				wantWarning(t, r, c.warn)
			} else if len(r.Warnings) > 0 {
				t.Errorf("warnings %q, want none", r.Warnings)
			}
			if r := get(t, rep, "treble_follows_level", "", 1, 0); r.Refused != "" || math.Abs(r.Value-c.treble) > 0.05 {
				t.Errorf("treble: %+v, want %g dB", r, c.treble)
			}
		})
	}
}

func TestCompandingCoverage(t *testing.T) {
	runs, long := coverRuns(40, 16)
	cover := newCover(t, runs, long)
	cover.each(func(seed uint64) {
		r := rand.New(rand.NewPCG(seed, 63))
		s := newCompanded(seed)
		s.expand, s.slide = 0.8+0.4*r.Float64(), 0.2*(r.Float64()-0.5)
		s.lines = flutterOf(r, 0.001)
		rep := s.run(t)
		cover.count("noise_reduction_left_on", get(t, rep, "noise_reduction_left_on", "", 1, 0), s.expand)
		cover.count("treble_follows_level", get(t, rep, "treble_follows_level", "", 1, 0), -30*s.expand*s.slide)
	})
	cover.report()
}

func TestCompandingOnATestTape(t *testing.T) {
	s := basic()
	s.noise = 1e-5
	rep := s.run(t)
	wantRefused(t, get(t, rep, "noise_reduction_left_on", "", 1, 0), "two levels")
	wantRefused(t, get(t, rep, "treble_follows_level", "", 1, 0), "two levels")
	// The same tone at 0 and -10 dB, read 20 dB apart.
	s.tape.Sections[1].ToneHz, s.tape.Sections[1].LevelDB = 315, -10
	s.amp = func(_, i int) float64 { return []float64{0.2, 0.02, 0.2, 0}[i] }
	r := get(t, s.run(t), "noise_reduction_left_on", "", 2, 0)
	if r.Refused != "" || math.Abs(r.Value-2) > 0.002 || r.ToneHz != 315 {
		t.Errorf("slope %+v, want 2", r)
	}
	wantWarning(t, r, "levels 10 dB apart read 20 dB apart: a 2:1 compander is left on in replay")
	for _, w := range r.Warnings {
		if strings.Contains(w, "recording") {
			t.Errorf("a test tape was not recorded on this machine: %q", w)
		}
	}
}
