package trim

import (
	"fmt"
	"math"
	"slices"

	"headstack/unit"
)

// planner collects what to do, one target after the other, causes first.
type planner struct {
	b, real *Bench
	all     map[int]Target
	aims    []int       // targets that planned turns are to meet
	planned map[int]int // trim to its planned move
	out     []item
}

type item struct {
	Turn
	v, trim int // trim -1: none
}

// consider decides on one target, given the turns planned before it.
func (pl *planner) consider(v int, now point) {
	t := pl.all[v]
	at := pl.real.courseAlong(pl.real.here(), v, now)
	it := item{Turn{Target: t, Now: pl.real.figure(pl.real.here(), v, 0), Chance: at.inside(t.Value-t.Tolerance, t.Value+t.Tolerance)}, v, -1}
	then := at
	if len(pl.planned) > 0 {
		then = pl.b.course(pl.b.here(), v)
	}
	chance := then.inside(t.Value-t.Tolerance, t.Value+t.Tolerance)
	it.After, it.After95 = it.Now, chance
	switch trim := pl.trimFor(v); {
	case pl.real.lastDoubted(v) >= 0:
		it.Do, it.Sentence = DoRead, fmt.Sprintf("Read %s again: the last reading does not fit.", t.Quantity)
	case chance >= Enough:
		it.Do = DoEnough
	case !pl.informed(v, at):
		it.Do, it.Sentence = DoRead, fmt.Sprintf("Read %s first.", t.Quantity)
	case trim < 0:
		it.Do = DoFault
		it.Sentence = fmt.Sprintf("No trim moves %s, which is at %s: %s.", t.Quantity, it.Now, points(t.Quantity.Measure))
	case pl.real.voids[trim] > 1:
		it.Do, it.Trim = DoFault, pl.b.m.trims[trim].ID
		it.Sentence = fmt.Sprintf("%s does nothing when it is turned: oxide under the wiper, a broken slug, or it is not on this path.", called(pl.b.m.trims[trim]))
	case pl.readingSettles(v, then, at.y[mid]):
		it.Do, it.Sentence = DoRead, fmt.Sprintf("Read %s once more: it is probably inside (%s), and a reading costs less than a turn.", t.Quantity, unit.Probability(chance))
	default:
		_, shared := pl.planned[trim]
		pl.plan(v, trim)
		it.Do, it.trim = DoTurn, trim
		if shared {
			it.Do, it.trim = DoRead, -1
			it.Sentence = fmt.Sprintf("Read %s after the turn of %s, which is to set it too.", t.Quantity, called(pl.b.m.trims[trim]))
		} else if pl.useless(v, trim, then) {
			pl.unplan(trim)
			it.Do, it.trim = DoRead, -1
			it.Sentence = fmt.Sprintf("Read %s again before its trim is turned: it is not known well enough for a turn to be worth it.", t.Quantity)
			if then != at {
				it.Sentence = fmt.Sprintf("Read %s after the turns before it: what they do to it is not known well enough to turn by.", t.Quantity)
			}
		}
	}
	pl.out = append(pl.out, it)
}

// informed is whether a quantity is known well enough to turn by: read, or told by
// others that were.
func (pl *planner) informed(v int, c course) bool {
	if _, ok := pl.noise(v); ok {
		return true
	}
	return math.Abs(c.y[mid+1]-c.y[mid-1])/2 < pl.all[v].Tolerance
}

// noise is the standard deviation of the last reading of a quantity.
func (pl *planner) noise(v int) (float64, bool) {
	for i := len(pl.real.reads) - 1; i >= 0; i-- {
		if r := pl.real.reads[i]; r.v == v && !r.doubted {
			return r.SD, true
		}
	}
	return 0, false
}

// readingSettles is whether two more readings like the last, were they to confirm it,
// would make it sure enough.
func (pl *planner) readingSettles(v int, c course, now float64) bool {
	t := pl.all[v]
	sd, ok := pl.noise(v)
	margin := t.Tolerance - math.Abs(c.y[mid]-t.Value)
	if !ok || margin <= 0 || math.Abs(c.y[mid]-now) > sd/10 { // a turn before it moves it
		return false
	}
	s := math.Abs(c.y[mid+1]-c.y[mid-1]) / 2
	then := 1 / math.Sqrt(1/(s*s)+moreReadings/(sd*sd))
	return phi(margin/then) >= Enough
}

// trimFor is the trim by which a quantity is set: its own, else the one that moves it
// most of those that set no target of their own. -1: none.
func (pl *planner) trimFor(v int) int {
	m := pl.b.m
	for _, i := range m.setBy[v] {
		if pl.real.voids[i] < 2 {
			return i
		}
	}
	if len(m.setBy[v]) > 0 {
		return m.setBy[v][0]
	}
	best, most := -1, 0.0
	at := pl.real.eval(pl.real.fit.z, pl.real.here(), nil, false)
	for i := range m.trims {
		own := m.varAt[m.trims[i].Sets]
		if _, aimed := pl.all[own]; aimed {
			continue
		}
		if reach := math.Abs(pl.slope(at, own, v)) * m.trims[i].Range; reach > most {
			best, most = i, reach
		}
	}
	return best
}

// slope is how much of a change of one quantity reaches another along the arrows, at the
// gains that the model gives.
func (pl *planner) slope(at point, from, to int) float64 {
	if from == to {
		return 1
	}
	if from > to {
		return 0
	}
	b, sum := pl.real, 0.0
	for k, in := range b.m.vars[to].Moved {
		j := b.m.from[to][k]
		if up := pl.slope(at, from, j); up != 0 {
			_, s := in.Form.At(at.y[j])
			sum += in.Gain * s * up
		}
	}
	return sum
}

// plan adds a turn of a trim and solves all planned turns together.
func (pl *planner) plan(v, trim int) {
	pl.aims = append(pl.aims, v)
	if _, ok := pl.planned[trim]; !ok {
		pl.planned[trim] = len(pl.b.moves)
		_ = pl.b.Turn(Move{Trim: pl.b.m.trims[trim].ID})
	}
	pl.solve()
}

// useless is whether the turn that was planned last does little for its target, which the
// course then says of before it: where the target lies within what is not known of it.
func (pl *planner) useless(v, trim int, then course) bool {
	t := pl.all[v]
	spread := math.Abs(then.y[mid+1]-then.y[mid-1]) / 2
	if math.Abs(then.y[mid]-t.Value) > spread || pl.real.sure[pl.b.m.family[trim]] < 0.9 {
		return false
	}
	after := pl.b.course(pl.b.here(), v)
	return after.inside(t.Value-t.Tolerance, t.Value+t.Tolerance)-then.inside(t.Value-t.Tolerance, t.Value+t.Tolerance) < leastGain
}

// unplan takes back the turn that was planned last.
func (pl *planner) unplan(trim int) {
	b, k := pl.b, pl.planned[trim]
	delete(pl.planned, trim)
	pl.aims = pl.aims[:len(pl.aims)-1]
	n := b.moves[k].param
	b.moves, b.params, b.fit.z = b.moves[:k], b.params[:n], b.fit.z[:n]
	pl.solve()
}

// solve sets the planned turns so that their targets are met, in the least squares of
// what is missed over the tolerances where they cannot all be.
func (pl *planner) solve() {
	b := pl.b
	trims := make([]int, 0, len(pl.planned))
	for i := range pl.planned {
		trims = append(trims, i)
	}
	slices.Sort(trims)
	n := len(trims)
	if n == 0 {
		return
	}
	for range 12 {
		p := b.eval(b.fit.z, b.here(), nil, true)
		a, r := newNormal(n)
		for _, v := range pl.aims {
			t := pl.all[v]
			row := make([]float64, n)
			for c, i := range trims {
				mv := b.moves[pl.planned[i]]
				row[c] = p.g[v].of(mv.param) / b.params[mv.param].sd / t.Tolerance * b.m.trims[i].Travel
			}
			a.add(row, (t.Value-p.y[v])/t.Tolerance, r)
		}
		step, ok := a.solve(r)
		if !ok {
			return
		}
		longest := 0.0
		for c, i := range trims {
			k := pl.planned[i]
			travel := b.m.trims[i].Travel
			by := min(max(b.moves[k].By+step[c]*travel, -3*travel), 3*travel)
			longest = max(longest, math.Abs(by-b.moves[k].By)/travel)
			b.set(k, by)
		}
		if longest < 1e-5 {
			return
		}
	}
}
