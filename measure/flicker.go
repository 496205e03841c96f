package measure

import (
	"fmt"
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mathext"

	"headstack/dsp"
)

// Flicker is what the level does between these frequencies. Below lies the slow mean:
// drift and the turns of large reels. Above, the 8 ms means and the narrow bands of
// low tones end. Common practice, no source.
const (
	flickerLoHz = 0.5
	flickerHiHz = 25
	// flickerShortest seconds hold one and a half periods of flickerLoHz.
	flickerShortest = 3
	// flickerPassPart of a tone's band is left to flicker; the rest tells the noise,
	// see envelopeNoise.
	flickerPassPart = 0.4
)

// course is how the level of one tone on one channel went.
type course struct {
	ch    *toneChannel
	why   string       // no course, for this reason
	hiHz  float64      // upper end of the band
	y     []float64    // level about its slow mean in dB, one for each dt
	modes []float64    // cosine transform of y inside the band, from mode first on
	first int          // mode m is m/(2T) Hz
	power dsp.Estimate // mean square of y, dB²
	noise dsp.Estimate // the part of it that the noise in the band makes
}

// newCourse makes the course from the block means kept of a tone.
func newCourse(ch *toneChannel) *course {
	c := &course{ch: ch}
	switch {
	case ch.absent != "":
		c.why = ch.absent
	case ch.seconds() < flickerShortest:
		c.why = fmt.Sprintf("section too short: %.1f s of tone, %d s needed", ch.seconds(), flickerShortest)
	}
	c.hiHz = math.Min(math.Min(flickerHiHz, flickerPassPart*ch.band.PassHz), 0.4/math.Max(ch.dt, 1e-3))
	if c.why == "" && c.hiHz < 4*flickerLoHz {
		c.why = fmt.Sprintf("tone too low: of its level only what is slower than %.1f Hz can be followed", c.hiHz)
	}
	if c.why != "" {
		return c
	}
	db := make([]float64, len(ch.power))
	for i, p := range ch.power {
		db[i] = 10 * math.Log10(math.Max(p, 1e-30))
	}
	c.pass(db)
	square := make([]float64, len(c.y))
	for i, v := range c.y {
		square[i] = v * v
	}
	square, _ = thinned(square)
	var ok bool
	if c.power, ok = dsp.Mean(square); !ok || !(c.power.Value >= 0) {
		c.why = "section too short for its flicker"
		return c
	}
	c.power.SE *= c.widening()
	c.noise = c.noisePart()
	return c
}

// pass keeps what lies in the band. The cosine transform mirrors the series at its
// ends, so that a drift does not ring; the droop of means over dt is taken off.
func (c *course) pass(db []float64) {
	n := smooth(len(db)-1) + 1
	skip := (len(db) - n) / 2
	db = db[skip : skip+n]
	plan := fourier.NewDCT(n)
	spec := plan.Transform(nil, db)
	hz := 1 / (2 * float64(n-1) * c.ch.dt)
	norm := 1 / float64(2*(n-1))
	for m := range spec {
		f := float64(m) * hz
		// Each mode stands for half a step on either side.
		share := math.Min(1, math.Max(0, (f-flickerLoHz)/hz+0.5)) * math.Min(1, math.Max(0, (c.hiHz-f)/hz+0.5))
		if share == 0 {
			spec[m] = 0
			continue
		}
		x := math.Pi * f * c.ch.dt
		spec[m] *= math.Sqrt(share) * norm * x / math.Sin(x)
		if c.first == 0 {
			c.first = m
		}
		c.modes = append(c.modes, spec[m])
	}
	c.y = plan.Transform(nil, spec)
}

// widening is by how much dsp.Mean states the error of the power too small. It takes the
// spectrum of y² to be flat over the modes it looks at. That of a Gaussian y is
//
//	Σ s(m)·s(m+j)
//
// at mode j, s being the spectrum of y, and falls where the flicker is slow.
func (c *course) widening() float64 {
	s := smoothed(c.modes)
	top := 0.0
	for _, v := range s {
		top += v * v
	}
	const looked = 24
	sum := 0.0
	for j := 1; j <= looked; j++ {
		for m := 0; m+j < len(s); m++ {
			sum += s[m] * s[m+j]
		}
	}
	if !(sum > 0) {
		return 1
	}
	return math.Min(1.6, math.Sqrt(looked*top/sum))
}

// smooth is the largest number up to n whose prime factors are 2, 3 and 5: as long a
// series is transformed quickly.
func smooth(n int) int {
	for ; n > 1; n-- {
		k := n
		for _, p := range []int{2, 3, 5} {
			for k%p == 0 {
				k /= p
			}
		}
		if k == 1 {
			break
		}
	}
	return n
}

// noisePart is the flicker that the noise beside the tone makes. The noise in phase
// with the tone has half the power of that in the band, and n/A of it reads as
// 20/ln10·n/A dB.
func (c *course) noisePart() dsp.Estimate {
	ch := c.ch
	tone := math.Max(ch.middle-ch.noise, 1e-30)
	density := ch.noise / 2 / ((ch.band.PassHz + ch.band.StopHz) / 2)
	k := 20 / math.Ln10
	sum := 0.0
	const steps = 50
	df := (c.hiHz - flickerLoHz) / steps
	for i := range steps {
		sum += df * c.folded(flickerLoHz+(float64(i)+0.5)*df)
	}
	// envelopeNoise takes the median of a spectrum from 0.4 to 0.95 of the pass band,
	// which is worth 2/π of the mean.
	dof := math.Max(2, 2*ch.seconds()*0.55*ch.band.PassHz*2/math.Pi)
	v := k * k * density * sum / tone
	return dsp.Estimate{Value: v, SE: v * math.Sqrt(2/dof), Dof: dof}
}

// folded is the noise density at f after the means over dt, re that before: what lies
// above half their rate is folded down as far as the tone's band lets it through.
func (c *course) folded(f float64) float64 {
	b, dt := c.ch.band, c.ch.dt
	seen := func(f float64) float64 {
		f = math.Abs(f)
		g := 1.0
		if f > b.PassHz {
			g = math.Max(0, (b.StopHz-f)/(b.StopHz-b.PassHz))
		}
		x := math.Pi * f * dt
		if x == 0 {
			return 1
		}
		return g * g * math.Pow(math.Sin(x)/x, 2)
	}
	sum := 0.0
	for k := -3; k <= 3; k++ {
		sum += seen(f + float64(k)/dt)
	}
	x := math.Pi * f * dt
	return sum * math.Pow(x/math.Sin(x), 2)
}

// net is the flicker's power without the noise and its 95 % interval. The interval of
// the whole is that of a chi-square with the same relative error; that of a difference
// follows from those of its parts (G. Y. Zou, A. Donner, Statistics in Medicine 27,
// 2008: method of variance estimates recovery).
func (c *course) net() (value, lo, hi float64) {
	p, n := c.power, c.noise
	value = p.Value - n.Value
	pl, pu := chiInterval(p)
	nl, nu := n.Value-n.Half(), n.Value+n.Half()
	lo = value - math.Hypot(p.Value-pl, nu-n.Value)
	hi = value + math.Hypot(pu-p.Value, n.Value-nl)
	return value, lo, hi
}

// chiInterval is the 95 % interval of a power whose estimate is spread like a
// chi-square: ν·P/χ²(ν), with ν such that its relative error is that of p.
func chiInterval(p dsp.Estimate) (lo, hi float64) {
	if !(p.SE > 0) || !(p.Value > 0) {
		return p.Value, p.Value
	}
	nu := math.Max(2, 2*math.Pow(1.96*p.Value/p.Half(), 2))
	if nu > 2000 {
		return p.Value - p.Half(), p.Value + p.Half()
	}
	return p.Value * nu / 2 / mathext.GammaIncRegInv(nu/2, 0.975), p.Value * nu / 2 / mathext.GammaIncRegInv(nu/2, 0.025)
}

// rootOf turns a power into dB r.m.s.; less than nothing is nothing.
func rootOf(p float64) float64 { return math.Sqrt(math.Max(0, p)) }

// toneBandName is the part of the spectrum a tone belongs to. The limits are common
// practice, no source.
func toneBandName(hz float64) string {
	switch {
	case hz < 500:
		return "low band (under 500 Hz)"
	case hz < 5000:
		return "middle band (500 Hz to 5 kHz)"
	}
	return "treble (5 kHz and up)"
}

// courses are those of one tone section in one capture, by channel.
type courses struct {
	t     *take
	index int
	of    []*course // nil where unused
	why   string    // nothing was heard
}

// allCourses makes the courses of every tone section, on all processors.
func (s *session) allCourses() []*courses {
	var all []*courses
	var wg sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if !s.isTone(i) {
				continue
			}
			tt := t.toneTake(i)
			cs := &courses{t: t, index: i, of: make([]*course, len(t.tracks)), why: tt.reason}
			all = append(all, cs)
			if tt.channels == nil {
				continue
			}
			wg.Go(func() {
				free <- struct{}{}
				defer func() { <-free }()
				for _, c := range t.order {
					cs.of[c] = newCourse(tt.channels[c])
				}
			})
		}
	}
	wg.Wait()
	return all
}

// flickers gives flicker and drop-outs of every tone section on every track, how
// tracks flicker together, and what each track's flicker does over frequency.
func (s *session) flickers() []Result {
	all := s.allCourses()
	var flicker, drops, coherence []Result
	for _, cs := range all {
		together, pairs := s.coherences(cs)
		coherence = append(coherence, pairs...)
		for _, c := range cs.t.order {
			track := cs.t.tracks[c]
			r := s.toneResult("flicker", "dB r.m.s.", cs.t, cs.index, track, c+1)
			d := s.toneResult("dropouts", "per minute", cs.t, cs.index, track, c+1)
			if cs.of[c] == nil {
				flicker, drops = append(flicker, r.refuse(cs.why)), append(drops, d.refuse(cs.why))
				continue
			}
			partial := cs.t.toneTake(cs.index).partial
			flicker = append(flicker, cs.of[c].result(r, partial, together[c]))
			drops = append(drops, dropouts(d, cs.of[c].ch, partial))
		}
	}
	out := append(flicker, s.flickerFits(all)...)
	out = append(out, coherence...)
	return append(out, drops...)
}

// result is the flicker of one tone.
func (c *course) result(r Result, partial bool, together string) Result {
	r.Reference = "the level's own slow mean"
	if c.why != "" {
		return r.refuse(c.why)
	}
	v, lo, hi := c.net()
	r.Value, r.Lo, r.Hi = rootOf(v), rootOf(lo), rootOf(hi)
	r.Method = fmt.Sprintf("r.m.s. of the level in dB from %.1f to %.3g Hz, %s, over %s; noise of %.2g dB r.m.s. in that band taken off in power; drop-outs included",
		flickerLoHz, c.hiHz, toneBandName(r.ToneHz), seconds(c.ch.seconds()), rootOf(c.noise.Value))
	r.Warnings = c.ch.warnings(partial)
	if together != "" {
		r.Warnings = append(r.Warnings, together)
	}
	return r
}
