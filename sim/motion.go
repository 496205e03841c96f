package sim

import (
	"math"
	"math/rand/v2"
)

// hop is the number of frames between two exact evaluations of what moves slowly:
// tape position, azimuth, flicker. With flutter at 1000 Hz and 1 % peak a cubic
// over 16 frames at 44.1 kHz is off by (h⁴/384)·w·(2πf)³ = 110 ns·w/1 %; at the
// 100 Hz of real transports by 0.1 ns.
const hop = 16

// wave is one sine of a slow movement: peak·sin(omega·t + phase).
type wave struct{ peak, omega, phase float64 }

// Streams of the random generator, so that no part of a scenario changes the
// noise of another.
const (
	streamFlutter = 1
	streamWander  = 2
	streamFlicker = 1000 // + track
	streamNoise   = 2000 // + track
	streamBench   = 4000
)

func (sc *Scenario) random(stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(sc.Seed, stream))
}

// band spreads a movement of the given r.m.s. evenly over a band as n sines with
// random places and phases.
func band(r *rand.Rand, rms, low, high float64, n int) []wave {
	if rms == 0 {
		return nil
	}
	waves := make([]wave, n)
	for i := range waves {
		f := low + (high-low)*(float64(i)+r.Float64())/float64(n)
		waves[i] = wave{peak: rms * math.Sqrt(2/float64(n)), omega: 2 * math.Pi * f, phase: 2 * math.Pi * r.Float64()}
	}
	return waves
}

func sum(waves []wave, t float64) float64 {
	s := 0.0
	for _, w := range waves {
		s += w.peak * math.Sin(w.omega*t+w.phase)
	}
	return s
}

// motion is the way of the tape past the heads.
type motion struct {
	start float64 // position at t = 0, in seconds of tape
	ratio float64 // mean speed over the speed of the recording
	waves []wave  // of the speed, relative

	turns []turning // the waves at the hop last filled
	rest  float64   // position that the waves' phases leave out
}

func (sc *Scenario) motion() motion {
	m := motion{start: sc.CutHeadS, ratio: sc.speedRatio()}
	for _, l := range sc.Flutter {
		m.waves = append(m.waves, wave{l.PercentPeak / 100, 2 * math.Pi * l.Hz, l.PhaseDeg * math.Pi / 180})
	}
	r := sc.RandomFlutter
	m.waves = append(m.waves, band(sc.random(streamFlutter), r.RMSPercent/100, r.LowHz, r.HighHz, 48)...)
	return m
}

// at returns the position in seconds of tape and its rate at time t.
func (m *motion) at(t float64) (position, rate float64) {
	position, rate = t, 1
	for _, w := range m.waves {
		sin, cos := math.Sincos(w.omega*t + w.phase)
		position += w.peak / w.omega * (math.Cos(w.phase) - cos)
		rate += w.peak * sin
	}
	return m.start + m.ratio*position, m.ratio * rate
}

// when returns the time at which the tape reaches a position, by Newton's method
// on a function that always rises.
func (m *motion) when(position float64) float64 {
	t := (position - m.start) / m.ratio
	for range 50 {
		p, rate := m.at(t)
		step := (position - p) / rate
		t += step
		if math.Abs(step) < 1e-13*(1+math.Abs(t)) {
			break
		}
	}
	return t
}

// fill writes the positions of the frames from first on into p, whose length is a
// multiple of hop, by a cubic through position and rate at every hop.
func (m *motion) fill(p []float64, first int64, sampleRate float64) {
	h := hop / sampleRate
	p0, v0 := m.begin(float64(first)/sampleRate, h)
	for i := 0; i < len(p); i += hop {
		p1, v1 := m.next(float64(first+int64(i)+hop) / sampleRate)
		d := p1 - p0
		c2 := 3*d - (2*v0+v1)*h
		c3 := (v0+v1)*h - 2*d
		for j := range hop {
			u := float64(j) / hop
			p[i+j] = p0 + u*(v0*h+u*(c2+u*c3))
		}
		p0, v0 = p1, v1
	}
}

// turning is a wave on its way from hop to hop: it starts a block at its exact phase
// and turns by multiplication within it, as a sine per wave and hop would cost more
// than all else that is rendered. Over the 256 hops of a block that is off by 1e-13.
type turning struct {
	sin, cos         float64
	stepSin, stepCos float64
	peak, swing      float64 // of speed and of position
}

// begin is at, ready to go on by steps of h.
func (m *motion) begin(t, h float64) (position, rate float64) {
	m.turns, m.rest = m.turns[:0], 0
	for _, w := range m.waves {
		r := turning{peak: w.peak, swing: w.peak / w.omega}
		r.sin, r.cos = math.Sincos(w.omega*t + w.phase)
		r.stepSin, r.stepCos = math.Sincos(w.omega * h)
		m.rest += r.swing * math.Cos(w.phase)
		m.turns = append(m.turns, r)
	}
	return m.at(t)
}

// next is at for the time t one step later.
func (m *motion) next(t float64) (position, rate float64) {
	position, rate = t+m.rest, 1
	for i := range m.turns {
		r := &m.turns[i]
		r.sin, r.cos = r.sin*r.stepCos+r.cos*r.stepSin, r.cos*r.stepCos-r.sin*r.stepSin
		position -= r.swing * r.cos
		rate += r.peak * r.sin
	}
	return m.start + m.ratio*position, m.ratio * rate
}
