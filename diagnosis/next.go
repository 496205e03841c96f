package diagnosis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// What is proposed next.
const (
	maxActions     = 12
	leastGainBits  = 0.005
	readingMinutes = 2 // one reading once reachable, where the point says nothing
	trebleToneHz   = 10000
	bassToneHz     = 63
	// outcomeStepDB is the grid on which the outcome of a reading is foreseen,
	// from outcomeLowDB up.
	outcomeStepDB = 0.75
	outcomeLowDB  = -72
	outcomeCount  = 116
)

// next ranks what to do next by information per minute. The information is
// about the explanations as long as something is accused, otherwise about any
// fault that the action would show. The error is the context's.
func (e *Engine) next(ctx context.Context, p *problem, post *posterior, a *accusation, v *Verdict) ([]Action, error) {
	ways := map[int][]hypothesis{}
	way := func(path []machine.Instance) []hypothesis {
		t := e.scopeFor(p, path)
		if ways[t] == nil {
			ways[t] = a.way(t)
		}
		return ways[t]
	}
	whole := len(a.in) == 0
	out := e.checksNext(ctx, p, a, way, whole)
	out = append(out, e.readingsNext(ctx, p, a, way, whole, v)...)
	out = slices.DeleteFunc(out, func(x Action) bool { return x.GainBits < leastGainBits })
	slices.SortStableFunc(out, func(x, y Action) int {
		return cmp.Or(cmp.Compare(rate(y), rate(x)), cmp.Compare(x.Minutes, y.Minutes), cmp.Compare(x.Text, y.Text))
	})
	return out[:min(len(out), maxActions)], ctx.Err()
}

func rate(a Action) float64 { return a.GainBits / math.Max(0.1, float64(a.Minutes)) }

// scopeFor is the deepest scope of a path.
func (e *Engine) scopeFor(p *problem, path []machine.Instance) int {
	deepest := 0
	for _, in := range path {
		s := e.atlas.scope[in]
		if c, ok := p.comp[in]; ok {
			s = p.model.components[c].scope
		}
		if p.model.depth(s) > p.model.depth(deepest) {
			deepest = s
		}
	}
	return deepest
}

// checksNext proposes functions not tried yet.
func (e *Engine) checksNext(ctx context.Context, p *problem, a *accusation, way func([]machine.Instance) []hypothesis, whole bool) []Action {
	done := map[[2]string]bool{}
	for _, n := range p.notes {
		if n.check != nil {
			done[[2]string{n.function, n.key}] = true
		}
	}
	var out []Action
	for i := range e.def.Functions {
		f := &e.def.Functions[i]
		if f.CheckMinutes == 0 || ctx.Err() != nil {
			continue
		}
		for _, key := range e.def.ReplicaKeys(f.Each) {
			if done[[2]string{f.ID, key}] {
				continue
			}
			path, err := e.def.Path(f.ID, key)
			if err != nil {
				continue
			}
			fc := a.predict(way(path), path, everything)
			gain := fc.gain(sayings, func(arrive []total, out []float64) {
				for k := range out {
					var pr [2]float64
					checkModel{k}.like(arrive, 0, pr[:])
					out[k] = pr[0] + pr[1]
				}
			}, whole)
			text := "Try " + f.ID
			if it := item(f, key); it != "" {
				text += " on " + it
			}
			out = append(out, Action{Kind: "check", Text: text + ": " + f.Name + ".", Function: f.ID, Key: key,
				Expect: "works", Minutes: unit.Minutes(f.CheckMinutes), GainBits: gain, Why: e.why(p, a, path, gain, whole)})
		}
	}
	return out
}

// readingsNext proposes readings at test points: at the point's own tone, and
// with a high and a low tone against one sibling.
func (e *Engine) readingsNext(ctx context.Context, p *problem, a *accusation, way func([]machine.Instance) []hypothesis, whole bool, v *Verdict) []Action {
	had := map[readingAt]bool{}
	for i := range p.notes {
		n := &p.notes[i]
		if n.point == nil || slices.ContainsFunc(v.Doubts, func(d Doubt) bool { return d.Ref == n.ref }) {
			continue // what is doubted is worth a fresh reading
		}
		had[readingAt{n.point.ID, n.key, n.toneHz}] = true
	}
	var out []Action
	for i := range e.def.TestPoints {
		tp := &e.def.TestPoints[i]
		if tp.Function == "" || ctx.Err() != nil {
			continue
		}
		for _, key := range e.def.ReplicaKeys(tp.Each) {
			path, err := e.def.TestPointPath(tp, key)
			want := e.def.Expected(tp, key)
			if err != nil || len(path) == 0 || !want.Known {
				continue
			}
			r := reader{e: e, p: p, a: a, tp: tp, key: key, path: path, way: way, whole: whole}
			if !had[readingAt{tp.ID, key, tp.ToneHz}] {
				out = append(out, r.own(want))
			}
			if tp.ToneHz != e.def.Reference.ToneHz {
				continue
			}
			for _, hz := range []float64{trebleToneHz, bassToneHz} {
				if !had[readingAt{tp.ID, key, hz}] {
					if act, ok := r.against(hz); ok {
						out = append(out, act)
					}
				}
			}
		}
	}
	return out
}

type readingAt struct {
	point, key string
	toneHz     float64
}

// reader makes the actions of one test point and replica.
type reader struct {
	e     *Engine
	p     *problem
	a     *accusation
	tp    *machine.TestPoint
	key   string
	path  []machine.Instance
	way   func([]machine.Instance) []hypothesis
	whole bool
	// spreadDB is the standard deviation of what it shows about what is expected.
	spreadDB float64
}

func (r reader) name() string { return pointName(r.e.def, r.tp, r.key) }

// own is a reading at the point's own tone.
func (r reader) own(want machine.Expected) Action {
	prior := r.e.ownPrior(r.tp, r.key)
	m := r.e.reading(r.tp, 0)
	m.sd = math.Hypot(m.sd, r.offsetSD(r.tp.ToneHz, prior.sd, m.sd))
	act := r.action(m, scalar(0, 0), 1)
	act.ToneHz = r.tp.ToneHz
	act.Expect = quantity(want.Value, want.Unit)
	if db := 2 * want.SDDB(); db > 0 && !dc(r.tp) {
		act.Expect += fmt.Sprintf(" ± %.2g dB", db)
	} else if db > 0 {
		act.Expect += fmt.Sprintf(" ± %.2g %%", 200*want.SDLn)
	}
	act.Text = fmt.Sprintf("Read %s (%s expected): %s", r.name(), quantity(want.Value, want.Unit), r.tp.Name)
	if r.tp.Mode != "" {
		act.Text += "; " + r.tp.Mode
	}
	act.Text += "."
	return act
}

// against is a reading at another tone as a ratio to one sibling.
func (r reader) against(hz float64) (Action, bool) {
	sibling := r.sibling()
	if sibling == "" {
		return Action{}, false
	}
	m := r.e.reading(r.tp, 0)
	treble, bass := toneShares(hz, r.e.def.Reference.ToneHz)
	readings := 1.0
	if n := r.siblingsRead(hz); n > 0 {
		m.sd = math.Hypot(m.sd, m.sd/math.Sqrt(float64(n)))
	} else {
		m.sd *= math.Sqrt2
		readings = 2
	}
	act := r.action(m, scalar(treble, bass), readings)
	act.ToneHz = hz
	name := pointName(r.e.def, r.tp, sibling)
	act.Expect = fmt.Sprintf("within about %.1f dB of %s", 2*m.sd, name)
	act.Text = fmt.Sprintf("Read %s and %s with %s, same meter and range: they should agree.", r.name(), name, tone(hz))
	if readings == 2 {
		act.Siblings = []string{sibling}
	} else {
		act.Text = fmt.Sprintf("Read %s with %s, same meter and range: it should agree with its siblings.", r.name(), tone(hz))
	}
	return act, true
}

// action fills in what all readings have in common.
func (r reader) action(m readingModel, project func(effect) effect, readings float64) Action {
	e := r.e
	fc := r.a.predict(r.way(r.path), r.path, project)
	gain := fc.gain(outcomeCount, m.outcomes, r.whole)
	minutes := r.tp.Minutes
	if minutes == 0 {
		minutes = readingMinutes
	}
	opening, down, cautions := e.reach(r.tp.Board)
	return Action{Kind: "reading", TestPoint: r.tp.ID, Key: r.key, Where: e.whereIs(r.tp, r.key), Opening: opening,
		Minutes: unit.Minutes(readings*minutes) + down, GainBits: gain, Why: e.why(r.p, r.a, r.path, gain, r.whole),
		Cautions: e.cautionsAt(r.tp, cautions)}
}

// outcomes is the probability of each step of the outcome grid.
func (m readingModel) outcomes(arrive []total, out []float64) {
	for k := range out {
		m.y = outcomeLowDB + outcomeStepDB*float64(k)
		var st [readStates]float64
		m.like(arrive, 0, st[:])
		out[k] = outcomeStepDB * (st[readRight] + st[readSpot] + st[readTrack])
	}
	sum := sumOf(out)
	for k := range out {
		out[k] /= sum
	}
}

// offsetSD is what is still unknown of the offset once siblings were read with
// the instrument in hand.
func (r reader) offsetSD(hz, prior, sd float64) float64 {
	n := r.siblingsRead(hz)
	return 1 / math.Sqrt(1/(prior*prior)+float64(n)/(sd*sd))
}

// siblingsRead counts the other replicas read at this point and tone in the
// session in hand.
func (r reader) siblingsRead(hz float64) int {
	session, instrument := r.p.inHand()
	count := 0
	for i := range r.p.notes {
		n := &r.p.notes[i]
		if n.point != nil && n.point.ID == r.tp.ID && n.key != r.key && n.toneHz == hz &&
			n.readings[0].Session == session && n.readings[0].Instrument == instrument {
			count++
		}
	}
	return count
}

// inHand is the session and instrument of the options, or else those with the
// most readings.
func (p *problem) inHand() (session, instrument string) {
	if o := p.eng.opt; o.Session != "" || o.Instrument != "" {
		return o.Session, o.Instrument
	}
	count := map[[2]string]int{}
	most := 0
	for i := range p.notes {
		if n := &p.notes[i]; n.point != nil {
			k := [2]string{n.readings[0].Session, n.readings[0].Instrument}
			count[k]++
			if c := count[k]; c > most || c == most && k[0]+k[1] > session+instrument {
				most, session, instrument = c, k[0], k[1]
			}
		}
	}
	return session, instrument
}

// sibling is the replica least suspected of anything along the point's path.
func (r reader) sibling() string {
	best, bestP := "", math.Inf(1)
	for _, k := range r.e.def.ReplicaKeys(r.tp.Each) {
		if k == r.key {
			continue
		}
		path, err := r.e.def.TestPointPath(r.tp, k)
		if err != nil {
			continue
		}
		p := 0.0
		for _, in := range path {
			if c, ok := r.p.comp[in]; ok {
				p += r.a.post.faulty(c)
			} else {
				p += r.e.atlas.prior[in]
			}
		}
		if p < bestP-1e-9 {
			best, bestP = k, p
		}
	}
	return best
}

// why says what an action would tell apart.
func (e *Engine) why(p *problem, a *accusation, path []machine.Instance, gain float64, whole bool) string {
	if whole {
		return fmt.Sprintf("It tries %d stages, %s bit.", len(path), bitText(gain))
	}
	var suspects []int
	for c := range a.in {
		suspects = append(suspects, c)
	}
	slices.SortFunc(suspects, func(x, y int) int {
		return cmp.Or(cmp.Compare(a.post.faulty(y), a.post.faulty(x)), cmp.Compare(x, y))
	})
	on := map[int]bool{}
	for _, in := range path {
		if c, ok := p.comp[in]; ok {
			on[c] = true
		}
	}
	var sees, not []string
	for _, c := range suspects[:min(len(suspects), 6)] {
		if on[c] {
			sees = append(sees, p.seen[c].Part())
		} else {
			not = append(not, p.seen[c].Part())
		}
	}
	switch {
	case len(sees) == 0:
		return fmt.Sprintf("It tells what is normal for a sibling, %s bit.", bitText(gain))
	case len(not) == 0:
		return fmt.Sprintf("It sees %s: how far off it is tells them apart, %s bit.", strings.Join(sees, ", "), bitText(gain))
	}
	return fmt.Sprintf("It sees %s but not %s: right clears the former, wrong the latter, %s bit.",
		strings.Join(sees, ", "), strings.Join(not, ", "), bitText(gain))
}

func bitText(b float64) string { return fmt.Sprintf("%.2g", b) }
