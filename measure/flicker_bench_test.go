package measure

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkFlicker is the work after the pass for ten minutes of 8 tracks: 20 sections
// of 30 s.
func BenchmarkFlicker(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	tones := make([]float64, 20)
	for i := range tones {
		tones[i] = []float64{315, 1000, 6300, 10000}[i%4]
	}
	s := &session{opt: Options{Tape: tapeOf(30, tones...)}}
	t := &take{tones: map[int]*toneTake{}, tracks: []int{1, 2, 3, 4, 5, 6, 7, 8}, order: []int{0, 1, 2, 3, 4, 5, 6, 7}}
	for i, hz := range tones {
		band, _ := toneBand(hz, 96000)
		tt := &toneTake{carrier: hz}
		for range t.order {
			c := &toneChannel{band: band, rate: 96000, dt: 0.008, noise: 1e-5}
			for range 3675 {
				c.power = append(c.power, 0.06*(1+0.02*r.NormFloat64()))
			}
			tt.channels = append(tt.channels, c)
		}
		t.tones[i] = tt
	}
	s.takes = []*take{t}
	for b.Loop() {
		s.flickers()
		s.levelTimes()
	}
}
