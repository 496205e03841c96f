package diagnosis

import (
	"fmt"
	"math"

	"headstack/machine"
	"headstack/plan"
	"headstack/unit"
)

// readingEdges part the outcomes of a reading, in dB re what is expected.
var readingEdges = [...]float64{-45, -25, -14, -8, -4.5, -2, 2}

const readingOutcomes = len(readingEdges) + 1

// coarse is the chance of the outcomes of a reading.
type coarse struct {
	sd, wrong float64
}

func (m coarse) outcomes(arrive []total, out []float64) {
	for k := range out {
		out[k] = m.wrong / 2 / float64(len(out))
	}
	out[0] += m.wrong / 4                   // no contact
	out[len(readingEdges)-1] += m.wrong / 4 // another place where all is well
	for _, t := range arrive {
		mean, sd := t.db[qLevel], t.sd[qLevel]
		if t.dead || mean < floorDB {
			mean, sd = t.floor()
		}
		sd = math.Hypot(m.sd, sd)
		below := 0.0
		for k, edge := range readingEdges {
			c := studentCDF4((edge - mean) / sd)
			out[k] += (1 - m.wrong) * t.p * (c - below)
			below = c
		}
		out[len(readingEdges)] += (1 - m.wrong) * t.p * (1 - below)
	}
}

// studentCDF4 is the distribution function of Student's t with 4 degrees of freedom, in
// closed form.
func studentCDF4(t float64) float64 {
	u := t / math.Sqrt(4+t*t)
	return 0.5 + 0.75*(u-u*u*u/3)
}

func (g *planning) addReadings(add func(candidate, plan.Action), doubts []Doubt) {
	e, p := g.e, g.p
	last := p.lastWork()
	had := map[readingAt]bool{}
	for i := range p.notes {
		if n := &p.notes[i]; n.point != nil && n.readings[0].Seq >= last && !doubted(doubts, n.ref) {
			had[readingAt{n.point.ID, n.key, n.toneHz}] = true
		}
	}
	for i := range e.def.TestPoints {
		tp := &e.def.TestPoints[i]
		if tp.Function == "" {
			continue
		}
		for _, key := range e.def.ReplicaKeys(tp.Each) {
			path, err := e.def.TestPointPath(tp, key)
			if want := e.def.Expected(tp, key); err != nil || len(path) == 0 || !want.Known || !g.touches(path) {
				continue
			}
			r := &reader{e: e, p: p, a: g.a, tp: tp, key: key, path: path}
			if !had[readingAt{tp.ID, key, tp.ToneHz}] {
				g.addReading(add, r, tp.ToneHz)
			}
			if tp.ToneHz != e.def.Reference.ToneHz {
				continue
			}
			for _, hz := range []float64{trebleToneHz, bassToneHz} {
				if !had[readingAt{tp.ID, key, hz}] {
					g.addReading(add, r, hz)
				}
			}
		}
	}
}

// addReading proposes a reading at the point's own tone, or at another against a
// sibling.
func (g *planning) addReading(add func(candidate, plan.Action), r *reader, hz float64) {
	e, tp := g.e, r.tp
	m := e.reading(tp, 0)
	prior := m.prior()
	wrong := 1 - prior[readRight]
	own := hz == tp.ToneHz
	project := scalar(0, 0)
	readings := 1.0
	step := Step{Kind: StepReading, TestPoint: tp.ID, Key: r.key, ToneHz: hz}
	if own {
		m.sd = math.Hypot(m.sd, r.offsetSD(hz, e.ownPrior(tp, r.key).sd, m.sd))
	} else {
		project = scalar(toneShares(hz, e.def.Reference.ToneHz))
		if n := r.siblingsRead(hz); n > 0 {
			m.sd = math.Hypot(m.sd, m.sd/math.Sqrt(float64(n)))
		} else {
			sibling := r.sibling()
			if sibling == "" {
				return
			}
			m.sd *= math.Sqrt2
			readings = 2
			step.Siblings = []string{sibling}
		}
	}
	table := g.chance(r.path, afterAll(Unprovoked), project, readingOutcomes, coarse{m.sd, wrong}.outcomes)
	if !g.telling(table) {
		return
	}
	minutes := tp.Minutes
	if minutes == 0 {
		minutes = readingMinutes
	}
	step.ID = fmt.Sprintf("reading/%s/%s/%g", tp.ID, r.key, hz)
	step.Target = r.name()
	step.Minutes = unit.Minutes(readings * minutes)
	b, _ := e.def.Board(tp.Board)
	cover := plan.None
	if b != nil {
		cover = g.cover(b.Opening, r.key)
	}
	want := e.def.Expected(tp, r.key)
	rd := *r
	rd.spreadDB = m.sd
	add(candidate{step: step, path: r.path, powered: true, reader: &rd, outcome: func(k int) string { return readingOutcome(k, want, own) }},
		plan.Action{Cost: readings * minutes, Cover: cover, Like: table, Once: true})
}

// readingOutcome names an outcome of a reading.
func readingOutcome(k int, want machine.Expected, own bool) string {
	at := func(db float64) string {
		if !own {
			return fmt.Sprintf("%.0f dB below its sibling", -db)
		}
		return "about " + quantity(want.Value*math.Pow(10, db/20), want.Unit)
	}
	switch k {
	case 0:
		return "next to nothing"
	case len(readingEdges) - 1:
		return "as it should be"
	case len(readingEdges):
		return "too much"
	}
	return at((readingEdges[k-1] + readingEdges[k]) / 2)
}
