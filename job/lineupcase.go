package job

import (
	"cmp"
	"fmt"
	"slices"

	"headstack/lineup"
	"headstack/trim"
)

// cases tell what the open case adds, one of package trim for each speed.
type cases struct {
	benches []*speedBench
	of      map[float64]*trim.Case
	reads   map[float64][]trim.CaseReading
	open    bool // the case is open now
	name    string
	known   map[caseKey]trim.Offset
}

type caseKey struct {
	cmS float64
	q   trim.Quantity
}

// newCases enters what was read with the case closed and open, and what other jobs of the
// definition show of it, by speed.
func newCases(v *View, g *logger, benches []*speedBench, others map[float64][]trim.CaseReading) *cases {
	c := &cases{benches: benches, of: map[float64]*trim.Case{}, reads: map[float64][]trim.CaseReading{}, open: opens(v.Case), name: machineName(v.Job), known: map[caseKey]trim.Offset{}}
	for _, b := range benches {
		own := caseReadings(c.name, g, b)
		now := g.prop()
		for _, r := range own {
			if opens(r.State) && !c.open {
				now = r.Prop // the last that was used
			}
		}
		c.reads[b.cmS] = append(slices.Clone(others[b.cmS]), own...)
		if x, err := trim.NewCase(b.model, c.name, now, c.reads[b.cmS]); err == nil {
			c.of[b.cmS] = x
		} else {
			b.doubts = append(b.doubts, err.Error())
		}
	}
	return c
}

// machineName is how a machine is known over its jobs.
func machineName(j Job) string { return cmp.Or(j.Serial, j.ID) }

// caseReadings are the figures of one job on which the case bears.
func caseReadings(name string, g *logger, b *speedBench) []trim.CaseReading {
	var out []trim.CaseReading
	seen := map[trim.CaseReading]bool{}
	for _, a := range g.actions {
		for _, r := range a.reads {
			x, ok := b.scaled(r)
			if !ok || r.state == "" || !underCase(x.Quantity) {
				continue
			}
			y := trim.CaseReading{Machine: name, Quantity: x.Quantity, State: r.state, Epoch: r.epoch, Closing: r.closing, Value: x.Value, SD: x.SD}
			if opens(r.state) {
				y.Prop = r.prop
			}
			if !seen[y] { // one reading settles several steps
				seen[y] = true
				out = append(out, y)
			}
		}
	}
	return out
}

// underCase tells the figures that the case bears on: what is heard of a tape.
func underCase(q trim.Quantity) bool {
	switch q.Measure {
	case "level", "response", "azimuth", "speed_error", "record_level", "record_response", "sync_level", "sync_response":
		return true
	}
	return false
}

// offset is what the open case adds to a figure; ok is false where nothing of it was read.
func (c *cases) offset(b *speedBench, q trim.Quantity) (o trim.Offset, ok bool) {
	x := c.of[b.cmS]
	if x == nil || !underCase(q) || !slices.ContainsFunc(c.reads[b.cmS], func(r trim.CaseReading) bool { return r.Quantity == q }) {
		return o, false
	}
	k := caseKey{b.cmS, q}
	if o, ok = c.known[k]; !ok {
		o = x.Offset(q)
		c.known[k] = o
	}
	return o, true
}

// adds is what to take off what was read open at a speed.
func (c *cases) adds(b *speedBench) func(q trim.Quantity) (value, sd float64) {
	return func(q trim.Quantity) (value, sd float64) {
		o, ok := c.offset(b, q)
		if !ok {
			return 0, 0
		}
		return o.Figure.Value, (o.Figure.Hi - o.Figure.Lo) / (2 * z95)
	}
}

// amounts are the offsets by step, in the unit of its target.
func (c *cases) amounts(o *lineup.Order) map[string]lineup.Amount {
	out := map[string]lineup.Amount{}
	for _, b := range c.benches {
		for i := range o.Steps {
			s := &o.Steps[i]
			q, ok := b.quantity(s)
			if !ok || s.SpeedCmS != b.cmS {
				continue
			}
			f, ok := c.offset(b, q)
			if !ok {
				continue
			}
			source := fmt.Sprintf("read both ways at one setting, times: %d", f.Pairs)
			if f.Pairs == 0 {
				source = "not read both ways yet: of recorders as such, an estimate without source"
			}
			out[s.ID] = lineup.Amount{Value: sense(q) * f.Figure.Value, Half: (f.Figure.Hi - f.Figure.Lo) / 2, Source: source}
		}
	}
	return out
}

// list is what the open case adds to each figure that was read with it open, or that is
// read with it open now.
func (c *cases) list(l *LineUp) []CaseOffset {
	var out []CaseOffset
	for _, b := range c.benches {
		at := map[trim.Quantity]int{}
		for i := range l.Steps {
			s := &l.Steps[i]
			q, ok := b.quantity(&s.Step)
			if !ok || s.SpeedCmS != b.cmS || s.Kind.Proof() {
				continue
			}
			f, ok := c.offset(b, q)
			if !ok || !c.open && !c.readOpen(b.cmS, q) {
				continue
			}
			if k, twice := at[q]; twice {
				out[k].Steps = append(out[k].Steps, s.ID)
				continue
			}
			x := CaseOffset{Figure: q.String(), Measure: q.Measure, Track: q.Track, ToneHz: q.ToneHz, SpeedCmS: b.cmS,
				Steps: []string{s.ID}, Offset: turnedRound(figureOf(f.Figure), sense(q)), Pairs: f.Pairs, Instead: []string{}}
			x.Closed, x.Open = c.found(b, q, false), c.found(b, q, true)
			if k, ok := convertible(1, s.closed.Unit, f.Figure.Unit); ok && s.closed.Tolerance > 0 {
				u := c.of[b.cmS].Usable(q, k*s.closed.Tolerance)
				x.Usable, x.Why, x.Instead = u.OK, u.Sentence, list(u.Instead)
			}
			at[q] = len(out)
			out = append(out, x)
		}
	}
	return out
}

func (c *cases) readOpen(cmS float64, q trim.Quantity) bool {
	return slices.ContainsFunc(c.reads[cmS], func(r trim.CaseReading) bool { return c.own(r) && r.Quantity == q && opens(r.State) })
}

// own tells the readings of this job from those of others.
func (c *cases) own(r trim.CaseReading) bool { return r.Machine == c.name && r.Epoch < jobEpochs }

// found is the first reading with the case closed or open before anything was turned.
func (c *cases) found(b *speedBench, q trim.Quantity, open bool) *LineUpFigure {
	for _, r := range c.reads[b.cmS] {
		if c.own(r) && r.Quantity == q && opens(r.State) == open && r.Epoch == 0 {
			f := turnedRound(LineUpFigure{r.Value, r.Value - z95*r.SD, r.Value + z95*r.SD, b.model.Unit(q)}, sense(q))
			return &f
		}
	}
	return nil
}

// turnedRound gives a figure the sign in which it is read.
func turnedRound(f LineUpFigure, sense float64) LineUpFigure {
	if sense < 0 {
		f.Value, f.Lo, f.Hi = -f.Value, -f.Hi, -f.Lo
	}
	return f
}
