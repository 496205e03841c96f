package diagnosis

import (
	"fmt"
	"math"
	"strings"

	"headstack/machine"
)

// What is assumed of a meter (common practice, no source, where nothing else is said).
const (
	// The corner of an ordinary meter that nobody knows is taken as log-normal: 1.6 %
	// of meters fall by a decibel already at 400 Hz, 5 % at 1 kHz, a third at 10 kHz,
	// and read the bias of 92 kHz low by a decibel or more in 80 %. Ordinary meters are
	// specified to between 400 Hz and 1 kHz, better ones to between 20 and 100 kHz.
	cornerMedianHz = 39000
	cornerSDLn     = 1.8
	// specifiedHz is the frequency up to which any meter is trusted.
	specifiedHz = 400
	// droopSteps is how finely the unknown corner is run through.
	droopSteps = 48
	// A corner that the register gives is good to cornerKnownLn, and a meter above it
	// falls by one pole only to within fallShare of the fall in dB.
	cornerKnownLn = 0.1
	fallShare     = 0.1
	// misleadsDB is the fall from which a value misleads as an absolute one.
	misleadsDB = 1
	// nodeOhm is a source to which the loading by an input is referred: a high-impedance
	// node of a recorder, a trap or a volume control.
	nodeOhm = 10e3
)

// DroopDB is by how much a meter that falls by one pole at cornerHz reads a tone low,
// as a positive loss:
//
//	10·log10(1 + (f/fc)²) dB
//
// It is 0 where the corner is not known. [formula: one pole]
func DroopDB(toneHz, cornerHz float64) float64 {
	if !(cornerHz > 0) || !(toneHz > 0) {
		return 0
	}
	r := toneHz / cornerHz
	return 10 * math.Log10(1+r*r)
}

// droopSDDB is how far a known droop is to be trusted.
func droopSDDB(toneHz, cornerHz float64) float64 {
	d := DroopDB(toneHz, cornerHz)
	if d == 0 {
		return 0
	}
	r2 := math.Pow(toneHz/cornerHz, 2)
	return math.Hypot(cornerKnownLn*20/math.Ln10*r2/(1+r2), fallShare*d)
}

// ordinaryDroops are equally likely droops of a meter that nothing is known of, the
// smallest last; none up to specifiedHz.
func ordinaryDroops(toneHz float64) []float64 {
	if toneHz <= specifiedHz {
		return nil
	}
	out := make([]float64, droopSteps)
	for k := range out {
		z := math.Sqrt2 * math.Erfinv(2*(float64(k)+0.5)/droopSteps-1)
		out[k] = DroopDB(toneHz, cornerMedianHz*math.Exp(cornerSDLn*z))
	}
	return out
}

// LoadingDB is by how much a source of sourceOhm falls when an input of inputOhm beside
// inputF is put to it, as a positive loss:
//
//	20·log10 |1 + Rs·(1/Rin + j·2πf·Cin)| dB
//
// inputOhm 0 is none.
func LoadingDB(sourceOhm, inputOhm, inputF, toneHz float64) float64 {
	g := 0.0
	if inputOhm > 0 {
		g = 1 / inputOhm
	}
	return 20 * math.Log10(math.Hypot(1+sourceOhm*g, sourceOhm*2*math.Pi*toneHz*inputF))
}

// AverageDB is what an average-responding meter, scaled to the r.m.s. value of a sine,
// reads over the true r.m.s. value of a wave with the given form factor (r.m.s. over
// rectified mean): 0 for a sine (π/(2√2) = 1.1107), −1.05 for Gaussian noise (√(π/2)),
// +0.91 for a square (1).
func AverageDB(formFactor float64) float64 {
	return 20 * math.Log10(math.Pi/(2*math.Sqrt2)/formFactor)
}

// noiseForm is the form factor of Gaussian noise.
var noiseForm = math.Sqrt(math.Pi / 2)

// wide says that an instrument reaches whatever a recorder has.
func (in Instrument) wide() bool { return in.Kind == Scope && in.BandwidthHz == 0 }

// absoluteDB is the standard deviation of the instrument's error of reading, in dB.
func (in Instrument) absoluteDB(steady bool) float64 {
	percent, usual := in.ACPercent, acInstrumentDB
	if steady {
		percent, usual = in.DCPercent, dcInstrumentDB
	}
	if percent <= 0 {
		return usual
	}
	return 20 * math.Log10(1+percent/100) / 1.96
}

// correct makes up for what the instrument is known to read low, and says how far that
// is to be trusted. unknown are the equally likely falls of one that nobody knows.
func (in Instrument) correct(toneHz float64) (addDB, sdDB float64, unknown []float64) {
	switch {
	case in.BandwidthHz > 0:
		return DroopDB(toneHz, in.BandwidthHz), droopSDDB(toneHz, in.BandwidthHz), nil
	case in.wide():
		return 0, 0, nil
	}
	return 0, 0, ordinaryDroops(toneHz)
}

// averages is how often the instrument misleads by responding to the average.
func (in Instrument) averages() float64 {
	switch in.Kind {
	case Average:
		return averageOften
	case TrueRMS, Scope, Counter:
		return 0
	}
	return averageUnknown
}

// CannotTell lists, in plain sentences, what a reading with the instrument cannot tell
// at a test point with a tone; toneHz 0 is the point's own. It is empty where nothing is
// in the way.
func (in Instrument) CannotTell(tp *machine.TestPoint, toneHz float64, _ *machine.Definition) []string {
	if toneHz == 0 {
		toneHz = tp.ToneHz
	}
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	x := tp.ExpectedSI()
	switch {
	case x.Unit == "ohm":
		say("A continuity tone is no proof of a joint: it sounds up to the meter's threshold of 10 to 50 ohm. Read ohms.")
		if in.LeadsOhm > 0 {
			say("Its leads add %s to every reading: subtract them.", quantity(in.LeadsOhm, "ohm"))
		} else {
			say("The resistance of its leads, usually 0.1 to 0.5 ohm, adds to every reading: short them first and subtract.")
		}
		return out
	case x.Unit != "V" && x.Unit != "A":
		return nil
	case in.Kind == Counter:
		say("A counter tells a frequency, not a level.")
		return out
	}
	if toneHz > 0 {
		in.cannotTellOf(toneHz, say)
	}
	if in.Autorange {
		say("It changes range by itself: the first display after a change, and mV taken for V, are its usual slips. Write range and unit down.")
	}
	return out
}

// cannotTellOf says what is in the way of an alternating voltage.
func (in Instrument) cannotTellOf(toneHz float64, say func(string, ...any)) {
	switch d := DroopDB(toneHz, in.BandwidthHz); {
	case d >= misleadsDB/2.:
		say("Its bandwidth of %s reads %s %.1f dB low: only siblings compare; made up for, the value is good to ±%.1f dB.",
			tone(in.BandwidthHz), tone(toneHz), d, 2*droopSDDB(toneHz, in.BandwidthHz))
	case in.BandwidthHz == 0 && !in.wide():
		if p := chanceOfDroop(toneHz, misleadsDB); p >= 0.02 {
			say("Nobody knows its bandwidth: an ordinary meter reads %s low by a decibel or more in %.0f %% of cases, so only siblings compare.",
				tone(toneHz), 100*p)
		}
	}
	if in.Kind == Average {
		say("It responds to the average: noise reads %.1f dB low, and a mixture of tones up to about as much off either way.", -AverageDB(noiseForm))
	}
	if d := LoadingDB(nodeOhm, in.InputOhm, in.InputF, toneHz); d >= 0.1 {
		probe := "with its leads"
		if strings.TrimSpace(in.Leads) != "" {
			probe = "with " + in.Leads
		}
		say("It loads the point %s: a node of %s reads %.1f dB low at %s, and one that is tuned shifts.", probe, quantity(nodeOhm, "ohm"), d, tone(toneHz))
	}
}

// chanceOfDroop is how often an ordinary meter reads a tone low by at least db.
func chanceOfDroop(toneHz, db float64) float64 {
	if toneHz <= specifiedHz {
		return 0
	}
	corner := toneHz / math.Sqrt(math.Pow(10, db/10)-1)
	return 0.5 * (1 + math.Erf(math.Log(corner/cornerMedianHz)/cornerSDLn/math.Sqrt2))
}
