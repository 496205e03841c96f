package job

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// bases are the units in which readings are compared; a prefix may precede
// those marked so.
var bases = []struct {
	name   string
	prefix bool
}{
	{"N·m", true}, {"ohm", true}, {"Hz", true}, {"dBu", false}, {"dBV", false}, {"dB", false}, {"%", false},
	{"V", true}, {"A", true}, {"W", true}, {"H", true}, {"F", true}, {"N", true}, {"s", true},
}

// prefixes as in The SI Brochure, 9th edition, table 7.
var prefixes = map[string]float64{
	"": 1, "p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6, "G": 1e9,
}

// spellings are the ways in which a keyboard writes µ, Ω and the minus sign.
var spellings = strings.NewReplacer("Ω", "ohm", "\u2126", "ohm", "ohms", "ohm", "Ohm", "ohm", "OHM", "ohm",
	"\u03bc", "µ", "u", "µ", "Nm", "N·m", "Meg", "M", "hz", "Hz", "HZ", "Hz")

// splitUnit takes a unit apart: "mV" is prefix "m" and base "V".
func splitUnit(s string) (prefix, base string, ok bool) {
	s = strings.TrimSpace(s)
	if strings.HasPrefix(s, "dB") { // whose u is no µ
		return "", s, slices.Contains([]string{"dB", "dBu", "dBV"}, s)
	}
	s = spellings.Replace(s)
	if n := len(s) - 1; n >= 0 && (s[n] == 'v' || s[n] == 'a') { // as it is typed in haste; no other unit ends so
		s = s[:n] + strings.ToUpper(s[n:])
	}
	for _, b := range bases {
		p, found := strings.CutSuffix(s, b.name)
		if !found || p != "" && !b.prefix {
			continue
		}
		if _, known := prefixes[p]; known {
			return p, b.name, true
		}
	}
	return "", "", false
}

// dbu is 0 dBu in volts: the voltage of 1 mW in 600 Ω.
var dbu = math.Sqrt(0.6)

// inBase converts a value to its base unit. Levels re a voltage become volts.
func inBase(value float64, unit string) (float64, string, bool) {
	prefix, base, ok := splitUnit(unit)
	if !ok {
		return 0, "", false
	}
	switch base {
	case "dBu":
		return dbu * math.Pow(10, value/20), "V", true
	case "dBV":
		return math.Pow(10, value/20), "V", true
	}
	return value * prefixes[prefix], base, true
}

// unitsFor names some units that convert to a base unit, for an error message.
func unitsFor(base string) []string {
	switch base {
	case "V":
		return []string{"V", "mV", "µV", "dBu", "dBV"}
	case "%", "dB":
		return []string{base}
	case "ohm", "Hz":
		return []string{base, "k" + base, "M" + base}
	case "F":
		return []string{"µF", "nF", "pF"}
	}
	return []string{base, "m" + base, "µ" + base}
}

// ParsePoint finds a test point and its replica key. s is an id ("TP1"), a
// designator as printed ("TP21-a") or id and key with a slash ("TP21/a"); case
// does not matter. key, when not empty, is the replica key beside an id.
func ParsePoint(def *machine.Definition, s, key string) (id, k string, err error) {
	s, key = strings.TrimSpace(s), strings.TrimSpace(key)
	if before, after, ok := strings.Cut(s, "/"); ok && key == "" {
		s, key = before, after
	}
	var ids, designators []string
	for i := range def.TestPoints {
		tp := &def.TestPoints[i]
		ids = append(ids, tp.ID)
		keys := def.ReplicaKeys(tp.Each)
		if strings.EqualFold(s, tp.ID) {
			return pointKey(tp, keys, key)
		}
		for _, k := range keys {
			d := def.Designator(tp.Part, tp.Each, k)
			designators = append(designators, d)
			if strings.EqualFold(s, d) && (key == "" || key == k) {
				return tp.ID, k, nil
			}
		}
	}
	if !strings.Contains(s, "-") {
		designators = ids
	}
	return "", "", &InvalidError{Field: "test point", Value: shorten(s), Problem: "is not in the definition", Nearest: nearest(s, designators)}
}

func pointKey(tp *machine.TestPoint, keys []string, key string) (string, string, error) {
	for _, k := range keys {
		if strings.EqualFold(k, key) {
			return tp.ID, k, nil
		}
	}
	if tp.Each == "" {
		return "", "", &InvalidError{Field: "key", Value: shorten(key), Problem: fmt.Sprintf("does not go with %s, of which there is one only", tp.ID)}
	}
	return "", "", &InvalidError{Field: tp.Each, Value: shorten(key), Problem: "is none of those at which there is a " + tp.ID, Nearest: keys}
}

// ParseReading reads what is typed at the bench: a test point as in
// [ParsePoint] and a value as in "38 mV", "38mV", "4m7", "3k3 ohm", "−10 dBV",
// "1,10 V". A unit may be left out ("38"): then it is that of the test point's
// expected value; with a prefix alone ("38m") it is its base unit.
func ParseReading(def *machine.Definition, point, value string) (Reading, error) {
	id, key, err := ParsePoint(def, point, "")
	if err != nil {
		return Reading{}, err
	}
	tp, _ := def.TestPoint(id)
	v, unit, err := parseValue(value, tp.Expect.Unit)
	if err != nil {
		return Reading{}, err
	}
	r := Reading{TestPoint: id, Key: key, Value: v, Unit: unit}
	return r, checkReading(def, &r)
}

// parseValue reads a number with a unit where unit is understood.
func parseValue(s, understood string) (float64, string, error) {
	wrong := func(problem string) (float64, string, error) {
		return 0, "", &InvalidError{Field: "value", Value: shorten(s), Problem: problem, Nearest: []string{"38 mV", "4m7", "3k3 ohm", "1.1 V"}}
	}
	t := strings.NewReplacer(" ", "", "\u00a0", "", "\u2009", "", "\u202f", "", "\u2212", "-", ",", ".").Replace(s)
	end := strings.LastIndexAny(t, "0123456789.") + 1
	number, unit := t[:end], t[end:]
	number, inner, err := takeInner(number)
	if err != nil {
		return wrong("is not a number with a unit")
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || strings.ContainsAny(number, "xXpPiInN_") {
		return wrong("is not a number with a unit")
	}
	_, base, known := splitUnit(understood)
	if !known {
		base = understood
	}
	_, alone := prefixes[spellings.Replace(unit)]
	switch {
	case inner == "" && unit == "":
		unit = understood
	case inner != "" && unit == "", inner == "" && alone: // "4m7", "38m"
		unit = spellings.Replace(inner+unit) + base
	default: // "3k3ohm", "38mV"
		unit = inner + unit
	}
	prefix, base, ok := splitUnit(unit)
	if !ok {
		return wrong(fmt.Sprintf("has the unknown unit %q", unit))
	}
	return v, prefix + base, nil
}

// takeInner takes a prefix out of the middle of a number: "3k3" is 3.3 and k.
func takeInner(s string) (number, prefix string, err error) {
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("+-.0123456789eE", r) })
	if i < 0 {
		return s, "", nil
	}
	end := i
	for end < len(s) && !strings.ContainsRune("0123456789.", rune(s[end])) {
		end++
	}
	prefix = spellings.Replace(s[i:end])
	_, known := prefixes[prefix]
	digits := strings.Trim(s[end:], "0123456789") == "" && end < len(s)
	if !known || !digits || i == 0 || strings.Contains(s[:i], ".") {
		return "", "", strconv.ErrSyntax
	}
	return s[:i] + "." + s[end:], prefix, nil
}
