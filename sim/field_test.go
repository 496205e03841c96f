package sim_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"headstack/measure"
	"headstack/sim"
	"headstack/sim/field"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

func grid(width, first, pitch, core float64, n int) tape.Geometry {
	g := tape.Geometry{TapeWidth: unit.Metre(width)}
	for i := range n {
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: unit.Metre(first + float64(i)*pitch), Width: unit.Metre(core)})
	}
	return g
}

func TestFieldCapture(t *testing.T) {
	for _, kind := range []field.Kind{field.Cassette, field.OpenReel} {
		g := grid(3.81e-3, 0.355e-3, 0.62e-3, 0.38e-3, 6)
		if kind == field.OpenReel {
			g = grid(12.7e-3, 1.1e-3, 1.5e-3, 0.99e-3, 8)
		}
		tt := sim.FieldTape(kind, testtape.FullWidth)
		faults := make([]field.Fault, len(g.Tracks))
		for i := range faults {
			faults[i].AzimuthRad = 3 * float64(tape.Arcminute)
		}
		faults[2] = faults[2].Evenly(0.5e-6)
		faults[4].LowCornerHz = 100
		errors := make([]float64, len(tt.Sections))
		r := rand.New(rand.NewPCG(3, 4))
		for i := range errors {
			errors[i] = 0.6*r.Float64() - 0.3
		}
		at := time.Now()
		sc, err := sim.FieldScenario(tt, g, faults, sim.FieldOptions{Kind: kind, Seed: 5, ToneErrorsDB: errors})
		if err != nil {
			t.Fatal(err)
		}
		built := time.Since(at)
		at = time.Now()
		m := &sim.Memory{}
		truth, err := m.Render(context.Background(), sc)
		if err != nil {
			t.Fatal(err)
		}
		rendered := time.Since(at)
		at = time.Now()
		rep, err := measure.TestTape(context.Background(), []measure.Source{inMemory(m, len(g.Tracks))}, measure.Options{Tape: tt, Geometry: g})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("kind %d: %.1f s, built %v rendered %v measured %v", kind, float64(truth.Frames)/48000, built, rendered, time.Since(at))
		for _, s := range rep.Sections {
			if !s.Found {
				t.Errorf("section %+v not found", s)
			}
		}
		refused := map[string]int{}
		worst := map[string]float64{}
		for _, x := range rep.Measures {
			if x.Refused != "" {
				refused[x.Name+": "+x.Refused]++
				continue
			}
			want, ok := truth.Find(x.Name, x.Track, x.TrackB, x.Section)
			if ok {
				worst[x.Name] = max(worst[x.Name], math.Abs(x.Value-want))
			}
		}
		t.Log(worst)
		t.Log(refused)
	}
}

// inMemory is a rendered capture as measure reads it.
func inMemory(m *sim.Memory, tracks int) measure.Source {
	all := make([]int, tracks)
	for i := range all {
		all[i] = i + 1
	}
	return measure.Source{Name: "rendered", Tracks: all, Open: m.Open}
}

func BenchmarkFieldCapture(b *testing.B) {
	for _, kind := range []field.Kind{field.Cassette, field.OpenReel} {
		g := grid(3.81e-3, 0.355e-3, 0.62e-3, 0.38e-3, 6)
		if kind == field.OpenReel {
			g = grid(12.7e-3, 1.1e-3, 1.5e-3, 0.99e-3, 8)
		}
		tt := sim.FieldTape(kind, testtape.FullWidth)
		for _, rate := range []int{44100, 48000} {
			var m sim.Memory
			b.Run(fmt.Sprintf("render/%d/%d", len(g.Tracks), rate), func(b *testing.B) {
				for b.Loop() {
					sc, err := sim.FieldScenario(tt, g, make([]field.Fault, len(g.Tracks)), sim.FieldOptions{Kind: kind, Seed: 5, SampleRate: rate})
					if err != nil {
						b.Fatal(err)
					}
					if _, err := m.Render(context.Background(), sc); err != nil {
						b.Fatal(err)
					}
				}
			})
			b.Run(fmt.Sprintf("measure/%d/%d", len(g.Tracks), rate), func(b *testing.B) {
				for b.Loop() {
					if _, err := measure.TestTape(context.Background(), []measure.Source{inMemory(&m, len(g.Tracks))}, measure.Options{Tape: tt, Geometry: g}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
