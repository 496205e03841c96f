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

// threePercent is the third harmonic at the maximum output level: DIN 45500 and the
// trade's definition of MOL.
const threePercent = 3.0

// Steps draws what level steps recorded through the machine gave: above, the replayed
// against the recorded level (traces "level_steps") beside the thin line of a machine
// that does not compress; below, the third harmonic against level (traces
// "distortion_steps") with the 3 % line and the results "mol_3pct" with their
// intervals. The lower axis is the replayed level, in which mol_3pct is given, where
// the steps' replayed levels are known, else the recorded one.
func Steps(traces []measure.Trace, measures []measure.Result, opt Options) Drawing {
	levels, thirds, replayed := stepTraces(traces)
	mols := molsOf(measures)
	thirds = withMols(thirds, mols, replayed)
	families := familiesOf(append(slices.Clone(levels), thirds...))
	opt = opt.withDefaults("steps", "Level steps")
	s := sheet{opt: opt, c: canvas{wide: opt.Width}}
	s.y = heading(&s.c, opt.Title, referencesOf(levels), 8, opt.Width-16) + 6
	if len(families) == 0 {
		s.c.text(opt.Width/2, s.y+34, "middle", "no level steps were measured", ink{})
		s.y += 60
	}
	for i := range families {
		f := &families[i]
		if i > 0 {
			s.y += 18
		}
		s.y += 20
		s.c.text(8, s.y-6, "start", clip(stepHeading(*f), opt.Width-16, titleInk), titleInk)
		f.stepSpans()
		f.under = stepLines(mols, replayed)
		s.family(*f)
	}
	s.molRemarks(mols)
	lines := footLines(s.remarks, opt.Width-16)
	foot(&s.c, lines, 8, s.y+14)
	s.y += footHigh*float64(len(lines)) + 8
	desc := describeCourses(families)
	if len(families) == 0 {
		desc = "No level steps were measured."
	}
	for _, m := range mols {
		desc += fmt.Sprintf(" 3%s%% third harmonic, %s: %s.", unit.ThinSpace, placeOf(m), m.Figure())
	}
	return s.c.finish(Drawing{id: opt.ID, class: "plot plot-steps", w: opt.Width, h: math.Ceil(s.y), title: opt.Title,
		desc: desc, table: stepTable(traces, measures, opt)})
}

func stepHeading(f family) string {
	if f.name == "level_steps" {
		return "Replayed against recorded level"
	}
	return "Third harmonic against level"
}

// stepKey tells whose steps a trace holds.
type stepKey struct {
	track   int
	hz      float64
	capture string
}

func keyOfSteps(t measure.Trace) stepKey { return stepKey{t.Track, t.ToneHz, t.Conditions.Capture} }

// stepTraces picks the two kinds and, where every step of the third harmonic has its
// replayed level, sets the harmonics against that.
func stepTraces(ts []measure.Trace) (levels, thirds []measure.Trace, replayed bool) {
	for _, t := range ts {
		switch t.Name {
		case "level_steps":
			levels = append(levels, t)
		case "distortion_steps":
			thirds = append(thirds, t)
		}
	}
	var moved []measure.Trace
	for _, t := range thirds {
		i := slices.IndexFunc(levels, func(l measure.Trace) bool { return keyOfSteps(l) == keyOfSteps(t) })
		if i < 0 {
			return levels, thirds, false
		}
		m := t
		m.X = measure.Axis{Label: levels[i].Y.Label, Unit: levels[i].Y.Unit}
		m.Points = nil
		for _, p := range t.Points {
			j := slices.IndexFunc(levels[i].Points, func(l measure.Point) bool { return l.X == p.X })
			if j < 0 {
				return levels, thirds, false
			}
			p.X = levels[i].Points[j].Y
			m.Points = append(m.Points, p)
		}
		moved = append(moved, m)
	}
	return levels, moved, true
}

func molsOf(measures []measure.Result) []measure.Result {
	var out []measure.Result
	for _, r := range measures {
		if r.Name == "mol_3pct" {
			out = append(out, r)
		}
	}
	return out
}

// limitOf is 3 % in the unit of an axis.
func limitOf(of measure.Axis) (float64, bool) {
	switch {
	case of.Unit == "%":
		return threePercent, true
	case of.Unit == "dB" && !of.Log:
		return 20 * math.Log10(threePercent/100), true // −30.46 dB
	}
	return 0, false
}

// withMols marks on each course of the third harmonic where it reaches 3 %.
func withMols(thirds []measure.Trace, mols []measure.Result, replayed bool) []measure.Trace {
	out := slices.Clone(thirds)
	for i, t := range out {
		out[i].Marks = nil
		for _, r := range mols {
			if r.Track != t.Track || cmp.Compare(r.ToneHz, t.ToneHz) != 0 {
				continue
			}
			if m, ok := molMark(t, r, replayed); ok {
				if len(out) > 1 {
					m.Label = fmt.Sprintf("track %d: %s", t.Track, m.Label)
				}
				out[i].Marks = append(out[i].Marks, m)
				break // the first stands
			}
		}
	}
	return out
}

// molMark is where the mark of one course stands.
func molMark(t measure.Trace, r measure.Result, replayed bool) (measure.Mark, bool) {
	limit, ok := limitOf(t.Y)
	if !ok || r.Refused != "" || !drawable(r.Value, false) {
		return measure.Mark{}, false
	}
	m := measure.Mark{X: r.Value, Y: limit, Label: fmt.Sprintf("3%s%% at %s", unit.ThinSpace, signedFigure(r))}
	if !replayed {
		m.X, ok = crossing(t, limit)
	}
	return m, ok
}

// signedFigure writes a level with its sign.
func signedFigure(r measure.Result) string {
	f := r.Figure()
	f.Difference = true
	return f.String()
}

// crossing is where a course first rises through the limit, by a straight line between
// its points (of their logarithms on a logarithmic axis).
func crossing(t measure.Trace, limit float64) (float64, bool) {
	scale := func(v float64) float64 {
		if t.Y.Log {
			return math.Log(v)
		}
		return v
	}
	for i := 0; i+1 < len(t.Points); i++ {
		a, b := t.Points[i], t.Points[i+1]
		if a.Y < limit && b.Y >= limit {
			x := a.X + (b.X-a.X)*(scale(limit)-scale(a.Y))/(scale(b.Y)-scale(a.Y))
			return x, drawable(x, false)
		}
	}
	return 0, false
}

// stepSpans makes room for the 3 % line.
func (f *family) stepSpans() {
	if f.name != "distortion_steps" || f.drawn == 0 {
		return
	}
	if limit, ok := limitOf(f.y); ok {
		f.ylo, f.yhi = math.Min(f.ylo, limit), math.Max(f.yhi, limit)
	}
}

// stepLines draws what lies under the courses: the straight machine, or the 3 % line
// with the intervals of mol_3pct.
func stepLines(mols []measure.Result, replayed bool) func(*canvas, panel, family, facet) {
	return func(c *canvas, p panel, f family, fc facet) {
		thin := ink{class: "fit", width: 1, dash: "1 3"}
		if f.name == "level_steps" {
			lo, hi := math.Max(p.x.lo, p.y.lo), math.Min(p.x.hi, p.y.hi)
			if hi > lo {
				c.line(p.x.at(lo), p.y.at(lo), p.x.at(hi), p.y.at(hi), thin)
			}
			return
		}
		limit, ok := limitOf(f.y)
		if !ok {
			return
		}
		y := p.y.at(limit)
		c.line(p.x.a, y, p.x.b, y, ink{class: "zero", width: 1.6, dash: "12 4"})
		if !replayed {
			return
		}
		for _, cs := range fc.courses {
			for _, r := range mols {
				if r.Track == cs.Track && cmp.Compare(r.ToneHz, cs.ToneHz) == 0 && r.Refused == "" && r.Lo < r.Hi && drawable(r.Lo, false) && drawable(r.Hi, false) {
					c.rect(p.x.at(r.Lo), y-4, p.x.at(r.Hi)-p.x.at(r.Lo), 8, ink{class: "band", fill: pen, tint: 0.2, stroke: pen, width: 0.8})
				}
			}
		}
	}
}

// molRemarks explain the lines, and name what was refused.
func (s *sheet) molRemarks(mols []measure.Result) {
	if len(s.remarks) == 0 && len(mols) == 0 {
		return
	}
	var shapes []string
	for _, r := range mols {
		if r.Refused != "" && !slices.Contains(shapes, shapeOf(r.Refused)) {
			shapes = append(shapes, shapeOf(r.Refused))
			s.remarks = append(s.remarks, "3"+unit.ThinSpace+"% level of "+placeOf(r)+" not measured: "+r.Refused+moreOf(mols, r)+".")
		}
	}
}

// moreOf counts the other results refused for the same reason with other figures.
func moreOf(of []measure.Result, r measure.Result) string {
	n := 0
	for _, o := range of {
		if o.Refused != "" && shapeOf(o.Refused) == shapeOf(r.Refused) {
			n++
		}
	}
	if n < 2 {
		return ""
	}
	return fmt.Sprintf("; likewise %d more, in the table", n-1)
}

// shapeOf is a reason without its figures, by which reasons are told apart.
func shapeOf(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '.' || r == '-' || r == '+' || r == '\u2212' {
			return -1
		}
		return r
	}, s)
}

// stepTable has a row for each step, and one for each 3 % level.
func stepTable(ts []measure.Trace, measures []measure.Result, opt Options) Table {
	t := Table{Caption: opt.Title + "; intervals are 95 %", Head: []string{"track", "recorded level", "replayed level", "third harmonic"}}
	levels, _, _ := stepTraces(ts)
	if r := referencesOf(levels); r != "" {
		t.Caption += "; " + r
	}
	var keys []stepKey
	steps := map[stepKey][]float64{}
	for _, tr := range ts {
		if tr.Name != "level_steps" && tr.Name != "distortion_steps" {
			continue
		}
		k := keyOfSteps(tr)
		if !slices.Contains(keys, k) {
			keys = append(keys, k)
		}
		for _, p := range tr.Points {
			if !slices.ContainsFunc(steps[k], func(x float64) bool { return cmp.Compare(x, p.X) == 0 }) {
				steps[k] = append(steps[k], p.X)
			}
		}
		for _, w := range tr.Warnings {
			if n := placeOf(measure.Result{Track: k.track, ToneHz: k.hz}) + ": " + w; !slices.Contains(t.Notes, n) {
				t.Notes = append(t.Notes, n)
			}
		}
	}
	for _, k := range keys {
		slices.Sort(steps[k])
		name := placeOf(measure.Result{Track: k.track, ToneHz: k.hz})
		for _, x := range steps[k] {
			t.Rows = append(t.Rows, []string{name, value(x, "dB", true), stepCell(ts, "level_steps", k, x), stepCell(ts, "distortion_steps", k, x)})
		}
	}
	for _, r := range molsOf(measures) {
		t.Rows = append(t.Rows, []string{placeOf(r), "where it reaches 3" + unit.ThinSpace + "%", r.Figure().String(), "3" + unit.ThinSpace + "%"})
	}
	return t
}

func stepCell(ts []measure.Trace, name string, k stepKey, x float64) string {
	lowest := 0.0 // harmonics have no sign
	if name == "level_steps" {
		lowest = -1
	}
	for _, t := range ts {
		if t.Name != name || keyOfSteps(t) != k {
			continue
		}
		for _, p := range t.Points {
			if cmp.Compare(p.X, x) == 0 {
				return figure(p, family{y: t.Y, ylo: lowest})
			}
		}
	}
	return none
}
