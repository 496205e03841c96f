package measure

import (
	"fmt"
	"math"
	"slices"

	"headstack/dsp"
)

const (
	// meterMean is the length of the means kept of the meter, in seconds: short beside
	// its own lag of 0.14 s.
	meterMean = 0.05
	// detectorLag is that of the detector per second. A wrong value here would cost a wider
	// interval, no more.
	detectorLag = 7.23
	// meterSettle is how many times the detector's settling is waited: the first reading
	// used is then within 0.02 dB.
	meterSettle = 1.5
	// The rates that dsp has the weighting for.
	least468, most468 = 32000, 400000
)

// meterEar reads a silent section on the noise meter of ITU-R BS.468-4.
type meterEar struct {
	filter   *dsp.Filter
	detector *dsp.Detector468
	buf      []float64
	skip     int // samples until it has settled
	per      int // samples of a mean
	sum      float64
	n        int
	means    []float64
	why      string
}

func newMeterEar(rate float64) *meterEar {
	if rate < least468 || rate > most468 {
		return &meterEar{why: fmt.Sprintf("the 468 weighting needs a capture at %d to %d kHz, this one has %g kHz", least468/1000, most468/1000, rate/1000)}
	}
	m := &meterEar{filter: dsp.NewFilter468(rate), detector: dsp.NewDetector468(rate), buf: make([]float64, 1024)}
	m.skip = int((meterSettle*m.detector.Settle() + m.filter.Settle()) * rate)
	m.per = int(meterMean * rate)
	return m
}

// another is a meter like m, which has heard nothing: to calibrate one takes longer
// than to hear a second of noise.
func (m *meterEar) another() *meterEar {
	c := *m
	if m.why == "" {
		filter, detector := *m.filter, *m.detector
		c.filter, c.detector, c.buf = &filter, &detector, make([]float64, len(m.buf))
	}
	return &c
}

func (m *meterEar) feed(x []float64) {
	if m.why != "" {
		return
	}
	for len(x) > 0 {
		n := min(len(x), len(m.buf))
		y := m.buf[:n]
		m.filter.Process(y, x[:n])
		m.detector.Process(y, y)
		x = x[n:]
		drop := min(m.skip, n)
		m.skip -= drop
		for y = y[drop:]; len(y) > 0; {
			k := min(len(y), m.per-m.n)
			sum := 0.0 // beside m.sum, which would go through memory every time
			for _, v := range y[:k] {
				sum += v
			}
			m.sum += sum
			y = y[k:]
			if m.n += k; m.n == m.per {
				m.means = append(m.means, m.sum/float64(m.per))
				m.sum, m.n = 0, 0
			}
		}
	}
}

func (m *meterEar) finish() { m.filter, m.detector, m.buf = nil, nil, nil }

// noise468 is the mean of the meter in a silent section.
func (s *session) noise468(r Result, t *take, c *silentChannel, partial bool, why string) Result {
	r, ref, why := s.noiseBase(r, t, c, why)
	if why == "" {
		why = c.meter.why
	}
	if why != "" {
		return r.refuse(why)
	}
	m := c.meter
	e, ok := meterMeanOf(m.means)
	if !ok || !(e.Value > 0) {
		return r.refuse(fmt.Sprintf("section too short for the meter: %.1f s of silence, of which the first %.1f s settle it", float64(c.n)/c.rate, float64(c.n)/c.rate-meterMean*float64(len(m.means))))
	}
	lo, hi := spread(m.means)
	// A reading is an r.m.s. value, so its square is a mean square.
	r.set(s.reTape(dsp.Estimate{Value: e.Value * e.Value, SE: 2 * e.Value * e.SE, Dof: e.Dof}, ref.level()))
	r.Method = fmt.Sprintf("weighting and quasi-peak detector of ITU-R BS.468-4, 0 dB at 1 kHz; mean of the meter over %s after settling, whose reading swings from %+.1f to %+.1f dB about it (95 %%)",
		seconds(meterMean*float64(len(m.means))), 20*math.Log10(lo/e.Value), 20*math.Log10(hi/e.Value))
	r.Warnings = append(r.Warnings, c.noiseWarnings(partial)...)
	if c.rate < 44100 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("band ends at %s, half the sample rate", kilohertz(c.rate/2)))
	}
	return r
}

// meterMeanOf is the mean reading. The lag of the meter makes its readings hang
// together over a good part of a second, more than short sections can tell from their
// own spectrum; so it is undone first, which leaves the mean as it is:
//
//	u[k] = (v[k] − φ·v[k−1])/(1 − φ)
func meterMeanOf(v []float64) (dsp.Estimate, bool) {
	if len(v) < 40 {
		return dsp.Estimate{}, false
	}
	phi := math.Exp(-detectorLag * meterMean)
	u := make([]float64, len(v)-1)
	for k := range u {
		u[k] = (v[k+1] - phi*v[k]) / (1 - phi)
	}
	return dsp.Mean(u)
}

// spread is the range that holds the middle 95 % of x.
func spread(x []float64) (lo, hi float64) {
	s := slices.Sorted(slices.Values(x))
	return s[len(s)/40], s[len(s)-1-len(s)/40]
}
