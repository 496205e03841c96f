package testtape

import (
	"math"

	"headstack/dsp"
)

// ear analyses one channel. Each has its own working space, so ears run side by
// side, and each decides for itself which frames it may leave out.
type ear struct {
	f       *features
	channel int
	window  []float64
	fft     *dsp.RealFFT
	bands   []band
	block   dsp.Packed  // being analysed
	raw     []float64   // the last hop of the block before, then those of the block that were unpacked, at the capture's rate
	have    []bool      // hops that raw holds
	looks   []int       // see spots
	glanced []float64   // one look
	halved  [][]float64 // a frame after each halving
	frame   []float64
	spec    []complex128
	power   []float64
	// The two strongest lines of the frame above humTop.
	first, second peak

	// Per frame of the block, from 1; 0 is the last of the block before.
	heard  []sound
	energy []float64 // of each hop, sum of squares at the capture's rate
	begun  bool      // heard[0] and energy[0] are of this capture

	notFinite int64
	err       error // of unpacking, the first
}

// sound is what is kept of one frame.
type sound struct {
	lines        []line // per tone
	total, hiss  uint8
	loud, loudHz float64
}

// line is the strongest spectral line near a tone.
type line struct {
	offset int16
	snr    uint8
	level  uint8
	over   uint8 // half dB above the strongest line elsewhere; 0 when below it
}

// peak is a bin and its power.
type peak struct {
	bin   int
	power float64
}

// lineBins is how far a line reaches: Hann's main lobe and what flutter adds.
const lineBins = 4

// band says which bins a tone is looked for in, and which tell the noise there.
type band struct{ lo, hi, noiseLo, noiseHi int }

func newEar(f *features, channel int, window []float64) *ear {
	n := len(window)
	hop := f.hop << f.halvings
	e := &ear{
		f: f, channel: channel, window: window, fft: dsp.NewRealFFT(n),
		raw: make([]float64, hop*(f.blockHops+1)), have: make([]bool, f.blockHops+1),
		looks: spots(hop), glanced: make([]float64, lookLength),
		frame: make([]float64, n),
		spec:  make([]complex128, n/2+1), power: make([]float64, n/2+1),
		heard: newSounds(f, f.blockHops+1), energy: make([]float64, f.blockHops+1),
	}
	e.have[0] = true // nothing comes before the capture
	for i := range f.halvings {
		e.halved = append(e.halved, make([]float64, n<<f.halvings>>(i+1)))
	}
	for _, hz := range f.tones {
		e.bands = append(e.bands, newBand(hz/f.binHz, n/2))
	}
	return e
}

func newSounds(f *features, n int) []sound {
	list := make([]sound, n)
	for i := range list {
		list[i].lines = make([]line, len(f.tones))
	}
	return list
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

// analyse fills in what is heard in frame i of the block.
func (e *ear) analyse(i int) {
	hop := e.f.hop << e.f.halvings
	e.unpack(i - 1)
	e.unpack(i)
	x := e.raw[(i-1)*hop : (i+1)*hop]
	for _, y := range e.halved {
		var h halver // it begins on nothing, where the window is nought
		h.halve(y, x)
		x = y
	}
	for i, v := range x {
		e.frame[i] = v * e.window[i]
	}
	e.fft.Coefficients(e.spec, e.frame)
	// This window spreads d.c. over bins 0 and 1 as 1 to -1/2.
	e.spec[1] += 0.5 * e.spec[0]
	e.spec[0] = 0
	s := &e.heard[i]
	e.overall(s)
	for k, b := range e.bands {
		s.lines[k] = e.strongest(b, e.f.tones[k])
	}
}

// overall fills the power spectrum and notes the frame's level without d.c., the
// part above hissHz, and the strongest line.
func (e *ear) overall(s *sound) {
	// A sine of full scale puts N²·3/32 into its three highest bins under this
	// window; scaled so, power sums read as (amplitude/full scale)².
	scale := 32. / 3 / float64(len(e.frame)) / float64(len(e.frame))
	from := min(int(hissHz/e.f.binHz), len(e.power)/2)
	var sum, low float64
	loud, at := 0., 0
	for k, c := range e.spec {
		p := (real(c)*real(c)+imag(c)*imag(c))*scale + 1e-20
		e.power[k] = p
		if k < 2 || k == len(e.spec)-1 {
			continue
		}
		if k == from {
			low = sum
		}
		sum += p
		if p > loud {
			loud, at = p, k
		}
	}
	s.total, s.hiss, s.loud, s.loudHz = halfDB(sum), halfDB(sum-low), loud, 0
	if at > 2 {
		s.loudHz = e.f.binHz * (float64(at) + e.between(at))
	}
	lowest := int(humTopHz/e.f.binHz) + 2
	top := len(e.power) - 1
	e.first = e.highest(lowest, top)
	e.second = e.highest(lowest, e.first.bin-lineBins)
	if p := e.highest(e.first.bin+lineBins+1, top); p.power > e.second.power {
		e.second = p
	}
	for _, p := range []*peak{&e.first, &e.second} {
		if !e.standsOut(p.bin) {
			p.power = 0
		}
	}
}

// standsOut reports whether a bin is a line: more than noise reaches.
func (e *ear) standsOut(k int) bool {
	const around = 14
	logs, count := 0., 0
	for i := max(2, k-around); i < min(len(e.power)-1, k+around+1); i++ {
		if i < k-lineBins || i > k+lineBins {
			logs += fastLog2(e.power[i])
			count++
		}
	}
	return count > 0 && 3.0103*(math.Log2(e.power[k])-logs/float64(count)) >= 0.5*clearSNR
}

// highest is the highest of bins lo to hi-1; no power when there are none.
func (e *ear) highest(lo, hi int) peak {
	best := peak{bin: lo}
	for k := lo; k < hi; k++ {
		if p := e.power[k]; p > best.power {
			best = peak{k, p}
		}
	}
	return best
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
	if k := e.nearer(b, at, nominal); k != at {
		peak, at = e.power[k], k
	}
	sum := e.power[at-1] + peak + e.power[at+1]
	// The mean of logarithms, not the mean, of the bins around: other lines in
	// them, such as hum, then hardly count.
	logs, count := 0., 0
	for k := b.noiseLo; k <= b.noiseHi; k++ {
		if k >= at-3 && k <= at+3 {
			continue // the line itself
		}
		logs += fastLog2(e.power[k])
		count++
	}
	snr := 0.
	if count > 0 {
		snr = 3.0103 * (math.Log2(peak) - logs/float64(count))
	}
	rival := e.first
	if rival.bin >= at-lineBins && rival.bin <= at+lineBins {
		rival = e.second
	}
	over := 3.0103 * math.Log2(peak/max(rival.power, 1e-20))
	hz := e.f.binHz * (float64(at) + e.between(at))
	return line{
		offset: int16(math.Round(max(-0.3, min(0.3, hz/nominal-1)) * 1e5)),
		snr:    uint8(max(0, min(255, 2*snr))),
		level:  halfDB(sum),
		over:   uint8(max(0, min(255, 2*over))),
	}
}

// nearer is the line within 6 dB of the highest, bin at, that is nearest to the
// nominal frequency, or at itself: two tones at once may lie close together, and
// which is the stronger is chance.
func (e *ear) nearer(b band, at int, nominal float64) int {
	best := at
	off := func(k int) float64 { return math.Abs(float64(k)*e.f.binHz - nominal) }
	for k := b.lo; k <= b.hi; k++ {
		p := e.power[k]
		if p < 0.25*e.power[at] || p < e.power[k-1] || p < e.power[k+1] || k >= at-lineBins && k <= at+lineBins {
			continue
		}
		if off(k) < off(best) && e.standsOut(k) {
			best = k
		}
	}
	return best
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
