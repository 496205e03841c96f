package web

import (
	"math"
	"strconv"
	"strings"

	"headstack/job"
)

// baseUnits are the units a reading is entered in. Their first letters are no
// prefixes, so that "m" alone always means milli.
var baseUnits = []string{"ohm", "Hz", "dB", "V", "A", "H", "F", "N", "s", "%"}

// prefixes as an SI prefix is written (The SI Brochure, 9th edition, table 7),
// with u for µ and M or Meg for mega.
var prefixes = []struct {
	letter string
	factor float64
}{{"p", 1e-12}, {"n", 1e-9}, {"u", 1e-6}, {"µ", 1e-6}, {"μ", 1e-6}, {"m", 1e-3}, {"k", 1e3}, {"Meg", 1e6}, {"M", 1e6}, {"G", 1e9}}

// quantity is a value as typed, with the unit as typed.
type quantity struct {
	value  float64
	prefix string // "m"
	base   string // "V"
}

func (q quantity) unit() string { return q.prefix + q.base }

// si is the value in the base unit.
func (q quantity) si() float64 {
	for _, p := range prefixes {
		if p.letter == q.prefix {
			return q.value * p.factor
		}
	}
	return q.value
}

// parseQuantity reads what a hand types at the bench: "38 mV", "38m" with the
// unit understood, "4m7" (4.7 m), "92k", "1,10 V", "−11.5". expected is the unit
// of the test point: its base unit holds where none is typed, and its prefix too
// where only a number is typed and mV is expected, because a bare 38 there is
// read off a millivolt display.
func parseQuantity(s, expected string) (quantity, error) {
	bad := func(problem string) (quantity, error) {
		return quantity{}, &job.InvalidError{Field: "value", Value: s, Problem: problem, Nearest: []string{"38 mV", "38m", "4m7", "92k"}}
	}
	t := strings.TrimSpace(s)
	if t == "" {
		return bad("is missing")
	}
	t = strings.NewReplacer("\u2212", "-", ",", ".", "\u2009", "", "\u00a0", "", " ", "", "Ω", "ohm", "Ω", "ohm").Replace(t)
	want := splitUnit(expected)
	q := quantity{base: want.base}
	rest := t
	for _, b := range baseUnits {
		if r, ok := cutSuffixFold(rest, b); ok {
			if want.base != "" && b != want.base {
				return bad("has the unit " + b + "; " + want.base + " is expected here")
			}
			q.base, rest = b, r
			break
		}
	}
	unitTyped := len(rest) != len(t)
	number, prefix := takePrefix(rest)
	q.prefix = prefix
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || strings.ContainsAny(number, "xXpP_iInN") {
		return bad("is not a number with a unit")
	}
	q.value = v
	if !unitTyped && prefix == "" {
		q.prefix = want.prefix
	}
	return q, nil
}

// takePrefix takes the prefix from the end ("4.7m") or the middle ("4m7").
func takePrefix(s string) (number, prefix string) {
	for _, p := range prefixes {
		if r, ok := strings.CutSuffix(s, p.letter); ok {
			return r, canonical(p.letter)
		}
		if a, b, ok := strings.Cut(s, p.letter); ok && digits(b) && strings.ContainsAny(a, "0123456789") {
			return a + "." + b, canonical(p.letter)
		}
	}
	return s, ""
}

func canonical(prefix string) string {
	switch prefix {
	case "u", "μ":
		return "µ"
	case "Meg":
		return "M"
	}
	return prefix
}

func digits(s string) bool {
	for _, r := range s {
		if r < '0' || r > '9' {
			return false
		}
	}
	return s != ""
}

func cutSuffixFold(s, suffix string) (string, bool) {
	if len(s) < len(suffix) || !strings.EqualFold(s[len(s)-len(suffix):], suffix) {
		return s, false
	}
	return s[:len(s)-len(suffix)], true
}

// splitUnit splits "mV" into prefix and base; an unknown unit is its own base.
func splitUnit(u string) quantity {
	for _, b := range baseUnits {
		r, ok := strings.CutSuffix(u, b)
		if !ok {
			continue
		}
		if r == "" {
			return quantity{base: b}
		}
		for _, p := range prefixes {
			if p.letter == r {
				return quantity{prefix: canonical(r), base: b}
			}
		}
	}
	return quantity{base: u}
}

// siOf is a recorded reading in its base unit.
func siOf(r job.Reading) float64 {
	q := splitUnit(r.Unit)
	q.value = r.Value
	return q.si()
}

// engineering writes a value in the base unit with the prefix that leaves one to
// three figures before the point.
func engineering(v float64, base string) string {
	if base == "%" || base == "dB" || v == 0 {
		return number(v) + "\u2009" + base
	}
	for _, p := range []struct {
		letter string
		factor float64
	}{{"M", 1e6}, {"k", 1e3}, {"", 1}, {"m", 1e-3}, {"µ", 1e-6}, {"n", 1e-9}} {
		if math.Abs(v) >= p.factor*0.9999 {
			return number(v/p.factor) + "\u2009" + p.letter + base
		}
	}
	return number(v) + "\u2009" + base
}
