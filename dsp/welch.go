package dsp

import "math"

// Welch estimates the power density of a stream by averaging windowed
// periodograms of half-overlapping blocks (Hann window, each block's mean
// removed), and keeps each block's power in one band beside the average.
// The memory used grows by one number per block.
type Welch struct {
	n      int
	rate   float64
	win    []float64
	scale  float64
	fft    *RealFFT
	buf    []float64
	work   []float64
	coef   []complex128
	sum    []float64
	blocks int
	lo, hi float64
	power  []float64

	gain     []float64 // power gain of a weighting, by bin; nil for none
	weighted []float64
}

// NewWelch returns an estimator with blocks of n samples, a power of two, for
// a signal at sampleRate; each block's power between loHz and hiHz is kept.
func NewWelch(n int, sampleRate, loHz, hiHz float64) *Welch {
	w := &Welch{n: n, rate: sampleRate, win: Hann(n), fft: NewRealFFT(n), lo: loHz, hi: hiHz}
	w.scale = 1 / (sampleRate * sumOfSquares(w.win))
	w.work = make([]float64, n)
	w.coef = make([]complex128, n/2+1)
	w.sum = make([]float64, n/2+1)
	return w
}

// Weigh has each block's power in the band kept a second time, weighted by a gain in
// dB at each frequency. It must be called before the first Feed.
func (w *Welch) Weigh(gainDB func(hz float64) float64) {
	w.gain = make([]float64, len(w.sum))
	for k := range w.gain {
		w.gain[k] = math.Pow(10, gainDB(float64(k)*w.rate/float64(w.n))/10)
	}
}

// Feed takes the next samples.
func (w *Welch) Feed(x []float64) {
	for len(x) > 0 {
		k := min(len(x), w.n-len(w.buf))
		w.buf = append(w.buf, x[:k]...)
		x = x[k:]
		if len(w.buf) == w.n {
			w.block()
			copy(w.buf, w.buf[w.n/2:])
			w.buf = w.buf[:w.n/2]
		}
	}
}

// block adds one full block.
func (w *Welch) block() {
	mean := 0.0
	for _, v := range w.buf {
		mean += v
	}
	mean /= float64(w.n)
	for i, v := range w.buf {
		w.work[i] = (v - mean) * w.win[i]
	}
	w.fft.Coefficients(w.coef, w.work)
	p := make([]float64, len(w.coef))
	for k, c := range w.coef {
		p[k] = w.scale * (real(c)*real(c) + imag(c)*imag(c))
		if k > 0 && k < w.n/2 {
			p[k] *= 2 // one-sided
		}
		w.sum[k] += p[k]
	}
	w.blocks++
	w.power = append(w.power, bandPower(p, w.rate/float64(w.n), w.lo, w.hi))
	if w.gain != nil {
		for k, g := range w.gain {
			p[k] *= g
		}
		w.weighted = append(w.weighted, bandPower(p, w.rate/float64(w.n), w.lo, w.hi))
	}
}

// Blocks is the number of blocks averaged so far.
func (w *Welch) Blocks() int { return w.blocks }

// Density returns the one-sided power density per hertz at k·rate/n, and
// whether there was a whole block.
func (w *Welch) Density() ([]float64, bool) {
	if w.blocks == 0 {
		return nil, false
	}
	d := make([]float64, len(w.sum))
	for k, s := range w.sum {
		d[k] = s / float64(w.blocks)
	}
	return d, true
}

// BlockPowers returns each block's mean square in the band, one value per half
// block length of signal.
func (w *Welch) BlockPowers() []float64 { return w.power }

// WeightedPowers returns what BlockPowers does, under the weighting of Weigh; nil
// without one.
func (w *Welch) WeightedPowers() []float64 { return w.weighted }

// bandPower integrates a one-sided density on a grid of df from lo to hi. Each
// grid value stands for the interval of width df around it, and counts by the
// part of that interval inside the band.
func bandPower(density []float64, df, lo, hi float64) float64 {
	last := len(density) - 1
	sum := 0.0
	for k := max(0, int(lo/df)-1); k <= last; k++ {
		a, b := (float64(k)-0.5)*df, (float64(k)+0.5)*df
		if k == last {
			b = float64(k) * df // nothing lies above half the rate
			// The one-sided value there already holds the half interval's power.
			if hi >= b {
				sum += density[k] * df
				continue
			}
		}
		if a >= hi {
			break
		}
		if width := math.Min(b, hi) - math.Max(a, lo); width > 0 {
			sum += density[k] * width
		}
	}
	return sum
}
