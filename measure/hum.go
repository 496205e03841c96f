package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/dsp"
)

// humLines is how many of the strongest harmonics are listed.
const humLines = 5

// hum gives the level of mains hum in a silent section and of its strongest harmonics.
func (s *session) hum(r Result, t *take, c *silentChannel, at stretch, partial bool, why string) []Result {
	r, ref, why := s.noiseBase(r, t, c, why)
	if why == "" && c.hum.blocks == 0 {
		why = "section too short to tell hum from noise"
	}
	if why != "" {
		return []Result{r.refuse(why)}
	}
	found := c.hum.find()
	if !found.ok {
		// An honest nothing: what is known is only a bound.
		e := s.reTape(dsp.Estimate{Value: math.Max(found.bound, 1e-30)}, ref.level())
		return []Result{r.refuse(fmt.Sprintf("no hum found; below %.0f dB", math.Ceil(e.Value)))}
	}
	r.set(s.reTape(found.total, ref.level()))
	strongest := slices.DeleteFunc(slices.Clone(found.lines), func(l humLine) bool { return !l.seen || !(l.power.Value > 0) })
	slices.SortFunc(strongest, func(a, b humLine) int { return cmp.Compare(b.power.Value, a.power.Value) })
	strongest = strongest[:min(humLines, len(strongest))]
	out := []Result{r}
	var list []string
	for _, l := range strongest {
		one := r
		one.Name, one.ToneHz = "hum_line", math.Round(100*l.hz)/100
		one.set(s.reTape(l.power, ref.level()))
		one.Method = fmt.Sprintf("r.m.s. of harmonic %d of %.2f Hz, noise under it taken off; %s", l.number, found.fundamental, c.hum.text())
		list = append(list, fmt.Sprintf("%.5g Hz %.1f dB", l.hz, one.Value))
		out = append(out, one)
	}
	out[0].Method = fmt.Sprintf("r.m.s. of %.2f Hz, found between %g and %g Hz by a joint fit, and its harmonics to %s, noise under them taken off; strongest: %s; %s",
		found.fundamental, humLowest, humHighest, kilohertz(humTopHz), strings.Join(list, ", "), c.hum.text())
	out[0].Warnings = append(slices.Clone(out[0].Warnings), c.noiseWarnings(partial)...)
	if w := mainsDoubt(found.fundamental, at.ratio); w != "" {
		out[0].Warnings = append(out[0].Warnings, w)
	}
	return out
}

func (e *humEar) text() string {
	return fmt.Sprintf("power spectrum of %d half-overlapping Hann blocks, bins of %.2f Hz", e.blocks, e.df)
}

// mainsDoubt says what else a fundamental may be. Public mains keep 50 or 60 Hz within
// 1 %, and the capture's clock knows nothing of the tape's speed.
func mainsDoubt(hz, ratio float64) string {
	for _, mains := range []float64{50, 60} {
		if math.Abs(hz/mains-1) < 0.01 {
			return ""
		}
	}
	for _, mains := range []float64{50, 60} {
		if math.Abs(ratio-1) > 0.01 && math.Abs(hz/(mains*ratio)-1) < 0.005 {
			return fmt.Sprintf("%.2f Hz is %g Hz at this tape's speed: the hum is recorded on the tape", hz, mains)
		}
	}
	return fmt.Sprintf("%.2f Hz is neither 50 nor 60 Hz: hum recorded on the tape at another speed, or rumble of a turning part", hz)
}
