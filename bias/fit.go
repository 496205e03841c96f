package bias

import (
	"fmt"
	"math"
	"slices"

	"headstack/measure"
	"headstack/unit"
)

// Verdict says what a staircase shows.
type Verdict string

// The verdicts.
const (
	// Peak: the treble's peak lies within the staircase and is known.
	Peak Verdict = "peak"
	// Above and Below: the peak lies beyond the last or before the first position.
	Above Verdict = "above"
	Below Verdict = "below"
	// Ambiguous: the readings allow peaks too far apart to work with.
	Ambiguous Verdict = "ambiguous"
	// Refused: nothing can be said; Why says why.
	Refused Verdict = "refused"
)

// Place is a position of the trim with its 95 % interval.
type Place struct {
	Position float64 `json:"position"` // share of the travel
	Lo       float64 `json:"lo"`
	Hi       float64 `json:"hi"`
	// Words is Position as a hand finds it.
	Words string `json:"words"`
	// Bias is the same in dB of bias re where the trim stands now. Its interval holds
	// what is not known of the trim's law.
	Bias measure.Result `json:"bias"`
}

// LeftOut is a step that the others contradict.
type LeftOut struct {
	Pass        int     `json:"pass"` // from 1
	Step        int     `json:"step"` // from 1
	Probability float64 `json:"probability"`
	Why         string  `json:"why"`
}

// Point is the fitted curve at a position: dB re the treble's peak, with 95 % interval.
type Point struct {
	Position float64 `json:"position"`
	DB       float64 `json:"db"`
	Lo       float64 `json:"lo"`
	Hi       float64 `json:"hi"`
}

// Curve is what staircases say of a track's bias.
type Curve struct {
	Trim    Trim    `json:"trim"` // Trim.Law is what was believed before
	Tones   Tones   `json:"tones"`
	Verdict Verdict `json:"verdict"`
	// Why is a sentence for verdicts other than Peak.
	Why string `json:"why,omitempty"`
	// Peak is that of the treble, LowPeak that of the low tone; nil where not known.
	Peak    *Place `json:"peak,omitempty"`
	LowPeak *Place `json:"low_peak,omitempty"`
	// Slope is what the curve's own width adds to the law: the factor on its span.
	Slope    measure.Result `json:"slope"`
	LeftOut  []LeftOut      `json:"left_out,omitempty"`
	Warnings []string       `json:"warnings,omitempty"`
	// Treble is the fitted curve, for a drawing.
	Treble []Point `json:"treble,omitempty"`

	draws  []draw
	at     []float64 // where the draws' curves are known, dB of bias by the law
	passes []Staircase
}

// draw is one curve that the readings allow.
type draw struct {
	treble, low   []float64 // at Curve.at, dB; low nil without a low tone
	peak, lowPeak float64   // dB of bias by the law
	top, lowTop   float64   // output there, dB
	beyond        int       // -1: the peak lies before the first reading, 1: past the last
	slope, bend   float64   // of the law: factor on the span, and its bend
}

const (
	leastSteps   = 4
	beyondDB     = 0.3  // of bias: a peak that near the end of the staircase counts as in it
	insideShare  = 0.9  // of the curves allowed must have it there
	widestPeakDB = 1.25 // half width of the peak's interval that can be worked with, dB of bias
	told         = 0.5  // probability from which a step is said to be left out
	worstNoise   = 2.4  // factor on the stated scatter past which no smooth curve is believed
)

// Fit reads the curve of output against bias from one or more staircases of the same
// track, tape and level. At most one step is taken as bad and one as missed in all
// passes together. The error is [ErrTrim] or [ErrReadings] for values that no bench
// gives; readings that say too little are no error, see [Curve.Verdict].
func Fit(trim Trim, tones Tones, passes ...Staircase) (*Curve, error) {
	if err := trim.check(); err != nil {
		return nil, err
	}
	if err := tones.check(); err != nil {
		return nil, err
	}
	if err := checkReadings(passes); err != nil {
		return nil, err
	}
	c := &Curve{Trim: trim, Tones: tones, passes: passes}
	c.Slope = c.result("bias_law_slope", "", "1: as the trim's law says", "width of the curve against the usual width at the wavelength")
	c.Slope.Refused = "no curve"
	f := newFitting(trim, tones, passes)
	if why := f.tooLittle(); why != "" {
		c.refuse("%s", why)
		return c, nil
	}
	f.run()
	c.draws, c.at = f.draws, f.at
	c.judge(f)
	return c, nil
}

func (c *Curve) refuse(format string, a ...any) {
	c.Verdict, c.Why = Refused, fmt.Sprintf(format, a...)
}

// result starts a figure of the curve.
func (c *Curve) result(name, unitName, reference, method string) measure.Result {
	return measure.Result{Name: name, Track: c.Trim.Track, ToneHz: c.Tones.TrebleHz, Unit: unitName, Reference: reference, Method: method,
		Conditions: measure.Conditions{SpeedCmS: c.Tones.SpeedCmS}}
}

// judge makes the verdict of the draws.
func (c *Curve) judge(f *fitting) {
	c.leftOut(f)
	if f.noise > worstNoise {
		c.refuse("the readings scatter %.1f times as much as they should about any smooth curve with one peak: look for flutter of level, a dirty head or a slipping tool, and take the staircase again", f.noise)
		c.draws = nil
		return
	}
	below, above := 0, 0
	for _, d := range c.draws {
		switch {
		case d.beyond < 0:
			below++
		case d.beyond > 0:
			above++
		}
	}
	n := float64(len(c.draws))
	tone := unit.Frequency(unit.Hertz(c.Tones.TrebleHz))
	first, last := c.Trim.Law.Position(f.lo), c.Trim.Law.Position(f.hi)
	switch {
	case float64(above) > n/2:
		c.Verdict = Above
		c.Why = fmt.Sprintf("the output at %s still rises at the last position (%s): the peak lies at more bias; begin the next staircase there and go up%s", tone, c.Trim.Words(last), stopNote(last > 0.97, "most"))
		return
	case float64(below) > n/2:
		c.Verdict = Below
		c.Why = fmt.Sprintf("the output at %s falls from the first position (%s) on: the peak lies at less bias; end the next staircase there and begin farther down%s", tone, c.Trim.Words(first), stopNote(first < 0.03, "least"))
		return
	}
	peaks := c.each(func(_ int, d draw) float64 { return d.peak })
	peak := c.place("bias_peak", "treble output is greatest", peaks)
	_, lo, hi := spread(peaks)
	if in := 1 - float64(below+above)/n; in < insideShare || (hi-lo)/2 > widestPeakDB {
		c.Verdict = Ambiguous
		c.Why = fmt.Sprintf("the readings allow a peak at %s anywhere from %s to %s (%s that it lies within the staircase): take the staircase again, wider", tone, c.Trim.Words(clamp(peak.Lo)), c.Trim.Words(clamp(peak.Hi)), unit.Probability(in))
		return
	}
	c.Verdict, c.Peak = Peak, &peak
	c.describe(f)
}

func stopNote(atStop bool, which string) string {
	if atStop {
		return ". The trim is at its stop of " + which + " bias: look for a fault of oscillator, bias feed or tape type before going on"
	}
	return ""
}

// describe adds what only a known peak gives.
func (c *Curve) describe(f *fitting) {
	if f.hasLow() {
		inside := 0
		for _, d := range c.draws {
			if d.lowPeak < c.at[len(c.at)-1]-0.5 {
				inside++
			}
		}
		p := c.place("bias_peak", "low tone's output is greatest", c.each(func(_ int, d draw) float64 { return d.lowPeak }))
		p.Bias.ToneHz = c.Tones.LowHz
		if float64(inside) > 0.975*float64(len(c.draws)) {
			c.LowPeak = &p
		}
	}
	v, lo, hi := spread(c.each(func(_ int, d draw) float64 { return d.slope }))
	c.Slope.Refused, c.Slope.Value, c.Slope.Lo, c.Slope.Hi = "", v, lo, hi
	for i, x := range c.at {
		p := c.Trim.Law.Position(x)
		if p < 0 || p > 1 {
			continue
		}
		v, lo, hi := spread(c.each(func(_ int, d draw) float64 { return d.treble[i] - d.top }))
		c.Treble = append(c.Treble, Point{Position: p, DB: v, Lo: lo, Hi: hi})
	}
}

// place is a position from a bias by the law of each draw; NaN: the draw has none.
func (c *Curve) place(name, what string, x []float64) Place {
	law := c.Trim.Law
	at, lo, hi := spread(x)
	p := Place{Position: law.Position(at), Lo: law.Position(lo), Hi: law.Position(hi)}
	p.Words = c.Trim.Words(clamp(p.Position))
	p.Bias = c.result(name, "dB", "bias with the trim where it stands now", what+"; staircase fitted, slope of the trim's law from its range and the curve's width")
	p.Bias.Value, p.Bias.Lo, p.Bias.Hi = spread(c.each(func(k int, d draw) float64 { return c.moved(d, x[k]) }))
	return p
}

// each is a figure of every draw.
func (c *Curve) each(of func(k int, d draw) float64) []float64 {
	v := make([]float64, len(c.draws))
	for k, d := range c.draws {
		v[k] = of(k, d)
	}
	return v
}

// moved is the bias at x by the law over that where the trim stands now, by a draw's law.
func (c *Curve) moved(d draw, x float64) float64 {
	l := c.Trim.Law
	l.SpanDB, l.Bend = l.SpanDB*d.slope, d.bend
	return l.DB(c.Trim.Law.Position(x)) - l.DB(c.Trim.Now)
}

// Learned is the trim's law after the fit: its span by the slope that the curve's width
// gives, its bend as it was. Without a curve it is the law believed before. Readings at
// the test point say more: [Law.Learn].
func (c *Curve) Learned() Law {
	l := c.Trim.Law
	if c.Slope.Refused != "" {
		return l
	}
	sum, squares, n := 0.0, 0.0, float64(len(c.draws))
	for _, d := range c.draws {
		x := math.Log(d.slope)
		sum, squares = sum+x, squares+x*x
	}
	l.SpanDB *= c.Slope.Value
	l.Spread = math.Expm1(math.Sqrt(3 * math.Max(0, squares/n-sum*sum/n/n)))
	return l
}

func clamp(p float64) float64 { return math.Min(1, math.Max(0, p)) }

// leftOut names the steps that the posterior leaves out.
func (c *Curve) leftOut(f *fitting) {
	for i, p := range f.badWeight {
		if p >= told {
			r := f.rows[i]
			c.LeftOut = append(c.LeftOut, LeftOut{Pass: r.pass + 1, Step: r.step + 1, Probability: p,
				Why: fmt.Sprintf("step %d reads %s dB off what the others say: a drop-out, or the trim was not where it should be", r.step+1, unit.Signed(f.miss(i), 1))})
		}
	}
	for i, p := range f.missWeight {
		if p >= told {
			r := f.rows[i]
			c.LeftOut = append(c.LeftOut, LeftOut{Pass: r.pass + 1, Step: r.step + 1, Probability: p,
				Why: fmt.Sprintf("the trim was not turned at mark %d: from there on each step is taken as standing one position lower", r.step)})
		}
	}
	if len(c.LeftOut) == 0 {
		// Together they may be likely where none is by itself.
		sum := 0.0
		for i := range f.rows {
			sum += f.badWeight[i] + f.missWeight[i]
		}
		if sum > told {
			c.Warnings = append(c.Warnings, fmt.Sprintf("a step was read or set wrongly with %s, which one cannot be told", unit.Probability(sum)))
		}
	}
}

// spread is the median and the central 95 % of the values that are numbers; there must
// be one.
func spread(values []float64) (median, lo, hi float64) {
	v := slices.DeleteFunc(slices.Clone(values), math.IsNaN)
	slices.Sort(v)
	return quantile(v, 0.5), quantile(v, 0.025), quantile(v, 0.975)
}

// quantile of sorted values, straight between the order statistics.
func quantile(sorted []float64, q float64) float64 {
	at := q*float64(len(sorted)) - 0.5
	if at <= 0 {
		return sorted[0]
	}
	if at >= float64(len(sorted)-1) {
		return sorted[len(sorted)-1]
	}
	i := int(at)
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// Top is the output of the treble at its fitted peak, on the reference of the last pass; NaN
// without a curve.
func (c *Curve) Top() float64 {
	if len(c.draws) == 0 {
		return math.NaN()
	}
	top, _, _ := spread(c.each(func(_ int, d draw) float64 { return d.top }))
	return top
}
