package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// QuantityError says why a typed reading was not understood.
type QuantityError struct {
	Text string // as typed
	At   int    // byte offset of the trouble
	Want string // what was expected there, with an example
}

// Error names the text, the place and what was expected.
func (e *QuantityError) Error() string {
	return fmt.Sprintf("reading %q, position %d: %s", e.Text, e.At+1, e.Want)
}

// prefixes of the SI as they are typed; u stands for micro, K for kilo.
var prefixes = map[string]float64{
	"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3,
	"k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9,
}

// spellings are other ways to type a unit.
var spellings = map[string][]string{
	"Ω":    {"ohm", "ohms", "Ohm", "R", "\u2126"}, // the last is the ohm sign, which looks alike
	"ohm":  {"Ω", "\u2126", "ohms", "Ohm", "R"},
	"°C":   {"C", "degC"},
	"cm/s": {"cms"},
	"min":  {"minutes", "m"},
}

// plain units are logarithmic or counted and take no prefix.
func plain(unit string) bool {
	return unit == "" || unit == "%" || unit == "°C" || unit == "min" || unit == "cm/s" || strings.HasPrefix(unit, "dB")
}

// ParseQuantity reads a value as a person types it and returns it in unit:
//
//	38mV   0,038   38 m   1.228 V   4k7   4R7   -10 dBV   3k15
//
// The number may have a decimal point or a decimal comma, and an exponent. The unit
// may be left out, or only its prefix typed (p n u µ m k M G). A prefix between
// digits stands for the decimal mark. Grouping of thousands is refused, because 1,234
// could mean either. Errors are of type *[QuantityError].
func ParseQuantity(text, unit string) (float64, error) {
	s := strings.ReplaceAll(strings.ReplaceAll(text, Minus, "-"), "\u00a0", " ")
	lead := len(s) - len(strings.TrimLeft(s, " \t"))
	s = strings.TrimSpace(s)
	fail := func(at int, format string, a ...any) (float64, error) {
		return 0, &QuantityError{Text: text, At: at + lead, Want: fmt.Sprintf(format, a...)}
	}
	example := "38" + unit
	if !plain(unit) {
		example = "38m" + unit
	}
	if s == "" {
		return fail(0, "a number is expected, such as %s", example)
	}
	number, rest := splitNumber(s)
	if strings.Trim(number, "+-.,") == "" {
		return fail(0, "a number is expected first, such as %s", example)
	}
	if strings.Count(number, ",")+strings.Count(number, ".") > 1 {
		return fail(strings.IndexAny(number, ".,"), "only one decimal mark is understood; leave out marks between thousands")
	}
	at := len(s) - len(rest)
	suffix := strings.TrimSpace(rest)
	mark, digits := "", ""
	if i := strings.IndexAny(suffix, "0123456789"); i >= 0 {
		mark, digits = suffix[:i], suffix[i:]
		j := strings.IndexFunc(digits, func(r rune) bool { return r < '0' || r > '9' })
		suffix = ""
		if j >= 0 {
			digits, suffix = digits[:j], strings.TrimSpace(digits[j:])
		}
		if strings.ContainsAny(number, ".,eE") || rest != strings.TrimSpace(rest) && strings.HasPrefix(rest, " ") {
			return fail(at, "%s is expected after the number, not %q", unitWords(unit), strings.TrimSpace(rest))
		}
	}
	factor, ok := 1.0, true
	if mark != "" {
		if factor, ok = scaleOf(mark, unit); ok && suffix != "" {
			// After 4k7 only the unit itself may follow.
			ok = isUnit(suffix, unit)
		}
	} else {
		factor, ok = scaleOf(suffix, unit)
	}
	if !ok {
		return fail(at, "%s is expected, not %q", unitWords(unit), strings.TrimSpace(rest))
	}
	number = strings.Replace(number, ",", ".", 1)
	if digits != "" {
		number += "." + digits
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(v*factor, 0) {
		return fail(0, "%q is no number that can be read", number)
	}
	return v * factor, nil
}

// splitNumber cuts the leading sign, digits, decimal marks and exponent.
func splitNumber(s string) (number, rest string) {
	i := 0
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.' || s[i] == ',') {
		i++
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if j < len(s) && (s[j] == '-' || s[j] == '+') {
			j++
		}
		if k := j; k < len(s) && s[k] >= '0' && s[k] <= '9' {
			for k < len(s) && s[k] >= '0' && s[k] <= '9' {
				k++
			}
			i = k
		}
	}
	return s[:i], s[i:]
}

// scaleOf reads nothing, the unit, a prefix, or a prefix with the unit.
func scaleOf(s, unit string) (float64, bool) {
	if s == "" || isUnit(s, unit) {
		return 1, true
	}
	if plain(unit) {
		return 0, false
	}
	_, n := utf8.DecodeRuneInString(s)
	f, ok := prefixes[s[:n]]
	if !ok {
		return 0, false
	}
	rest := strings.TrimSpace(s[n:])
	return f, rest == "" || isUnit(rest, unit)
}

// isUnit compares with the unit and its other spellings; a unit typed in small
// letters is taken.
func isUnit(s, unit string) bool {
	if strings.EqualFold(s, unit) {
		return unit != ""
	}
	for _, o := range spellings[unit] {
		if s == o {
			return true
		}
	}
	return false
}

// unitWords names what may follow the number.
func unitWords(unit string) string {
	switch {
	case unit == "":
		return "nothing"
	case plain(unit):
		return fmt.Sprintf("the unit %s or nothing", unit)
	}
	return fmt.Sprintf("the unit %s, with a prefix such as m or k, or nothing", unit)
}
