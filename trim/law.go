package trim

import (
	"fmt"
	"math"
	"strconv"
)

// Law is how what a trim sets follows its travel.
type Law string

// The laws of adjusters.
const (
	// Linear: equal travel moves equally in the unit of the range, dB included.
	Linear Law = "linear"
	// Logarithmic: equal travel moves by an equal ratio; in dB that is Linear.
	Logarithmic Law = "logarithmic"
	// Divider: the amplitude is even with the travel, as of a linear track used as a
	// divider, so that its dB crowd at the low end. Only for ranges in dB.
	Divider Law = "divider"
	// MultiTurn is Linear over several whole turns.
	MultiTurn Law = "multi-turn"
	// Screw is Linear, of a thread that bears on a mechanism.
	Screw Law = "screw"
	// Dip is tuned for least, Peak for most: see [Extremum].
	Dip  Law = "dip"
	Peak Law = "peak"
)

// TravelUnit is the unit of an adjuster's position.
type TravelUnit string

// Positions are in degrees from the anticlockwise stop, clockwise positive, or in
// turns likewise.
const (
	Degrees TravelUnit = "°"
	Turns   TravelUnit = "turns"
)

// Travels where a definition does not give them, and how a turn goes wrong: common
// practice, no source.
const (
	presetTravel = 270.0 // degrees of a single-turn preset
	screwTravel  = 1.0   // turns of a head screw over its range: 0.4 mm of thread on a lever of 15 mm are 90 arcminutes
	slugTravel   = 4.0   // turns of a slug that has no range
	backlash     = 0.03  // part of a move that is lost on reversal
	dialShare    = 0.02  // sd of a move read by eye, of the move ...
	dialDegrees  = 1.5   // ... and of setting the blade against a mark
)

// Spreads of sensitivity, as standard deviations of its natural logarithm. A preset's
// is 25 % in all: the range in a definition is rough, but siblings sit in the same
// circuit, and only 10 % are a part's own. Thread and lever of a screw are known less.
// Common practice, no source.
const (
	familySpread = 0.23
	ownSpread    = 0.10
	screwSpread  = 0.50
)

// Clock writes a position as an hour of a clock face, 12 in the middle of the travel:
// 0° of 270° is half past 7. It is for travels within one turn.
//
//	hour = 12 + (degrees − travel/2)/30
//
// It is empty where the travel is not in (0, 360] or the position no number.
func Clock(degrees, travel float64) string {
	if !(travel > 0 && travel <= 360) || math.IsNaN(degrees) || math.IsInf(degrees, 0) {
		return ""
	}
	minutes := int(math.Round((degrees-travel/2)*2)) + 12*60
	minutes = ((minutes % 720) + 720) % 720
	h := minutes / 60
	if h == 0 {
		h = 12
	}
	return fmt.Sprintf("%d:%02d o'clock", h, minutes%60)
}

// ClockDegrees is the position in degrees from the anticlockwise stop of an hour such
// as 10.5 (half past ten), the inverse of [Clock]. Hours are taken to the nearest place
// around 12, so 7.5 is before it. The error says which hours the travel holds.
func ClockDegrees(hour, travel float64) (float64, error) {
	if !(hour > 0 && hour <= 12) {
		return 0, fmt.Errorf("%g is no hour of a clock face: more than 0 and at most 12 was expected", hour)
	}
	if !(travel > 0 && travel <= 360) {
		return 0, fmt.Errorf("a travel of %g° has no clock face: more than 0° and at most 360° was expected", travel)
	}
	if hour > 6 {
		hour -= 12
	}
	d := hour*30 + travel/2
	if d < -1e-9 || d > travel+1e-9 {
		return 0, fmt.Errorf("the trim does not reach that hour: %s to %s was expected", Clock(0, travel), Clock(travel, travel))
	}
	return d, nil
}

// turnText is a move as a hand makes it: "40° clockwise", "1¼ turns" in decimals.
func turnText(by float64, u TravelUnit) string {
	way := "clockwise"
	if by < 0 {
		way = "anticlockwise"
	}
	return travelText(math.Abs(by), u) + " " + way
}

func travelText(x float64, u TravelUnit) string {
	if u == Degrees {
		return strconv.FormatFloat(math.Round(x), 'f', 0, 64) + "°"
	}
	if x < 1 {
		return strconv.FormatFloat(x, 'f', 2, 64) + " of a turn"
	}
	return strconv.FormatFloat(x, 'f', 2, 64) + " turns"
}
