package measure

import (
	"fmt"
	"math"

	"headstack/programme"
)

// mix is a pair of tones for intermodulation.
type mix struct {
	f1, f2 float64 // nominal, f1 < f2
	far    bool    // f1 is so low that the products are side lines of f2
}

// farApart is the ratio of the tones from which their products are side lines of the
// upper one.
const farApart = 4

// mixOf takes the tones of a part; why says why they are no pair.
func mixOf(on []programme.Sine) (m *mix, why string) {
	if len(on) != 2 || on[0].Hz == on[1].Hz {
		return nil, "no pair of tones on this track"
	}
	m = &mix{f1: math.Min(on[0].Hz, on[1].Hz), f2: math.Max(on[0].Hz, on[1].Hz)}
	m.far = m.f2 >= farApart*m.f1
	return m, ""
}

// products are those of second order, then those of third.
func (m *mix) products() []product { return append(m.second(), m.third()...) }

func (m *mix) second() []product {
	if m.far {
		return []product{{-1, 1}, {1, 1}}
	}
	return []product{{-1, 1}}
}

func (m *mix) third() []product {
	if m.far {
		return []product{{-2, 1}, {2, 1}}
	}
	return []product{{2, -1}, {-1, 2}}
}

// text says what is over what. The forms are those of IEC 60268-3, from memory:
// difference-frequency distortion over U(f1) + U(f2), and, where f1 lies far below,
// modulation distortion over U(f2).
func (m *mix) text(ps []product) string {
	names := map[product]string{{-1, 1}: "f2 − f1", {1, 1}: "f2 + f1", {2, -1}: "2f1 − f2", {-1, 2}: "2f2 − f1", {-2, 1}: "f2 − 2f1", {2, 1}: "f2 + 2f1"}
	over := names[ps[0]]
	for _, p := range ps[1:] {
		over += " and " + names[p]
	}
	word := "level of the product at "
	if len(ps) > 1 {
		word = "arithmetic sum of the products at "
	}
	return word + over + " over " + m.base()
}

func (m *mix) base() string {
	if m.far {
		return "the tone f2"
	}
	return "the arithmetic sum of the tones f1 and f2"
}

// intermodulations gives, for every part of two tones and every track, the products of
// third order (intermodulation) and of second (intermodulation_2).
func (s *session) intermodulations() []Result {
	if s.prog == nil {
		return nil
	}
	var out []Result
	for _, t := range s.takes {
		for i, part := range s.prog.Parts {
			if part.Kind != programme.TwoTone {
				continue
			}
			for _, c := range t.order {
				m, why := mixOf(part.On(t.tracks[c]))
				var p *productChannel
				if why == "" {
					p, why = t.productsOf(i, c)
				}
				for _, name := range []string{"intermodulation", "intermodulation_2"} {
					r := s.toneResult(name, "%", t, i, t.tracks[c], c+1)
					r.ToneHz = 0 // two tones
					if why != "" {
						out = append(out, r.refuse(why))
						continue
					}
					h, _ := t.heardBy("distortion", i)
					out = append(out, r.mixed(m, p, h.at.partial))
				}
			}
		}
	}
	return out
}

// mixed fills a result with the products of one order.
func (r Result) mixed(m *mix, p *productChannel, partial bool) Result {
	ps := m.third()
	if r.Name == "intermodulation_2" {
		ps = m.second()
	}
	r.Reference = m.base() + " = 100 %"
	var b bounded
	for _, want := range ps {
		c, ok := p.part(want)
		if !ok {
			return r.refuse("a product does not fit below half the sample rate")
		}
		b = b.plus(rootSumOfSquares(c))
	}
	b.lo = math.Max(0, b.lo)
	r.setPercent(b)
	r.Method = fmt.Sprintf("%s%s, f1 = %s, f2 = %s; each product turned back by the tones' measured phases, so that wow and flutter do not smear it, and averaged over %s; noise taken off in power",
		m.text(ps), decibelForm(b), kilohertz(m.f1), kilohertz(m.f2), seconds(p.seconds))
	if p.extent.clipped > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("clipped: %d samples at full scale", p.extent.clipped))
	}
	if partial {
		r.Warnings = append(r.Warnings, "section cut by the start or end of the capture")
	}
	return r
}
