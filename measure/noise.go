package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

// silentChannel listens to one channel in one silent section.
type silentChannel struct {
	welch    *dsp.Welch
	loHz     float64
	hiHz     float64
	nyquist  bool // the band ends at half the sample rate
	clipping int
	power    dsp.Estimate // mean square in the band
	short    bool
	n        int64
	rate     float64
	blocks   int
	dfHz     float64
	weightA  dsp.Estimate // mean square in the band, A-weighted
	hum      *humEar
	meter    *meterEar
}

const (
	noiseLoHz, noiseHiHz = 20, 20000
	noiseBlockSeconds    = 0.3 // of the spectra: bins of 2 to 3 Hz make a clean edge at 20 Hz
)

func newSilentChannel(rate, seconds float64) *silentChannel {
	return silentChannelWith(rate, seconds, newMeterEar(rate))
}

// silentChannelWith listens with a meter of its own.
func silentChannelWith(rate, seconds float64, meter *meterEar) *silentChannel {
	n := 2
	for float64(n) < noiseBlockSeconds*rate {
		n *= 2
	}
	c := &silentChannel{rate: rate, loHz: noiseLoHz, hiHz: math.Min(noiseHiHz, rate/2), nyquist: rate/2 < noiseHiHz, dfHz: rate / float64(n), meter: meter}
	c.welch = dsp.NewWelch(n, rate, c.loHz, c.hiHz)
	c.welch.Weigh(dsp.WeightingA)
	c.hum = newHumEar(rate, seconds)
	return c
}

func (c *silentChannel) feed(x []float64) {
	c.n += int64(len(x))
	if _, peak := dsp.Extent(x); !(peak < FullScale) { // hardly ever: one look at all of them
		for _, v := range x {
			if math.Abs(v) >= FullScale {
				c.clipping++
			}
		}
	}
	c.welch.Feed(x)
	c.hum.feed(x)
	c.meter.feed(x)
}

func (c *silentChannel) finish() {
	p := c.welch.BlockPowers()
	c.blocks = len(p)
	var ok, okA bool
	c.power, ok = dsp.Mean(p)
	c.weightA, okA = dsp.Mean(c.welch.WeightedPowers())
	c.short = !ok || !okA
	c.welch = nil
	c.hum.finish()
	c.meter.finish()
}

// hearSilence listens to the noise of silent sections.
func hearSilence(t *take, at stretch, _ int) listener {
	if at.kind != programme.Silence {
		return nil
	}
	if t.meter == nil {
		t.meter = newMeterEar(t.rate)
	}
	return silentChannelWith(t.rate, at.seconds, t.meter.another())
}

// noises gives the noise of every silent section on every track, and its hum.
func (s *session) noises() []Result {
	var out []Result
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Silence {
				continue
			}
			h, why := t.heardBy("noise", i)
			for _, c := range t.order {
				var ch *silentChannel
				var at stretch
				if h != nil {
					ch, at = h.ears[c].(*silentChannel), h.at
				}
				of := func(name string) Result { return s.toneResult(name, "dB", t, i, t.tracks[c], c+1) }
				out = append(out, s.noise(of("noise"), t, ch, at.partial, why), s.noise(of("noise_a"), t, ch, at.partial, why))
				out = append(out, s.noiseFloor(s.toneResult("noise_floor", "dBFS", t, i, t.tracks[c], c+1), ch, at.partial, why))
				out = append(out, s.noise468(of("noise_468"), t, ch, at.partial, why))
				out = append(out, s.hum(of("hum"), t, ch, at, at.partial, why)...)
			}
		}
	}
	return out
}

// noiseBase writes what all figures of a silent section refer to, and finds it, or says
// why there can be no figure.
func (s *session) noiseBase(r Result, t *take, c *silentChannel, heardNothing string) (_ Result, ref *toneChannel, why string) {
	if !s.hasReference {
		return r, nil, "the tape has no section with its reference tone"
	}
	sec := s.opt.Tape.Sections[s.reference]
	r.Reference = fmt.Sprintf("r.m.s. of the same track in section %q", sec.Name)
	if sec.LevelDB != 0 {
		r.Reference = fmt.Sprintf("0 dB of the tape: r.m.s. of the same track in section %q less its stated level of %+g dB", sec.Name, sec.LevelDB)
	}
	if heardNothing != "" {
		return r, nil, heardNothing
	}
	switch {
	case c.short:
		return r, nil, fmt.Sprintf("section too short: %.1f s of silence", float64(c.n)/c.rate)
	case !(c.power.Value > 0):
		return r, nil, "track silent: every sample is zero"
	}
	ref, other := s.referenceOf(t, r.Track)
	if ref == nil {
		return r, nil, "no reference: the reference section was not measured on this track"
	}
	if other != "" {
		r.Warnings = append(r.Warnings, "reference level from another capture: "+other)
	}
	return r, ref, ""
}

// reTape is a mean square in dB re the tape's 0 dB.
func (s *session) reTape(power, ref dsp.Estimate) dsp.Estimate {
	e := combine([]float64{1, -1}, powerDB(power), ref)
	// A sine of mean square ½ is 0 dBFS, so a mean square counts twice.
	e.Value += 10*math.Log10(2) + s.opt.Tape.Sections[s.reference].LevelDB
	return e
}

// noise is the unweighted or the A-weighted noise.
func (s *session) noise(r Result, t *take, c *silentChannel, partial bool, why string) Result {
	r, ref, why := s.noiseBase(r, t, c, why)
	if why != "" {
		return r.refuse(why)
	}
	weighting, power := "unweighted", c.power
	if r.Name == "noise_a" {
		weighting, power = "A-weighted (IEC 61672-1)", c.weightA
	}
	r.set(s.reTape(power, ref.level()))
	r.Method = fmt.Sprintf("r.m.s. from %.0f Hz to %s, %s; power spectrum of %d half-overlapping Hann blocks, bins of %.2f Hz, over %s",
		c.loHz, kilohertz(c.hiHz), weighting, c.blocks, c.dfHz, seconds(float64(c.n)/c.rate))
	if c.nyquist {
		r.Warnings = append(r.Warnings, fmt.Sprintf("band ends at %s, half the sample rate, short of 20 kHz", kilohertz(c.hiHz)))
	}
	r.Warnings = append(r.Warnings, c.noiseWarnings(partial)...)
	return r
}

// noiseFloor is the unweighted noise re full scale. It needs no reference tone, so it
// tells a dead track that hisses (an open head lead) from one that is quiet.
func (s *session) noiseFloor(r Result, c *silentChannel, partial bool, why string) Result {
	r.Reference = "full-scale sine = 0 dBFS"
	switch {
	case why != "":
		return r.refuse(why)
	case c.short:
		return r.refuse(fmt.Sprintf("section too short: %.1f s of silence", float64(c.n)/c.rate))
	case !(c.power.Value > 0):
		return r.refuse("track silent: every sample is zero")
	}
	e := powerDB(c.power)
	e.Value += 10 * math.Log10(2) // a full-scale sine has mean square ½
	r.set(e)
	r.Method = fmt.Sprintf("r.m.s. from %.0f Hz to %s, unweighted; as noise", c.loHz, kilohertz(c.hiHz))
	r.Warnings = append(r.Warnings, c.noiseWarnings(partial)...)
	return r
}

// noiseWarnings are the doubts about anything heard in the section.
func (c *silentChannel) noiseWarnings(partial bool) []string {
	var w []string
	if partial {
		w = append(w, "section cut by the start or end of the capture")
	}
	if c.clipping > 0 {
		w = append(w, fmt.Sprintf("clipped: %d samples at full scale", c.clipping))
	}
	return w
}

// kilohertz writes a band edge.
func kilohertz(f float64) string {
	if f >= 1000 {
		return fmt.Sprintf("%.4g kHz", f/1000)
	}
	return fmt.Sprintf("%.4g Hz", f)
}
