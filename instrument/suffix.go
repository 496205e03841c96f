package instrument

import (
	"math"
	"strings"
)

// bases are units as they come after a number, in capitals, and what they are here.
// Meters write the coupling to the volt.
var bases = map[string]string{
	"V": "V", "VAC": "V", "VDC": "V", "VRMS": "V", "A": "A", "AAC": "A", "ADC": "A", "OHM": "ohm", "OHMS": "ohm", "Ω": "ohm",
	"HZ": "Hz", "S": "s", "F": "F", "C": "C", "CEL": "C", "DB": "dB", "DBM": "dBm", "%": "%", "PCT": "%", "W": "W",
}

// capitals are multipliers in capitals (IEEE 488.2, 7.7.3): M is milli, except before HZ
// and OHM, where it is mega.
var capitals = map[string]float64{"": 0, "PE": 15, "T": 12, "G": 9, "MA": 6, "K": 3, "M": -3, "U": -6, "N": -9, "P": -12}

// written are multipliers as meters print them, where the case of the letter counts.
var written = map[string]float64{"M": 6, "m": -3, "µ": -6, "μ": -6}

// suffix reads the unit after a number, if one follows, and takes the number to base
// units.
func (p *parser) suffix(e *Element) error {
	at := p.at
	for at < len(p.msg) && p.msg[at] == ' ' {
		at++
	}
	from := at
	for at < len(p.msg) && (letter(int(p.msg[at])) || p.msg[at] == '%' || p.msg[at] >= 0x80) {
		at++
	}
	if at == from {
		return nil
	}
	power, unit, ok := unitOf(string(p.msg[from:at]))
	if !ok {
		p.at = from
		return p.fail("a unit is expected, such as V, mV, ohm or kHz, or a comma")
	}
	p.at = at
	e.Unit = unit
	factor := math.Pow(10, power)
	e.Value, e.Step = e.Value*factor, e.Step*factor
	if math.Abs(e.Value) >= infinityValue*(1-5e-4) { // what no instrument reads
		e.Value, e.Step = math.Copysign(math.Inf(1), e.Value), 0
	}
	return nil
}

// unitOf parts a suffix into a power of ten and a unit.
func unitOf(s string) (power float64, unit string, ok bool) {
	up := strings.ToUpper(s)
	if u, ok := bases[up]; ok {
		return 0, u, true
	}
	for _, cut := range []int{1, 2} {
		if len(s) <= cut {
			continue
		}
		prefix, rest := s[:cut], up[min(cut, len(up)):]
		u, ok := bases[rest]
		if !ok {
			continue
		}
		mixed := s != up // written with small letters, as a display does
		if x, ok := written[prefix]; ok && (mixed || prefix != "M") {
			return x, u, true
		}
		if x, ok := capitals[strings.ToUpper(prefix)]; ok {
			if up[:cut] == "M" && (u == "Hz" || u == "ohm") {
				x = 6
			}
			return x, u, true
		}
	}
	return 0, "", false
}
