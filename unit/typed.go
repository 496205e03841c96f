package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// TypedError says why a typed reading was not understood.
type TypedError struct {
	Text string // as typed
	At   int    // byte offset of the trouble
	Want string // what was expected there
	Unit string // a unit that is known but does not convert to what is read, else empty
}

// Error names the text, the place and what was expected.
func (e *TypedError) Error() string {
	return fmt.Sprintf("reading %q, position %d: %s", e.Text, e.Position(), e.Want)
}

// Position is the place of the trouble counted in characters from 1.
func (e *TypedError) Position() int {
	return utf8.RuneCountInString(e.Text[:min(e.At, len(e.Text))]) + 1
}

// ParseTyped reads what a hand types at the bench and returns the value and the unit
// as typed, the unit in its usual spelling:
//
//	38mV   0,038   38 m   1.228 V   4m7   3k3ohm   4R7   2Meg2   −10 dBV   5 uA
//
// The number may have a decimal point or a decimal comma, and an exponent. A number
// alone is in the unit understood; with a prefix alone (p n u µ m k K M Meg G) it is
// in the base unit of that. A prefix, or the unit, between digits stands for the
// decimal mark. Levels re a voltage and volts are taken for one another. Grouping of
// thousands is refused, be it by marks or by spaces; a single comma is a decimal mark.
//
// Errors are of type *[TypedError]. What is returned without one is finite, in the
// base unit too.
func ParseTyped(text, understood string) (value float64, unitName string, err error) {
	p := newTyped(text, understood)
	number, rest := splitNumber(p.s)
	at := len(number)
	switch {
	case strings.Trim(number, "+-.,") == "":
		return p.fail(0, "a number is expected first, such as %s", p.example())
	case strings.Count(number, ",")+strings.Count(number, ".") > 1:
		return p.fail(strings.IndexAny(number, ".,"), "only one decimal mark is understood; leave out marks between thousands")
	case p.gap >= 0:
		return p.fail(p.gap, "%s is expected after the number, not another number; leave out spaces between thousands", p.words())
	}
	mark, digits, suffix := splitRest(rest)
	if digits != "" && strings.ContainsAny(number, ".,eE") {
		return p.fail(at, "%s is expected after the number, not %q", p.words(), rest)
	}
	prefix, base, ok := p.unitOf(mark, digits, suffix)
	if !ok {
		return p.fail(at, "%s is expected, not %q", p.words(), rest)
	}
	number = strings.Replace(number, ",", ".", 1)
	if digits != "" {
		number += "." + digits
	}
	value, err = strconv.ParseFloat(number, 64)
	if err != nil {
		return p.fail(0, "%q is no number that can be read", number)
	}
	si, dimension := toBase(value, prefix, base)
	if _, want := toBase(0, "", p.base); p.base != "" && dimension != want {
		_, _, e := p.fail(at, "%s is expected, not %q", p.words(), rest)
		e.(*TypedError).Unit = prefix + base
		return 0, "", e
	}
	if math.IsInf(si, 0) {
		return p.fail(0, "a value within the reach of an instrument is expected")
	}
	return value, prefix + base, nil
}

// typed is a reading under way: its text without spaces.
type typed struct {
	text         string
	s            string
	offset       []int  // in text, for each byte of s and its end
	gap          int    // index in s of the number after a space between two, or −1
	understood   string // as given, for messages
	prefix, base string // of what is understood
}

func newTyped(text, understood string) *typed {
	understood = strings.TrimSpace(understood)
	p := &typed{text: text, gap: -1, understood: understood}
	var ok bool
	if p.prefix, p.base, ok = splitUnit(understood, ""); !ok {
		p.base = understood
	} else if p.prefix != "" {
		p.understood = p.base
	}
	var b strings.Builder
	space, last := false, rune(0)
	for i, r := range text {
		if unicode.IsSpace(r) {
			space = true
			continue
		}
		if r == '\u2212' {
			r = '-'
		}
		if space && numeric(last) && numeric(r) && p.gap < 0 {
			p.gap = b.Len()
		}
		n := b.Len()
		b.WriteRune(r)
		for range b.Len() - n {
			p.offset = append(p.offset, i)
		}
		space, last = false, r
	}
	p.offset = append(p.offset, len(text))
	p.s = b.String()
	return p
}

func numeric(r rune) bool { return r >= '0' && r <= '9' || r == '.' || r == ',' }

// fail reports trouble at index i of the text without spaces.
func (p *typed) fail(i int, format string, a ...any) (float64, string, error) {
	return 0, "", &TypedError{Text: p.text, At: p.offset[min(i, len(p.offset)-1)], Want: fmt.Sprintf(format, a...)}
}

// example is a reading as it could be typed.
func (p *typed) example() string {
	if takesPrefix(p.base) {
		return "38m" + p.understood
	}
	return "38" + p.understood
}

// words name what may follow the number.
func (p *typed) words() string {
	switch {
	case p.base == "":
		return "a unit"
	case takesPrefix(p.base):
		return fmt.Sprintf("the unit %s, with a prefix such as m or k, or nothing", p.understood)
	}
	return fmt.Sprintf("the unit %s or nothing", p.understood)
}

// unitOf is the unit from what stands between digits and what stands after them.
func (p *typed) unitOf(mark, digits, suffix string) (prefix, base string, ok bool) {
	if digits == "" {
		if suffix == "" {
			return p.prefix, p.base, true
		}
		if p.base == "min" && suffix == "m" {
			return "", "min", true
		}
		return p.split(suffix)
	}
	if prefix, ok = typedPrefixes[mark]; ok { // 4m7, 3k3ohm
		base = p.base
		if suffix != "" {
			var again string
			again, base, ok = splitUnit(suffix, p.base)
			ok = ok && again == ""
		}
		return prefix, base, ok && takesPrefix(base)
	}
	prefix, base, ok = splitUnit(mark, p.base) // 2V2
	if ok && suffix != "" {
		again, same, known := splitUnit(suffix, p.base)
		ok = known && again == "" && same == base
	}
	return prefix, base, ok
}

// split takes a unit apart, or a prefix alone. The unit understood goes before a
// prefix of the same letter: n is N where newtons are understood.
func (p *typed) split(s string) (prefix, base string, ok bool) {
	if prefix, base, ok = splitUnit(s, p.base); ok {
		return prefix, base, true
	}
	prefix, ok = typedPrefixes[s]
	return prefix, p.base, ok && takesPrefix(p.base)
}

// splitNumber cuts the leading sign, digits, decimal marks and exponent.
func splitNumber(s string) (number, rest string) {
	i := 0
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	for i < len(s) && numeric(rune(s[i])) {
		i++
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if j < len(s) && (s[j] == '-' || s[j] == '+') {
			j++
		}
		if k := j; k < len(s) && digit(rune(s[k])) {
			for k < len(s) && digit(rune(s[k])) {
				k++
			}
			i = k
		}
	}
	return s[:i], s[i:]
}

// splitRest parts what follows the leading number: "k3ohm" is k, 3 and ohm; without
// digits all of it is suffix.
func splitRest(s string) (mark, digits, suffix string) {
	i := strings.IndexFunc(s, digit)
	if i < 0 {
		return "", "", s
	}
	mark, digits = s[:i], s[i:]
	if j := strings.IndexFunc(digits, func(r rune) bool { return !digit(r) }); j >= 0 {
		digits, suffix = digits[:j], digits[j:]
	}
	return mark, digits, suffix
}

func digit(r rune) bool { return r >= '0' && r <= '9' }
