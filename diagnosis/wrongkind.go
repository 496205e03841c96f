package diagnosis

// states of a reading: right, and the ways in which it goes wrong.
const (
	readRight     = iota
	readSpot      // wrong spot, nobody knows what is there
	readTrack     // another track's value
	readUp        // 1000 times too large
	readDown      // 1000 times too small
	readPin       // a neighbouring pin
	readSide      // the pin of that number seen from the other side
	readShield    // a shield or common pin
	readRanging   // display caught while ranging
	readBandwidth // the meter does not reach the frequency
	readAverage   // an average-responding meter on noise or a mixture
	readMode      // a.c. taken for d.c. or the other way
	readLead      // a lead open
	readLeads     // leads exchanged
	readPoint     // decimal point mistyped
	readDigits    // digits mistyped
	readStates
)

// WrongKind says in a word how a reading probably went wrong; empty: it did not.
type WrongKind string

// The kinds of wrong reading, by state.
const (
	WrongNot       WrongKind = ""
	WrongSpot      WrongKind = "wrong spot"
	WrongTrack     WrongKind = "wrong track"
	WrongRangeHigh WrongKind = "1000 times too large"
	WrongRangeLow  WrongKind = "1000 times too small"
	WrongPin       WrongKind = "neighbouring pin"
	WrongSide      WrongKind = "mirrored side"
	WrongShield    WrongKind = "shield or common pin"
	WrongRanging   WrongKind = "caught while ranging"
	WrongBandwidth WrongKind = "beyond the meter's bandwidth"
	WrongAverage   WrongKind = "average-responding meter"
	WrongMode      WrongKind = "a.c. for d.c."
	WrongLead      WrongKind = "lead open"
	WrongLeads     WrongKind = "leads exchanged"
	WrongPoint     WrongKind = "decimal point"
	WrongDigits    WrongKind = "mistyped"
)

var kindOfState = [readStates]WrongKind{WrongNot, WrongSpot, WrongTrack, WrongRangeHigh, WrongRangeLow, WrongPin, WrongSide, WrongShield,
	WrongRanging, WrongBandwidth, WrongAverage, WrongMode, WrongLead, WrongLeads, WrongPoint, WrongDigits}

// How often a reading goes wrong, by the way it does. [estimate] common practice, no
// source: a sibling voltage comparison with one meter is wrong in 3 % of cases, a probe
// on a connector sits on the wrong pin or side in 5 %, a wrong track is selected or a
// solo left on in 5 %, 1 to 2 % are mistyped; how these divide is estimated here.
const (
	wrongSpot   = 0.018 // with the next two the 3 %
	leadOpen    = 0.008
	ranging     = 0.004
	wrongPin    = 0.05
	wrongTrack  = 0.05
	typingSlip  = 0.015
	pointSlip   = typingSlip / 3 // of it, the decimal point, one way or the other
	unitSlip    = 0.005          // mV read as V or the other way, each
	unitSlipDB  = 60             // a factor of 1000
	pointSlipDB = 20
	wrongMode   = 0.004
	leadsSwap   = 0.005 // on d.c.: it shows the other sign
	// An average-responding meter is right on a tone by itself; noise and mixtures read
	// between 1 dB low and a little high.
	averageOften, averageUnknown = 0.03, 0.01
	averageDB, averageSDDB       = -0.5, 0.6
	// A meter on the d.c. range or without contact shows next to nothing; on a d.c. pin
	// an a.c. meter shows ripple in half of cases, the d.c. in the other.
	railSDDB     = 0.3
	otherPinSDDB = 3 // an alternating voltage of another pin, in another mode of the recorder
)

// Where a probe on a connector sits when it sits wrong. [estimate] common practice, no
// source.
var (
	straightPins = pinShares{neighbour: 0.45, side: 0.05, common: 0.20}
	mirroredPins = pinShares{neighbour: 0.35, side: 0.30, common: 0.15}
)

// pinShares are shares of all wrong pins; what is left of 1 is any pin.
type pinShares struct{ neighbour, side, common float64 }

// broad is a way that may show anything.
func broad(state int, p float64) wrongWay {
	return wrongWay{state: state, p: p, shows: anything, density: 1.0 / spotRangeDB}
}

// slipWays are the slips that every reading may suffer: a factor of 1000, the decimal
// point, digits.
func slipWays() []wrongWay {
	return []wrongWay{
		{state: readUp, p: unitSlip, shows: through, db: unitSlipDB},
		{state: readDown, p: unitSlip, shows: through, db: -unitSlipDB},
		{state: readPoint, p: pointSlip / 2, shows: through, db: pointSlipDB},
		{state: readPoint, p: pointSlip / 2, shows: through, db: -pointSlipDB},
		broad(readDigits, typingSlip-pointSlip),
	}
}

// trackWay is another track in place of the one that is meant, taken to be a good one.
func trackWay() wrongWay {
	return wrongWay{state: readTrack, p: wrongTrack, shows: sound, sd: otherTrackDB}
}

// resultModel is a figure of a capture: no unit, pin or typing slips, and an interval
// of its own in place of a bench estimate.
func resultModel(y, sd float64) readingModel {
	return readingModel{y: y, sd: sd, ways: []wrongWay{broad(readSpot, wrongResult)}}
}
