package testtape

import (
	"math"

	"headstack/dsp"
)

// ear analyses one channel. Each has its own working space, so ears run side by
// side.
type ear struct {
	f      *features
	window []float64
	fft    *dsp.RealFFT
	bands  []band
	raw    []float64 // a block at the capture's rate
	halver []halver
	halved [][]float64 // what each halver writes
	buf    []float64   // the last hop of the block before, then the block at the ear's rate
	frame  []float64
	spec   []complex128
	power  []float64
	logSum []float64 // prefix sums of log2 power, for means over bins

	// Results, per hop of the block.
	lines     []line // per hop and tone
	total     []uint8
	hiss      []uint8
	loud      []float64
	loudHz    []float64
	notFinite int64
}

// line is the strongest spectral line near a tone.
type line struct {
	offset int16
	snr    uint8
	level  uint8
}

// band says which bins a tone is looked for in, and which tell the noise there.
type band struct{ lo, hi, noiseLo, noiseHi int }

func newEar(f *features, window []float64) *ear {
	n := len(window)
	e := &ear{
		f: f, window: window, fft: dsp.NewRealFFT(n),
		raw: make([]float64, f.hop*blockHops<<f.halvings), halver: make([]halver, f.halvings),
		buf: make([]float64, f.hop*(blockHops+1)), frame: make([]float64, n), spec: make([]complex128, n/2+1),
		power: make([]float64, n/2+1), logSum: make([]float64, n/2+2),
		lines: make([]line, blockHops*len(f.tones)), total: make([]uint8, blockHops), hiss: make([]uint8, blockHops),
		loud: make([]float64, blockHops), loudHz: make([]float64, blockHops),
	}
	for i := range f.halvings {
		e.halved = append(e.halved, make([]float64, len(e.raw)>>(i+1)))
	}
	for _, hz := range f.tones {
		e.bands = append(e.bands, newBand(hz/f.binHz, n/2))
	}
	return e
}

// newBand places the search for a tone at bin x in a spectrum of bins up to top.
func newBand(x float64, top int) band {
	b := band{lo: int(math.Round(x * (1 - searchWidth))), hi: int(math.Round(x * (1 + searchWidth)))}
	b.lo = max(b.lo, 2) // bins 0 and 1 hold what is left of d.c.
	b.hi = min(b.hi, top-2)
	// 14 bins each side give the mean of logarithms a spread of about 1 dB.
	w := max(14, (b.hi-b.lo)/2+4)
	b.noiseLo, b.noiseHi = max(2, b.lo-w), min(top-1, b.hi+w)
	return b
}

// listen analyses the block's first hops frames and keeps the tail for the next.
func (e *ear) listen(hops int) {
	hop := e.f.hop
	for i, v := range e.raw {
		if v-v != 0 { // NaN or infinite
			e.raw[i] = 0
			e.notFinite++
		}
	}
	x := e.raw
	for i, y := range e.halved {
		e.halver[i].halve(y, x)
		x = y
	}
	copy(e.buf[hop:], x)
	for h := range hops {
		e.analyse(e.buf[h*hop : (h+2)*hop])
		for i, b := range e.bands {
			e.lines[h*len(e.bands)+i] = e.strongest(b, e.f.tones[i])
		}
		e.overall(h)
	}
	copy(e.buf[:hop], e.buf[hops*hop:(hops+1)*hop])
}

// analyse fills the power spectrum of x.
func (e *ear) analyse(x []float64) {
	var mean float64
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	for i, v := range x {
		e.frame[i] = (v - mean) * e.window[i]
	}
	e.fft.Coefficients(e.spec, e.frame)
	// A sine of full scale puts N²·3/32 into its three highest bins under this
	// window; scaled so, power sums read as (amplitude/full scale)².
	scale := 32. / 3 / float64(len(x)) / float64(len(x))
	for k, c := range e.spec {
		p := (real(c)*real(c)+imag(c)*imag(c))*scale + 1e-20
		e.power[k] = p
		e.logSum[k+1] = e.logSum[k] + fastLog2(p)
	}
}

// strongest finds the highest local peak in a band.
func (e *ear) strongest(b band, nominal float64) line {
	peak, at := 0., -1
	floor := 0.
	for k := b.lo; k <= b.hi; k++ {
		p := e.power[k]
		floor = max(floor, p)
		if p > peak && p >= e.power[k-1] && p >= e.power[k+1] {
			peak, at = p, k
		}
	}
	if at < 0 {
		return line{level: halfDB(floor)}
	}
	sum := e.power[at-1] + peak + e.power[at+1]
	// The mean of logarithms, not the mean, of the bins around: other lines in
	// them, such as hum, then hardly count.
	lo, hi := min(at-3, b.hi), at+4
	logs := e.logSum[b.noiseHi+1] - e.logSum[b.noiseLo]
	count := b.noiseHi + 1 - b.noiseLo
	if lo < b.noiseLo {
		lo = b.noiseLo
	}
	if hi > b.noiseHi+1 {
		hi = b.noiseHi + 1
	}
	logs -= e.logSum[hi] - e.logSum[lo]
	count -= hi - lo
	snr := 0.
	if count > 0 {
		snr = 3.0103 * (math.Log2(peak) - logs/float64(count))
	}
	hz := e.f.binHz * (float64(at) + e.between(at))
	return line{
		offset: int16(math.Round(max(-0.3, min(0.3, hz/nominal-1)) * 1e5)),
		snr:    uint8(max(0, min(255, 2*snr))),
		level:  halfDB(sum),
	}
}

// between is where the line stands between bins, re the highest bin k. For the
// Hann window and a steady sine, with a = |X[k±1]|/|X[k]| of the higher
// neighbour, it is ±(2a - 1)/(a + 1). Source: Rife and Vincent, BSTJ 49(2), 1970.
func (e *ear) between(k int) float64 {
	side, sign := e.power[k+1], 1.
	if e.power[k-1] > side {
		side, sign = e.power[k-1], -1
	}
	a := math.Sqrt(side / e.power[k])
	return sign * max(0, min(0.5, (2*a-1)/(a+1)))
}

// overall notes the frame's level without d.c., the part above hissHz, and the
// strongest line.
func (e *ear) overall(h int) {
	from := min(int(hissHz/e.f.binHz), len(e.power)/2)
	low, high, loud, at := 0., 0., 0., 0
	for k := 2; k < len(e.power)-1; k++ {
		p := e.power[k]
		if k < from {
			low += p
		} else {
			high += p
		}
		if p > loud {
			loud, at = p, k
		}
	}
	e.total[h], e.hiss[h], e.loud[h], e.loudHz[h] = halfDB(low+high), halfDB(high), loud, 0
	if at > 2 {
		e.loudHz[h] = e.f.binHz * (float64(at) + e.between(at))
	}
}

// halfDB writes a power as half decibels above levelFloorDB.
func halfDB(p float64) uint8 {
	return uint8(max(0, min(255, math.Round(2*(3.0103*math.Log2(p+1e-20)-levelFloorDB)))))
}

// fastLog2 is log2 within 0.09: exponent, and mantissa taken as straight. The
// mean of many such errors is far below what it is used for.
func fastLog2(p float64) float64 {
	b := math.Float64bits(p)
	return float64(int(b>>52)-1023) + float64(b&(1<<52-1))/(1<<52)
}
