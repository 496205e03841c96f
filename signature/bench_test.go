package signature

import (
	"testing"
)

// BenchmarkExplain is the fit of 24 tracks by 20 tones, one cause in it, on one core.
func BenchmarkExplain(b *testing.B) {
	opt := machineOf(true)
	wide := machineOf(true).Geometry
	wide.Tracks = wide.Tracks[:0]
	wide.TapeWidth = 50.8e-3
	for t := range 24 {
		p := opt.Geometry.Tracks[0]
		p.Width = 1.07e-3
		p.Centre = 0
		p.Centre += 1.2e-3
		for range t {
			p.Centre += 2.14e-3
		}
		wide.Tracks = append(wide.Tracks, p)
	}
	opt.Geometry = wide
	opt.Tape.Sections = opt.Tape.Sections[:20]
	s := newSynth(opt, 3)
	s.space[6] += 0.8
	rep := s.report()
	b.ResetTimer()
	for b.Loop() {
		e, err := Explain(rep, opt)
		if err != nil || len(e.Findings) == 0 {
			b.Fatal(err)
		}
	}
}
