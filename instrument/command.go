package instrument

import (
	"fmt"
	"slices"
	"strings"
)

// Quantity is what an instrument is asked for.
type Quantity string

// The quantities.
const (
	VoltsAC    Quantity = "a.c. volts"
	VoltsDC    Quantity = "d.c. volts"
	AmpsAC     Quantity = "a.c. amps"
	AmpsDC     Quantity = "d.c. amps"
	Resistance Quantity = "resistance"
	Frequency  Quantity = "frequency"
)

// function is the command tree of a quantity (SCPI-1999 volume 2, 3.6: the functions of
// the signal-oriented measurement commands), and its base unit.
var functions = map[Quantity]struct{ header, unit string }{
	VoltsAC: {"VOLTage:AC", "V"}, VoltsDC: {"VOLTage:DC", "V"}, AmpsAC: {"CURRent:AC", "A"}, AmpsDC: {"CURRent:DC", "A"},
	Resistance: {"RESistance", "ohm"}, Frequency: {"FREQuency", "Hz"},
}

// Quantities are those that there are.
func Quantities() []Quantity {
	return []Quantity{VoltsAC, VoltsDC, AmpsAC, AmpsDC, Resistance, Frequency}
}

// Unit is the base unit of a quantity.
func (q Quantity) Unit() string { return functions[q].unit }

// QuantityOf is what is read where a value in a base unit is expected, with a tone or
// without.
func QuantityOf(base string, toneHz float64) (Quantity, bool) {
	switch {
	case base == "V" && toneHz > 0:
		return VoltsAC, true
	case base == "V":
		return VoltsDC, true
	case base == "A" && toneHz > 0:
		return AmpsAC, true
	case base == "A":
		return AmpsDC, true
	case base == "ohm":
		return Resistance, true
	case base == "Hz":
		return Frequency, true
	}
	return "", false
}

// Dialect is how an instrument is asked.
type Dialect string

// The dialects.
const (
	// Read sets the function once and then asks READ? for each value: the usual one.
	Read Dialect = "read"
	// Measure asks MEASure:...? each time, for meters without CONFigure or READ?.
	Measure Dialect = "measure"
	// Fetch asks FETCh? for what the instrument shows. It is set by hand, so what it is
	// set to is not known. A value may be asked for twice; it has to stand longer.
	Fetch Dialect = "fetch"
)

// Dialects are those that there are; the first is meant where none is said.
func Dialects() []Dialect { return []Dialect{Read, Measure, Fetch} }

// ParseDialect reads a dialect; empty is the usual one.
func ParseDialect(s string) (Dialect, error) {
	d := Dialect(strings.ToLower(strings.TrimSpace(s)))
	if d == "" {
		return Read, nil
	}
	if !slices.Contains(Dialects(), d) {
		return "", fmt.Errorf("dialect %q is none of %v", s, Dialects())
	}
	return d, nil
}

// setup is sent once for a quantity, empty where nothing is; ask for each value.
func (d Dialect) setup(q Quantity) string {
	if d == Read {
		return "CONFigure:" + functions[q].header
	}
	return ""
}

func (d Dialect) ask(q Quantity) string {
	switch d {
	case Measure:
		return "MEASure:" + functions[q].header + "?"
	case Fetch:
		return "FETCh?"
	}
	return "READ?"
}
