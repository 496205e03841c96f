package job

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"headstack/lineup"
	"headstack/machine"
	"headstack/trim"
	"headstack/unit"
)

// ParseTurn reads a turn as it is said at the bench: how far and which way in any order,
// and positions before and after where they were noted:
//
//	30deg   30° anticlockwise   left 1/8 turn   2.5 turns   -30deg
//	from 10:30 to 12            hours of a clock face, 12 in the middle of the travel
//	from 90deg to 135deg        from the anticlockwise stop
//
// A number alone is in the unit of the trim's own travel; clockwise is positive and goes
// without saying. An empty amount without positions is a turn of which nobody noted how
// far it went. Whether it is within the travel is looked at when it is recorded. Errors:
// [InvalidError].
func ParseTurn(def *machine.Definition, part, amount, from, to string) (Turn, error) {
	id, key, err := ParseTrim(def, part, "")
	if err != nil {
		return Turn{}, err
	}
	travel, own, known := TravelOf(def, id)
	if !known {
		own = trim.Degrees
	}
	t := Turn{Trim: id, Key: key, Unit: own}
	if strings.TrimSpace(amount) != "" {
		by, u, err := parseAmount(amount, own)
		if err != nil {
			return Turn{}, err
		}
		t.By, t.Unit = by, u
	}
	for _, p := range []struct {
		text string
		into **float64
	}{{from, &t.From}, {to, &t.To}} {
		if strings.TrimSpace(p.text) == "" {
			continue
		}
		x, err := parsePosition(p.text, travel, own)
		if err != nil {
			return Turn{}, err
		}
		*p.into = new(inUnit(x, own, t.Unit))
	}
	if t.From != nil && t.To != nil {
		t.By = *t.To - *t.From
	}
	return t, nil
}

// ParseTravel reads how far a trim goes from stop to stop: "15 turns", "270deg". The error
// is an [InvalidError].
func ParseTravel(text string) (travel float64, u trim.TravelUnit, err error) {
	travel, u, ok := parseTravel(strings.ReplaceAll(text, " ", ""), trim.Turns)
	if !ok || !(travel > 0) {
		return 0, "", &InvalidError{Field: "travel", Value: shorten(text), Problem: "is not understood", Nearest: []string{"15turns", "270deg"}}
	}
	return travel, u, nil
}

// InUnit gives the same turn in another unit.
func (t Turn) InUnit(u trim.TravelUnit) Turn {
	t.By, t.Travel = inUnit(t.By, t.Unit, u), inUnit(t.Travel, t.Unit, u)
	for _, p := range []**float64{&t.From, &t.To} {
		if *p != nil {
			*p = new(inUnit(**p, t.Unit, u))
		}
	}
	t.Unit = u
	return t
}

var ways = map[string]float64{"clockwise": 1, "cw": 1, "right": 1, "anticlockwise": -1, "counterclockwise": -1, "ccw": -1, "left": -1}

// parseAmount reads how far and which way.
func parseAmount(text string, own trim.TravelUnit) (by float64, u trim.TravelUnit, err error) {
	way, rest := 1.0, []string{}
	for _, w := range strings.Fields(text) {
		if s, ok := ways[strings.ToLower(w)]; ok {
			way = s
			continue
		}
		rest = append(rest, w)
	}
	x, u, ok := parseTravel(strings.Join(rest, ""), own)
	if !ok {
		return 0, "", &InvalidError{Field: "turn", Value: shorten(text), Problem: "is not understood", Nearest: []string{"30deg", "30deg anticlockwise", "1/8 turn", "2.5 turns left"}}
	}
	return way * x, u, nil
}

// parseTravel reads a length of travel: "30", "30deg", "1/8turn".
func parseTravel(s string, own trim.TravelUnit) (x float64, u trim.TravelUnit, ok bool) {
	s = strings.NewReplacer(unit.Minus, "-", ",", ".", "+", "").Replace(strings.ToLower(s))
	u = own
	for _, n := range []struct {
		text string
		unit trim.TravelUnit
	}{{"degrees", trim.Degrees}, {"deg", trim.Degrees}, {"°", trim.Degrees}, {"turns", trim.Turns}, {"turn", trim.Turns}} {
		if before, found := strings.CutSuffix(s, n.text); found {
			s, u = before, n.unit
			break
		}
	}
	over, under, fraction := strings.Cut(s, "/")
	x, err := strconv.ParseFloat(over, 64)
	if err != nil {
		return 0, "", false
	}
	if fraction {
		d, err := strconv.ParseFloat(under, 64)
		if err != nil || d == 0 {
			return 0, "", false
		}
		x /= d
	}
	return x, u, !math.IsNaN(x) && !math.IsInf(x, 0)
}

// parsePosition reads where a trim stands, in the unit of its own travel.
func parsePosition(text string, travel float64, own trim.TravelUnit) (float64, error) {
	s := strings.TrimSpace(text)
	refuse := func(problem string) error {
		return &InvalidError{Field: "position", Value: shorten(s), Problem: problem, Nearest: []string{"10:30", "12:00", "90deg", "1.5turns"}}
	}
	if h, m, clock := strings.Cut(s, ":"); clock {
		hour, err1 := strconv.ParseFloat(h, 64)
		minute, err2 := strconv.ParseFloat(m, 64)
		if err1 != nil || err2 != nil || !(minute >= 0 && minute < 60) {
			return 0, refuse("is no hour of a clock face")
		}
		if own != trim.Degrees {
			return 0, refuse("is an hour, and this trim has several turns")
		}
		x, err := trim.ClockDegrees(hour+minute/60, travel)
		if err != nil {
			return 0, refuse("is not on its travel: " + err.Error())
		}
		return x, nil
	}
	x, u, ok := parseTravel(strings.ReplaceAll(s, " ", ""), own)
	if !ok {
		return 0, refuse("is not understood")
	}
	return inUnit(x, u, own), nil
}

// ParseFigure reads what was typed for a step of a job's line-up, in the unit of its
// target or of what its test point shows; a number alone is in that of the target.
// Errors: [NotFoundError], [InvalidError].
func (b *Bench) ParseFigure(ctx context.Context, jobID, step, value string) (Figure, error) {
	if strings.EqualFold(strings.TrimSpace(step), ReferenceOutput) {
		x, u, err := ParseValue("value", value, "dBFS")
		return Figure{Step: ReferenceOutput, Value: x, Unit: u}, err
	}
	j, err := b.getJob(ctx, jobID)
	if err != nil {
		return Figure{}, err
	}
	def, err := b.definition(ctx, j)
	if err != nil {
		return Figure{}, err
	}
	s, err := b.tapesAtHand(ctx, def, nil)
	if err != nil {
		return Figure{}, err
	}
	o, err := lineup.New(def, s.options())
	if err != nil {
		return Figure{}, &NoLineUpError{j.ID, j.Definition, err}
	}
	st, err := findStep(o, step)
	if err != nil {
		return Figure{}, err
	}
	t := o.Target(st.ID, lineup.Setup{})
	f := Figure{Step: st.ID}
	if t.Refused != "" {
		f.Unit = "?"
		return Figure{}, checkFigure(o, &f) // says so
	}
	f.Value, f.Unit, err = ParseValue("value", value, t.Unit)
	if err != nil && t.At != nil {
		if x, u, err2 := ParseValue("value", value, t.At.Unit); err2 == nil {
			f.Value, f.Unit, err = x, u, nil
		}
	}
	if err != nil {
		if wrong, ok := errors.AsType[*InvalidError](err); ok {
			wrong.Nearest = []string{"1.2 " + t.Unit}
			if t.At != nil {
				wrong.Nearest = append(wrong.Nearest, t.At.Text())
			}
		}
		return Figure{}, fmt.Errorf("%s: %w", st.ID, err)
	}
	return f, checkFigure(o, &f)
}
