package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"headstack/dsp"
)

// rungsOf gives the phases that a delay and a polarity would show, with errors of phase.
func rungsOf(r *rand.Rand, tau, polarity, errDeg float64, freqs ...float64) []rung {
	var out []rung
	for _, f := range freqs {
		e := errDeg * math.Pi / 180 * (2*r.Float64() - 1)
		out = append(out, rung{freq: f, phase: wrap(2*math.Pi*f*tau + polarity + e), half: 0.001})
	}
	return out
}

func TestClimb(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	const limit = 568e-6 // 60 arcminutes over 3.1 mm at 9.525 cm/s
	ladders := [][]float64{{315, 1000, 3150, 6300, 10000}, {40, 125, 315, 1000, 3150, 10000, 16000}, {315, 1000, 3150, 6300, 10000, 12500, 16000}, {63, 315, 10000 / 6.0, 6300, 14000}}
	for range 400 {
		freqs := ladders[r.IntN(len(ladders))]
		tau := (2*r.Float64() - 1) * 300e-6
		polarity := math.Pi * float64(r.IntN(2))
		got, reversed := climb(rungsOf(r, tau, polarity, 4, freqs...), limit)
		if reversed != (polarity > 0) {
			t.Fatalf("delay %.1f µs, tones %v: reversed %v, want %v", tau*1e6, freqs, reversed, polarity > 0)
		}
		for i, c := range got {
			if want := 2 * math.Pi * freqs[i] * tau; !c.decided || math.Abs(c.phase-want) > 0.1 {
				t.Fatalf("delay %.1f µs, tones %v, polarity %g: phase at %g Hz %.2f (decided %v: %s), want %.2f", tau*1e6, freqs, polarity, freqs[i], c.phase, c.decided, c.why, want)
			}
		}
	}
}

func TestClimbSaysWhenItCannot(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 5))
	for _, c := range []struct {
		name  string
		freqs []float64
		limit float64
		first int // the first undecided
	}{
		{"one high tone", []float64{10000}, 568e-6, 0},
		{"a gap too wide", []float64{40, 10000}, math.Inf(1), 1},
		{"step after a good one", []float64{315, 16000}, 568e-6, 1},
	} {
		got, _ := climb(rungsOf(r, 100e-6, 0, 1, c.freqs...), c.limit)
		for i, g := range got {
			if want := i < c.first; g.decided != want {
				t.Errorf("%s: tone %g Hz decided %v, want %v", c.name, c.freqs[i], g.decided, want)
			}
			if !g.decided && !strings.Contains(g.why, "whole periods undecided") {
				t.Errorf("%s: reason %q", c.name, g.why)
			}
		}
	}
}

func TestWeightedWidensWhenTonesDisagree(t *testing.T) {
	es := []struct{ v, se float64 }{{1, 0.01}, {1.5, 0.01}, {0.7, 0.01}}
	e, agree := weighted(estimates(es), []float64{1, 1, 1})
	// Scatter of 1, 1.5, 0.7: standard deviation 0.404, over √3.
	if agree || math.Abs(e.SE-0.404/math.Sqrt(3)) > 0.001 || e.Dof != 2 {
		t.Errorf("SE %.4f with %.0f degrees, agree %v; want 0.2333 with 2, false", e.SE, e.Dof, agree)
	}
	e, agree = weighted(estimates(es[:1]), []float64{1})
	if !agree || e.Value != 1 {
		t.Errorf("one alone: %+v, %v", e, agree)
	}
}

func estimates(list []struct{ v, se float64 }) []dsp.Estimate {
	var out []dsp.Estimate
	for _, x := range list {
		out = append(out, dsp.Estimate{Value: x.v, SE: x.se, Dof: 20})
	}
	return out
}

func TestTriangleClosureMovesTheOddPair(t *testing.T) {
	place := []float64{0, 40, 95, 140} // µs behind channel 0
	const f = 10000.0
	tk := &take{order: []int{0, 1, 2, 3}}
	var pairs []*pair
	for a := range place {
		for b := a + 1; b < len(place); b++ {
			ph := 2 * math.Pi * f * (place[b] - place[a]) * 1e-6
			if a == 1 && b == 3 {
				ph += 2 * math.Pi // a period too much
			}
			pairs = append(pairs, &pair{a: a + 1, b: b + 1, ca: a, cb: b, take: tk, tones: []*pairTone{{index: 0, toneHz: f, phase: dsp.Estimate{Value: ph}, decided: true}}})
		}
	}
	s := &session{opt: Options{Tape: tapeOf(1, f)}}
	s.closeTriangles(tk, pairs)
	for _, p := range pairs {
		want := place[p.cb] - place[p.ca]
		if got := p.tones[0].phase.Value / (2 * math.Pi * f) * 1e6; math.Abs(got-want) > 1e-6 {
			t.Errorf("pair %d, %d: %.3f µs, want %.3f", p.a, p.b, got, want)
		}
		if moved := len(p.tones[0].warn) > 0; moved != (p.a == 2 && p.b == 4) {
			t.Errorf("pair %d, %d: warnings %q", p.a, p.b, p.tones[0].warn)
		}
	}
}
