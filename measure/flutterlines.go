package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/dsp"
)

// speedLine is one sinusoid in the speed signal.
type speedLine struct {
	hz        float64
	amplitude dsp.Estimate // peak, relative
	name      string       // what turns so, empty when nothing known does
}

const (
	linesMost      = 12   // the strongest lines given
	lineLeast      = 0.03 // of the strongest line; less is not worth a word
	lineStandsOut  = 25   // times the median power around; noise alone does so once in thousands of sections
	bandHalf       = 0.0115
	diameterWithin = 0.005 // of a rotation's rate: diameters are known to about half a per cent
	harmonicsNamed = 3
)

// speedSpectrum is the power of a speed signal by frequency: Hann window over the whole
// section, a line's power being the sum over its few bins.
type speedSpectrum struct {
	df      float64   // of the bins, Hz
	seconds float64   // of the signal: resolution is about 2/seconds
	sum     []float64 // sum[k] is the power of the bins below k
}

func spectrumOf(flat []float64, rate float64) *speedSpectrum {
	n := 2
	for n < 2*len(flat) {
		n *= 2
	}
	win := dsp.Hann(len(flat))
	buf, norm := make([]float64, n), 0.0
	for i, v := range flat {
		buf[i] = v * win[i]
		norm += win[i] * win[i]
	}
	c := dsp.NewRealFFT(n).Coefficients(nil, buf)
	s := &speedSpectrum{df: rate / float64(n), seconds: float64(len(flat)) / rate}
	top := min(len(c), int(1.3*speedTopHz/s.df))
	s.sum = make([]float64, top+1)
	for k := range top {
		v := c[k]
		s.sum[k+1] = s.sum[k] + 2*(real(v)*real(v)+imag(v)*imag(v))/(float64(n)*norm)
	}
	return s
}

func (s *speedSpectrum) bins() int { return len(s.sum) - 1 }

func (s *speedSpectrum) power(k int) float64 { return s.sum[k+1] - s.sum[k] }

// within is the power from lo to hi, whole bins.
func (s *speedSpectrum) within(lo, hi float64) float64 {
	a := max(0, int(math.Ceil(lo/s.df)))
	b := min(s.bins(), int(hi/s.df)+1)
	if b <= a {
		return 0
	}
	return s.sum[b] - s.sum[a]
}

// half is half the width of the band in which the power around f is added up: a line's
// own width, or 1.15 % of f where that is more.
func (s *speedSpectrum) half(f float64) float64 { return math.Max(2/s.seconds, bandHalf*f) }

// amplitude is the peak of the sine that has the power around f.
func (s *speedSpectrum) amplitude(f float64) float64 {
	h := s.half(f)
	return math.Sqrt(2 * s.within(f-h, f+h))
}

// lines finds what stands out of the spectrum, the strongest first.
func (s *speedSpectrum) lines() []speedLine {
	reach := max(1, int(2/s.seconds/s.df)) // bins from a line's middle to its end
	var found []speedLine
	for k := max(reach+1, int(0.9*wowLoHz/s.df)); k < s.bins()-reach && float64(k)*s.df <= 1.02*speedTopHz; k++ {
		if s.power(k) < s.power(k-1) || s.power(k) < s.power(k+1) {
			continue
		}
		floor := s.floor(k, reach)
		if s.power(k) < lineStandsOut*floor {
			continue
		}
		p := s.sum[k+reach+1] - s.sum[k-reach] - float64(2*reach+1)*floor/math.Ln2
		if p <= 0 {
			continue
		}
		// Floor to density: the power of one bin over its width; the median of
		// an exponential law is ln 2 of its mean.
		density := floor / math.Ln2 / s.df
		found = append(found, speedLine{
			hz:        (float64(k) + peakShift(s.power(k-1), s.power(k), s.power(k+1))) * s.df,
			amplitude: dsp.Estimate{Value: math.Sqrt(2 * p), SE: math.Sqrt(1.5 * density / s.seconds), Dof: 1e7},
		})
	}
	slices.SortFunc(found, func(a, b speedLine) int { return cmp.Compare(b.amplitude.Value, a.amplitude.Value) })
	var out []speedLine
	for _, l := range found {
		if len(out) == linesMost || l.amplitude.Value < lineLeast*found[0].amplitude.Value {
			break
		}
		if !slices.ContainsFunc(out, func(o speedLine) bool { return s.skirt(o, l) }) {
			out = append(out, l)
		}
	}
	return out
}

// skirt tells whether l may be nothing but the foot of the stronger line o: the window's
// side lobes, or the sidebands of a line that is not quite steady.
func (s *speedSpectrum) skirt(o, l speedLine) bool {
	d := math.Abs(o.hz-l.hz) * s.seconds
	return d < 3 || d < 8 && l.amplitude.Value < 0.1*o.amplitude.Value
}

// floor is the median power around bin k, 1.5 to 8 line widths away, not so low beside a
// slope that the slope passes for a line.
func (s *speedSpectrum) floor(k, reach int) float64 {
	var below, above []float64
	for d := 3 * reach / 2; d <= 8*reach; d += max(1, reach/4) {
		if k-d > 0 {
			below = append(below, s.power(k-d))
		}
		if k+d < s.bins() {
			above = append(above, s.power(k+d))
		}
	}
	return math.Max(median(below), median(above))
}

// peakShift is where between bins the peak lies, by a parabola through the logarithms.
func peakShift(l, m, r float64) float64 {
	l, m, r = math.Log(math.Max(l, 1e-300)), math.Log(math.Max(m, 1e-300)), math.Log(math.Max(r, 1e-300))
	if d := l - 2*m + r; d < 0 {
		return 0.5 * (l - r) / d
	}
	return 0
}

// nameLine says what turns at hz, or at a half or a third of it, once the rotations'
// rates are multiplied by speed. A part of one fixed rate is named before one whose rate
// changes through the tape, a fundamental before a harmonic.
func nameLine(hz, seconds float64, parts []Rotation, speed float64) string {
	type match struct {
		name     string
		harmonic int
		wide     bool
	}
	var found []match
	for _, p := range parts {
		for h := 1; h <= harmonicsNamed; h++ {
			lo, hi := float64(h)*p.LowHz*speed, float64(h)*p.HighHz*speed
			if lo > hi {
				lo, hi = hi, lo
			}
			if !(lo > 0) || hz < lo*(1-diameterWithin)-1/seconds || hz > hi*(1+diameterWithin)+1/seconds {
				continue
			}
			found = append(found, match{p.Name, h, hi > lo*(1+2*diameterWithin)})
		}
	}
	rank := func(m match) int {
		r := m.harmonic
		if m.wide {
			r += harmonicsNamed
		}
		return r
	}
	slices.SortStableFunc(found, func(a, b match) int { return cmp.Compare(rank(a), rank(b)) })
	var names []string
	for _, m := range found {
		if rank(m) == rank(found[0]) {
			names = append(names, turns(m.harmonic)+m.name)
		}
	}
	return strings.Join(names, " or ")
}

func turns(harmonic int) string {
	if harmonic == 1 {
		return ""
	}
	return fmt.Sprintf("%d× ", harmonic)
}
