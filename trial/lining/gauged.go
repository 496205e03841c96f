package lining

import (
	"math"
	"slices"

	"headstack/lineup"
	"headstack/machine"
	"headstack/sim/trims"
)

// gauged sets what is read at a test point, step by step: by the nominal sensitivity and
// then by what two readings show.
func (t *technician) gauged(steps []*lineup.Step) error {
	for _, s := range steps {
		if s.OnEvidence {
			continue
		}
		if s.Trim == "" {
			t.measured(s, t.order.Target(s.ID, t.setup).Value, 0.01)
			continue
		}
		ref := trims.Ref{ID: s.Trim, Key: s.Key}
		var err error
		if kind, _, _ := t.m.KindOf(ref); kind == trims.Core {
			err = t.tune(ref)
		} else {
			err = t.gauge(s, ref)
		}
		if err != nil {
			return err
		}
		x := t.order.Target(s.ID, t.setup)
		v := x.Value
		if x.Side != lineup.Both {
			v *= 0.9
		}
		t.measured(s, v, 0.001*math.Abs(v))
	}
	return nil
}

func (t *technician) gauge(s *lineup.Step, ref trims.Ref) error {
	x := trimOf(t.def, ref.ID)
	limit := 0.7 * LimitsOf(t.def, 0).ofTrim(t.def, x)
	per, _ := t.m.Nominal(ref)
	if k, ok := t.learned[ref.ID]; ok {
		per *= k
	}
	before, by := math.NaN(), 0.0
	for range 8 {
		r, err := t.m.Gauge(ref)
		if err != nil {
			return err
		}
		if by != 0 && math.Abs(r.Value-before) > limit/4 {
			per0, _ := t.m.Nominal(ref)
			per = (r.Value - before) / by
			// Siblings are alike; the law of the travel makes them differ, so the mean.
			if k, ok := t.learned[ref.ID]; ok && k*per > 0 == (per0 > 0) {
				t.learned[ref.ID] = (k + per/per0) / 2
			} else {
				t.learned[ref.ID] = per / per0
			}
		}
		if math.Abs(r.Value) <= limit {
			return nil
		}
		before, by = r.Value, -r.Value/per
		if _, err := t.m.Turn(ref, by); err != nil {
			return err
		}
		t.log = append(t.log, lineup.Event{Kind: lineup.Turned, Trim: ref.ID, Key: ref.Key})
	}
	return nil
}

// extreme is what siblings of a tuned core have taught: how the reading falls from its
// extreme, per turn², and what it is there, where no other core bears on it.
type extreme struct {
	falls, top float64
	topKnown   bool
}

// tune turns a core to its extreme: by three readings and a parabola where nothing is
// known of its siblings, by two where they told how sharp it is, and to and fro where they
// told what the extreme reads: then it is known how far, though not which way. A reading
// that is good is left. Positions count from where the core stood. The [trim.Extremum] of
// each core by itself takes 2.65 moves for a core that is out (451 cores of 25 reel
// recorders, two traps in a row among them), which is why siblings are used here.
func (t *technician) tune(ref trims.Ref) error {
	leak := trimOf(t.def, ref.ID).Sets == "trap_leak"
	at := 0.0
	read := func() (y float64, good bool, err error) {
		r, err := t.m.Gauge(ref)
		if leak { // volts of two traps stand at right angles
			return -r.Value * r.Value, r.Value < 0.9*trapMV, err
		}
		return r.Value, r.Value > -eraseDB, err
	}
	turn := func(by float64) error {
		went, err := t.m.Turn(ref, by)
		at += went
		t.log = append(t.log, lineup.Event{Kind: lineup.Turned, Trim: ref.ID, Key: ref.Key})
		return err
	}
	y0, good, err := read()
	if err != nil || good {
		return err
	}
	k, known := t.sharp[ref.ID]
	step := 0.7
	if known && k.topKnown {
		step = math.Sqrt(max(0, k.top-y0) / k.falls)
	}
	if err := turn(step); err != nil {
		return err
	}
	x1 := at
	y1, good, err := read()
	if err != nil || good {
		return err
	}
	if known && x1 != 0 {
		// y = top - k·(x - best)²
		best := (x1*x1 + (y1-y0)/k.falls) / (2 * x1)
		if err := turn(best - at); err != nil {
			return err
		}
		return t.learnTop(ref, read)
	}
	if y1 < y0 {
		step = -2 * step
	}
	if err := turn(step); err != nil {
		return err
	}
	y2, good, err := read()
	if err != nil {
		return err
	}
	// The parabola through (0, y0), (x1, y1), (x2, y2).
	x2 := at
	det := x1 * x2 * (x1 - x2)
	p := (x2*(y1-y0) - x1*(y2-y0)) / det
	q := (x1*x1*(y2-y0) - x2*x2*(y1-y0)) / det
	if det == 0 || p >= 0 {
		return nil
	}
	t.sharp[ref.ID] = extreme{falls: -p}
	if good {
		return nil
	}
	if err := turn(-q/(2*p) - at); err != nil {
		return err
	}
	return t.learnTop(ref, read)
}

// learnTop reads what the extreme is, of a core after which nothing else that is off bears
// on the reading: the last of its kind.
func (t *technician) learnTop(ref trims.Ref, read func() (float64, bool, error)) error {
	k := t.sharp[ref.ID]
	x := trimOf(t.def, ref.ID)
	last := true
	for i := range t.def.Trims {
		y := &t.def.Trims[i]
		last = last && (y.Sets != x.Sets || y.ID == x.ID || i < slices.IndexFunc(t.def.Trims, func(z machine.Trim) bool { return z.ID == x.ID }))
	}
	if !last || k.topKnown {
		return nil
	}
	y, _, err := read()
	k.top, k.topKnown = y, true
	t.sharp[ref.ID] = k
	return err
}

// What is good at a test point: of the trap as both definitions say, of the erase current
// common practice, no source.
const (
	trapMV  = 60
	eraseDB = 0.6
)
