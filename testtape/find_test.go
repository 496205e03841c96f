package testtape

import (
	"math"
	"strings"
	"testing"
)

// shortTape is the built-in cassette tape with sections of a third, to keep
// tests quick.
func shortTape(t testing.TB, share float64) *Tape {
	t.Helper()
	tape, err := Builtin("pendle-brook-cassette")
	if err != nil {
		t.Fatal(err)
	}
	for i := range tape.Sections {
		tape.Sections[i].Seconds *= share
	}
	return tape
}

const (
	sPlain = iota // sections of the cassette tape
	s315
	s63
	s125
	s1k
	s3k15
	s6k3
	s10k
	s12k5
	sSilence
	sSpeed
)

func lead(seconds float64, kind string) []piece {
	return []piece{{section: -1, kind: kind, seconds: seconds, db: -20}}
}

// checkFound compares a finding with the truth of a scene.
func checkFound(t *testing.T, tape *Tape, sc *scene, f *Finding, tol float64) {
	t.Helper()
	truth := sc.truth(len(tape.Sections))
	for i, want := range truth {
		got := f.Sections[i]
		if got.Found != want.Found {
			t.Errorf("%s: found %v, want %v (%s)", tape.Sections[i].Name, got.Found, want.Found, got.Reason)
			continue
		}
		if !got.Found {
			if got.Reason == "" {
				t.Errorf("%s: no reason", tape.Sections[i].Name)
			}
			continue
		}
		if d, e := got.StartS-want.StartS, got.EndS-want.EndS; math.Abs(d) > tol || math.Abs(e) > tol {
			t.Errorf("%s: %.3f to %.3f s, want %.3f to %.3f (%+.3f, %+.3f)", tape.Sections[i].Name, got.StartS, got.EndS, want.StartS, want.EndS, d, e)
		}
	}
	if f.SpeedRatio == 0 || math.Abs(f.SpeedRatio/sc.ratio-1) > 2e-4 {
		t.Errorf("speed ratio %.5f, want %.5f", f.SpeedRatio, sc.ratio)
	}
	if t.Failed() {
		t.Logf("warnings: %q", f.Warnings)
	}
}

func TestFind(t *testing.T) {
	base := func(tape *Tape, ratio, gap float64, skip ...int) *scene {
		sc := &scene{rate: 32000, channels: 1, ratio: ratio, noiseDB: refDBFS - 45, flutter: 0.001, seed: 1}
		sc.pieces = append(lead(1.7, "leader"), scenePieces(tape, ratio, gap, skip...)...)
		sc.pieces = append(sc.pieces, lead(2.1, "leader")...)
		return sc
	}
	cases := []struct {
		name string
		make func(tape *Tape) *scene
	}{
		{"plain", func(tp *Tape) *scene { return base(tp, 1, 0.4) }},
		{"no gaps", func(tp *Tape) *scene { return base(tp, 1, 0) }},
		{"long gaps", func(tp *Tape) *scene { return base(tp, 1, 2) }},
		{"fast", func(tp *Tape) *scene { return base(tp, 1.06, 0.4) }},
		{"slow", func(tp *Tape) *scene { return base(tp, 0.94, 0.4) }},
		{"3000 for 3150", func(tp *Tape) *scene { return base(tp, 3000./3150, 0) }},
		{"noiseless", func(tp *Tape) *scene { sc := base(tp, 1.003, 0.4); sc.noiseDB, sc.flutter = 0, 0; return sc }},
		{"noise 20 dB down", func(tp *Tape) *scene { sc := base(tp, 1.01, 0.4); sc.noiseDB = refDBFS - 20; return sc }},
		{"hum 50 Hz", func(tp *Tape) *scene { sc := base(tp, 0.99, 0.4); sc.humHz, sc.humDB = 50, refDBFS-30; return sc }},
		{"hum 60 Hz near 63 Hz", func(tp *Tape) *scene { sc := base(tp, 0.955, 0.4); sc.humHz, sc.humDB = 60, refDBFS-40; return sc }},
		{"dull", func(tp *Tape) *scene { sc := base(tp, 1, 0.4); sc.dullDB = 30; return sc }},
		{"dull with hum", func(tp *Tape) *scene {
			sc := base(tp, 1.02, 0)
			sc.dullDB, sc.humHz, sc.humDB = 30, 50, refDBFS-35
			return sc
		}},
		{"distorted", func(tp *Tape) *scene { sc := base(tp, 1, 0.3); sc.thirdDB = -20; return sc }},
		{"drop-outs", func(tp *Tape) *scene { sc := base(tp, 1, 0.3); sc.dropouts = 40; return sc }},
		{"flutter 0.4 %", func(tp *Tape) *scene { sc := base(tp, 1, 0.3); sc.flutter = 0.004; return sc }},
		{"head missing", func(tp *Tape) *scene { return base(tp, 1, 0.4, sPlain, s315, s63) }},
		{"reference missing", func(tp *Tape) *scene { return base(tp, 1, 0.4, sPlain) }},
		{"second 315 missing", func(tp *Tape) *scene { return base(tp, 1, 0.4, s315) }},
		{"tail missing", func(tp *Tape) *scene { return base(tp, 1, 0.4, s10k, s12k5, sSilence, sSpeed) }},
		{"middle missing", func(tp *Tape) *scene { return base(tp, 0.97, 0.4, s1k, s3k15) }},
		{"speed section missing", func(tp *Tape) *scene { return base(tp, 1, 0.4, sSpeed) }},
		{"only the reference", func(tp *Tape) *scene {
			return base(tp, 1, 0.4, s315, s63, s125, s1k, s3k15, s6k3, s10k, s12k5, sSilence, sSpeed)
		}},
		{"spoken ident", func(tp *Tape) *scene {
			sc := base(tp, 1, 0.4)
			sc.pieces = append(lead(4, "voice"), sc.pieces...)
			sc.pieces = append(sc.pieces, lead(4, "voice")...)
			return sc
		}},
		{"idents between all", func(tp *Tape) *scene {
			sc := &scene{rate: 32000, channels: 1, ratio: 1.02, noiseDB: refDBFS - 45, flutter: 0.001, seed: 1}
			for _, p := range scenePieces(tp, 1.02, 0) {
				sc.pieces = append(sc.pieces, lead(0.3, "leader")...)
				sc.pieces = append(sc.pieces, lead(1.5, "voice")...)
				sc.pieces = append(sc.pieces, lead(0.3, "leader")...)
				sc.pieces = append(sc.pieces, p)
			}
			return sc
		}},
		{"noise bursts around", func(tp *Tape) *scene {
			sc := base(tp, 1, 0.4)
			sc.pieces = append(lead(3, "burst"), sc.pieces...)
			sc.pieces = append(sc.pieces, lead(3, "burst")...)
			return sc
		}},
		{"long silence around", func(tp *Tape) *scene {
			sc := base(tp, 1, 0.4)
			sc.pieces = append(lead(20, "leader"), sc.pieces...)
			sc.pieces = append(sc.pieces, lead(20, "leader")...)
			return sc
		}},
		{"music before", func(tp *Tape) *scene {
			sc := base(tp, 1, 0.4)
			sc.pieces = append(lead(15, "chord"), sc.pieces...)
			return sc
		}},
		{"four tracks, two dead, one dull and quiet", func(tp *Tape) *scene {
			sc := base(tp, 1.01, 0.4)
			sc.channels, sc.gainDB, sc.dead = 4, []float64{0, -30, 0, 0}, []bool{true, false, true, false}
			sc.humHz, sc.humDB = 50, refDBFS-40
			return sc
		}},
		{"only a quiet track among dead ones", func(tp *Tape) *scene {
			sc := base(tp, 1.01, 0.4)
			sc.channels, sc.gainDB, sc.dead = 4, []float64{0, -20, 0, 0}, []bool{true, false, true, true}
			sc.noiseDB = refDBFS - 60
			return sc
		}},
		{"44.1 kHz", func(tp *Tape) *scene { sc := base(tp, 1, 0.4); sc.rate = 44100; return sc }},
		{"96 kHz", func(tp *Tape) *scene { sc := base(tp, 1, 0.4); sc.rate = 96000; return sc }},
		{"192 kHz", func(tp *Tape) *scene { sc := base(tp, 1, 0.4); sc.rate = 192000; return sc }},
		{"lengths off by 20 %", func(tp *Tape) *scene {
			sc := base(tp, 1, 0.4)
			for i := range sc.pieces {
				if p := &sc.pieces[i]; p.section >= 0 && p.hz > 0 {
					p.seconds *= []float64{0.8, 1.2, 1}[i%3]
				}
			}
			return sc
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			tape := shortTape(t, 0.4)
			sc := c.make(tape)
			f, err := Find(t.Context(), sc.render(), tape)
			if err != nil {
				t.Fatal(err)
			}
			checkFound(t, tape, sc, f, 0.1)
			for i := range f.Sections {
				if f.Sections[i].Partial {
					t.Errorf("%s: called partial", tape.Sections[i].Name)
				}
			}
			if strings.Contains(c.name, "dead") && !strings.Contains(strings.Join(f.Warnings, "\n"), "channel 1 carries none") {
				t.Errorf("no warning of the dead channel 1 in %q", f.Warnings)
			}
		})
	}
}
