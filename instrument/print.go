package instrument

import (
	"math"
	"strconv"
	"strings"
)

// String writes an answer as an instrument would send it; it parses to the same.
func (a Answer) String() string {
	units := make([]string, len(a))
	for i, u := range a {
		elements := make([]string, len(u))
		for k, e := range u {
			elements[k] = e.String()
		}
		units[i] = strings.Join(elements, ",")
	}
	return strings.Join(units, ";")
}

// String writes an element as an instrument would send it.
func (e Element) String() string {
	switch e.Kind {
	case Word:
		return e.Text
	case Text:
		return `"` + strings.ReplaceAll(e.Text, `"`, `""`) + `"`
	case Block:
		n := strconv.Itoa(len(e.Bytes))
		return "#" + strconv.Itoa(len(n)) + n + string(e.Bytes)
	}
	var s string
	switch {
	case math.IsNaN(e.Value):
		s = "9.91E+37"
	case math.IsInf(e.Value, 0):
		s = strconv.FormatFloat(math.Copysign(infinityValue, e.Value), 'E', 1, 64)
	default:
		s = strconv.FormatFloat(e.Value, 'E', -1, 64)
	}
	if e.Unit == "" {
		return s
	}
	return s + " " + sentUnit[e.Unit]
}

// sentUnit is how each unit is sent.
var sentUnit = map[string]string{"V": "V", "A": "A", "ohm": "OHM", "Hz": "HZ", "s": "S", "F": "F", "C": "CEL", "dB": "DB", "dBm": "DBM", "%": "PCT", "W": "W"}
