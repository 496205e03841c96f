package trims

import (
	"math"

	"headstack/machine"
	"headstack/unit"
)

// hill is how much is recorded at a bias, see the package comment.
type hill struct {
	speed  unit.MetrePerSecond
	steep  float64 // s at the wavelength of 10 kHz, dB
	atHz   float64 // the tone whose overbias is wanted
	wantDB float64 // the overbias at the right bias
}

// The long-wave part of the hill.
const (
	hillC  = 0.3 // dB per dB²
	hillY0 = 1.5 // dB past the right bias
	toneHz = 10e3
)

// Overbias is the fall of 10 kHz behind its peak that the tape of a recorder wants at a
// speed, in dB: 3 at 38.1 cm/s, 5 at 19.05, 1.75 at 76.2 (common practice, no source); 2
// on a cassette at 9.525 cm/s, where record response is flat (invented).
func Overbias(d *machine.Definition, speedCmS float64) float64 {
	switch {
	case d.Medium.Kind == "cassette":
		return 2
	case speedCmS >= 70:
		return 1.75
	case speedCmS >= 30:
		return 3
	}
	return 5
}

// newHill finds the steepness that gives the overbias.
func newHill(d *machine.Definition, speedCmS float64) hill {
	h := hill{speed: unit.MetrePerSecond(speedCmS / 100), atHz: toneHz, wantDB: Overbias(d, speedCmS)}
	lo, hi := 0.5, 200.0
	for range 60 {
		h.steep = (lo + hi) / 2
		if h.overbias(0) < h.wantDB {
			lo = h.steep
		} else {
			hi = h.steep
		}
	}
	return h
}

// level is how much of a tone is recorded at bias y, in dB re nothing in particular.
func (h hill) level(y, hz float64) float64 {
	return -hillC*(y-hillY0)*(y-hillY0) - h.steep*math.Sqrt(hz/toneHz)*math.Exp(y*math.Ln10/20)
}

// relative is the same re the right bias: what a tape whose record equalisation is made
// for that bias is off by.
func (h hill) relative(y, hz float64) float64 { return h.level(y, hz) - h.level(0, hz) }

// peak is the bias of most level of a tone.
func (h hill) peak(hz float64) float64 {
	lo, hi := -30.0, hillY0 // the slope falls through 0 once
	for range 60 {
		y := (lo + hi) / 2
		slope := -2*hillC*(y-hillY0) - h.steep*math.Sqrt(hz/toneHz)*math.Exp(y*math.Ln10/20)*math.Ln10/20
		if slope > 0 {
			lo = y
		} else {
			hi = y
		}
	}
	return (lo + hi) / 2
}

// overbias is the fall of the tone atHz at bias y behind its peak, negative before it.
func (h hill) overbias(y float64) float64 {
	p := h.peak(h.atHz)
	return math.Copysign(h.level(p, h.atHz)-h.level(y, h.atHz), y-p)
}

// saturate is what of a level asked for, in dB re reference, is on the tape: the law
// A/(1+(A/2S)²) with the greatest level S.
func saturate(db, mostDB float64) float64 {
	x := math.Exp((db - mostDB) * math.Ln10 / 20)
	return db - 20*math.Log10(1+x*x/4)
}

// mostDB is the greatest level of a tone on tape, in dB re reference: invented within
// common practice.
func mostDB(d *machine.Definition, speedCmS, hz float64) float64 {
	at10k := 6.0
	switch {
	case d.Medium.Kind == "cassette":
		at10k = -2
	case speedCmS < 30:
		at10k = 2
	}
	return min(14, at10k+20*math.Log10(toneHz/hz))
}
