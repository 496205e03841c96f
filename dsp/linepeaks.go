package dsp

import (
	"math"
	"slices"
	"sync"
)

// lineSpectrum is the working space of a search for lines in series of one length.
type lineSpectrum struct {
	window, buf, pow []float64
	coef             []complex128
	fft              *RealFFT
	bin              float64 // padded bins per cycle over the series
	offsets          []int   // bins looked at around a peak
}

// lineSpectra keeps working spaces from fit to fit.
var lineSpectra sync.Pool

func lineSpectrumOf(n int) *lineSpectrum {
	if s, ok := lineSpectra.Get().(*lineSpectrum); ok && len(s.window) == n {
		return s
	}
	return newLineSpectrum(n)
}

func newLineSpectrum(n int) *lineSpectrum {
	size := 2
	for size < 4*n {
		size *= 2
	}
	s := &lineSpectrum{window: make([]float64, n), buf: make([]float64, size), pow: make([]float64, size/2+1)}
	s.coef, s.fft, s.bin = make([]complex128, size/2+1), NewRealFFT(size), float64(size)/float64(n)
	for i := range s.window {
		s.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	for d := 3.0; d <= 16; d += 0.5 {
		s.offsets = append(s.offsets, int(d*s.bin))
	}
	return s
}

// of fills pow with the power spectrum of the series, windowed and padded.
func (s *lineSpectrum) of(x folded) {
	n := len(s.window)
	x.unfold(s.buf[:n])
	for i, w := range s.window {
		s.buf[i] *= w
	}
	s.fft.Coefficients(s.coef, s.buf)
	for k, c := range s.coef {
		s.pow[k] = real(c)*real(c) + imag(c)*imag(c)
	}
}

// standsOut reports whether the power in bin k is linePeak times the median power 3 to
// 16 cycles away on both sides, taken flat and taken as falling with the cube of
// frequency, whichever is more: noise that piles up towards zero must not pass for
// lines.
func (s *lineSpectrum) standsOut(k int) bool {
	p := s.pow[k]
	// The median is low enough when more than half of the values are.
	all, flat, steep := 0, 0, 0
	look := func(i int) {
		if i <= 0 || i >= len(s.pow) {
			return
		}
		all++
		r := float64(i) / float64(k)
		if p >= linePeak*s.pow[i] {
			flat++
		}
		if p >= linePeak*(s.pow[i]*r*r*r) {
			steep++
		}
	}
	for _, d := range s.offsets {
		look(k - d)
		look(k + d)
	}
	return flat > all/2 && steep > all/2
}

// peaks returns the frequencies of up to three lines standing out of the
// residual's spectrum, the strongest first; weaker ones only when no window
// side lobe of the strongest can pretend them.
func (f *lineModel) peaks(limit int) []float64 {
	s := lineSpectrumOf(f.n)
	defer lineSpectra.Put(s)
	s.of(f.res)
	pow, bin, size := s.pow, s.bin, len(s.buf)
	type peak struct{ power, at float64 }
	var found []peak
	for k := max(1, int(lineMin*bin)); k < len(pow)-1; k++ {
		if pow[k] < pow[k-1] || pow[k] < pow[k+1] || !s.standsOut(k) {
			continue
		}
		l, m, r := math.Sqrt(pow[k-1]), math.Sqrt(pow[k]), math.Sqrt(pow[k+1])
		shift := 0.0
		if d := l - 2*m + r; d < 0 {
			shift = 0.5 * (l - r) / d
		}
		found = append(found, peak{pow[k], (float64(k) + shift) / float64(size)})
	}
	slices.SortFunc(found, func(a, b peak) int {
		switch {
		case a.power > b.power:
			return -1
		case a.power < b.power:
			return 1
		}
		return 0
	})
	var out []float64
	for _, p := range found {
		if len(out) == min(3, limit) || p.power < 1e-3*found[0].power {
			break
		}
		far := true
		for _, w := range out {
			far = far && math.Abs(w-p.at)*float64(f.n) > 4
		}
		if far {
			out = append(out, p.at)
		}
	}
	return out
}
