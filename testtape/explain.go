package testtape

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/unit"
)

// finding writes up what was found, what not, and why.
func (l *locator) finding() *Finding {
	out := &Finding{Sections: l.found, SpeedRatio: l.ratio}
	found := 0
	for k := range l.found {
		if l.found[k].Found {
			found++
		} else {
			l.found[k].Reason = l.reason(k)
		}
	}
	warn := func(format string, args ...any) { out.Warnings = append(out.Warnings, fmt.Sprintf(format, args...)) }
	if l.f.truncated {
		warn("the capture is longer than can be searched: sections after %.0f s were not looked for; cut the capture", l.f.duration())
	}
	if l.f.notFinite > 0 {
		warn("%d samples of the capture are not numbers; they were taken as silence", l.f.notFinite)
	}
	switch {
	case found == 0:
		warn("none of the %d sections of %q was found: is this the capture of that tape, at that speed, played forwards?", len(l.found), l.tape.Name)
	case 2*found < len(l.found):
		warn("only %d of %d sections of %q were found: is this the capture of that tape?", found, len(l.found), l.tape.Name)
	}
	if off := (l.ratio - 1) * 100; l.ratio > 0 && math.Abs(off) > 2 {
		warn("speed is off by %+.1f %% by all tones together: check the machine's speed and pitch control, the capture's sample rate, and that the description is of this tape", off)
	}
	for k := range l.found {
		if d := l.lengthOff(k); math.Abs(d) > 15 {
			warn("section %q lasts %+.0f %% against its stated length at the measured speed", l.tape.Sections[k].Name, d)
		}
	}
	if found > 0 {
		out.Warnings = append(out.Warnings, l.deafChannels()...)
	}
	return out
}

// lengthOff is a whole section's deviation from its stated length in per cent.
func (l *locator) lengthOff(k int) float64 {
	p := l.found[k]
	if !p.Found || p.Partial || l.tape.Sections[k].Silent() {
		return 0
	}
	return ((p.EndS-p.StartS)*l.ratio/l.tape.Sections[k].Seconds - 1) * 100
}

// deafChannels names channels on which no found tone stands out.
func (l *locator) deafChannels() []string {
	var list []string
	for c := range l.f.channels {
		heard := false
		for k, p := range l.found {
			heard = heard || p.Found && !l.tape.Sections[k].Silent() && l.hears(c, k)
		}
		if !heard {
			list = append(list, fmt.Sprintf("channel %d carries none of the tape's tones", c+1))
		}
	}
	return list
}

// hears reports whether the section's tone is steady and above the channel's
// own level without it.
func (l *locator) hears(c, k int) bool {
	i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
	var in, out []float64
	for t := range l.f.frames {
		v := l.f.levelDB(t, i, c)
		if t >= l.spans[k].from && t < l.spans[k].to {
			in = append(in, v)
		} else {
			out = append(out, v)
		}
	}
	if len(in) == 0 || len(out) == 0 {
		return true
	}
	slices.Sort(in)
	slices.Sort(out)
	// The quietest quarter stands for the channel without this tone.
	return in[len(in)/2] > out[len(out)/4]+10
}

// reason says why section k was not found.
func (l *locator) reason(k int) string {
	sec := l.tape.Sections[k]
	if l.doubted {
		return "the few tones heard may be music: of a test tape there would be two pure tones in a row, each of its stated length, or one of 9 s or alone in the capture"
	}
	if l.ratio == 0 {
		return "no tone of this tape was heard in its order at any speed within ±6 %"
	}
	from, to := l.between(k)
	if sec.Silent() {
		if to-from < shortest*sec.Seconds {
			return fmt.Sprintf("no room for it: %s", l.where(from, to))
		}
		if !(k > 0 && l.found[k-1].Found) && !(k+1 < len(l.found) && l.found[k+1].Found) {
			return "the sections before and after it were not found, so silence cannot be told from leader or a lost tone"
		}
		return fmt.Sprintf("no silent stretch of about %.3g s %s", sec.Seconds, l.where(from, to))
	}
	hz := unit.Hertz(sec.ToneHz)
	if sec.ToneHz*speedLow > 0.45*l.f.captureRate() {
		return fmt.Sprintf("tone %s is beyond what a capture at %g Hz sample rate holds", tone(hz), l.f.captureRate())
	}
	if at, ok := l.elsewhere(k); ok {
		return fmt.Sprintf("tone %s not present %s; it is heard at %.1f s, which is out of the tape's order", tone(hz), l.where(from, to), at)
	}
	if to-from < shortest*sec.Seconds*0.5 {
		return fmt.Sprintf("tone %s has no room: %s", tone(hz), l.where(from, to))
	}
	if other, ok := l.stranger(from, to); ok {
		return fmt.Sprintf("tone %s not present %s; a steady tone of %s stands there", tone(hz), l.where(from, to), tone(unit.Hertz(other)))
	}
	return fmt.Sprintf("tone %s not present %s", tone(hz), l.where(from, to))
}

// tone writes a frequency as the trade does: 315 Hz, 3.15 kHz.
func tone(hz unit.Hertz) string {
	if hz >= 1000 {
		return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.3f", float64(hz)/1000), "0"), ".") + " kHz"
	}
	return fmt.Sprintf("%.4g Hz", float64(hz))
}

// between is the time that the found neighbours of section k leave it.
func (l *locator) between(k int) (from, to float64) {
	to = l.f.duration()
	for j := range l.found {
		switch p := l.found[j]; {
		case !p.Found:
		case j < k:
			from = p.EndS
		case j > k:
			return from, min(to, p.StartS)
		}
	}
	return from, to
}

// where names that time by the found sections around it.
func (l *locator) where(from, to float64) string {
	before, after := "", ""
	for j, p := range l.found {
		if p.Found && p.EndS <= from+1e-9 {
			before = l.tape.Sections[j].Name
		}
		if p.Found && after == "" && p.StartS >= to-1e-9 {
			after = l.tape.Sections[j].Name
		}
	}
	switch {
	case before != "" && after != "":
		return fmt.Sprintf("between sections %q and %q (%.1f s to %.1f s)", before, after, from, to)
	case before != "":
		return fmt.Sprintf("after section %q (%.1f s to the end at %.1f s)", before, from, to)
	case after != "":
		return fmt.Sprintf("before section %q (which begins at %.1f s)", after, to)
	}
	return fmt.Sprintf("in the capture's %.1f s", to)
}

// elsewhere looks for a lasting stretch of section k's tone that no section
// owns.
func (l *locator) elsewhere(k int) (at float64, ok bool) {
	sec := l.tape.Sections[k]
	i := l.f.toneIndex(sec.ToneHz)
	need := int(shortest * sec.Seconds / l.ratio * l.f.perSecond())
	run := 0
	for t := range l.f.frames {
		if l.ev.tone(t, i, l.ratio) > 0.5 && !l.owned(t) {
			if run++; run >= max(need, 4) {
				return l.f.seconds(t - run + 1), true
			}
		} else {
			run = 0
		}
	}
	return 0, false
}

func (l *locator) owned(t int) bool {
	s := l.f.seconds(t)
	for _, p := range l.found {
		if p.Found && s > p.StartS-0.2 && s < p.EndS+0.2 {
			return true
		}
	}
	return false
}

// stranger is a steady strongest line in most of a stretch of time.
func (l *locator) stranger(from, to float64) (hz float64, ok bool) {
	lo, hi := int(from*l.f.perSecond())+2, int(to*l.f.perSecond())-1
	hi = min(hi, l.f.frames)
	if hi-lo < 8 {
		return 0, false
	}
	v := make([]float64, 0, hi-lo)
	for t := lo; t < hi; t++ {
		v = append(v, float64(l.f.loudest[t]))
	}
	slices.Sort(v)
	hz = v[len(v)/2]
	near := 0
	for _, x := range v {
		if math.Abs(x/hz-1) < 0.005 {
			near++
		}
	}
	// Lines near mains frequency and its first harmonics are hum, not a tone.
	return hz, hz > 130 && 2*near > len(v)
}
