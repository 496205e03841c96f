package testtape

import (
	"context"
	"errors"
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
		tol := tol
		if tape.Sections[i].Silent() {
			tol += sc.silenceTol
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
		{"noiseless", func(tp *Tape) *scene {
			sc := base(tp, 1.003, 0.4)
			sc.noiseDB, sc.flutter, sc.silenceTol = 0, 0, 0.4
			return sc
		}},
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

// A capture that begins and ends inside sections.
func TestFindCut(t *testing.T) {
	tape := shortTape(t, 0.5)
	for _, c := range []struct {
		name     string
		from, to int
		cutHead  float64 // seconds off the first
		cutTail  float64
	}{
		{"inside tones", s125, s10k, 2, 3},
		{"begins in silence", sSilence, sSpeed, 2, 4},
		{"ends in silence", s6k3, sSilence, 1, 2},
		{"almost whole", sPlain, sSpeed, 0.1, 0.1},
	} {
		t.Run(c.name, func(t *testing.T) {
			sc := &scene{rate: 32000, channels: 2, ratio: 1.01, noiseDB: refDBFS - 45, flutter: 0.001, seed: 3}
			for _, p := range scenePieces(tape, sc.ratio, 0.3) {
				if p.section < 0 && len(sc.pieces) > 0 && sc.pieces[len(sc.pieces)-1].section < c.to || p.section >= c.from && p.section <= c.to {
					sc.pieces = append(sc.pieces, p)
				}
			}
			sc.pieces[0].seconds -= c.cutHead
			sc.pieces[len(sc.pieces)-1].seconds -= c.cutTail
			f, err := Find(t.Context(), sc.render(), tape)
			if err != nil {
				t.Fatal(err)
			}
			checkFound(t, tape, sc, f, 0.1)
			for i, s := range f.Sections {
				want := i == c.from && c.cutHead >= 1 || i == c.to && c.cutTail >= 1
				if s.Partial != want {
					t.Errorf("%s: partial %v, want %v", tape.Sections[i].Name, s.Partial, want)
				}
			}
		})
	}
}

// What is not on the tape must not be found.
func TestFindNothing(t *testing.T) {
	tape := shortTape(t, 0.5)
	other := &Tape{
		Format: 1, Name: "other", SpeedCmS: 19.05, Reference: Reference{320, 700, "short-circuit"}, EqualisationUs: Equalisation{High: 70},
		TrackLayout: PerTrack, Sections: []Section{
			{Name: "a", ToneHz: 700, Seconds: 10}, {Name: "b", ToneHz: 14000, LevelDB: -10, Seconds: 5}, {Name: "c", ToneHz: 40, LevelDB: -10, Seconds: 5},
			{Name: "d", ToneHz: 200, LevelDB: -10, Seconds: 5}, {Name: "e", ToneHz: 2000, LevelDB: -10, Seconds: 5}, {Name: "f", ToneHz: 8000, LevelDB: -10, Seconds: 5},
			{Name: "g", ToneHz: 0, Seconds: 5},
		},
	}
	cases := map[string]*scene{
		"digital silence": {pieces: lead(30, "leader")},
		"noise":           {pieces: []piece{{section: -1, seconds: 40}}, noiseDB: -40},
		"loud noise":      {pieces: lead(30, "burst"), noiseDB: -60},
		"hum 50 Hz":       {pieces: lead(30, "leader"), noiseDB: -60, humDB: -40, humHz: 50},
		"hum 60 Hz":       {pieces: lead(30, "leader"), noiseDB: -60, humDB: -40, humHz: 60},
		"speech":          {pieces: lead(60, "voice"), noiseDB: -60},
		"music":           {pieces: lead(60, "chord"), noiseDB: -60},
		"another tape":    {pieces: scenePieces(other, 1, 0.4), noiseDB: refDBFS - 45},
		"three samples":   {pieces: lead(3./32000, "burst")},
		"one frame":       {pieces: lead(0.1, "burst")},
	}
	for name, sc := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(3) {
				sc := *sc
				sc.rate, sc.channels, sc.ratio, sc.seed = 32000, 2, 1, seed
				f, err := Find(t.Context(), sc.render(), tape)
				if err != nil {
					t.Fatal(err)
				}
				for i, s := range f.Sections {
					if s.Found {
						t.Errorf("seed %d: found %s at %.1f to %.1f s", seed, tape.Sections[i].Name, s.StartS, s.EndS)
					} else if s.Reason == "" {
						t.Errorf("seed %d: %s: no reason", seed, tape.Sections[i].Name)
					}
				}
				if len(f.Warnings) == 0 {
					t.Errorf("seed %d: no warning", seed)
				}
			}
		})
	}
}

func TestReasons(t *testing.T) {
	tape := shortTape(t, 0.4)
	play := func(rate float64, pieces []piece) *Finding {
		t.Helper()
		sc := &scene{rate: rate, channels: 1, ratio: 1, noiseDB: refDBFS - 45, seed: 5, pieces: pieces}
		f, err := Find(t.Context(), sc.render(), tape)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	expect := func(f *Finding, section int, pieces ...string) {
		t.Helper()
		s := f.Sections[section]
		if s.Found {
			t.Fatalf("%s found", tape.Sections[section].Name)
		}
		for _, p := range pieces {
			if !strings.Contains(s.Reason, p) {
				t.Errorf("%s: reason %q lacks %q", tape.Sections[section].Name, s.Reason, p)
			}
		}
	}
	f := play(22050, scenePieces(tape, 1, 0.3))
	expect(f, s12k5, "12.5 kHz", "sample rate")
	f = play(32000, scenePieces(tape, 1, 0.3, s1k))
	expect(f, s1k, `tone 1 kHz`, `between sections "125 Hz" and "3.15 kHz"`)
	// A 3 kHz speed section on a tape described as 3150 Hz, all else right.
	pieces := scenePieces(tape, 1, 0.3)
	for i := range pieces {
		if pieces[i].section == sSpeed {
			pieces[i].hz = 3000
		}
	}
	expect(play(32000, pieces), sSpeed, "steady tone of 3 kHz", `after section "silence"`)
	// Two sections exchanged: one of them is out of order.
	pieces = scenePieces(tape, 1, 0.3)
	var a, b int
	for i, p := range pieces {
		switch p.section {
		case s6k3:
			a = i
		case s10k:
			b = i
		}
	}
	pieces[a], pieces[b] = pieces[b], pieces[a]
	f = play(32000, pieces)
	if f.Sections[s6k3].Found == f.Sections[s10k].Found {
		t.Fatal("exchanged sections: exactly one can be in order")
	}
	lost := s6k3
	if f.Sections[s6k3].Found {
		lost = s10k
	}
	expect(f, lost, "out of the tape's order")
}

type brokenStream struct {
	planar
	err error
}

func (b *brokenStream) Read(dst [][]float64) (int, error) {
	if b.at > 20000 {
		return 0, b.err
	}
	return b.planar.Read(dst)
}

func TestFindErrors(t *testing.T) {
	tape := shortTape(t, 0.4)
	stream := func() *planar {
		sc := &scene{rate: 32000, channels: 1, ratio: 1, noiseDB: -40, pieces: lead(3, "leader")}
		return sc.render().(*planar)
	}
	disk := errors.New("disk gone")
	if _, err := Find(t.Context(), &brokenStream{*stream(), disk}, tape); !errors.Is(err, disk) {
		t.Errorf("read error: got %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Find(ctx, stream(), tape); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v", err)
	}
	if _, err := Find(t.Context(), stream(), &Tape{}); err == nil {
		t.Error("an empty tape description is accepted")
	} else if _, ok := errors.AsType[*Error](err); !ok {
		t.Errorf("empty tape: got %v", err)
	}
}

// Samples that are not numbers cost a warning, not the finding.
func TestFindNotFinite(t *testing.T) {
	tape := shortTape(t, 0.3)
	sc := &scene{rate: 32000, channels: 1, ratio: 1, noiseDB: refDBFS - 45, pieces: scenePieces(tape, 1, 0.3), seed: 9}
	p := sc.render().(*planar)
	for i := 5000; i < len(p.data[0]); i += 50000 {
		p.data[0][i] = math.NaN()
		p.data[0][i+1] = math.Inf(1)
	}
	f, err := Find(t.Context(), p, tape)
	if err != nil {
		t.Fatal(err)
	}
	checkFound(t, tape, sc, f, 0.1)
	if !strings.Contains(strings.Join(f.Warnings, "\n"), "not numbers") {
		t.Errorf("no warning in %q", f.Warnings)
	}
}

// Half an hour of eight channels must be kept in a few tens of megabytes; the
// count is exact, as every frame keeps the same.
func TestFeaturesStaySmall(t *testing.T) {
	tape, err := Builtin("carrow-fell-open-reel")
	if err != nil {
		t.Fatal(err)
	}
	sc := &scene{rate: 48000, channels: 8, ratio: 1, noiseDB: -40, pieces: lead(4, "leader")}
	f, err := listen(t.Context(), sc.render(), tape)
	if err != nil {
		t.Fatal(err)
	}
	bytes := 2*len(f.offset) + len(f.snr) + len(f.over) + len(f.channel) + len(f.level) + len(f.total) + len(f.hiss) + 4*len(f.loudest)
	halfHour := float64(bytes) / f.duration() * 1800
	t.Logf("30 minutes of 8 channels, %d tones: %.1f MB", len(f.tones), halfHour/1e6)
	if halfHour > 20e6 {
		t.Errorf("30 minutes take %.1f MB", halfHour/1e6)
	}
}
