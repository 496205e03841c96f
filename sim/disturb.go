package sim

import (
	"math"
	"math/rand/v2"
)

// flicker is the course of a loss between 0 and 1.
type flicker struct{ omega, phase, phase2 float64 }

func newFlicker(f Flicker, r *rand.Rand) flicker {
	return flicker{2 * math.Pi * f.RateHz, 2 * math.Pi * r.Float64(), 2 * math.Pi * r.Float64()}
}

// at is the part of the full loss at time t. A second, slower movement of the
// phase makes it irregular.
func (f flicker) at(t float64) float64 {
	return 0.5 - 0.5*math.Cos(f.omega*t+f.phase+1.5*math.Sin(0.37*f.omega*t+f.phase2))
}

// loss is the full depth at a tone, in dB.
func (f Flicker) loss(toneHz float64) float64 {
	if f.TrebleOnly {
		return f.DepthDB * toneHz / 10000
	}
	return f.DepthDB
}

// mean is the average amplitude under a flicker of the given depth, over many of
// its periods.
func meanUnderFlicker(depthDB float64) float64 {
	const n = 256
	s := 0.0
	for i := range n {
		s += math.Pow(10, -depthDB/20*(0.5-0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/n)))
	}
	return s / n
}

// gain of a drop-out at time t.
func (d DropOut) gain(t float64) float64 {
	u := (t - d.AtS) / d.LengthS
	if u <= 0 || u >= 1 {
		return 1
	}
	const flank = 0.2
	depth := 1.0
	if edge := min(u, 1-u); edge < flank {
		depth = 0.5 - 0.5*math.Cos(math.Pi*edge/flank)
	}
	return 1 - depth*(1-math.Pow(10, -d.DepthDB/20))
}

// unsteady reports whether a track's amplitude moves with time.
func (t Track) unsteady() bool { return t.Flicker.DepthDB > 0 || len(t.DropOuts) > 0 }

// steadiness is the factor on a track's amplitude at a tone and time.
func (t Track) steadiness(f flicker, toneHz, at float64) float64 {
	g := 1.0
	if t.Flicker.DepthDB > 0 {
		g = math.Pow(10, -t.Flicker.loss(toneHz)*f.at(at)/20)
	}
	for _, d := range t.DropOuts {
		g *= d.gain(at)
	}
	return g
}
