package web

import (
	"strconv"
	"strings"

	"headstack/job"
	"headstack/report"
	"headstack/unit"
)

// spoken says in full words what was understood of a typed reading, as a helper across the
// bench would say it back: "64.7 millivolts at TP21-a, record group a".
func spoken(v *job.View, r job.Reading) string {
	s := strings.Replace(strconv.FormatFloat(r.Value, 'f', -1, 64), "-", "minus ", 1) + " " + unitWords(r.Unit, r.Value)
	s += " at " + report.PointName(v.Def, r.TestPoint, r.Key)
	if tp, ok := v.Def.TestPoint(r.TestPoint); ok {
		s += ", " + strings.TrimSpace(tp.Name)
		if tp.Each != "" {
			s += ", " + tp.Each + " " + r.Key
		}
	}
	if r.ToneHz > 0 {
		s += ", with a tone of " + strings.NewReplacer("\u2009", " ", "kHz", "kilohertz", "Hz", "hertz").Replace(unit.Frequency(unit.Hertz(r.ToneHz)))
	}
	if r.Instrument != "" {
		s += ", by " + r.Instrument
	}
	return s
}

var unitWord = map[string]string{"V": "volt", "A": "ampere", "ohm": "ohm", "Ω": "ohm", "Hz": "hertz", "F": "farad", "H": "henry", "W": "watt", "s": "second", "N": "newton",
	"dB": "decibel", "dBV": "decibel re 1 volt", "dBu": "decibel re 0.775 volt", "dBFS": "decibel of full scale", "%": "per cent", "arcmin": "arcminute", "m": "metre"}

var prefixWord = map[string]string{"p": "pico", "n": "nano", "µ": "micro", "u": "micro", "m": "milli", "k": "kilo", "M": "mega"}

// unitWords writes a unit out: "mV" is "millivolts". What is not known stays as it is.
func unitWords(u string, value float64) string {
	word, ok := unitWord[u]
	if !ok {
		for p, long := range prefixWord {
			if rest, cut := strings.CutPrefix(u, p); cut {
				if w, known := unitWord[rest]; known {
					word, ok = long+w, true
				}
			}
		}
	}
	if !ok {
		return u
	}
	if value == 1 || strings.HasSuffix(word, "hertz") || word == "per cent" {
		return word
	}
	first, rest, two := strings.Cut(word, " ")
	if strings.HasSuffix(first, "henry") {
		first = strings.TrimSuffix(first, "y") + "ie"
	}
	first += "s"
	if two {
		return first + " " + rest
	}
	return first
}
