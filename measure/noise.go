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
}

const (
	noiseLoHz, noiseHiHz = 20, 20000
	noiseBlockSeconds    = 0.3 // of the spectra: bins of 2 to 3 Hz make a clean edge at 20 Hz
)

func newSilentChannel(rate float64) *silentChannel {
	n := 2
	for float64(n) < noiseBlockSeconds*rate {
		n *= 2
	}
	c := &silentChannel{rate: rate, loHz: noiseLoHz, hiHz: math.Min(noiseHiHz, rate/2), nyquist: rate/2 < noiseHiHz, dfHz: rate / float64(n)}
	c.welch = dsp.NewWelch(n, rate, c.loHz, c.hiHz)
	return c
}

func (c *silentChannel) feed(x []float64) {
	c.n += int64(len(x))
	for _, v := range x {
		if math.Abs(v) >= fullScale {
			c.clipping++
		}
	}
	c.welch.Feed(x)
}

func (c *silentChannel) finish() {
	p := c.welch.BlockPowers()
	c.blocks = len(p)
	c.welch = nil
	var ok bool
	if c.power, ok = dsp.Mean(p); !ok {
		c.short = true
	}
}

// hearSilence listens to the noise of silent sections.
func hearSilence(t *take, at stretch, _ int) listener {
	if at.kind != programme.Silence {
		return nil
	}
	return newSilentChannel(t.rate)
}

// noises gives the noise of every silent section on every track.
func (s *session) noises() []Result {
	var out []Result
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Silence {
				continue
			}
			h, why := t.heardBy("noise", i)
			for _, c := range t.order {
				r := s.toneResult("noise", "dB", t, i, t.tracks[c], c+1)
				if h == nil {
					out = append(out, s.noise(r, t, nil, false, why))
					continue
				}
				out = append(out, s.noise(r, t, h.ears[c].(*silentChannel), h.at.partial, ""))
			}
		}
	}
	return out
}

func (s *session) noise(r Result, t *take, ch *silentChannel, partial bool, why string) Result {
	if !s.hasReference {
		return r.refuse("the tape has no section with its reference tone")
	}
	r.Reference = fmt.Sprintf("r.m.s. of the same track in section %q", s.opt.Tape.Sections[s.reference].Name)
	if why != "" {
		return r.refuse(why)
	}
	switch {
	case ch.short:
		return r.refuse(fmt.Sprintf("section too short: %.1f s of silence", float64(ch.n)/ch.rate))
	case !(ch.power.Value > 0):
		return r.refuse("track silent: every sample is zero")
	}
	ref, other := s.referenceOf(t, r.Track)
	if ref == nil {
		return r.refuse("no reference: the reference section was not measured on this track")
	}
	e := combine([]float64{1, -1}, powerDB(ch.power), ref.level())
	// A sine of mean square ½ is 0 dBFS, so a mean square counts twice.
	e.Value += 10 * math.Log10(2)
	r.set(e)
	r.Method = fmt.Sprintf("r.m.s. from %.0f Hz to %s, unweighted; power spectrum of %d half-overlapping Hann blocks, bins of %.2f Hz, over %s",
		ch.loHz, kilohertz(ch.hiHz), ch.blocks, ch.dfHz, seconds(float64(ch.n)/ch.rate))
	if ch.nyquist {
		r.Warnings = append(r.Warnings, fmt.Sprintf("band ends at %s, half the sample rate, short of 20 kHz", kilohertz(ch.hiHz)))
	}
	if partial {
		r.Warnings = append(r.Warnings, "section cut by the start or end of the capture")
	}
	if ch.clipping > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("clipped: %d samples at full scale", ch.clipping))
	}
	if other != "" {
		r.Warnings = append(r.Warnings, "reference level from another capture: "+other)
	}
	return r
}

// kilohertz writes a band edge.
func kilohertz(f float64) string {
	if f >= 1000 {
		return fmt.Sprintf("%.4g kHz", f/1000)
	}
	return fmt.Sprintf("%.4g Hz", f)
}
