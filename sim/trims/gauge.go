package trims

import (
	"fmt"
	"math"
)

// Reading is what an instrument shows without any tape.
type Reading struct {
	Value float64
	Unit  string
}

// Traps and erasure, invented within what the definitions expect of test points.
const (
	trapFloorMV  = 15.0
	trapPerTurn  = 110.0 // mV
	eraseFallsDB = 2.5   // dB per turn²
)

// Gauge reads at its test point what a trim sets: of bias the current and of oscillators
// the frequency, re nominal; of a meter what it shows more than the output gives; of a
// trap the millivolts that are left; of an erase peak the current in dB re its most; of
// the others what they are off by. It costs a reading. Measures that need a tape have none.
func (m *Recorder) Gauge(ref Ref) (Reading, error) {
	a, err := m.reach(ref)
	if err != nil {
		return Reading{}, err
	}
	x, unit, sd, err := m.gauged(a)
	if err != nil {
		return Reading{}, err
	}
	m.count.Gauged++
	m.count.Minutes += gaugeMinutes
	return Reading{x + m.noise(sd, "gauge", ref), unit}, nil
}

func (m *Recorder) gauged(a *adjuster) (value float64, unit string, sd float64, err error) {
	switch a.trim.Sets {
	case "bias":
		// The nominal current is not the right one of this head and tape.
		return a.effect() - a.fixed + m.oscillatorDB(), "dB", levelSD, nil
	case "bias_frequency":
		return a.effect(), "kHz", 0.05, nil
	case "trap_leak":
		sum := trapFloorMV * trapFloorMV
		for _, b := range m.byUse["trap_leak"] {
			if b.key == a.key {
				sum += trapPerTurn * trapPerTurn * b.effect() * b.effect()
			}
		}
		return math.Sqrt(sum), "mV", 1, nil
	case "erase":
		return -eraseFallsDB * a.effect() * a.effect(), "dB", levelSD / 2, nil
	case "meter", "compander_level":
		return a.effect(), "dB", levelSD, nil
	case "offset":
		return a.effect(), "mV", 0.5, nil
	case "tension":
		return a.effect(), "N", 0.01, nil
	case "brake_torque":
		return a.effect(), "%", 1, nil
	case "height", "rack":
		return a.effect(), "mm", 0.01, nil
	}
	return 0, "", 0, fmt.Errorf("trims: %s is read from a tape, not at a test point", a.trim.Sets)
}
