package measure

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"headstack/dsp"
)

// toneChannel follows the tone of one section on one channel.
type toneChannel struct {
	demod *dsp.Demodulator
	band  dsp.Band
	rate  float64 // of the capture

	extent

	// Kept after finish, means over blocks of length dt:
	dt     float64
	power  []float64 // of |z|², the square of the peak amplitude, noise included
	middle float64   // median of power
	phase  []float64 // unwrapped, of z
	freq   []float64 // Hz from the carrier
	noise  float64   // mean of |noise|² in the band, in the units of power
	absent string    // why there is no tone
	hum    string
	dropDB float64 // deepest short dip under the median
	fit    *toneFit

	face        dsp.Estimate // gain of the capture interface at the tone, dB re its reference tone
	faceKnown   bool
	faceWarning string // why it is not taken off
}

const (
	blockSeconds = 0.008 // of the means kept: flutter to 60 Hz and drop-outs fit in
	absentDB     = 12    // the strongest line over the median of the band
	weakDB       = 10    // tone over noise in the band below which a phase cannot be followed
	dropWarnDB   = 3     // a dip worth a word
	humWarnDB    = -50   // a neighbouring line worth a word, re the tone
)

// toneBand chooses what to keep around a tone: ±2 % for a speed that is not the
// expected one and 60 Hz for flutter; less where a low tone has a direct voltage
// beside it, or a high one the mirror image above half the sample rate.
func toneBand(f, rate float64) (dsp.Band, bool) {
	mirror := rate - 2*f // distance of the image
	pass := math.Min(math.Min(0.02*f+60, 0.35*f), 0.25*mirror)
	stop := math.Min(math.Min(math.Max(2.2*pass, pass+60), 0.97*f), mirror-pass)
	return dsp.Band{CarrierHz: f, PassHz: pass, StopHz: stop}, f > 0 && pass >= 2
}

func newToneChannel(rate float64, band dsp.Band) *toneChannel {
	return &toneChannel{demod: dsp.NewDemodulator(rate, band), band: band, rate: rate}
}

func (c *toneChannel) feed(x []float64) {
	c.extent.feed(x)
	c.demod.Feed(x)
}

// finish reduces the complex amplitude to block means and lets it go.
func (c *toneChannel) finish() {
	z, rate := c.demod.Output(), c.demod.Rate()
	c.demod = nil
	if len(z) < 48 {
		c.absent = "section too short"
		return
	}
	if c.absent = c.look(z, rate); c.absent != "" {
		return
	}
	c.noise = envelopeNoise(z, rate, c.band)
	c.reduce(z, rate)
	c.middle = median(c.power)
	med := c.middle
	c.dropDB = c.deepest(med)
	if med-c.noise < math.Pow(10, weakDB/10.0)*c.noise {
		c.absent = fmt.Sprintf("tone too weak: %.0f dB over the noise within ±%.0f Hz of it, %d dB needed",
			10*math.Log10(math.Max(1e-3, med/c.noise-1)), (c.band.PassHz+c.band.StopHz)/2, weakDB)
	}
}

// look tells whether the band holds the expected tone, by its spectrum in pieces of
// about a second.
func (c *toneChannel) look(z []complex128, rate float64) string {
	if c.sumSq == 0 {
		return "track silent: every sample is zero"
	}
	n := 16
	for n*2 <= len(z) && float64(n) < 1.2*rate {
		n *= 2
	}
	pow := complexSpectrum(z, n)
	df := rate / float64(n)
	offset := func(k int) float64 { // Hz from the carrier
		if k >= n/2 {
			k -= n
		}
		return float64(k) * df
	}
	best, inBand := -1, []float64(nil)
	for k, p := range pow {
		if math.Abs(offset(k)) > c.band.PassHz {
			continue
		}
		inBand = append(inBand, p)
		if best < 0 || p > pow[best] {
			best = k
		}
	}
	ratio := 10 * math.Log10(pow[best]/math.Max(median(inBand), 1e-300))
	if ratio < absentDB {
		return fmt.Sprintf("tone absent: nothing stands out of the noise around %.0f Hz (strongest line %.0f dB over it, %d dB needed)", c.band.CarrierHz, ratio, absentDB)
	}
	if far := math.Abs(offset(best)); far > 0.025*c.band.CarrierHz+2*df+1 {
		return fmt.Sprintf("tone absent: the strongest line near %.0f Hz is at %.0f Hz", c.band.CarrierHz, c.band.CarrierHz+offset(best))
	}
	c.hum = c.neighbourHum(pow, best, offset, df, median(inBand))
	return ""
}

// neighbourHum looks for lines at the harmonics of the mains beside the tone.
func (c *toneChannel) neighbourHum(pow []float64, best int, offset func(int) float64, df, floor float64) string {
	tone := c.band.CarrierHz + offset(best)
	for _, mains := range []float64{50, 60} {
		for k := range pow {
			f := c.band.CarrierHz + offset(k)
			h := math.Round(f / mains)
			if math.Abs(offset(k)) > c.band.PassHz || h < 1 || h > 12 || math.Abs(f-h*mains) > df/2 || math.Abs(f-tone) < 4*df+0.004*tone {
				continue
			}
			left, right := pow[(k+len(pow)-1)%len(pow)], pow[(k+1)%len(pow)]
			re := 10 * math.Log10(pow[k]/pow[best])
			if re > humWarnDB && pow[k] > left && pow[k] > right && pow[k] > 30*floor {
				return fmt.Sprintf("hum at %.0f Hz, %.0f dB re the tone, lies in the measuring band", f, re)
			}
		}
	}
	return ""
}

// complexSpectrum is the mean power of Hann-windowed, half-overlapping pieces.
func complexSpectrum(z []complex128, n int) []float64 {
	win, plan := dsp.Hann(n), dsp.NewFFT(n)
	buf, pow := make([]complex128, n), make([]float64, n)
	for at := 0; at+n <= len(z); at += n / 2 {
		for i := range buf {
			buf[i] = z[at+i] * complex(win[i], 0)
		}
		plan.Transform(buf)
		for k, v := range buf {
			pow[k] += real(v)*real(v) + imag(v)*imag(v)
		}
	}
	return pow
}

// envelopeNoise estimates the mean square of the complex noise in z. The envelope
// knows nothing of flutter, so its spectrum away from 0 is noise alone: half the
// noise's power, the part in phase with the tone.
func envelopeNoise(z []complex128, rate float64, band dsp.Band) float64 {
	n := 16
	for n*2 <= len(z) && float64(n) < rate {
		n *= 2
	}
	lo, hi := 0.4*band.PassHz, 0.95*band.PassHz
	w := dsp.NewWelch(n, rate, lo, hi)
	env := make([]float64, len(z))
	for i, v := range z {
		env[i] = cmplx.Abs(v)
	}
	w.Feed(env)
	d, ok := w.Density()
	if !ok {
		return 0
	}
	var in []float64
	for k, v := range d {
		if f := float64(k) * rate / float64(n); f >= lo && f <= hi {
			in = append(in, v)
		}
	}
	if len(in) == 0 {
		return 0
	}
	// Median over mean of a chi-square with 2 degrees per effective block, by
	// Wilson and Hilferty; half-overlapping Hann blocks count for about 0.95.
	dof := math.Max(2, 2*0.95*float64(w.Blocks()))
	bias := math.Pow(1-2/(9*dof), 3)
	one := median(in) / bias * (band.PassHz + band.StopHz) / 2 // over the envelope's bandwidth
	return 2 * one
}

// reduce fills the block means.
func (c *toneChannel) reduce(z []complex128, rate float64) {
	m := max(1, int(blockSeconds*rate))
	c.dt = float64(m) / rate
	n := len(z)/m + 1
	c.power, c.phase, c.freq = make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	ph := make([]float64, len(z))
	ph[0] = cmplx.Phase(z[0])
	for i := 1; i < len(z); i++ {
		ph[i] = ph[i-1] + cmplx.Phase(z[i]*cmplx.Conj(z[i-1]))
	}
	// One sample on either side lets a block's mean frequency be taken between
	// the middles of the gaps before and behind it.
	for a := 1; a+m < len(z); a += m {
		p, f := 0.0, 0.0
		for i := a; i < a+m; i++ {
			p += real(z[i])*real(z[i]) + imag(z[i])*imag(z[i])
			f += ph[i]
		}
		b := a + m - 1
		slope := (ph[b] + ph[b+1] - ph[a-1] - ph[a]) / 2
		c.power = append(c.power, p/float64(m))
		c.phase = append(c.phase, f/float64(m))
		c.freq = append(c.freq, slope/(2*math.Pi*c.dt))
	}
}

// deepest returns the deepest dip of the power in three blocks under the median, dB.
func (c *toneChannel) deepest(med float64) float64 {
	low := med
	for i := 2; i < len(c.power); i++ {
		low = math.Min(low, (c.power[i]+c.power[i-1]+c.power[i-2])/3)
	}
	return 10 * math.Log10(med/math.Max(low, 1e-300))
}

// median returns the middle of x, which it leaves as it is; 0 for none.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return dsp.Select(slices.Clone(x), len(x)/2)
}
