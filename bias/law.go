package bias

import (
	"fmt"
	"math"
)

// Law is what a trim's position makes of the bias:
//
//	x(p) = SpanDB·(p + Bend·p·(1 − p))   dB above the bias at the stop of least
//
// p is the share of the travel. Bend is above 0 where the first half of the travel does
// more, as of a trim whose current is linear in its position.
type Law struct {
	SpanDB float64 `json:"span_db"`
	// Spread is how far the span may be off either way, relative: ±0.25 is 25 %, taken as
	// a rectangle.
	Spread float64 `json:"spread"`
	Bend   float64 `json:"bend"`
	// BendSD is the standard deviation of Bend.
	BendSD float64 `json:"bend_sd"`
}

// UsualLaw is believed of a trim of which nothing is known: 8 dB from stop to stop within
// 25 %, bent a little as that of a current linear in position is, a taper of 1 to 3 either
// way being possible. Common practice, no source.
func UsualLaw() Law { return Law{SpanDB: 8, Spread: 0.25, Bend: 0.1, BendSD: 0.25} }

func (l Law) check() error {
	if !(l.SpanDB > 0 && l.SpanDB <= 60) || !(l.Spread >= 0 && l.Spread < 1) || !(math.Abs(l.Bend) < 0.9) || !(l.BendSD >= 0 && l.BendSD < 1) {
		return fmt.Errorf("%w: a law of %+v", ErrTrim, l)
	}
	return nil
}

// DB is the bias at a position, in dB above that at the stop of least bias, by the
// middle of what is believed.
func (l Law) DB(position float64) float64 {
	return l.SpanDB * (position + l.Bend*position*(1-position))
}

// Position is where the bias is db above that at the stop of least, and beyond the
// stops as if the travel went on.
func (l Law) Position(db float64) float64 {
	y := db / l.SpanDB
	switch { // straight on beyond the stops
	case y < 0:
		return y / (1 + l.Bend)
	case y > 1:
		return 1 + (y-1)/(1-l.Bend)
	case math.Abs(l.Bend) < 1e-9:
		return y
	}
	// Bend·p² − (1+Bend)·p + y = 0, the root that is y at Bend = 0.
	b := 1 + l.Bend
	return 2 * y / (b + math.Sqrt(math.Max(0, b*b-4*l.Bend*y)))
}

// logSD is the standard deviation of the logarithm of the slope.
func (l Law) logSD() float64 { return math.Log1p(l.Spread) / math.Sqrt(3) }

// BiasReading is bias read at a test point with the trim at a position, in any unit that
// is proportional to the bias current and the same for all readings of the trim: a meter
// that reads low by a constant factor will do.
type BiasReading struct {
	Position float64 `json:"position"`
	Value    float64 `json:"value"` // above 0
	// SDDB is the standard deviation of a reading re another, dB; 0: 0.2.
	SDDB float64 `json:"sd_db,omitempty"`
}

// Learn is the law after bias readings at two positions or more: least squares of their
// levels on offset, span and bend with the law as prior. Fewer tell nothing of it, and
// readings that are not above 0 are left out.
func (l Law) Learn(readings []BiasReading) Law {
	// Unknown: offset a, span s, curve c = span·bend, in a normal prior.
	sSD := l.SpanDB * l.logSD()
	cSD := math.Hypot(l.SpanDB*l.BendSD, l.Bend*sSD)
	mean := [3]float64{0, l.SpanDB, l.SpanDB * l.Bend}
	n := [3][3]float64{{1e-6, 0, 0}, {0, 1 / math.Max(sSD*sSD, 1e-9), 0}, {0, 0, 1 / math.Max(cSD*cSD, 1e-9)}}
	var rhs [3]float64
	used := 0
	for _, r := range readings {
		if !(r.Value > 0) || math.IsInf(r.Value, 1) {
			continue
		}
		used++
		sd := r.SDDB
		if !(sd > 0) {
			sd = 0.2
		}
		row := [3]float64{1, r.Position, r.Position * (1 - r.Position)}
		miss := 20 * math.Log10(r.Value)
		for i := range row {
			miss -= row[i] * mean[i]
		}
		for i := range row {
			rhs[i] += row[i] * miss / (sd * sd)
			for j := range row {
				n[i][j] += row[i] * row[j] / (sd * sd)
			}
		}
	}
	if used < 2 {
		return l
	}
	cov := inverse3(n)
	span, c := mean[1], mean[2]
	for j := range rhs {
		span += cov[1][j] * rhs[j]
		c += cov[2][j] * rhs[j]
	}
	if !(span > 0) || !(math.Abs(c/span) < 0.9) {
		return l // readings that no trim makes
	}
	out := Law{SpanDB: span, Bend: c / span}
	out.Spread = math.Expm1(math.Sqrt(3*cov[1][1]) / span)
	out.BendSD = math.Sqrt(math.Max(0, cov[2][2]+out.Bend*out.Bend*cov[1][1]-2*out.Bend*cov[1][2])) / span
	if out.check() != nil {
		return l
	}
	return out
}

// inverse3 is the inverse of a symmetric positive definite matrix, by cofactors.
func inverse3(m [3][3]float64) (out [3][3]float64) {
	cof := func(i, j int) float64 {
		a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return m[a][c]*m[b][d] - m[a][d]*m[b][c]
	}
	det := m[0][0]*cof(0, 0) + m[0][1]*cof(0, 1) + m[0][2]*cof(0, 2)
	for i := range out {
		for j := range out {
			out[i][j] = cof(j, i) / det
		}
	}
	return out
}
