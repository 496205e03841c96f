package trim

import (
	"strconv"
	"strings"

	"headstack/unit"
)

// spoken is a measure as it stands in a sentence.
func spoken(measure string) string {
	switch measure {
	case "level":
		return "play level"
	case "response":
		return "play response"
	case "response_low":
		return "play bass"
	case "speed_error":
		return "speed"
	case "overbias":
		return "fall of treble past its peak"
	case "trap_leak":
		return "bias leak at the trap"
	case "compander_level":
		return "encoder level"
	}
	return strings.ReplaceAll(measure, "_", " ")
}

// points says what a fault is, where the travel of a trim does not reach: what then
// moves the measure so far. Common practice, no source.
func points(measure string) string {
	switch measure {
	case "level", "sync_level", "meter":
		return "look for dirt or contact at the head, a dried coupling capacitor or a film on the play switch before the trim"
	case "response", "sync_response":
		return "look for dirt, contact or azimuth at the head, then for wear or a part of the play equalisation"
	case "response_low":
		return "look for a dried coupling capacitor or fringing of a full-width tape"
	case "speed_error":
		return "look at belt, residue on the pulleys, roller, and whether the pitch control stands at its click"
	case "azimuth", "height", "rack":
		return "look at the head's seating and screws, the guides and the shell"
	case "bias", "overbias", "bias_frequency", "erase":
		return "look at the oscillator, its supply and a trap that is off tune"
	case "record_level", "record_response":
		return "look at bias, the trap, the record switch and the coupling capacitors before the trim"
	case "compander_level":
		return "look at the coupling capacitors and the supply of the encoder"
	}
	return "look for a fault before the trim"
}

func tone(hz float64) string { return unit.Frequency(unit.Hertz(hz)) }

// figure writes a value with its interval; difference always shows the sign.
func figure(v, lo, hi float64, u string) string {
	return unit.Figure{Value: v, Lo: lo, Hi: hi, Unit: u, Difference: u == "dB" || u == "arcmin" || u == "%" || u == "µs"}.String()
}

// plain writes a size without interval, to three digits.
func plain(x float64, u string) string {
	s := strings.Replace(strconv.FormatFloat(x, 'g', 3, 64), "-", unit.Minus, 1)
	if u == "" {
		return s
	}
	return s + unit.ThinSpace + u
}

// upper makes a sentence begin with a capital letter.
func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
