package bias

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"

	"headstack/machine"
)

// Trim is one track's bias adjuster. Positions are shares of its travel, from 0 at the
// stop of least bias to 1 at the stop of most, whichever way it turns.
type Trim struct {
	ID    string `json:"id"`
	Track int    `json:"track"` // from 1
	// Turns is the travel from stop to stop of a multi-turn adjuster, whose slot does not
	// tell where it stands: its positions are named in turns from Now, which is 0.5 where
	// nobody knows. 0: a single turn, named by the face of a clock.
	Turns float64 `json:"turns,omitempty"`
	// Degrees is the travel of a single-turn one, 12 o'clock in its middle; 0: 300.
	Degrees float64 `json:"degrees,omitempty"`
	// Sign is +1 where clockwise raises the bias, -1 where it lowers it.
	Sign int `json:"sign"`
	// Now is where the trim stands: what "dB of bias" refers to.
	Now float64 `json:"now"`
	// Backlash is the play between the tool and the wiper on reversing, a share of the
	// travel. 0: 0.03 (common practice, no source).
	Backlash float64 `json:"backlash,omitempty"`
	Law      Law     `json:"law"`
}

// hand is the standard deviation with which an eye puts a trimmer to a mark, a share of
// the travel: 1.5 degrees of a single turn. Common practice, no source.
const hand = 0.005

const usualBacklash = 0.03

// scatter is the standard deviation of a position approached from below: what differs
// of the backlash from one approach to the next, taken as a rectangle, and the hand.
func (t Trim) scatter() float64 {
	b := t.Backlash
	if b == 0 {
		b = usualBacklash
	}
	return math.Hypot(hand, b/math.Sqrt(12))
}

// ErrTrim is the error of a trim from which no staircase can be planned.
var ErrTrim = errors.New("no bias trim to plan with")

// TrimOf makes the trim of a track of a machine's definition, with the law that its
// range allows: "0.25 to 0.60 mA" and the like, or "±4 dB"; of any other text the span
// is unknown and [UsualLaw] stands for it. now is the share of the travel at which it
// stands, from the stop of least bias. The error is [ErrTrim].
func TrimOf(t machine.Trim, track int, now float64) (Trim, error) {
	switch {
	case t.Sets != "bias":
		return Trim{}, fmt.Errorf("%w: %s sets %s", ErrTrim, t.ID, t.Sets)
	case t.Sign == 0:
		return Trim{}, fmt.Errorf("%w: %s does not say which way raises the bias", ErrTrim, t.ID)
	}
	out := Trim{ID: t.ID, Track: track, Sign: t.Sign, Now: now, Law: UsualLaw()}
	if span, ok := spanOf(t.Range); ok {
		out.Law.SpanDB = span
	}
	return out, out.check()
}

func (t Trim) check() error {
	switch {
	case !(t.Now >= 0 && t.Now <= 1):
		return fmt.Errorf("%w: position %g is not a share of the travel from 0 to 1", ErrTrim, t.Now)
	case t.Sign != 1 && t.Sign != -1:
		return fmt.Errorf("%w: sign %d, want +1 or -1", ErrTrim, t.Sign)
	case !(t.Backlash >= 0 && t.Backlash < 0.5):
		return fmt.Errorf("%w: backlash %g, want a share of the travel below a half", ErrTrim, t.Backlash)
	case !(t.Degrees >= 0 && t.Degrees <= 360):
		return fmt.Errorf("%w: a travel of %g degrees", ErrTrim, t.Degrees)
	case !(t.Turns >= 0 && t.Turns <= 100):
		return fmt.Errorf("%w: %g turns", ErrTrim, t.Turns)
	}
	return t.Law.check()
}

var (
	fromTo    = regexp.MustCompile(`^\s*([0-9.]+)\s*(?:to|-|–)\s*([0-9.]+)\s*(?:mA|A|V|mV|µA)\b`)
	plusMinus = regexp.MustCompile(`^\s*±\s*([0-9.]+)\s*dB`)
)

// spanOf reads the span of a range in dB.
func spanOf(text string) (db float64, ok bool) {
	if m := fromTo.FindStringSubmatch(text); m != nil {
		lo, err1 := strconv.ParseFloat(m[1], 64)
		hi, err2 := strconv.ParseFloat(m[2], 64)
		if err1 == nil && err2 == nil && lo > 0 && hi > lo {
			return 20 * math.Log10(hi/lo), true
		}
	}
	if m := plusMinus.FindStringSubmatch(text); m != nil {
		if v, err := strconv.ParseFloat(m[1], 64); err == nil && v > 0 {
			return 2 * v, true
		}
	}
	return 0, false
}

// usualDegrees is the travel of a single-turn trimmer: from 7 to 5 o'clock. Common practice,
// no source.
const usualDegrees = 300.0

// hours are the travel on the face of a clock.
func (t Trim) hours() float64 { return cmp.Or(t.Degrees, usualDegrees) / 30 }

// Words names a position as a hand finds it: "9:30 o'clock", or "1.25 turns clockwise of
// where it stood".
func (t Trim) Words(position float64) string {
	if t.Turns > 0 {
		n := (position - t.Now) * t.Turns
		way := t.more()
		if n < 0 {
			way = t.less()
		}
		if math.Abs(n) < 0.005 {
			return "where it stood"
		}
		return fmt.Sprintf("%.2f turns %s of where it stood", math.Abs(n), way)
	}
	hours := t.hours()
	clockwise := position
	if t.Sign < 0 {
		clockwise = 1 - position
	}
	minutes := int(math.Round((12 - hours/2 + clockwise*hours) * 12)) // of five
	h := minutes / 12 % 12
	if h == 0 {
		h = 12
	}
	return fmt.Sprintf("%d:%02d o'clock", h, minutes%12*5)
}

// more and less are the ways to turn.
func (t Trim) more() string {
	if t.Sign < 0 {
		return "counter-clockwise"
	}
	return "clockwise"
}

func (t Trim) less() string { return Trim{Sign: -t.Sign}.more() }

// least is the finest step that a hand sets, a share of the travel: a quarter of an
// hour, or a sixteenth of a turn.
func (t Trim) least() float64 {
	if t.Turns > 0 {
		return 1 / (16 * t.Turns)
	}
	return 0.25 / t.hours()
}
