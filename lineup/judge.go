package lineup

import (
	"fmt"
	"math"

	"headstack/measure"
	"headstack/unit"
)

// Verdict says how a reading stands to its target.
type Verdict string

// The verdicts.
const (
	In          Verdict = "in"           // inside the tolerance, doubts of reading and target included
	Out         Verdict = "out"          // outside, doubts included
	Doubt       Verdict = "doubt"        // the limit lies within the doubts
	NotMeasured Verdict = "not_measured" // no reading, or none that fits the target
)

// Judgement is a reading held against a target.
type Judgement struct {
	Verdict Verdict `json:"verdict"`
	// Reading is the verdict of the reading alone, the target taken as exact: where it is
	// in and Verdict is doubt, measuring again does not help.
	Reading Verdict `json:"reading"`
	// Inside says on which side of the limit the reading itself lies.
	Inside bool `json:"inside"`
	// Error is reading less target, with the 95 % interval of both together, in Unit.
	// For a limit to one side it is the excess over the limit.
	Error float64 `json:"error"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	Unit  string  `json:"unit,omitempty"`
	// Bound says that nothing was found above the noise: Error, Lo and Hi are all the most
	// that it can be (95 %), less the limit.
	Bound bool `json:"bound,omitempty"`
	// Why says it in words.
	Why string `json:"why,omitempty"`
}

// Judge holds a reading against a target. The reading must be in the target's unit or,
// where the target says what an instrument shows, in the unit of that: volts against
// decibels are turned into decibels. A refusal that says below what level it lies proves a
// limit above that level, and nothing of any other.
func Judge(t *Target, r *measure.Result) Judgement {
	switch {
	case r == nil:
		return Judgement{Verdict: NotMeasured, Why: "not measured"}
	case r.Refused != "":
		return judgeBound(t, r)
	case t.Refused != "":
		return Judgement{Verdict: NotMeasured, Why: "no target: " + t.Refused}
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return Judgement{Verdict: NotMeasured, Why: "the reading is no number"}
	}
	value, lo, hi, ok := t.read(r)
	if !ok {
		return Judgement{Verdict: NotMeasured, Why: fmt.Sprintf("a reading in %s says nothing of a target in %s", said(r.Unit, "no unit"), t.Unit)}
	}
	j := Judgement{Error: value - t.Value, Unit: t.Unit}
	j.Lo = j.Error - math.Hypot(value-lo, t.Hi-t.Value)
	j.Hi = j.Error + math.Hypot(hi-value, t.Value-t.Lo)
	least, most := -t.Tolerance, t.Tolerance
	switch t.Side {
	case AtMost:
		least, most = math.Inf(-1), 0
	case AtLeast:
		least, most = 0, math.Inf(1)
	}
	j.Inside = j.Error >= least && j.Error <= most
	j.Verdict = within(j.Lo, j.Hi, least, most)
	j.Reading = within(lo-t.Value, hi-t.Value, least, most)
	j.Why = j.words(t)
	return j
}

// judgeBound holds what was refused as lost in the noise against a limit.
func judgeBound(t *Target, r *measure.Result) Judgement {
	j := Judgement{Verdict: NotMeasured, Why: "not measured: " + r.Refused}
	most, ok := r.Bound()
	if !ok || t.Refused != "" || t.Side != AtMost || r.Unit != t.Unit {
		return j
	}
	if most > t.Lo {
		j.Why += fmt.Sprintf("; the limit of %s%s%s is lower than that", number(t.Value), unit.ThinSpace, t.Unit)
		return j
	}
	off := most - t.Value
	return Judgement{Verdict: In, Reading: In, Inside: true, Error: off, Lo: off, Hi: off, Unit: t.Unit, Bound: true}
}

// within says how an interval lies to limits.
func within(lo, hi, least, most float64) Verdict {
	switch {
	case lo >= least && hi <= most:
		return In
	case hi < least || lo > most:
		return Out
	}
	return Doubt
}

// words says a judgement that is not plainly in.
func (j Judgement) words(t *Target) string {
	off := unit.Figure{Value: j.Error, Lo: j.Lo, Hi: j.Hi, Unit: j.Unit, Difference: true}.String()
	limit := "±" + number(t.Tolerance) + unit.ThinSpace + t.Unit
	if t.Side != Both {
		limit = t.Side.words() + " " + number(t.Value) + unit.ThinSpace + t.Unit
	}
	switch {
	case j.Verdict == In:
		return ""
	case j.Verdict == Out:
		return fmt.Sprintf("off by %s, allowed %s", off, limit)
	case j.Inside && j.Reading == In:
		return fmt.Sprintf("inside as read, but the target itself is known only to %s: off by %s, allowed %s", unit.Figure{Value: t.Value, Lo: t.Lo, Hi: t.Hi, Unit: t.Unit}.Spread(), off, limit)
	case j.Inside:
		return fmt.Sprintf("inside, but the limit lies within the doubt: off by %s, allowed %s", off, limit)
	}
	return fmt.Sprintf("outside, though the limit lies within the doubt: off by %s, allowed %s", off, limit)
}

// read brings a reading into the target's unit.
func (t *Target) read(r *measure.Result) (value, lo, hi float64, ok bool) {
	if r.Unit == t.Unit {
		return r.Value, r.Lo, r.Hi, true
	}
	var convert func(float64) (float64, bool)
	if t.At != nil && t.Unit == "dB" {
		at, base, known := unit.ToBase(t.At.Value, t.At.Unit)
		convert = func(x float64) (float64, bool) {
			v, b, ok := unit.ToBase(x, r.Unit)
			return t.Value + 20*math.Log10(math.Max(1e-12, v/at)), known && ok && b == base
		}
	} else {
		one, base, known := unit.ToBase(1, t.Unit)
		convert = func(x float64) (float64, bool) {
			v, b, ok := unit.ToBase(x, r.Unit)
			return v / one, known && ok && b == base
		}
	}
	value, ok = convert(r.Value)
	lo, _ = convert(r.Lo)
	hi, _ = convert(r.Hi)
	return value, lo, hi, ok
}
