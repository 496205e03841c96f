package signature

import (
	"math"
	"testing"
	"time"
)

func TestDebug(t *testing.T) {
	for _, reel := range []bool{false, true} {
		for seed := range uint64(12) {
			s := newSynth(machineOf(reel), seed)
			what := "sound"
			switch seed {
			case 1:
				what = "spacing 0.5 on 4"
				s.space[3] += 0.5
			case 2:
				what = "spacing all 0.5"
				for i := range s.space {
					s.space[i] += 0.5
				}
			case 3:
				what = "ramp"
				for i := range s.space {
					s.space[i] += 0.2 * float64(i)
				}
			case 4:
				what = "azimuth 6"
				s.arc = 6
			case 5:
				what = "gain 2 -3"
				s.gain[1] -= 3
			case 6, 7:
				what = "low corner 3 200"
				p := &param{fam: byLow, on: []int{2}}
				if seed == 7 {
					what = "high corner 3 4000"
					p.fam = byHigh
				}
				d := &data{opt: s.opt, tracks: []int{1, 2, 3, 4, 5, 6}, speed: s.opt.Tape.SpeedCmS / 100}
				s.extra = func(t int, hz float64) (float64, float64) {
					if t != 2 {
						return 0, 0
					}
					x := 200.0
					if seed == 7 {
						x = 4000
					}
					r := row{hz: hz, lambda: 1}
					d.rows = []row{r}
					return d.levelLaw(p, x, x, 2, 0), d.delayLaw(p.fam, x, 2, r)
				}
			case 8:
				what = "spacing 0.4 on 2, gain 5 -2"
				s.space[1] += 0.4
				s.gain[4] -= 2
			case 9:
				what = "tone 8k wrong -2"
				s.tone[16] -= 2
			}
			rep := s.report()
			start := time.Now()
			e, err := Explain(rep, s.opt)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("reel %v %s (%v)", reel, what, time.Since(start))
			for _, f := range e.Findings {
				t.Logf("   %.4f %s %v", f.Probability, f.Cause, f.Tracks)
				for _, p := range f.Parameters {
					t.Logf("        %s %d %.3f %.3f..%.3f", p.Name, p.Track, p.Value, p.Lo, p.Hi)
				}
			}
		}
	}
	_ = math.Pi
}
