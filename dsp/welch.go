package dsp

import (
	"math"
	"math/bits"
	"sync"
)

// Welch estimates the power density of a stream by averaging windowed
// periodograms of half-overlapping blocks (Hann window, each block's mean
// removed), and keeps each block's power in one band beside the average.
// The memory used grows by one number per block.
type Welch struct {
	n      int
	rate   float64
	scale  float64
	buf    []float64
	sum    []float64
	blocks int
	power  []float64

	first        int       // bin of the band's lower edge
	width        []float64 // of the bins from there on within the band, Hz
	weighedWidth []float64 // the same times a weighting's power gain; nil for none
	weighted     []float64
}

// welchRoom is the working space of one block. Estimators of one block length share
// it, so that many channels do not push each other out of the processor's memory.
type welchRoom struct {
	win, work []float64
	coef      []complex128
	density   []float64
	fft       *RealFFT
}

// welchRooms by the power of two of the block length.
var welchRooms [bits.UintSize]sync.Pool

func welchRoomOf(n int) (room *welchRoom, giveBack func()) {
	pool := &welchRooms[bits.TrailingZeros(uint(n))]
	room, ok := pool.Get().(*welchRoom)
	if !ok {
		room = &welchRoom{win: Hann(n), work: make([]float64, n), coef: make([]complex128, n/2+1), density: make([]float64, n/2+1), fft: NewRealFFT(n)}
	}
	return room, func() { pool.Put(room) }
}

// NewWelch returns an estimator with blocks of n samples, a power of two, for
// a signal at sampleRate; each block's power between loHz and hiHz is kept.
func NewWelch(n int, sampleRate, loHz, hiHz float64) *Welch {
	w := &Welch{n: n, rate: sampleRate, buf: make([]float64, 0, n), sum: make([]float64, n/2+1)}
	room, done := welchRoomOf(n)
	defer done()
	w.scale = 1 / (sampleRate * sumOfSquares(room.win))
	w.first, w.width = bandWidths(n/2, sampleRate/float64(n), loHz, hiHz)
	return w
}

// Weigh has each block's power in the band kept a second time, weighted by a gain in
// dB at each frequency. It must be called before the first Feed.
func (w *Welch) Weigh(gainDB func(hz float64) float64) {
	w.weighedWidth = make([]float64, len(w.width))
	for i, b := range w.width {
		hz := float64(w.first+i) * w.rate / float64(w.n)
		w.weighedWidth[i] = b * math.Pow(10, gainDB(hz)/10)
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
	room, done := welchRoomOf(w.n)
	defer done()
	mean := mean(w.buf)
	buf, win, work := w.buf[:w.n], room.win[:w.n], room.work[:w.n]
	for i := range work {
		work[i] = (buf[i] - mean) * win[i]
	}
	room.fft.Coefficients(room.coef, work)
	p, sum := room.density, w.sum[:len(room.density)]
	for k, c := range room.coef[:len(p)] {
		p[k] = 2 * w.scale * (real(c)*real(c) + imag(c)*imag(c))
		sum[k] += p[k]
	}
	for _, k := range []int{0, w.n / 2} { // have no partner at a negative frequency
		p[k] /= 2
		sum[k] -= p[k]
	}
	w.blocks++
	in := p[w.first : w.first+len(w.width)]
	w.power = append(w.power, dot(in, w.width))
	if w.weighedWidth != nil {
		w.weighted = append(w.weighted, dot(in, w.weighedWidth))
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

// bandWidths returns what integrates a one-sided density on a grid of df up to the
// last, from lo to hi: the grid value first+i counts for width[i]. Each stands for the
// interval of width df around it, and counts by the part of that interval inside the
// band.
func bandWidths(last int, df, lo, hi float64) (first int, width []float64) {
	first = min(last, max(0, int(lo/df)-1))
	for k := first; k <= last; k++ {
		a, b := (float64(k)-0.5)*df, (float64(k)+0.5)*df
		if k == last {
			b = float64(k) * df // nothing lies above half the rate
			// The one-sided value there already holds the half interval's power.
			if hi >= b {
				width = append(width, df)
				break
			}
		}
		if a >= hi {
			break
		}
		width = append(width, math.Max(0, math.Min(b, hi)-math.Max(a, lo)))
	}
	return first, width
}

// mean returns the mean of x, with four sums, so that none waits for the one before.
func mean(x []float64) float64 {
	var a, b, c, d float64
	n := float64(len(x))
	for ; len(x) >= 4; x = x[4:] {
		a, b, c, d = a+x[0], b+x[1], c+x[2], d+x[3]
	}
	for _, v := range x {
		a += v
	}
	return ((a + b) + (c + d)) / n
}
