package measure

import (
	"fmt"
	"math"
	"math/cmplx"

	"headstack/dsp"
)

// product is a line that a bent characteristic makes of one or two tones: at p·f1 + q·f2.
type product struct{ p, q int }

// productChannel follows one or two tones and lines made of them on one channel.
//
// A line at p·f1 + q·f2 has the phase p·φ1 + q·φ2 + constant, whatever the tape's speed
// does and however late a channel is. Turned back by the measured phases of the tones
// it stands still: wow and flutter, p or q times as large on it as on its tones, do not
// smear it, and noise averages out over the whole section.
type productChannel struct {
	tones    []float64 // as played, Hz
	upper    bool      // ratios are to the last tone alone, else to the sum of all
	products []product
	band     dsp.Band       // of each of them; the carrier differs
	rate     float64        // of the demodulated signals
	low      *dsp.Decimator // before the demodulators, where the lines lie far below half the sample rate
	demods   []*dsp.Demodulator
	extent   extent

	// Kept after finish:
	why     string // there is nothing
	parts   []component
	seconds float64
}

const (
	productBlockSeconds = 0.02
	productTopHz        = 20000
	lowPart, mostLow    = 0.25, 32 // where the lines may end in a lowered sample rate, and how far it is lowered
)

// newProductChannel returns nil when the tones do not fit below half the sample rate.
// Products that do not are left out.
func newProductChannel(rate float64, tones []float64, products []product) *productChannel {
	c := &productChannel{tones: tones}
	top := tones[len(tones)-1]
	for _, p := range products {
		if f := c.hz(p); f <= productTopHz {
			c.products = append(c.products, p)
			top = math.Max(top, f)
		}
	}
	c.band = productBand(c, top)
	fits := func(f float64) bool { return f+c.band.StopHz < rate/2 }
	for _, f := range tones {
		if !fits(f) {
			return nil
		}
	}
	kept := c.products[:0]
	for _, p := range c.products {
		if fits(c.hz(p)) {
			kept = append(kept, p)
		}
	}
	c.products = kept
	if most := top + c.band.StopHz; lowPart*rate > 3*most {
		c.low = dsp.NewDecimator(rate, min(mostLow, int(lowPart*rate/most)), most)
		rate = c.low.Rate()
	}
	for _, f := range c.carriers() {
		c.demods = append(c.demods, dsp.NewDemodulator(rate, dsp.Band{CarrierHz: f, PassHz: c.band.PassHz, StopHz: c.band.StopHz}))
	}
	c.rate = c.demods[0].Rate()
	return c
}

// productBand holds flutter up to 60 Hz and, at the highest line, a speed 1 % off the
// one expected, as far as the distance of the lines leaves room. All lines have the
// same filters, so that they are sampled at the same moments.
func productBand(c *productChannel, top float64) dsp.Band {
	space := math.Inf(1)
	lines := c.carriers()
	for i, f := range lines {
		space = math.Min(space, f) // of a direct voltage
		for _, g := range lines[:i] {
			space = math.Min(space, math.Abs(f-g))
		}
	}
	pass := math.Min(0.01*top+60, 0.35*space)
	return dsp.Band{PassHz: pass, StopHz: math.Min(math.Max(2.2*pass, pass+60), 0.97*space)}
}

func (c *productChannel) hz(p product) float64 {
	f := float64(p.p) * c.tones[0]
	if p.q != 0 {
		f += float64(p.q) * c.tones[1]
	}
	return f
}

// carriers are the tones, then the products.
func (c *productChannel) carriers() []float64 {
	out := append([]float64(nil), c.tones...)
	for _, p := range c.products {
		out = append(out, c.hz(p))
	}
	return out
}

// expect makes room for a section of so many seconds.
func (c *productChannel) expect(seconds float64) {
	for _, d := range c.demods {
		d.Expect(seconds)
	}
}

func (c *productChannel) feed(x []float64) {
	if len(c.tones) > 1 { // single tones are watched by their toneChannel
		c.extent.feed(x)
	}
	if c.low != nil {
		c.low.Feed(x)
		x = c.low.Drain()
	}
	for _, d := range c.demods {
		d.Feed(x)
	}
}

// counts tells whether tone k is part of what the products are compared with.
func (c *productChannel) counts(k int) bool { return !c.upper || k == len(c.tones)-1 }

// finish reduces the demodulated signals to the ratios of the products to the tones.
func (c *productChannel) finish() {
	z := make([][]complex128, len(c.demods))
	for i, d := range c.demods {
		z[i] = d.Output()
	}
	c.demods, c.low = nil, nil
	tones, lines := z[:len(c.tones)], z[len(c.tones):]
	if len(tones[0]) < 2 {
		c.why = "section too short"
		return
	}
	spin := make([][]complex128, len(tones)) // unit phasors
	phaseNoise := make([]float64, len(tones))
	drift := make([]float64, len(tones)) // Hz off the carrier
	sum, excess := 0.0, 0.0
	for k, t := range tones {
		noise := envelopeNoise(t, c.rate, c.band)
		power := medianPower(t)
		if !(power-noise > math.Pow(10, weakDB/10.0)*noise) {
			c.why = fmt.Sprintf("tone of %s too weak or absent: less than %d dB over the noise near it", kilohertz(c.tones[k]), weakDB)
			return
		}
		spin[k], drift[k] = unitPhasors(t, c.rate)
		phaseNoise[k] = noise / (2 * power)
		if c.counts(k) {
			sum += math.Sqrt(power)
			excess += math.Sqrt(power) * phaseNoise[k] / 2 // of the mean envelope over the tone
		}
	}
	env := c.envelope(tones)
	den := 0.0
	for _, a := range env {
		den += a * a
	}
	if !(den > 0) {
		c.why = "track silent"
		return
	}
	var parts [][]float64 // along and across the tones' phase, in turn
	for i, p := range c.products {
		off, smear := 0.0, 0.0
		for k, n := range []int{p.p, p.q}[:len(tones)] {
			off += float64(n) * drift[k]
			smear += float64(n*n) * phaseNoise[k]
		}
		if math.Abs(off) > 0.9*c.band.PassHz {
			c.why = fmt.Sprintf("speed is %.1f %% off the one expected: the product at %s may lie outside its band", 100*math.Abs(off)/c.hz(p), kilohertz(c.hz(p)))
			break
		}
		// Noise in the phases turned back shortens the mean of the line by e^{−σ²/2}.
		along, across := c.reduce(env, spin, lines[i], p, math.Exp(smear/2)*(1+excess/sum))
		parts = append(parts, along, across)
	}
	c.fit(parts, env)
}

// blockLen is how many demodulated samples make a block.
func (c *productChannel) blockLen() int { return max(1, int(productBlockSeconds*c.rate)) }

// envelope is the sum of the envelopes of the tones that count, block by block.
func (c *productChannel) envelope(tones [][]complex128) []float64 {
	m := c.blockLen()
	env := make([]float64, len(tones[0])/m)
	for b := range env {
		for i := b * m; i < (b+1)*m; i++ {
			for k := range tones {
				if c.counts(k) {
					env[b] += cmplx.Abs(tones[k][i])
				}
			}
		}
	}
	return env
}

// reduce turns one line back and parts its blocks into what goes along with the mean
// phase and what stands across.
func (c *productChannel) reduce(env []float64, spin [][]complex128, line []complex128, p product, lengthen float64) (along, across []float64) {
	m := c.blockLen()
	along, across = make([]float64, len(env)), make([]float64, len(env))
	var num complex128
	for b, a := range env {
		var w complex128
		for i := b * m; i < (b+1)*m; i++ {
			turn := toPower(spin[0][i], p.p)
			if p.q != 0 {
				turn *= toPower(spin[1][i], p.q)
			}
			w += line[i] * cmplx.Conj(turn)
		}
		along[b], across[b] = real(w)*lengthen, imag(w)*lengthen
		num += complex(along[b]*a, across[b]*a)
	}
	turn := complex(1, 0)
	if num != 0 {
		turn = cmplx.Conj(num) / complex(cmplx.Abs(num), 0)
	}
	for b := range env {
		w := complex(along[b], across[b]) * turn
		along[b], across[b] = real(w), imag(w)
	}
	return along, across
}

// fit fits the blocks of the lines by the envelope of the tones, so that drop-outs and
// flicker that a line shares with its tones leave the ratio alone.
func (c *productChannel) fit(parts [][]float64, env []float64) {
	if len(parts) == 0 {
		return
	}
	length := float64(len(env)*c.blockLen()) / c.rate
	es, ok := dsp.LeastSquaresEach(parts, [][]float64{env}, 0)
	if !ok {
		c.why = fmt.Sprintf("section too short: %.1f s to average over", length)
		return
	}
	for i := 0; i < len(es); i += 2 {
		es[i].Value = math.Max(0, es[i].Value)
		c.parts = append(c.parts, component{along: es[i], across: es[i+1]})
	}
	c.seconds = length
}

// part is the component of a product; ok is false when it was left out.
func (c *productChannel) part(want product) (component, bool) {
	for i, p := range c.products {
		if p == want && i < len(c.parts) {
			return c.parts[i], true
		}
	}
	return component{}, false
}

// toPower is z to the n of a unit phasor.
func toPower(z complex128, n int) complex128 {
	if n < 0 {
		z, n = cmplx.Conj(z), -n
	}
	out := complex(1, 0)
	for range n {
		out *= z
	}
	return out
}

// unitPhasors are the phases of z, and its mean frequency.
func unitPhasors(z []complex128, rate float64) (unit []complex128, hz float64) {
	unit = make([]complex128, len(z))
	var step complex128
	for i, v := range z {
		if a := cmplx.Abs(v); a > 0 {
			unit[i] = v / complex(a, 0)
		}
		if i > 0 {
			step += v * cmplx.Conj(z[i-1])
		}
	}
	return unit, cmplx.Phase(step) / (2 * math.Pi) * rate
}

func medianPower(z []complex128) float64 {
	p := make([]float64, len(z))
	for i, v := range z {
		p[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	return median(p)
}
