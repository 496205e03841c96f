package plot

import (
	"math"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// axis maps values of one direction onto the picture.
type axis struct {
	name   string // label and unit
	lo, hi float64
	log    bool
	a, b   float64 // places of lo and hi
	ticks  []tick
}

// tick is a line across the panel; one without label only guides the eye.
type tick struct {
	v     float64
	label string
}

// at is the place of v; what lies outside stands at the edge.
func (x axis) at(v float64) float64 {
	v = math.Min(math.Max(v, x.lo), x.hi)
	if x.log {
		return x.a + (x.b-x.a)*math.Log(v/x.lo)/math.Log(x.hi/x.lo)
	}
	return x.a + (x.b-x.a)*(v-x.lo)/(x.hi-x.lo)
}

// beyond is the greatest value an axis takes: what exceeds it is no measured quantity
// and would only make the arithmetic overflow.
const beyond = 1e12

// drawable says whether v has a place on an axis.
func drawable(v float64, log bool) bool {
	return !math.IsNaN(v) && math.Abs(v) <= beyond && (!log || v > 1/beyond)
}

// newAxis spans lo to hi. Where outward is set the ends move to the next tick. About
// room labels fit. The places a and b are set by the caller.
func newAxis(of measure.Axis, lo, hi float64, outward bool, room float64) axis {
	x := axis{name: axisName(of), lo: lo, hi: hi, log: of.Log}
	room = math.Max(2, room)
	if x.log && !(lo > 0 && hi >= lo) {
		panic("plot: a logarithmic axis from " + strconv.FormatFloat(lo, 'g', -1, 64))
	}
	if x.log {
		x.logTicks(of.Unit, outward, room)
	} else {
		x.linearTicks(of.Unit, outward, room)
	}
	return x
}

func axisName(of measure.Axis) string {
	switch {
	case of.Unit == "":
		return of.Label
	case of.Label == "":
		return of.Unit
	}
	return of.Label + ", " + of.Unit
}

func (x *axis) linearTicks(unitName string, outward bool, room float64) {
	if least := math.Max(1e-9*math.Max(math.Abs(x.lo), math.Abs(x.hi)), 1e-9); x.hi-x.lo < least {
		// One value, or the same ones: an axis still needs some width.
		pad := math.Max(0.1*math.Abs(x.lo), 1e-3)
		x.lo, x.hi = x.lo-pad, x.hi+pad
	}
	step := stepOf(x.hi-x.lo, unitName, room)
	if outward {
		x.lo, x.hi = math.Floor(x.lo/step+1e-9)*step, math.Ceil(x.hi/step-1e-9)*step
	}
	first, last := math.Ceil(x.lo/step-1e-9), math.Floor(x.hi/step+1e-9)
	for i := first; i <= last && len(x.ticks) < 100; i++ {
		x.ticks = append(x.ticks, tick{i * step, linearLabel(i*step, step, x.lo < 0 && (outward || unitName == "dB"))})
	}
}

// The steps a reader counts in: decibels in twos, threes and sixes as well as in
// fives, seconds so that they make minutes and hours.
var (
	decibelSteps = []float64{0.1, 0.2, 0.5, 1, 2, 3, 5, 6, 10, 20}
	secondSteps  = []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600}
)

func stepOf(span float64, unitName string, room float64) float64 {
	var nice []float64
	switch unitName {
	case "dB":
		nice = decibelSteps
	case "s":
		nice = secondSteps
	}
	if len(nice) > 0 && span >= nice[0] {
		for _, s := range nice {
			if span/s <= room {
				return s
			}
		}
	}
	p := math.Pow(10, math.Floor(math.Log10(span/room)))
	for _, m := range []float64{1, 2, 5, 10} {
		if span/(p*m) <= room*1.0001 {
			return p * m
		}
	}
	return p * 20
}

func linearLabel(v, step float64, sign bool) string {
	if math.Abs(v) >= 1e6 || step < 1e-5 {
		return minus(strconv.FormatFloat(v, 'g', 4, 64))
	}
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	if sign {
		return unit.Signed(v, decimals)
	}
	if v < 0 {
		return unit.Signed(v, decimals)
	}
	return strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
}

// minus makes the hyphens of plain figures into minus signs.
func minus(s string) string { return strings.ReplaceAll(s, "-", unit.Minus) }

// logTicks names decades, and what lies between as far as there is room.
func (x *axis) logTicks(unitName string, outward bool, room float64) {
	if x.hi < x.lo*1.5 {
		x.lo, x.hi = x.lo/2, x.hi*2
	}
	decades := math.Log10(x.hi / x.lo)
	named := []float64{1}
	switch {
	case decades*3 <= room:
		named = []float64{1, 2, 5}
	case decades*2 <= room:
		named = []float64{1, 3}
	}
	if outward {
		x.lo, x.hi = below(x.lo, named), above(x.hi, named)
	}
	every := math.Max(1, math.Ceil(decades/room))
	for e := math.Floor(math.Log10(x.lo)) - 1; e <= math.Ceil(math.Log10(x.hi)); e++ {
		for m := 1.0; m < 10; m++ {
			v := decimal(m, int(e))
			if v < x.lo*(1-1e-9) || v > x.hi*(1+1e-9) {
				continue
			}
			t := tick{v: v}
			for _, n := range named {
				if n == m && math.Mod(e, every) == 0 {
					t.label = logLabel(v, unitName)
				}
			}
			if m == 1 || decades < 6 {
				x.ticks = append(x.ticks, t)
			}
		}
	}
}

// decimal is m·10^e without the error of a power.
func decimal(m float64, e int) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(m, 'f', 0, 64)+"e"+strconv.Itoa(e), 64)
	if err != nil {
		panic("plot: " + err.Error()) // a number written by strconv
	}
	return v
}

func below(v float64, named []float64) float64 {
	e := int(math.Floor(math.Log10(v)))
	out := decimal(1, e)
	for _, m := range named {
		if d := decimal(m, e); d <= v*(1+1e-9) {
			out = d
		}
	}
	return out
}

func above(v float64, named []float64) float64 {
	e := int(math.Floor(math.Log10(v)))
	for _, m := range named {
		if d := decimal(m, e); d >= v*(1-1e-9) {
			return d
		}
	}
	return decimal(1, e+1)
}

func logLabel(v float64, unitName string) string {
	if unitName == "Hz" && v >= 1000 {
		return strconv.FormatFloat(v/1000, 'g', 4, 64) + "k"
	}
	if v >= 1e6 || v < 0.9e-6 { // 0.000003 is read at once, 3e-06 is not
		return minus(strconv.FormatFloat(v, 'g', 4, 64))
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// labelled is the width of the widest label.
func (x axis) labelled(k ink) float64 {
	w := 0.0
	for _, t := range x.ticks {
		w = math.Max(w, textWidth(t.label, k))
	}
	return w
}

// panel is a field with two axes; y.a is its bottom and y.b its top.
type panel struct {
	x, y axis
	// What is not written, because the panel beside or below has it.
	noX, noY bool
	small    bool
	closest  float64 // of neighbouring tones of a response, CSS pixels
}

func (p panel) box() box { return box{p.x.a, p.y.b, p.x.b, p.y.a} }

var (
	gridInk  = ink{class: "grid", width: 0.6, opacity: 0.35}
	finerInk = ink{class: "grid", width: 0.6, opacity: 0.16}
	zeroInk  = ink{class: "zero", width: 2}
)

func (p panel) letter() ink {
	if p.small {
		return ink{size: 11}
	}
	return ink{}
}

// axes draws grid, frame and labels. Labels that would run together are left out,
// the first and round ones first.
func (p panel) axes(c *canvas) {
	k, b := p.letter(), p.box()
	for _, t := range p.y.ticks {
		y := p.y.at(t.v)
		switch {
		case t.v == 0 && p.y.lo < 0 && p.y.hi > 0 && !p.y.log:
			c.line(b.x0, y, b.x1, y, zeroInk)
		case t.label == "":
			c.line(b.x0, y, b.x1, y, finerInk)
		default:
			c.line(b.x0, y, b.x1, y, gridInk)
		}
		if !p.noY && t.label != "" {
			everywhere := box{-1e9, -1e9, 1e9, 1e9}
			c.tryText(b.x0-7, y+0.35*k.textSize(), "end", t.label, k, everywhere)
		}
	}
	for _, t := range p.x.ticks {
		x := p.x.at(t.v)
		grid := finerInk
		if t.label != "" {
			grid = gridInk
			if !p.noX {
				c.line(x, b.y1, x, b.y1+5, ink{})
			}
		}
		c.line(x, b.y0, x, b.y1, grid)
	}
	if !p.noX {
		p.xLabels(c, k)
	}
	c.line(b.x0, b.y1, b.x1, b.y1, ink{})
	c.line(b.x0, b.y0, b.x0, b.y1, ink{})
}

// xLabels writes the powers of ten first, then octaves of 1 kHz, then whatever still
// has room.
func (p panel) xLabels(c *canvas, k ink) {
	const gap = 4.0
	write := func(t tick) {
		if t.label == "" {
			return
		}
		x, y := p.x.at(t.v), p.y.a+6+k.textSize()
		b := textBox(x, y, "middle", t.label, k)
		b.x0, b.x1 = b.x0-gap, b.x1+gap
		if c.free(b) && b.x1 <= c.wide+gap-2 {
			c.text(x, y, "middle", t.label, k)
		}
	}
	for rank := range 3 {
		for _, t := range p.x.ticks {
			if !p.x.log && rank == 0 || p.x.log && roundness(t.v) == rank {
				write(t)
			}
		}
	}
}

// roundness ranks the values of a logarithmic axis: powers of ten, octaves as ISO 266
// names them, others.
func roundness(v float64) int {
	if e := math.Log10(v); math.Abs(e-math.Round(e)) < 1e-9 {
		return 0
	}
	// 63 and 31.5 stand for 62.5 and 31.25.
	if e := math.Log2(v / 1000); math.Abs(e-math.Round(e)) < 0.02 {
		return 1
	}
	return 2
}
