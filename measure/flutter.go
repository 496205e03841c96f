package measure

import (
	"fmt"
	"math"
	"math/cmplx"

	"headstack/dsp"
	"headstack/programme"
	"headstack/testtape"
)

// Carriers of wow and flutter measurement: 3150 Hz (IEC 60386:1972, DIN 45507,
// AES6-2008) and 3000 Hz (older NAB and JIS practice). AES6-2008 asks for at least 5 s.
// 3150 Hz and 5 s were re-read in the notice of AES6-2008, the rest is from memory.
const (
	carrierWithin   = 0.02 // of 3000 or 3150 Hz
	carrierSeconds  = 5
	carrierLeastHz  = 1000 // of a stand-in: below, too little carrier for 200 Hz of flutter
	speedLeast      = 3    // seconds that must be heard
	speedTopHz      = 200  // highest rate of speed fluctuation measured
	speedSidebands  = 300  // Hz kept to either side beside 2 % of the carrier: flutter and the noise next to it
	dropDepth       = 0.32 // of the median amplitude: 10 dB down the phase is no longer trusted
	dropGuard       = 5    // samples to either side of a drop-out, about the demodulator's reach
	dropMost        = 0.05 // share of time in drop-outs beyond which there is no figure
	wildDeviation   = 0.05 // relative: no transport moves so within a millisecond
	speedDecimation = 0.05 // s, of the means on which statistics run
)

// speedTake is the tone of one capture on which the speed is followed.
type speedTake struct {
	at       stretch
	absent   string
	band     dsp.Band
	channels []*speedChannel // by channel, nil where unused
	standIn  string          // warning when the tone is not the standard's

	done    bool
	common  *speedSeries
	figures *speedFigures
	tracks  []*speedFigures // by channel
	jitter  []speedFigure   // by channel, r.m.s. of the rest after the common speed
	lines   []speedLine
}

// speedSection picks the section of a capture on which wow and flutter are measured:
// the longest found at 3 or 3.15 kHz of at least 5 s, else the longest tone from 1 kHz
// up; −1 for none.
func speedSection(p *programme.Programme, t *testtape.Tape, found finding) int {
	best, rank, length := -1, 0, 0.0
	for _, pl := range found.places {
		sec := t.Sections[pl.index]
		if !pl.found || kindOf(p, sec, pl.index) != programme.Tone || sec.ToneHz < carrierLeastHz {
			continue
		}
		r, l := 1, pl.endS-pl.startS
		if standardCarrier(sec.ToneHz) && l >= carrierSeconds {
			r = 2
		}
		if r > rank || r == rank && l > length {
			best, rank, length = pl.index, r, l
		}
	}
	return best
}

func standardCarrier(hz float64) bool {
	return math.Abs(hz/3150-1) <= carrierWithin || math.Abs(hz/3000-1) <= carrierWithin
}

// speedBand is wide enough for flutter of 200 Hz, for a speed that is off by 2 % from
// the expected one, and for a look at the noise beside the flutter.
func speedBand(f, rate float64) (dsp.Band, bool) {
	pass := speedSidebands + carrierWithin*f
	stop := 2 * pass
	return dsp.Band{CarrierHz: f, PassHz: pass, StopHz: stop}, stop < 0.97*f && f+stop < rate-f
}

// hearSpeed follows the speed on the one section chosen for it.
func hearSpeed(t *take, at stretch, c int) listener {
	if !at.speed {
		return nil
	}
	if t.speed == nil {
		t.speed = &speedTake{at: at, channels: make([]*speedChannel, len(t.tracks))}
		f := at.section.ToneHz * at.ratio
		band, ok := speedBand(f, t.rate)
		switch {
		case !ok:
			t.speed.absent = fmt.Sprintf("carrier of %.0f Hz with ±%.0f Hz of sidebands does not fit below half the sample rate of %.0f Hz", f, band.StopHz, t.rate)
		case at.seconds < speedLeast:
			t.speed.absent = fmt.Sprintf("section too short: %.1f s heard, %d s needed", at.seconds, speedLeast)
		}
		t.speed.band = band
		if !standardCarrier(at.section.ToneHz) {
			t.speed.standIn = fmt.Sprintf("measured on a tone of %g Hz, for want of one at 3 or 3.15 kHz of at least %d s", at.section.ToneHz, carrierSeconds)
		}
	}
	if t.speed.absent != "" {
		return nil
	}
	ch := newSpeedChannel(t.rate, t.speed.band)
	ch.expected = int(at.seconds*ch.rate) + 1
	t.speed.channels[c] = ch
	return ch
}

// speedChannel follows the momentary frequency of one channel.
type speedChannel struct {
	demod *dsp.Demodulator
	band  dsp.Band

	expected int // amplitudes, 0 not known

	last complex128 // amplitude before the next one
	inc  []float32  // frequency over the carrier's, less 1, averaged from sample to sample
	env  []float32  // amplitude at the samples, one more than inc

	// Kept after finish:
	rate    float64   // of dev
	dev     []float32 // frequency over the carrier's, less 1; NaN in drop-outs
	mean    float64   // of dev, drop-outs left out
	noise   float64   // density of the phase noise, rad²/Hz, one-sided
	dropped float64   // share of time in drop-outs
	absent  string
}

func newSpeedChannel(rate float64, band dsp.Band) *speedChannel {
	c := &speedChannel{demod: dsp.NewDemodulator(rate, band), band: band}
	c.rate = c.demod.Rate()
	return c
}

// feed keeps 8 bytes per demodulated sample, about 10 kB a second.
func (c *speedChannel) feed(x []float64) {
	c.demod.Feed(x)
	if c.env == nil && c.expected > 0 { // room is made at once, not grown into
		c.inc, c.env = make([]float32, 0, c.expected), make([]float32, 0, c.expected)
	}
	scale := c.rate / (2 * math.Pi * c.band.CarrierHz)
	for _, z := range c.demod.Drain() {
		if len(c.env) > 0 {
			c.inc = append(c.inc, float32(scale*cmplx.Phase(z*cmplx.Conj(c.last))))
		}
		c.env, c.last = append(c.env, float32(cmplx.Abs(z))), z
	}
}

// finish makes the speed signal of the increments.
func (c *speedChannel) finish() {
	env, inc := widened(c.env), widened(c.inc)
	c.demod, c.env, c.inc = nil, nil, nil
	if float64(len(inc)) < 0.8*speedLeast*c.rate {
		c.absent = "section too short"
		return
	}
	med := median(env)
	if !(med > 0) {
		c.absent = "track silent: no tone"
		return
	}
	bad := dropOuts(env, inc, med)
	c.dropped = share(bad)
	if c.dropped > dropMost {
		c.absent = fmt.Sprintf("drop-outs, or no tone, over %.0f %% of the time (%.0f %% at most)", 100*c.dropped, 100*dropMost)
		return
	}
	mend(inc, bad)
	dev := differentiate(inc)
	bad = bad[differentiatorEnds : len(bad)-differentiatorEnds]
	env = env[differentiatorEnds : differentiatorEnds+len(dev)]
	c.mean = meanOf(dev)
	for i := range env {
		env[i] /= med
	}
	mend(env, bad)
	c.noise = c.noiseDensity(env, dev)
	c.dev = make([]float32, len(dev))
	for i, v := range dev {
		c.dev[i] = float32(v)
		if bad[i] {
			c.dev[i] = float32(math.NaN())
		}
	}
}

func widened(x []float32) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = float64(v)
	}
	return y
}

// dropOuts marks the increments between samples that cannot be trusted.
func dropOuts(env, inc []float64, med float64) []bool {
	bad := make([]bool, len(inc))
	mid := median(inc)
	for i, d := range inc {
		if env[i] < dropDepth*med || env[i+1] < dropDepth*med || math.Abs(d-mid) > wildDeviation {
			for k := max(0, i-dropGuard); k <= min(len(bad)-1, i+dropGuard); k++ {
				bad[k] = true
			}
		}
	}
	return bad
}

func share(bad []bool) float64 {
	n := 0
	for _, b := range bad {
		if b {
			n++
		}
	}
	return float64(n) / float64(len(bad))
}

// mend replaces what is bad by straight lines between the good samples beside it; a
// bad stretch at an end takes the nearest good value.
func mend(x []float64, bad []bool) {
	for i := 0; i < len(x); i++ {
		if !bad[i] {
			continue
		}
		j := i
		for j < len(x) && bad[j] {
			j++
		}
		if i == 0 && j == len(x) {
			return
		}
		for k := i; k < j; k++ {
			switch {
			case i == 0:
				x[k] = x[j]
			case j == len(x):
				x[k] = x[i-1]
			default:
				w := float64(k-i+1) / float64(j-i+1)
				x[k] = (1-w)*x[i-1] + w*x[j]
			}
		}
		i = j
	}
}

// differentiatorEnds samples are lost at either end by [differentiate].
const differentiatorEnds = 3

// differentiate turns phase differences, which are the frequency averaged from sample
// to sample, into the frequency in the middle between them:
//
//	d/dt = δ − δ³/24 + 3δ⁵/640 − 5δ⁷/7168   with δ the central difference
//
// At 200 Hz and 1200 samples per second the average alone would read 4.5 % low; this is
// right to 0.02 %. The series is that of 2·arsinh(δ/2), any textbook of differences.
func differentiate(inc []float64) []float64 {
	var taps [2*differentiatorEnds + 1]float64
	power := []float64{1}
	for _, c := range []float64{1, -1.0 / 24, 3.0 / 640, -5.0 / 7168} {
		at := differentiatorEnds - len(power)/2
		for i, p := range power {
			taps[at+i] += c * p
		}
		next := make([]float64, len(power)+2) // times δ²
		for i, p := range power {
			next[i] += p
			next[i+1] -= 2 * p
			next[i+2] += p
		}
		power = next
	}
	out := make([]float64, len(inc)-2*differentiatorEnds)
	for i := range out {
		sum := 0.0
		for k, v := range inc[i : i+len(taps)] {
			sum += taps[k] * v
		}
		out[i] = sum
	}
	return out
}

// noiseDensity is the one-sided density of the carrier's phase noise in rad²/Hz, from
// the band beyond the flutter. Noise that adds to the carrier moves amplitude and phase
// alike. Tape also modulates the amplitude alone, and scrape flutter the frequency
// alone; so the lesser of the two densities is the noise, taken as flat across the band.
func (c *speedChannel) noiseDensity(env, dev []float64) float64 {
	hi := 0.97*c.band.PassHz - math.Abs(c.mean)*c.band.CarrierHz
	lo := math.Min(1.05*speedTopHz, 0.8*hi)
	n := 64
	for n*2 <= len(dev)/4 && float64(n) < c.rate/4 {
		n *= 2
	}
	amp := bandMedian(env, n, c.rate, lo, hi, func(float64) float64 { return 1 })
	phase := bandMedian(dev, n, c.rate, lo, hi, func(f float64) float64 { return c.band.CarrierHz / f * c.band.CarrierHz / f })
	return math.Min(amp, phase)
}

// bandMedian is the median over a band of a density, each bin times scale of its
// frequency.
func bandMedian(x []float64, n int, rate, lo, hi float64, scale func(float64) float64) float64 {
	w := dsp.NewWelch(n, rate, lo, hi)
	w.Feed(x)
	d, ok := w.Density()
	if !ok {
		return 0
	}
	var in []float64
	for k, v := range d {
		if f := float64(k) * rate / float64(n); f >= lo && f <= hi {
			in = append(in, v*scale(f))
		}
	}
	// Median over mean of a chi-square by Wilson and Hilferty, as in envelopeNoise.
	dof := math.Max(2, 2*0.95*float64(w.Blocks()))
	return median(in) / math.Pow(1-2/(9*dof), 3)
}

func meanOf(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}
