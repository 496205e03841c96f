package trim

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"headstack/machine"
)

// Range is what a definition's text says of an adjuster.
type Range struct {
	Lo, Hi float64 // ends of what it sets, in Unit; of Dip and Peak nothing
	Unit   string  // dB, %, arcmin, mA, kHz, N, mm, mV, V
	ToneHz float64 // tone at which it holds, 0: none given
	// Middle is whether the ends are deviations about the middle ("±6 dB").
	Middle     bool
	Law        Law // Linear, MultiTurn, Screw, Dip or Peak
	Travel     float64
	TravelUnit TravelUnit
}

// RangeError says where a range is not understood and what was expected there.
type RangeError struct {
	Text     string
	Offset   int // byte of Text
	Expected string
}

func (e *RangeError) Error() string {
	found := "the end"
	if e.Offset < len(e.Text) {
		found = strconv.Quote(e.Text[e.Offset:])
	}
	return fmt.Sprintf("range %q: %s was expected and %s found", e.Text, e.Expected, found)
}

// rangeUnits are the units that a range may have, as written and as kept.
var rangeUnits = []struct{ written, unit string }{
	{"arcminutes", "arcmin"}, {"arcminute", "arcmin"}, {"arcmin", "arcmin"}, {"′", "arcmin"},
	{"dB", "dB"}, {"%", "%"}, {"µA", "µA"}, {"uA", "µA"}, {"mA", "mA"}, {"kHz", "kHz"}, {"Hz", "Hz"},
	{"mm", "mm"}, {"mV", "mV"}, {"V", "V"}, {"N·cm", "N·cm"}, {"N", "N"},
}

// ParseRange reads the range of a [machine.Trim]:
//
//	±6 dB
//	±4 dB at 10 kHz
//	±40 arcminutes
//	2 to 7 mA
//	12 dB                      from stop to stop
//	±6 dB over 12 turns        any of them with its travel
//	4 turns, tune for least
//	tune for most
//
// Without "over" a preset is taken to have 270°, a screw (arcminutes, mm) one turn and
// a slug 4 turns: common practice, no source. The error is a [*RangeError].
func ParseRange(text string) (Range, error) {
	p := &rangeReader{text: text}
	r, err := p.parse()
	if err != nil {
		return Range{}, err
	}
	return r, nil
}

type rangeReader struct {
	text string
	at   int
}

func (p *rangeReader) bad(expected string) error {
	return &RangeError{Text: p.text, Offset: p.at, Expected: expected}
}

func (p *rangeReader) space() {
	for {
		r, n := utf8.DecodeRuneInString(p.text[p.at:])
		if n == 0 || !strings.ContainsRune(" \t\u2009\u00a0\u202f", r) {
			return
		}
		p.at += n
	}
}

// take steps over one of some words and says which.
func (p *rangeReader) take(words ...string) (string, bool) {
	p.space()
	for _, w := range words {
		if strings.HasPrefix(p.text[p.at:], w) {
			p.at += len(w)
			return w, true
		}
	}
	return "", false
}

// number reads a decimal number with either minus sign.
func (p *rangeReader) number() (float64, bool) {
	p.space()
	rest := p.text[p.at:]
	sign, body := 1.0, rest
	for _, m := range []string{"-", "−"} {
		if s, ok := strings.CutPrefix(rest, m); ok {
			sign, body = -1, s
		}
	}
	n := strings.IndexFunc(body, func(r rune) bool { return !(r >= '0' && r <= '9' || r == '.') })
	if n < 0 {
		n = len(body)
	}
	x, err := strconv.ParseFloat(body[:n], 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, false
	}
	p.at += len(rest) - len(body) + n
	return sign * x, true
}

func (p *rangeReader) parse() (Range, error) {
	if _, ok := p.take("tune"); ok {
		return p.tune(slugTravel)
	}
	_, middle := p.take("±", "+-", "+/-")
	if _, ok := p.take("+"); ok && middle {
		return Range{}, p.bad("a number")
	}
	x, ok := p.number()
	switch {
	case !ok && middle:
		return Range{}, p.bad("a number")
	case !ok:
		return Range{}, p.bad(`"±6 dB", "2 to 7 mA", "4 turns, tune for least" or "tune for most"`)
	case middle && x <= 0:
		return Range{}, p.bad("a number above 0 after ±")
	}
	if !middle {
		if _, turns := p.take("turns", "turn"); turns {
			if x <= 0 {
				return Range{}, p.bad("more than 0 turns")
			}
			if _, ok := p.take(","); !ok {
				return Range{}, p.bad(`", tune for least" or ", tune for most"`)
			}
			if _, ok := p.take("tune"); !ok {
				return Range{}, p.bad(`"tune for least" or "tune for most"`)
			}
			return p.tune(x)
		}
	}
	r := Range{Lo: -x, Hi: x, Middle: true, Law: Linear}
	if !middle {
		r = Range{Lo: 0, Hi: x, Law: Linear}
		if _, to := p.take("to"); to {
			hi, ok := p.number()
			if !ok {
				return Range{}, p.bad(`the upper end after "to"`)
			}
			r.Lo, r.Hi = x, hi
		}
		if !(r.Lo < r.Hi) {
			return Range{}, p.bad("the lower end first, and a range wider than 0")
		}
	}
	return p.rest(r)
}

// tune reads "for least" or "for most" after "tune".
func (p *rangeReader) tune(turns float64) (Range, error) {
	r := Range{Law: Dip, Travel: turns, TravelUnit: Turns}
	if _, ok := p.take("for"); !ok {
		return Range{}, p.bad(`"for least" or "for most"`)
	}
	switch w, ok := p.take("least", "most"); {
	case !ok:
		return Range{}, p.bad(`"least" or "most"`)
	case w == "most":
		r.Law = Peak
	}
	return r, p.end()
}

// rest reads the unit, the tone and the travel.
func (p *rangeReader) rest(r Range) (Range, error) {
	p.space()
	for _, u := range rangeUnits {
		if _, ok := p.take(u.written); ok {
			r.Unit = u.unit
			break
		}
	}
	if r.Unit == "" {
		return Range{}, p.bad("a unit (dB, %, arcminutes, mA, µA, kHz, Hz, N, N·cm, mm, mV or V)")
	}
	if _, ok := p.take("at"); ok {
		f, ok := p.number()
		if !ok || f <= 0 {
			return Range{}, p.bad(`a tone after "at", as in "at 10 kHz"`)
		}
		switch w, ok := p.take("kHz", "Hz"); {
		case !ok:
			return Range{}, p.bad("Hz or kHz")
		case w == "kHz":
			f *= 1000
		}
		r.ToneHz = f
	}
	r.Travel, r.TravelUnit = presetTravel, Degrees
	if r.Unit == "arcmin" || r.Unit == "mm" {
		r.Law, r.Travel, r.TravelUnit = Screw, screwTravel, Turns
	}
	if _, ok := p.take("over"); ok {
		if err := p.travel(&r); err != nil {
			return Range{}, err
		}
	}
	return r, p.end()
}

func (p *rangeReader) travel(r *Range) error {
	x, ok := p.number()
	if !ok || x <= 0 {
		return p.bad(`a travel after "over", as in "over 12 turns" or "over 300°"`)
	}
	switch w, ok := p.take("turns", "turn", "°", "degrees"); {
	case !ok:
		return p.bad("turns, degrees or °")
	case strings.HasPrefix(w, "turn"):
		r.Travel, r.TravelUnit = x, Turns
		if r.Law == Linear && x > 1 {
			r.Law = MultiTurn
		}
	default:
		r.Travel, r.TravelUnit = x, Degrees
	}
	return nil
}

func (p *rangeReader) end() error {
	p.space()
	if p.at < len(p.text) {
		return p.bad("the end")
	}
	return nil
}

// RangeOf reads the range of a definition's trim; the error names the trim.
func RangeOf(t *machine.Trim) (Range, error) {
	r, err := ParseRange(t.Range)
	if err != nil {
		return Range{}, fmt.Errorf("trim %s: %w", t.ID, err)
	}
	return r, nil
}
