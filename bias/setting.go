package bias

import (
	"fmt"
	"math"

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
	refuse := func(why string) Setting {
		s.At, s.Refused, s.Fall.Refused = nil, why, why
		return s
	}
	if why := c.cannotSet(aim); why != "" {
		return refuse(why)
	}
	f := c.seeker(aim)
	met, missing := c.met(f, aim.FallDB)
	last := c.Trim.Words(clamp(c.last()))
	if missing > len(c.draws)/40 {
		if aim.Recipe == Flat && c.lowerAtPeak(f) > aim.FallDB {
			return refuse("the treble comes back lower than that under the low tone even at its peak: raise record treble, or look for worn heads or dirt, before bias is set so")
		}
		return refuse(fmt.Sprintf("%s is not reached within reach of the readings: take a staircase that goes on past %s", aim.words(), last))
	}
	at := c.place("bias_setting", aim.words(), met)
	past := c.Trim.Law.DB(clamp(at.Position)) - c.Trim.Law.DB(c.last())
	switch {
	case at.Position > 1 || at.Position < 0:
		return refuse(aim.words() + " lies beyond the trim's stop")
	case past > farthestDB:
		return refuse(fmt.Sprintf("%s would be %.1f dB of bias past the last reading at %s: take a staircase that goes there", aim.words(), past, last))
	case past > 0.1:
		s.Warnings = append(s.Warnings, fmt.Sprintf("the setting lies past the last reading at %s: it rests on the shape of the curve; take another staircase about it", last))
	}
	if at.Position < c.Peak.Position {
		s.Warnings = append(s.Warnings, "the setting lies before the treble's peak, where the low tone distorts: look at the third harmonic, and rather raise record treble")
	}
	s.At, s.Warnings = &at, append(s.Warnings, aim.Warnings...)
	c.expect(&s, f)
	s.From, s.To = c.middle(f, aim.LoDB, 0), c.middle(f, aim.HiDB, 1)
	s.Third = c.third(at.Position)
	s.Steps = c.settingSteps(s)
	return s
}

// lowerAtPeak is the figure at the treble's peak, the middle of the draws.
func (c *Curve) lowerAtPeak(f seeker) float64 {
	v, _, _ := spread(c.each(func(_ int, d draw) float64 {
		i := max(0, min(len(c.at)-1, int((d.peak-c.at[0])/(c.at[1]-c.at[0])+0.5)))
		return f.fall(d, i)
	}))
	return v
}

// underDB is how far before the treble's peak the recipe of flatness may end, dB of bias:
// with less the low tone distorts. Common practice, no source.
const underDB = 1.0

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
	// peaked says that the figure is 0 there, whatever the points beside it say.
	peaked bool
}

func (c *Curve) seeker(aim Aim) seeker {
	switch aim.Recipe {
	case LowFall:
		return seeker{func(d draw, i int) float64 { return d.lowTop - d.low[i] }, func(d draw) float64 { return d.lowPeak }, true}
	case Flat:
		return seeker{func(d draw, i int) float64 { return d.low[i] - d.treble[i] }, func(d draw) float64 { return d.peak - underDB }, false}
	}
	return seeker{func(d draw, i int) float64 { return d.top - d.treble[i] }, func(d draw) float64 { return d.peak }, true}
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

// middle is the position at which the middle of the draws comes up to db; otherwise where
// half of them never do.
func (c *Curve) middle(f seeker, db, otherwise float64) float64 {
	x, missing := c.met(f, db)
	if missing > len(x)/2 {
		return otherwise
	}
	at, _, _ := spread(x)
	return clamp(c.Trim.Law.Position(at))
}

func (c *Curve) meets(f seeker, d draw, db float64) float64 {
	from := f.from(d)
	for i := 1; i < len(c.at); i++ {
		lo, hi := c.at[i-1], c.at[i]
		if hi <= from {
			continue
		}
		a, b := f.fall(d, i-1), f.fall(d, i)
		if lo < from { // the step in which the search begins
			if a, lo = a+(b-a)*(from-lo)/(hi-lo), from; f.peaked {
				a = 0
			}
		}
		if a < db && b >= db || a == db {
			return lo + (db-a)/math.Max(b-a, 1e-12)*(hi-lo)
		}
	}
	return math.NaN()
}

// Expect is the aim's figure with the trim where a hand has put it, from below; refused
// where the curve does not reach there or no peak is known.
func (c *Curve) Expect(aim Aim, position float64) measure.Result {
	s := Setting{Fall: c.result("bias_fall", "dB", aim.zero(), "by the fitted curve, trim set by hand from below")}
	x := c.Trim.Law.DB(position)
	switch why := c.cannotSet(aim); {
	case why != "":
		s.Fall.Refused = why
	case !(position >= 0 && position <= 1) || x < c.at[0] || x > c.at[len(c.at)-1] || x > c.Trim.Law.DB(c.last())+farthestDB:
		s.Fall.Refused = fmt.Sprintf("%s lies beyond what the staircase shows", c.Trim.Words(clamp(position)))
	default:
		s.At = &Place{Position: position}
		c.expect(&s, c.seeker(aim))
	}
	return s.Fall
}

// expect is the figure at the position once a hand has gone there.
func (c *Curve) expect(s *Setting, f seeker) {
	r := (&fitting{}).source()
	x, scatter := c.Trim.Law.DB(s.At.Position), c.Trim.scatter()
	slope := c.Trim.Law.SpanDB * (1 + c.Trim.Law.Bend*(1-2*s.At.Position))
	v := c.each(func(_ int, d draw) float64 {
		at := x + slope*scatter*r.NormFloat64()
		i := max(0, min(len(c.at)-2, int((at-c.at[0])/(c.at[1]-c.at[0]))))
		a, b := f.fall(d, i), f.fall(d, i+1)
		return a + (b-a)*(at-c.at[i])/(c.at[i+1]-c.at[i])
	})
	s.Fall.Value, s.Fall.Lo, s.Fall.Hi = spread(v)
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
