package plot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// MaskBand is one band of a tolerance field of frequency response. At each frequency
// the tightest of the bands that cover it holds, at their ends too.
type MaskBand struct {
	FromHz, ToHz  float64
	LowDB, HighDB float64 // re the level at the reference tone
	Source        string  // who published it, or that nobody did
}

// Mask is a tolerance field with a name.
type Mask struct {
	Name  string
	Bands []MaskBand
}

const (
	din45500 = "DIN 45500 part 4, whole width of the field as printed, drawn with 0 dB at its middle"
	practice = "common practice, no source, from memory"
)

// masks hold the fields that a bench is asked for. The stored text of DIN 45500 gives
// one number for each band, without a sign: it is read as the width of the field, in
// which the curve may be shifted up and down as a whole.
var masks = []Mask{
	{"DIN 45500 part 4, whole chain", []MaskBand{
		{40, 250, -3.5, 3.5, din45500}, {250, 6300, -2.5, 2.5, din45500}, {6300, 12500, -3.5, 3.5, din45500}}},
	{"studio machine, playback of test tape", []MaskBand{{60, 12500, -1, 1, practice}, {30, 18000, -2, 2, practice}}},
	{"cassette, playback of test tape", []MaskBand{{63, 8000, -2, 2, practice}, {40, 12500, -3, 3, practice}}},
}

// Masks lists the named tolerance fields with their sources.
func Masks() []Mask {
	out := slices.Clone(masks)
	for i := range out {
		out[i].Bands = slices.Clone(out[i].Bands)
	}
	return out
}

// MaskNamed finds a field of [Masks] by its name.
func MaskNamed(name string) (Mask, bool) {
	for _, m := range Masks() {
		if m.Name == name {
			return m, true
		}
	}
	return Mask{}, false
}

type mask []MaskBand

// valid leaves out bands that are no field.
func valid(bands []MaskBand) mask {
	var out mask
	for _, b := range bands {
		if drawable(b.FromHz, true) && drawable(b.ToHz, true) && b.ToHz > b.FromHz &&
			drawable(b.LowDB, false) && drawable(b.HighDB, false) && b.HighDB >= b.LowDB {
			out = append(out, b)
		}
	}
	return out
}

// limits at a frequency; ok is false where no band covers it.
func (m mask) limits(hz float64) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(-1), math.Inf(1)
	for _, b := range m {
		if hz >= b.FromHz && hz <= b.ToHz {
			lo, hi, ok = math.Max(lo, b.LowDB), math.Min(hi, b.HighDB), true
		}
	}
	return lo, hi, ok
}

// outside is how far a level lies outside the field: above 0 over it, below 0 under
// it, 0 within or where there is no field.
func (m mask) outside(hz, db float64) float64 {
	lo, hi, ok := m.limits(hz)
	switch {
	case !ok:
		return 0
	case db > hi:
		return db - hi
	case db < lo:
		return db - lo
	}
	return 0
}

// stretch is a span of frequency with the same limits throughout.
type stretch struct{ from, to, lo, hi float64 }

// stretches cuts the field at the ends of its bands.
func (m mask) stretches() []stretch {
	var ends []float64
	for _, b := range m {
		ends = append(ends, b.FromHz, b.ToHz)
	}
	slices.Sort(ends)
	ends = slices.Compact(ends)
	var out []stretch
	for i := 0; i+1 < len(ends); i++ {
		if lo, hi, ok := m.limits(math.Sqrt(ends[i] * ends[i+1])); ok {
			out = append(out, stretch{ends[i], ends[i+1], lo, hi})
		}
	}
	return out
}

// maskEdge is how deep the hatching outside the field is.
const maskEdge = 8.0

// draw outlines the field and hatches its border on the outside, as drawings of parts
// have it for what must not be entered.
func (m mask) draw(c *canvas, p panel) {
	b := p.box()
	all := m.stretches()
	var hatching []float64
	for _, upper := range []bool{true, false} {
		var edge []float64
		flush := func() {
			if len(edge) >= 4 {
				c.polyline(edge, ink{class: "mask", stroke: pen, width: 1.3})
			}
			edge = nil
		}
		last := math.NaN()
		for _, s := range all {
			if s.to <= p.x.lo || s.from >= p.x.hi {
				continue
			}
			x0, x1 := p.x.at(s.from), p.x.at(s.to)
			db := s.lo
			if upper {
				db = s.hi
			}
			if s.from != last {
				flush()
			}
			last = s.to
			if db < p.y.lo || db > p.y.hi {
				flush() // off the picture; nothing to draw here
				continue
			}
			y := p.y.at(db)
			edge = append(edge, x0, y, x1, y)
			strip := box{x0, y - maskEdge, x1, y}
			if !upper {
				strip = box{x0, y, x1, y + maskEdge}
			}
			strip.y0, strip.y1 = math.Max(strip.y0, b.y0), math.Min(strip.y1, b.y1)
			hatching = append(hatching, hatch(strip, 5)...)
		}
		flush()
	}
	c.segments(hatching, ink{class: "mask", stroke: pen, width: 0.8, opacity: 0.75})
}

// breach is a point outside the field.
type breach struct {
	track int
	p     measure.Result
	by    float64 // dB
}

// breaches lists the points outside, tracks and frequencies ascending.
func (m mask) breaches(curves []curve) []breach {
	var out []breach
	for _, cv := range curves {
		for _, p := range cv.points {
			if by := m.outside(p.ToneHz, p.Value); by != 0 {
				out = append(out, breach{cv.track, p, by})
			}
		}
	}
	return out
}

// unsure says whether the interval of the figure reaches into the field.
func (m mask) unsure(b breach) bool {
	lo, hi, _ := m.limits(b.p.ToneHz)
	return b.by > 0 && b.p.Lo <= hi || b.by < 0 && b.p.Hi >= lo
}

// spokenBreaches bounds a description that is read aloud; the table has all.
const spokenBreaches = 20

// describe says what lies outside.
func (m mask) describe(curves []curve) string {
	if len(m) == 0 {
		return ""
	}
	out := m.breaches(curves)
	covered := 0
	for _, cv := range curves {
		for _, p := range cv.points {
			if _, _, ok := m.limits(p.ToneHz); ok {
				covered++
			}
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "The tolerance field is %s. ", m.words())
	if covered == 0 {
		b.WriteString("No point was measured where it applies. ")
		return b.String()
	}
	if len(out) == 0 {
		fmt.Fprintf(&b, "All %d points in its range lie within it. ", covered)
		return b.String()
	}
	fmt.Fprintf(&b, "%d of %d points lie outside it: ", len(out), covered)
	for i, o := range out {
		if i == spokenBreaches {
			fmt.Fprintf(&b, "; and %d more, in the table", len(out)-i)
			break
		}
		if i > 0 {
			b.WriteString("; ")
		}
		fmt.Fprintf(&b, "track %d at %s by %s", o.track, unit.Frequency(unit.Hertz(o.p.ToneHz)), o.amount())
		if m.unsure(o) {
			b.WriteString(", within its interval")
		}
	}
	b.WriteString(". ")
	return b.String()
}

// amount is the excess with the decimals of its figure.
func (b breach) amount() string {
	f := b.p.Figure()
	f.Value, f.Lo, f.Hi, f.Difference = b.by, f.Lo-f.Value+b.by, f.Hi-f.Value+b.by, true
	return f.Number() + unit.ThinSpace + "dB"
}

// words names the limits: "−1 to +1 dB from 60 Hz to 12.5 kHz, ...".
func (m mask) words() string {
	var parts []string
	sorted := slices.Clone(m)
	slices.SortStableFunc(sorted, func(a, b MaskBand) int { return cmp.Compare(a.FromHz, b.FromHz) })
	for _, b := range sorted {
		parts = append(parts, fmt.Sprintf("%s to %s%sdB from %s to %s", decibels(b.LowDB), decibels(b.HighDB), unit.ThinSpace,
			unit.Frequency(unit.Hertz(b.FromHz)), unit.Frequency(unit.Hertz(b.ToHz))))
	}
	return strings.Join(parts, ", ")
}

// decibels writes a limit with no more decimals than it has, two at most.
func decibels(db float64) string {
	for d := range 2 {
		p := math.Pow(10, float64(d))
		if math.Abs(db*p-math.Round(db*p)) < 1e-6 {
			return unit.Signed(db, d)
		}
	}
	return unit.Signed(db, 2)
}

// sources names who published the field.
func (m mask) sources() string {
	var out []string
	for _, b := range m {
		s := b.Source
		if s == "" {
			s = "no source named"
		}
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return strings.Join(out, "; ")
}
