package measure

import (
	"fmt"
	"math"
)

// rung is one tone of a pair of tracks on the ladder from low to high.
type rung struct {
	freq  float64 // actual, Hz
	phase float64 // of the earlier-numbered track ahead of the other, rad, up to whole turns
	half  float64 // half width of its 95 % interval, rad
}

// climbed is what the ladder makes of a rung.
type climbed struct {
	phase   float64 // with its whole turns, polarity taken off
	decided bool
	why     string
}

// The phase by which two equal channels may differ at one tone beyond what delays
// them alike: corners of coupling capacitors and equalisers within their tolerance.
// Common practice, no source.
const (
	lowToneHz      = 200
	lowAllowance   = 15 * math.Pi / 180
	otherAllowance = 8 * math.Pi / 180
)

func (r rung) allowance() float64 {
	if r.freq < lowToneHz {
		return r.half + lowAllowance
	}
	return r.half + otherAllowance
}

// climb gives every rung its whole turns. rungs ascend in frequency. limit is the
// largest delay thought possible in seconds, +Inf when nothing is known. reversed
// says that the two tracks have opposite polarity.
func climb(rungs []rung, limit float64) (out []climbed, reversed bool) {
	same, faultSame := climbWith(rungs, limit, 0)
	other, faultOther := climbWith(rungs, limit, math.Pi)
	// Same polarity unless it needs a delay beyond the limit or a phase that
	// does not grow with frequency, and the other needs neither.
	if faultSame > 1 && faultOther < 0.5*faultSame {
		return other, true
	}
	return same, false
}

// climbWith climbs with the phase of a polarity taken off first. fault is the worst
// miss of a rung in units of what was allowed; up to 1 all agrees.
func climbWith(rungs []rung, limit, polarity float64) (out []climbed, fault float64) {
	lo, hi := -limit, limit // the delay so far
	for i, r := range rungs {
		turn := 2 * math.Pi * r.freq
		d := r.phase - polarity
		mid := 0.0
		if !math.IsInf(limit, 1) || i > 0 {
			mid = (lo + hi) / 2
		}
		k := math.Round((mid*turn - d) / (2 * math.Pi))
		c := climbed{phase: d + 2*math.Pi*k, decided: true}
		tau, u := c.phase/turn, r.allowance()/turn
		// The delay must be known to a quarter period before this tone may
		// count its periods.
		width := (hi - lo) / 2
		switch {
		case i == 0 && math.IsInf(limit, 1):
			// Nothing is known: the lowest tone is taken within half a period.
		case width+u > 0.5/r.freq:
			c.decided = false
			from := fmt.Sprintf("delays up to ±%.0f µs are possible", limit*1e6)
			if i > 0 {
				from = fmt.Sprintf("the tones below %s leave ±%.0f µs", kilohertz(r.freq), width*1e6)
			}
			c.why = fmt.Sprintf("whole periods undecided: %s, and the period of %s is %.0f µs; a tone in between would decide", from, kilohertz(r.freq), 1e6/r.freq)
		}
		miss := math.Max(lo-tau, tau-hi) / u
		if !math.IsInf(miss, 0) && !math.IsNaN(miss) {
			fault = math.Max(fault, miss)
		}
		out = append(out, c)
		if !c.decided {
			continue
		}
		lo, hi = narrow(lo, hi, tau-u, tau+u)
	}
	return out, fault
}

// narrow intersects two ranges of delay; when they do not meet the newer one, of the
// higher tone, holds.
func narrow(lo, hi, a, b float64) (float64, float64) {
	if l, h := math.Max(lo, a), math.Min(hi, b); l <= h {
		return l, h
	}
	return a, b
}
