package meter

import (
	"math"
	"math/rand/v2"
	"strconv"
	"time"
)

// Input is what the leads touch.
type Input struct {
	AC     float64 // V r.m.s.
	ToneHz float64 // of AC
	// FormFactor is r.m.s. over rectified mean of the wave; 0: that of a sine, 1.1107.
	FormFactor float64
	DC         float64 // V
	Ohm        float64 // between the leads; 0 with AC and DC 0: a short
	Open       bool    // they touch nothing
}

// Model is what a meter is like. The zero value of a field is as it says.
type Model struct {
	Name        string // as *IDN? gives it; empty: SIMULATED METER
	Seed        uint64
	Average     bool    // responds to the rectified mean; else to the true r.m.s. value
	BandwidthHz float64 // where a.c. reads 3 dB low, one pole; 0: wide
	Counts      int     // of full scale; 0: 6000
	// Period is one conversion; 0: 0.25 s. Tau is how the a.c. converter follows; 0: 0.15 s.
	// RangeDelay is how long it stays on a range that does not fit; 0: 0.5 s.
	Period, Tau, RangeDelay time.Duration
	// Glitch is how often the first value after a change of range is still in the old
	// range's unit; negative: never; 0: 0.5.
	Glitch float64
	Noise  float64 // r.m.s. scatter as a part of the value, beside half a count
	Long   bool    // sends nine digits, whatever its range
	// Slow is how often an answer takes SlowBy longer; negative: never; 0: 0.02.
	Slow   float64
	SlowBy time.Duration // 0: 0.8 s
	// OffAfter is after how many conversions it switches itself off; 0: never.
	OffAfter int
}

func (m Model) filled() Model {
	if m.Name == "" {
		m.Name = "SIMULATED METER"
	}
	if m.Counts == 0 {
		m.Counts = 6000
	}
	for _, d := range []struct {
		to    *time.Duration
		usual time.Duration
	}{{&m.Period, 250 * time.Millisecond}, {&m.Tau, 150 * time.Millisecond}, {&m.RangeDelay, 500 * time.Millisecond}, {&m.SlowBy, 800 * time.Millisecond}} {
		if *d.to == 0 {
			*d.to = d.usual
		}
	}
	if m.Glitch == 0 {
		m.Glitch = 0.5
	}
	if m.Slow == 0 {
		m.Slow = 0.02
	}
	return m
}

// Function is what a meter is set to.
type Function string

// The functions, as CONFigure? names them.
const (
	VoltAC Function = "VOLT:AC"
	VoltDC Function = "VOLT"
	Res    Function = "RES"
	Freq   Function = "FREQ"
)

// full are the full scales of the ranges of a function, smallest first.
func full(f Function) []float64 {
	switch f {
	case Res:
		return []float64{600, 6e3, 60e3, 600e3, 6e6, 60e6}
	case Freq:
		return []float64{600, 6e3, 60e3, 600e3, 6e6}
	}
	return []float64{0.06, 0.6, 6, 60, 600}
}

// Converter is the part of a meter behind its leads. Make it with [NewConverter].
type Converter struct {
	m      Model
	set    Function
	rand   *rand.Rand
	x      float64 // what the converter has followed to
	at     int     // range
	on     time.Duration
	glitch bool // the next value is the first of its range
	up     bool // and the one before was lower
}

// NewConverter makes one with its leads off, on its highest range of a.c. volts.
func NewConverter(m Model) *Converter {
	m = m.filled()
	c := &Converter{m: m, rand: rand.New(rand.NewPCG(m.Seed, 0x6d65746572))}
	c.Set(VoltAC)
	return c
}

// Set chooses a function; where it is another one the range is the highest then.
func (c *Converter) Set(f Function) {
	if f == c.set {
		return
	}
	c.set, c.at, c.x, c.on, c.glitch = f, len(full(f))-1, 0, 0, false
}

// meets is what the function makes of an input, before the converter follows.
func (c *Converter) meets(in Input) float64 {
	if in.Open {
		if c.set == Res {
			return math.Inf(1)
		}
		return 0
	}
	switch c.set {
	case VoltDC:
		return in.DC
	case Res:
		return in.Ohm
	case Freq:
		return in.ToneHz
	}
	v := in.AC
	if c.m.BandwidthHz > 0 {
		v /= math.Hypot(1, in.ToneHz/c.m.BandwidthHz)
	}
	if c.m.Average && in.FormFactor > 0 {
		v *= math.Pi / (2 * math.Sqrt2) / in.FormFactor
	}
	return v
}

// Convert makes one conversion and gives what is shown: a value in steps of the range, or
// infinity for an over-range. step is the worth of the last place.
func (c *Converter) Convert(in Input) (shown, step float64) {
	ranges := full(c.set)
	target := c.meets(in)
	if math.IsInf(target, 1) {
		target = 100 * ranges[len(ranges)-1]
	}
	tau := c.m.Tau
	if c.set != VoltAC {
		tau /= 5
	}
	c.x += (target - c.x) * (1 - math.Exp(-c.m.Period.Seconds()/tau.Seconds()))
	x := c.x * (1 + c.m.Noise*c.rand.NormFloat64())
	scale := ranges[c.at]
	step = scale / float64(c.m.Counts)
	x += step / 2 * c.rand.NormFloat64()
	first, up := c.glitch, c.up
	c.glitch = false
	over := math.Abs(x) > scale
	c.fit(math.Abs(x), ranges)
	if over {
		return math.Copysign(math.Inf(1), x), step
	}
	shown = math.Round(x/step) * step
	if first && c.rand.Float64() < c.m.Glitch {
		// The figures of this range with the mark of the one before it.
		factor := 10.0
		if c.rand.IntN(2) == 0 {
			factor = 1000
		}
		if up {
			factor = 1 / factor
		}
		shown, step = shown*factor, step*factor
	}
	return shown, step
}

// fit changes the range when it has not fitted for long enough.
func (c *Converter) fit(x float64, ranges []float64) {
	move := 0
	switch {
	case x > ranges[c.at] && c.at+1 < len(ranges):
		move = 1
	case x < 0.09*ranges[c.at] && c.at > 0:
		move = -1
	}
	if move == 0 {
		c.on = 0
		return
	}
	if c.on += c.m.Period; c.on >= c.m.RangeDelay {
		c.at, c.on, c.glitch, c.up = c.at+move, 0, true, move > 0
	}
}

// written is a value as it is sent, NR3.
func (c *Converter) written(shown, step float64) string {
	switch {
	case math.IsInf(shown, 1):
		return "+9.90000000E+37"
	case math.IsInf(shown, -1):
		return "-9.90000000E+37"
	}
	places := 8
	if !c.m.Long {
		places = 0
		if a := math.Abs(shown); a >= step {
			places = int(math.Floor(math.Log10(a)+1e-9) - math.Floor(math.Log10(step)+1e-9))
		}
	}
	if shown == 0 {
		shown = 0 // not its negative
	}
	s := strconv.FormatFloat(shown, 'E', max(places, 0), 64)
	if shown >= 0 {
		s = "+" + s
	}
	return s
}
