package bias

import (
	"fmt"
	"math"
	"slices"

	"headstack/measure"
	"headstack/unit"
)

// Recipe says by what a bias is set.
type Recipe string

// The recipes.
const (
	// TrebleFall: past the treble's peak until it has fallen by FallDB.
	TrebleFall Recipe = "treble-fall"
	// LowFall: past the low tone's peak until that has fallen by FallDB.
	LowFall Recipe = "low-fall"
	// Flat: where the treble comes back FallDB lower than the low tone; 0: alike.
	Flat Recipe = "flat"
)

// Aim is a wanted bias.
type Aim struct {
	Recipe Recipe `json:"recipe"`
	// FallDB is the wanted fall, LoDB and HiDB how far sources differ about it.
	FallDB float64 `json:"fall_db"`
	LoDB   float64 `json:"lo_db"`
	HiDB   float64 `json:"hi_db"`
	// Source says where the figure is from.
	Source   string   `json:"source"`
	Warnings []string `json:"warnings,omitempty"`
}

// Setting is where to put the trim.
type Setting struct {
	Aim Aim `json:"aim"`
	// At is the position; its interval holds the position that meets the aim.
	At *Place `json:"at,omitempty"`
	// Fall is what to expect there once a hand has set it, in the aim's terms.
	Fall measure.Result `json:"fall"`
	// From and To are where the least and the most of the aim's range would be met.
	From float64 `json:"from,omitempty"`
	To   float64 `json:"to,omitempty"`
	// Third is the third harmonic to expect of the low tone, where it was read.
	Third    *measure.Result `json:"third,omitempty"`
	Steps    []string        `json:"steps,omitempty"` // what the person does
	Warnings []string        `json:"warnings,omitempty"`
	// Refused says why there is no setting; empty when there is one.
	Refused string `json:"refused,omitempty"`
}

// Set finds the setting that meets an aim. It refuses where the peak is not known, where
// the aim lies beyond the trim's travel, and where the fall would rest on the shape of
// the curve far past the last reading.
func (c *Curve) Set(aim Aim) Setting {
	if aim.Recipe == "" {
		aim.Recipe = TrebleFall
	}
	if aim.LoDB == 0 && aim.HiDB == 0 {
		aim.LoDB, aim.HiDB = aim.FallDB, aim.FallDB
	}
	s := Setting{Aim: aim, Fall: c.result("bias_fall", "dB", aim.zero(), "fall past the peak of the fitted curve, trim set by hand from below")}
	if why := c.cannotSet(aim); why != "" {
		s.Refused, s.Fall.Refused = why, why
		return s
	}
	f := c.seeker(aim)
	met, missing := c.met(f, aim.FallDB)
	if missing > len(c.draws)/40 {
		s.Refused = fmt.Sprintf("%s is not reached within reach of the readings: take a staircase that goes on past %s", aim.words(), c.Trim.Words(clamp(c.last())))
		s.Fall.Refused = s.Refused
		return s
	}
	at := c.where("bias_setting", aim.words(), met)
	s.At = &at
	c.expect(&s, f)
	s.Warnings = append(s.Warnings, aim.Warnings...)
	if at.Position > 1 || at.Position < 0 {
		s.At, s.Refused = nil, fmt.Sprintf("%s lies beyond the trim's stop", aim.words())
		s.Fall.Refused = s.Refused
		return s
	}
	if past := c.Trim.Law.DB(clamp(at.Position)) - c.Trim.Law.DB(c.last()); past > farthestDB {
		s.At, s.Refused = nil, fmt.Sprintf("%s would be %.1f dB of bias past the last reading at %s: take a staircase that goes there", aim.words(), past, c.Trim.Words(clamp(c.last())))
		s.Fall.Refused = s.Refused
		return s
	} else if past > 0.1 {
		s.Warnings = append(s.Warnings, fmt.Sprintf("the setting lies past the last reading at %s: it rests on the shape of the curve; take another staircase about it", c.Trim.Words(clamp(c.last()))))
	}
	lo, _ := c.met(f, aim.LoDB)
	hi, _ := c.met(f, aim.HiDB)
	s.From, s.To = clamp(c.Trim.Law.Position(middle(lo))), clamp(c.Trim.Law.Position(middle(hi)))
	s.Third = c.third(at.Position)
	s.Steps = c.settingSteps(s)
	return s
}

// farthestDB is how far past the last reading a setting may lie, dB of bias by the law:
// farther it would rest on the shape alone.
const farthestDB = 1.5

func (a Aim) zero() string {
	switch a.Recipe {
	case LowFall:
		return "output of the low tone at its peak"
	case Flat:
		return "output of the low tone at the same bias, both as recorded"
	}
	return "output of the treble tone at its peak"
}

func (a Aim) words() string {
	switch a.Recipe {
	case LowFall:
		return fmt.Sprintf("a fall of the low tone by %.1f dB past its peak", a.FallDB)
	case Flat:
		if a.FallDB == 0 {
			return "treble and low tone alike"
		}
		return fmt.Sprintf("treble %.1f dB under the low tone", a.FallDB)
	}
	return fmt.Sprintf("a fall of the treble by %.1f dB past its peak", a.FallDB)
}

func (c *Curve) cannotSet(aim Aim) string {
	switch {
	case c.Verdict == Refused:
		return c.Why
	case c.Verdict != Peak:
		return "the peak is not known: " + c.Why
	case aim.Recipe != Flat && !(aim.FallDB >= 0 && aim.FallDB <= 12):
		return fmt.Sprintf("a fall of %g dB is no aim", aim.FallDB)
	case aim.Recipe != TrebleFall && c.draws[0].low == nil:
		return "the recipe needs the low tone, of which there are too few readings"
	case aim.Recipe == LowFall && c.LowPeak == nil:
		return "the low tone's peak was not reached: take a staircase that goes to more bias"
	}
	return ""
}

// last is the position of the highest reading.
func (c *Curve) last() float64 {
	p := 0.0
	for _, s := range c.passes {
		for _, r := range s.Readings {
			if r.Treble != nil {
				p = math.Max(p, r.Position)
			}
		}
	}
	return p
}

// seeker is the aim's figure of a draw at point i of Curve.at, and the bias from which
// on it is sought.
type seeker struct {
	fall func(d draw, i int) float64
	from func(d draw) float64
}

func (c *Curve) seeker(aim Aim) seeker {
	switch aim.Recipe {
	case LowFall:
		return seeker{func(d draw, i int) float64 { return d.lowTop - d.low[i] }, func(d draw) float64 { return d.lowPeak }}
	case Flat:
		return seeker{func(d draw, i int) float64 { return d.low[i] - d.treble[i] }, func(d draw) float64 { return d.peak - 2 }}
	}
	return seeker{func(d draw, i int) float64 { return d.top - d.treble[i] }, func(d draw) float64 { return d.peak }}
}

// met is, by draw, the bias by the law at which the figure first comes up to db; NaN,
// and counted as missing, where it never does.
func (c *Curve) met(f seeker, db float64) (x []float64, missing int) {
	for _, d := range c.draws {
		x = append(x, c.meets(f, d, db))
		if math.IsNaN(x[len(x)-1]) {
			missing++
		}
	}
	return x, missing
}

func (c *Curve) meets(f seeker, d draw, db float64) float64 {
	from := f.from(d)
	for i := 1; i < len(c.at); i++ {
		if c.at[i] <= from {
			continue
		}
		a, b := f.fall(d, i-1), f.fall(d, i)
		lo := c.at[i-1]
		if lo < from && b >= db && a < b { // the step that holds the peak
			return math.Max(from, lo+(db-a)/(b-a)*(c.at[i]-lo))
		}
		if a < db && b >= db {
			return lo + (db-a)/(b-a)*(c.at[i]-lo)
		}
	}
	return math.NaN()
}

// where is a place from a bias of each draw; draws without one are left out.
func (c *Curve) where(name, what string, x []float64) Place {
	i := -1
	kept := c.draws
	some := Curve{Trim: c.Trim, Tones: c.Tones}
	var have []float64
	for k, d := range kept {
		if !math.IsNaN(x[k]) {
			some.draws = append(some.draws, d)
			have = append(have, x[k])
		}
	}
	return some.place(name, what, func(draw) float64 {
		i = (i + 1) % len(have) // draws are taken in turn
		return have[i]
	})
}

// expect is the figure at the position once a hand has gone there.
func (c *Curve) expect(s *Setting, f seeker) {
	r := (&fitting{}).source()
	x, scatter := c.Trim.Law.DB(s.At.Position), c.Trim.scatter()
	slope := c.Trim.Law.SpanDB * (1 + c.Trim.Law.Bend*(1-2*s.At.Position))
	var v []float64
	for _, d := range c.draws {
		y := make([]float64, len(c.at))
		at := x + slope*scatter*r.NormFloat64()
		i := max(0, min(len(c.at)-2, int((at-c.at[0])/(c.at[1]-c.at[0]))))
		y[i], y[i+1] = f.fall(d, i), f.fall(d, i+1)
		v = append(v, between(c.at, y, at))
	}
	slices.Sort(v)
	s.Fall.Value, s.Fall.Lo, s.Fall.Hi = quantile(v, 0.5), quantile(v, 0.025), quantile(v, 0.975)
}

// middle is the median of those that are numbers.
func middle(x []float64) float64 {
	v := slices.DeleteFunc(slices.Clone(x), math.IsNaN)
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return quantile(v, 0.5)
}

// settingSteps is what the person does.
func (c *Curve) settingSteps(s Setting) []string {
	return []string{
		burns,
		fmt.Sprintf("Track %d, trim %s: turn %s well below %s, then slowly %s up to it and no farther, so that the trim's play is taken up as it was in the staircase.", c.Trim.Track, c.Trim.ID, c.Trim.less(), s.At.Words, c.Trim.more()),
		fmt.Sprintf("Expect %s: %s.", s.Aim.words(), figure(s.Fall)),
		"Record again, replay, and compare. Bias moves record level and treble: set record level next, then record treble, then try bias once more.",
	}
}

func figure(r measure.Result) string {
	return unit.Figure{Value: r.Value, Lo: r.Lo, Hi: r.Hi, Unit: r.Unit}.String()
}
