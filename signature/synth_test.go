package signature

import (
	"fmt"
	"math"
	"math/rand/v2"

	"headstack/measure"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// machineOf is a head on a tape for tests: the numbers of a six-track cassette recorder
// or of an eight-track open-reel one, invented.
func machineOf(reel bool) Options {
	n, pitch, width, tapeWidth, speed := 6, 0.62e-3, 0.38e-3, 3.81e-3, 9.525
	eq := testtape.Equalisation{High: 70, Low: 3180}
	ref, top := 315.0, 12500.0
	if reel {
		n, pitch, width, tapeWidth, speed = 8, 1.5e-3, 0.99e-3, 12.7e-3, 38.1
		eq, ref, top = testtape.Equalisation{High: 35}, 1000, 16000
	}
	opt := Options{Geometry: tape.Geometry{TapeWidth: unit.Metre(tapeWidth)}, DesignGapUm: 1.5}
	if reel {
		opt.DesignGapUm = 3
	}
	first := (tapeWidth - float64(n-1)*pitch) / 2
	for t := range n {
		opt.Geometry.Tracks = append(opt.Geometry.Tracks, tape.TrackPlace{Centre: unit.Metre(first + float64(t)*pitch), Width: unit.Metre(width)})
	}
	tt := &testtape.Tape{Name: "twenty tones", SpeedCmS: speed, EqualisationUs: eq, TrackLayout: testtape.FullWidth,
		Reference: testtape.Reference{FluxivityNWbM: 250, ToneHz: ref, Convention: "short-circuit"}}
	tt.Sections = append(tt.Sections, testtape.Section{Name: "reference", ToneHz: ref, Seconds: 4})
	for _, f := range []float64{40, 63, 100, 160, 250, 315, 500, 800, 1000, 1600, 2000, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 14000, 16000} {
		if f <= top {
			tt.Sections = append(tt.Sections, testtape.Section{Name: fmt.Sprintf("%g Hz", f), ToneHz: f, LevelDB: -20, Seconds: 2})
		}
	}
	opt.Tape = tt
	return opt
}

// synth makes a report by the laws of package tape, for tests of the fit's own working.
// What a sound machine differs by is drawn from rng.
type synth struct {
	opt   Options
	rng   *rand.Rand
	tone  []float64 // errors of the tape by section
	gain  []float64
	space []float64
	extra func(t int, hz float64) (db, us float64)
	arc   float64
}

func newSynth(opt Options, seed uint64) *synth {
	s := &synth{opt: opt, rng: rand.New(rand.NewPCG(seed, 7))}
	for range opt.Tape.Sections {
		s.tone = append(s.tone, s.rng.Float64()*0.6-0.3)
	}
	for range opt.Geometry.Tracks {
		s.gain = append(s.gain, 0.15*s.rng.NormFloat64())
		s.space = append(s.space, 0.01*math.Abs(s.rng.NormFloat64()))
	}
	s.arc = 0.5 * s.rng.NormFloat64()
	return s
}

func (s *synth) report() measure.Report {
	var rep measure.Report
	add := func(name string, a, b int, section string, hz, v, sd float64) {
		rep.Measures = append(rep.Measures, measure.Result{Name: name, Track: a, TrackB: b, Section: section, ToneHz: hz, Value: v, Lo: v - 1.96*sd, Hi: v + 1.96*sd})
	}
	g := s.opt.Geometry.Tracks
	v := s.opt.Tape.SpeedCmS / 100
	for i, sec := range s.opt.Tape.Sections {
		lambda := tape.Wavelength(unit.MetrePerSecond(v), unit.Hertz(sec.ToneHz))
		us := make([]float64, len(g))
		for t := range g {
			db := -12 + sec.LevelDB + s.tone[i] + s.gain[t] - float64(tape.SpacingLoss(unit.Metre(s.space[t]*1e-6), lambda))
			db += float64(tape.FringingGain(s.opt.Geometry, t+1, lambda)) - float64(tape.AzimuthLoss(g[t].Width, unit.Radian(s.arc)*tape.Arcminute, lambda))
			us[t] = float64(g[t].Centre-g[0].Centre) * math.Tan(s.arc*float64(tape.Arcminute)) / v * 1e6
			if s.extra != nil {
				a, b := s.extra(t, sec.ToneHz)
				db, us[t] = db+a, us[t]+b
			}
			sd := 0.01
			add("level", t+1, 0, sec.Name, sec.ToneHz, db+sd*s.rng.NormFloat64(), sd)
			us[t] += 0.5 * s.rng.NormFloat64()
		}
		for a := range g {
			for b := a + 1; b < len(g); b++ {
				add("delay", a+1, b+1, sec.Name, sec.ToneHz, us[b]-us[a], 0.7)
			}
		}
	}
	for t := range g {
		add("noise_floor", t+1, 0, "", 0, -70+s.rng.NormFloat64()*0.5, 0.05)
		add("flicker_all_band", t+1, 0, "", 0, 0.01, 0.002)
		add("flicker_treble", t+1, 0, "", 0, 0.02, 0.002)
		add("noise_reduction_left_on", t+1, 0, "", 0, 1+s.rng.NormFloat64()*0.002, 0.002)
	}
	return rep
}
