package trim

import (
	"fmt"
	"math"
)

// ID names one adjuster by its designator, unique in a recorder: "VRa-3".
type ID string

// Quantity names what is read and set: a measure of headstack/measure or a word of
// headstack/machine.Measures, of a track or a pair of tracks, at a tone.
type Quantity struct {
	Measure string  // level, response, azimuth, delay, bias, record_level ...
	Track   int     // 0: of no single track
	TrackB  int     // second track of a pair, else 0
	ToneHz  float64 // 0 where the measure has one tone only
	At      string  // replica or function where measure and track do not tell: a group "a", head "record"
}

// String names the quantity for a person: "record response at 10 kHz, track 3".
func (q Quantity) String() string {
	s := spoken(q.Measure)
	if q.ToneHz > 0 {
		s += " at " + tone(q.ToneHz)
	}
	switch {
	case q.TrackB > 0:
		s += fmt.Sprintf(", tracks %d and %d", q.Track, q.TrackB)
	case q.Track > 0:
		s += fmt.Sprintf(", track %d", q.Track)
	}
	if q.At != "" {
		s += ", " + q.At
	}
	return s
}

// Trim is one adjuster of one recorder.
type Trim struct {
	ID     ID
	Name   string // "play level, track 3"
	Family string // siblings share it, and what was learned of one's sensitivity
	Sets   Quantity
	// Sign is +1 where clockwise raises, -1 where it lowers, 0 where it is not known:
	// the first reading after a move tells. Siblings share it.
	Sign int
	Law  Law
	// Travel from stop to stop, in Unit.
	Travel float64
	Unit   TravelUnit
	// Range from stop to stop, in the unit of what is set, above 0. Sensitivity is
	// Range/Travel; for Logarithmic of a unit other than dB it is the natural
	// logarithm of the ratio of the ends.
	Range float64
	// FamilySpread and OwnSpread are standard deviations of the logarithm of the
	// sensitivity: common to the family, and of this one about its family.
	FamilySpread, OwnSpread float64
	// Backlash is the part of a move that is lost where it reverses the one before.
	Backlash float64
	// Start is the position before any move and StartSD its standard deviation, in
	// Unit from the anticlockwise stop. StartSD 0: not known, anywhere in the travel.
	Start, StartSD float64
	// Cautions stand beside each turn of it.
	Cautions []string
}

// New is a trim of a range, as common practice has it. Linear and Screw take spreads,
// backlash and travel of the package; change the fields where more is known.
func New(id ID, family string, sets Quantity, sign int, r Range) Trim {
	t := Trim{ID: id, Family: family, Sets: sets, Sign: sign, Law: r.Law, Travel: r.Travel, Unit: r.TravelUnit, Range: r.Hi - r.Lo,
		FamilySpread: familySpread, OwnSpread: ownSpread, Backlash: backlash}
	if r.Law == Screw {
		t.FamilySpread = math.Sqrt(screwSpread*screwSpread - ownSpread*ownSpread)
	}
	return t
}

// Sensitivity is the prior median of what one unit of travel does, above 0, in the
// unit of the quantity (for Divider: on average over the travel).
func (t Trim) Sensitivity() float64 { return t.Range / t.Travel }

func (t Trim) check() error {
	bad := func(what string) error { return fmt.Errorf("trim %s: %s", t.ID, what) }
	switch {
	case t.ID == "":
		return fmt.Errorf("a trim without a designator sets %s", t.Sets)
	case t.Law == Dip || t.Law == Peak:
		return bad("what is tuned for least or most is an Extremum, no part of a joint fit")
	case t.Sign < -1 || t.Sign > 1:
		return bad("the sign is none of −1, 0 and 1")
	case !(t.Travel > 0) || !(t.Range > 0) || math.IsInf(t.Travel, 0) || math.IsInf(t.Range, 0):
		return bad("travel and range must be above 0")
	case t.Unit != Degrees && t.Unit != Turns:
		return bad("the travel is neither in degrees nor in turns")
	case !(t.FamilySpread >= 0) || !(t.OwnSpread > 0):
		return bad("the spread of its sensitivity must be above 0")
	case !(t.Backlash >= 0 && t.Backlash < 1):
		return bad("the backlash must be from 0 to below 1")
	case !(t.StartSD >= 0) || math.IsNaN(t.Start):
		return bad("the start is no position")
	}
	return nil
}

// dialSD is the standard deviation of a move as a hand makes it.
func (t Trim) dialSD(by float64) float64 {
	mark := dialDegrees
	if t.Unit == Turns {
		mark /= 360
	}
	return math.Hypot(dialShare*by, mark)
}

// start is the prior of the position before any move.
func (t Trim) start() (mean, sd float64) {
	if t.StartSD > 0 {
		return t.Start, t.StartSD
	}
	return t.Travel / 2, t.Travel / math.Sqrt(12) // of an even spread over the travel
}
