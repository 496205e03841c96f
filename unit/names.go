package unit

import (
	"math"
	"strings"
)

// factors of the prefixes: The SI Brochure, 9th edition, table 7.
var factors = map[string]float64{
	"": 1, "p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6, "G": 1e9,
}

// typedPrefixes are the prefixes as a keyboard writes them: u and the Greek letter
// for µ, K for kilo, Meg for mega.
var typedPrefixes = map[string]string{
	"p": "p", "n": "n", "u": "µ", "µ": "µ", "\u03bc": "µ", "m": "m", "k": "k", "K": "k", "M": "M", "Meg": "M", "G": "G",
}

// names are the base units and the ways in which they are typed.
var names = []struct {
	base   string
	prefix bool // a prefix may precede it
	typed  []string
}{
	{"N·m", true, []string{"N·m", "Nm"}},
	{"ohm", true, []string{"ohm", "ohms", "Ohm", "Ohms", "OHM", "Ω", "\u2126", "R"}}, // U+2126 looks like Ω
	{"Hz", true, []string{"Hz", "hz", "HZ"}},
	{"dBu", false, []string{"dBu"}},
	{"dBV", false, []string{"dBV"}},
	{"dB", false, []string{"dB"}},
	{"%", false, []string{"%"}},
	{"°C", false, []string{"°C", "degC", "C"}},
	{"cm/s", false, []string{"cm/s", "cms"}},
	{"min", false, []string{"min", "minutes"}},
	{"V", true, []string{"V", "v"}},
	{"A", true, []string{"A", "a"}},
	{"W", true, []string{"W"}},
	{"H", true, []string{"H"}},
	{"F", true, []string{"F"}},
	{"N", true, []string{"N"}},
	{"s", true, []string{"s"}},
}

// takesPrefix is false for units that are logarithmic or counted.
func takesPrefix(base string) bool {
	for _, n := range names {
		if n.base == base {
			return n.prefix
		}
	}
	return base != "" && !strings.HasPrefix(base, "dB")
}

// splitUnit takes a unit apart: "mV" is prefix "m" and base "V". The base unit
// understood, which may be one that has no place in the list, is also taken in small
// or capital letters.
func splitUnit(s, understood string) (prefix, base string, ok bool) {
	if n := len(s) - len(understood); understood != "" && n >= 0 && strings.EqualFold(s[n:], understood) {
		if prefix, ok = precede(s[:n], understood); ok {
			return prefix, understood, true
		}
	}
	for _, n := range names {
		for _, typed := range n.typed {
			p, found := strings.CutSuffix(s, typed)
			if !found {
				continue
			}
			if prefix, ok = precede(p, n.base); ok {
				return prefix, n.base, true
			}
		}
	}
	return "", "", false
}

// precede reads what stands before a base unit.
func precede(s, base string) (prefix string, ok bool) {
	if s == "" {
		return "", true
	}
	prefix, ok = typedPrefixes[s]
	return prefix, ok && takesPrefix(base)
}

// Name writes a unit in its usual spelling: "uv" is "µV". It is false for a unit
// that is not known.
func Name(typed string) (name string, ok bool) {
	prefix, base, ok := splitUnit(strings.TrimSpace(typed), "")
	return prefix + base, ok
}

// dbu is 0 dBu in volts: the voltage of 1 mW in 600 Ω.
var dbu = math.Sqrt(0.6)

// ToBase converts a value to its base unit: 38 mV to 0.038 V. Levels re a voltage
// become volts. It is false for a unit that is not known.
func ToBase(value float64, unitName string) (v float64, base string, ok bool) {
	prefix, base, ok := splitUnit(strings.TrimSpace(unitName), "")
	if !ok {
		return 0, "", false
	}
	v, base = toBase(value, prefix, base)
	return v, base, true
}

func toBase(value float64, prefix, base string) (float64, string) {
	switch base {
	case "dBu":
		return dbu * math.Pow(10, value/20), "V"
	case "dBV":
		return math.Pow(10, value/20), "V"
	}
	return value * factors[prefix], base
}
