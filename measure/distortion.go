package measure

import (
	"fmt"
	"math"

	"headstack/programme"
)

const (
	distortionTopHz   = 1200 // harmonics of higher tones are filtered by the tape's own fall of treble
	distortionLeastDB = -10  // re the reference: below, a tone of a response test has nothing to tell
	lastHarmonic      = 5
	interfacePercent  = 0.01 // distortion of a good capture interface near its full scale
)

// distorts tells the sections in which harmonics are measured: level steps and tones
// near the reference level, of 1.2 kHz or below, and the reference section.
func distorts(kind programme.Kind, toneHz, levelDB float64, reference bool) bool {
	if !oneTone(kind) || toneHz > distortionTopHz || toneHz <= 0 {
		return false
	}
	return kind == programme.Step || reference || levelDB >= distortionLeastDB
}

// harmonics lists the products n·f for n = 2 to 5.
func harmonics() []product {
	var out []product
	for n := 2; n <= lastHarmonic; n++ {
		out = append(out, product{p: n})
	}
	return out
}

// hearDistortion follows the harmonics of low tones and the products of two.
func hearDistortion(t *take, at stretch, c int) listener {
	var ch *productChannel
	switch {
	case at.kind == programme.TwoTone:
		m, _ := mixOf(at.part.On(t.tracks[c]))
		if m == nil {
			return nil
		}
		if ch = newProductChannel(t.rate, []float64{m.f1 * at.ratio, m.f2 * at.ratio}, m.products()); ch != nil {
			ch.upper = m.far
		}
	case distorts(at.kind, at.section.ToneHz, at.section.LevelDB, at.atRef):
		ch = newProductChannel(t.rate, []float64{at.section.ToneHz * at.ratio}, harmonics())
	}
	if ch == nil {
		return nil
	}
	ch.expect(at.seconds)
	return ch
}

// distortions are thd, harmonic_2 and harmonic_3 of every section that has them, then
// what the level steps give together, then the products of two tones.
func (s *session) distortions() []Result {
	var out []Result
	s.toneSections(func(t *take, index int, ch *toneChannel, track, channel int, why string) {
		sec := s.opt.Tape.Sections[index]
		if !distorts(s.kind(index), sec.ToneHz, sec.LevelDB, s.hasReference && index == s.reference) {
			return
		}
		if why == "" {
			why = ch.levelRefusal()
		}
		p, absent := t.productsOf(index, channel-1)
		if why == "" {
			why = absent
		}
		for _, name := range []string{"thd", "harmonic_2", "harmonic_3"} {
			r := s.toneResult(name, "%", t, index, track, channel)
			r.Reference = "the fundamental = 100 %"
			if why != "" {
				out = append(out, r.refuse(why))
				continue
			}
			r = r.harmonics(p)
			if r.Refused == "" {
				r.Warnings = append(r.Warnings, ch.warnings(t.toneTake(index).partial)...)
				r.Warnings = append(r.Warnings, p.humWarning(name)...)
			}
			out = append(out, r)
		}
	})
	out = append(out, s.mols()...)
	out = append(out, s.sols()...)
	return append(out, s.intermodulations()...)
}

// productsOf is what was heard of the harmonics in a section on a channel, or why
// nothing was.
func (t *take) productsOf(index, c int) (p *productChannel, why string) {
	h, why := t.heardBy("distortion", index)
	switch {
	case h == nil:
		return nil, why
	case h.ears[c] == nil:
		return nil, fmt.Sprintf("a sample rate of %.0f Hz leaves no room for the lines", t.rate)
	}
	p = h.ears[c].(*productChannel)
	return p, p.why
}

// harmonics fills a result with one harmonic, or with the root of the sum of squares
// of all.
func (r Result) harmonics(p *productChannel) Result {
	var cs []component
	what := "r.m.s. of harmonics 2 to %d over the fundamental (not over the total)"
	switch r.Name {
	case "thd":
		cs = p.parts
		what = fmt.Sprintf(what, len(p.parts)+1)
	default:
		n := map[string]int{"harmonic_2": 2, "harmonic_3": 3}[r.Name]
		if c, ok := p.part(product{p: n}); ok {
			cs = []component{c}
		}
		what = fmt.Sprintf("harmonic %d over the fundamental", n)
	}
	if len(cs) == 0 {
		return r.refuse("the harmonic does not fit below half the sample rate")
	}
	b := rootSumOfSquares(cs...)
	r.setPercent(b)
	r.Method = fmt.Sprintf("%s%s; each harmonic turned back by its multiple of the fundamental's measured phase, so that wow and flutter do not smear it, and averaged over %s; noise taken off in power; replay response not taken off",
		what, decibelForm(b), seconds(p.seconds))
	return r
}

// setPercent sets a ratio as a percentage, with the doubts that its size raises.
func (r *Result) setPercent(b bounded) {
	r.Value, r.Lo, r.Hi = 100*b.value, 100*b.lo, 100*b.hi
	if !b.seen() {
		r.Warnings = append(r.Warnings, "not above the noise: an upper limit only")
	}
	if r.Value < interfacePercent {
		r.Warnings = append(r.Warnings, fmt.Sprintf("under %g %%: the capture interface's own distortion, which is not taken off, may be as much", float64(interfacePercent)))
	}
}

// decibelForm writes a ratio as a level, for a method's text.
func decibelForm(b bounded) string {
	if !b.seen() || b.value == 0 {
		return ""
	}
	return fmt.Sprintf(" (%.1f dB)", 20*math.Log10(b.value))
}

// humWarning tells of harmonics at those of the mains, which would be counted as
// distortion.
func (c *productChannel) humWarning(name string) []string {
	for _, p := range c.products {
		if name == "harmonic_2" && p.p != 2 || name == "harmonic_3" && p.p != 3 {
			continue
		}
		f := c.hz(p)
		for _, mains := range []float64{50, 60} {
			h := math.Round(f / mains)
			if h <= 12 && math.Abs(f-h*mains) < math.Max(1, 1/c.seconds) {
				return []string{fmt.Sprintf("harmonic %d lies at %.0f Hz, a multiple of %.0f Hz mains: hum there counts as distortion", p.p, f, mains)}
			}
		}
	}
	return nil
}
