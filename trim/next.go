package trim

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/unit"
)

// Target is where a quantity is to be: inside Value ± Tolerance.
type Target struct {
	Quantity  Quantity
	Value     float64
	Tolerance float64 // above 0, in the quantity's unit
}

// Do is what a [Turn] asks for.
type Do string

// What to do about a target.
const (
	DoTurn   Do = "turn"   // turn the trim
	DoRead   Do = "read"   // read the quantity, no turn yet
	DoFault  Do = "fault"  // no turn of this trim reaches the target
	DoEnough Do = "enough" // inside, as surely as is asked for
)

// Turn is what to do about one trim or target next.
type Turn struct {
	Do       Do
	Trim     ID // empty where no trim moves the target
	Target   Target
	By       float64    // how far, clockwise positive; 0 where nothing is to be turned
	Lo, Hi   float64    // 95 % interval of the turn that would meet the target exactly
	Unit     TravelUnit // of By, Lo and Hi
	Now      Figure     // the quantity now
	After    Figure     // the reading to be expected after this turn and those before it
	Chance   float64    // of being inside the tolerance now
	After95  float64    // chance of being inside after it
	Sentence string
	Cautions []string // to be shown beside the turn
}

// Enough is the chance of being inside the tolerance from which no turn is proposed:
// common practice, no source.
const Enough = 0.95

// moreReadings is how many readings are rather taken than a turn is made.
const moreReadings = 2

// Next says for each target what to do now. Turns come first, reckoned all together, so
// that each allows for all others, and in this order: before a turn those that move what
// it sets; of siblings the one farthest off, from which the others learn most. Then what
// to read, what no turn can mend, and what is inside. Fewest turns come of taking the
// first one, reading what it moved and asking again; fewest readings of taking all. The
// error names a target that the model does not know, or that has no tolerance.
func (b *Bench) Next(targets []Target) ([]Turn, error) {
	pl := &planner{b: b.ahead(), real: b, planned: map[int]int{}, all: map[int]Target{}}
	order := make([]int, 0, len(targets))
	for _, t := range targets {
		v, ok := b.m.varAt[t.Quantity]
		if !ok {
			return nil, fmt.Errorf("target: no quantity %s in this model", t.Quantity)
		}
		if !(t.Tolerance > 0) || math.IsNaN(t.Value) || math.IsInf(t.Value, 0) {
			return nil, fmt.Errorf("target: %s has the value %g and the tolerance %g", t.Quantity, t.Value, t.Tolerance)
		}
		if _, twice := pl.all[v]; twice {
			return nil, fmt.Errorf("target: %s is given twice", t.Quantity)
		}
		pl.all[v] = t
		order = append(order, v)
	}
	slices.Sort(order) // variables stand causes first
	now := pl.b.eval(pl.b.fit.z, pl.b.here(), nil, true)
	for _, v := range order {
		pl.consider(v, now)
	}
	return pl.turns(), nil
}

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

// turns sorts, and finishes figures and sentences in that order.
func (pl *planner) turns() []Turn {
	kinds := []Do{DoTurn, DoRead, DoFault, DoEnough}
	slices.SortStableFunc(pl.out, func(a, c item) int {
		return cmp.Compare(slices.Index(kinds, a.Do), slices.Index(kinds, c.Do))
	})
	n := 0
	for n < len(pl.out) && pl.out[n].Do == DoTurn {
		n++
	}
	pl.order(pl.out[:n])
	all := pl.b
	pl.b = pl.real.ahead() // now move by move
	for i := range pl.out {
		switch it := &pl.out[i]; it.Do {
		case DoTurn:
			by := all.moves[pl.planned[it.trim]].By
			pl.planned[it.trim] = len(pl.b.moves)
			_ = pl.b.Turn(Move{Trim: pl.b.m.trims[it.trim].ID, By: by}) // of a known trim by a number
			pl.finish(it)
		case DoEnough:
			it.Sentence = fmt.Sprintf("Enough: %s is at %s (inside with %s).", it.Target.Quantity, it.Now, unit.Probability(it.Chance))
			if it.Chance < Enough {
				it.After = pl.b.figure(pl.b.here(), it.v, 0)
				it.Sentence = fmt.Sprintf("%s comes inside with the turns before it (%s): read it after them.", upper(it.Target.Quantity.String()), unit.Probability(it.After95))
			}
		}
	}
	slices.SortStableFunc(pl.out, func(a, c item) int { // a turn may have proved out of reach
		return cmp.Compare(slices.Index(kinds, a.Do), slices.Index(kinds, c.Do))
	})
	out := make([]Turn, len(pl.out))
	for i, it := range pl.out {
		out[i] = it.Turn
	}
	return out
}

// order puts before a turn all those that move what it is to set: each time the one whose
// target the rest move least, then what moves most others, then, of siblings, the one
// farthest off.
func (pl *planner) order(turns []item) {
	n, b := len(turns), pl.b
	p := b.eval(b.fit.z, b.here(), nil, true)
	effect := make([][]float64, n) // of the turn of column j on the target of row i, in tolerances
	for i, it := range turns {
		effect[i] = make([]float64, n)
		for j, other := range turns {
			if j != i {
				mv := b.moves[pl.planned[other.trim]]
				effect[i][j] = math.Abs(p.g[it.v].of(mv.param) / b.params[mv.param].sd * mv.By / it.Target.Tolerance)
			}
		}
	}
	left := make([]int, n)
	for i := range left {
		left[i] = i
	}
	size := func(i int) float64 {
		return math.Abs(turns[i].Now.Value-turns[i].Target.Value) / turns[i].Target.Tolerance
	}
	sorted := make([]item, 0, n)
	for len(left) > 0 {
		disturbed := map[int]float64{}
		for _, i := range left {
			for _, j := range left {
				disturbed[i] += effect[i][j]
			}
			disturbed[i] = math.Round(disturbed[i] * 5) // a tenth of a tolerance is nothing
		}
		first := slices.MinFunc(left, func(i, j int) int {
			vi, vj := b.m.varAt[b.m.trims[turns[i].trim].Sets], b.m.varAt[b.m.trims[turns[j].trim].Sets]
			return cmp.Or(cmp.Compare(disturbed[i], disturbed[j]), cmp.Compare(b.m.moves[vj], b.m.moves[vi]),
				cmp.Compare(b.m.family[turns[i].trim], b.m.family[turns[j].trim]), cmp.Compare(size(j), size(i)), cmp.Compare(i, j))
		})
		sorted = append(sorted, turns[first])
		left = slices.DeleteFunc(left, func(i int) bool { return i == first })
	}
	copy(turns, sorted)
}

// finish puts the planned turn into figures and words.
func (pl *planner) finish(it *item) {
	b, t := pl.b, pl.b.m.trims[it.trim]
	k := pl.planned[it.trim]
	it.Trim, it.By, it.Unit, it.Cautions = t.ID, b.moves[k].By, t.Unit, t.Cautions
	lo, mean, hi := pl.real.position(it.trim)
	room, most := t.Travel-mean, t.Travel-lo
	if it.By < 0 {
		room, most = mean, hi
	}
	if math.Abs(it.By) > most*(1+1e-9)+1e-9 {
		pl.beyond(it, room)
		return
	}
	if sure := b.sure[b.m.family[it.trim]]; sure < 0.9 {
		pl.probe(it, min(room, t.Travel/4))
		return
	}
	p := b.eval(b.fit.z, b.here(), nil, true)
	noise, _ := pl.noise(it.v)
	it.After = b.figure(b.here(), it.v, noise)
	c := b.courseAlong(b.here(), it.v, p)
	it.After95 = c.inside(it.Target.Value-it.Target.Tolerance, it.Target.Value+it.Target.Tolerance)
	it.Lo, it.Hi = pl.exact(it, p)
	it.Sentence = fmt.Sprintf("Turn %s %s: %s goes from %s to about %s, inside with %s.", called(t), turnText(it.By, t.Unit), it.Target.Quantity, it.Now, it.After, unit.Probability(it.After95))
	if from := Clock(mean, t.Travel); t.Unit == Degrees && hi-lo < t.Travel/3 && from != "" {
		it.Sentence += fmt.Sprintf(" That is from about %s to %s.", from, Clock(mean+it.By, t.Travel))
	}
	if math.Abs(it.By) > room {
		it.Sentence += " Should its stop come first, enter how far it went and that it stopped."
	}
	if pl.real.voids[it.trim] > 0 {
		it.Sentence += " Its last turn moved nothing: make sure that it is this one."
	}
}

// exact is the interval of the turn that meets a target exactly: what is missing at the
// unknowns 1.96 standard deviations to either side, over the slope there.
func (pl *planner) exact(it *item, p point) (lo, hi float64) {
	b, mv := pl.b, pl.b.moves[pl.planned[it.trim]]
	lo, hi = it.By, it.By
	dir := b.fit.along(p.g[it.v])
	sd := math.Sqrt(p.g[it.v].dot(dir))
	if !(sd > 0) {
		return lo, hi
	}
	for _, x := range []float64{-z95, z95} {
		z := slices.Clone(b.fit.z)
		for i := range z {
			z[i] += x * dir[i] / sd
		}
		q := b.eval(z, b.here(), b.m.before[it.v], true)
		slope := q.g[it.v].of(mv.param) / b.params[mv.param].sd
		if slope == 0 {
			return math.Inf(-1), math.Inf(1)
		}
		by := it.By + (it.Target.Value-q.y[it.v])/slope
		lo, hi = min(lo, by), max(hi, by)
	}
	return lo, hi
}

// probe turns half as far as needed where it is not known which way is right.
func (pl *planner) probe(it *item, room float64) {
	b, t := pl.b, pl.b.m.trims[it.trim]
	k := pl.planned[it.trim]
	it.By = math.Copysign(min(math.Abs(it.By)/2, max(room, t.Travel/16)), it.By)
	b.set(k, it.By)
	noise, _ := pl.noise(it.v)
	right := b.figure(b.here(), it.v, noise)
	b.set(k, -it.By)
	wrong := b.figure(b.here(), it.v, noise)
	sure := b.sure[b.m.family[it.trim]]
	it.After = Figure{Value: it.Now.Value, Lo: min(right.Lo, wrong.Lo), Hi: max(right.Hi, wrong.Hi), Unit: right.Unit}
	it.Lo, it.Hi = min(2*it.By, -2*it.By), max(2*it.By, -2*it.By)
	b.set(k, it.By)
	c := b.course(b.here(), it.v)
	it.After95 = sure * c.inside(it.Target.Value-it.Target.Tolerance, it.Target.Value+it.Target.Tolerance)
	it.Sentence = fmt.Sprintf("Turn %s %s and read %s, which is at %s: which way it goes is not known yet.", called(t), turnText(it.By, t.Unit), it.Target.Quantity, it.Now)
}

// beyond says that the travel does not reach.
func (pl *planner) beyond(it *item, room float64) {
	b, t := pl.b, pl.b.m.trims[it.trim]
	wanted := it.By
	it.Do = DoFault
	it.By = math.Copysign(max(0, room), wanted)
	b.set(pl.planned[it.trim], it.By)
	it.Lo, it.Hi = min(0, it.By), max(0, it.By)
	noise, _ := pl.noise(it.v)
	it.After = b.figure(b.here(), it.v, noise)
	it.After95 = b.course(b.here(), it.v).inside(it.Target.Value-it.Target.Tolerance, it.Target.Value+it.Target.Tolerance)
	it.Sentence = fmt.Sprintf("%s would need %s, and about %s are left to its stop: %s at %s is a fault, not a trim: %s.",
		called(t), turnText(wanted, t.Unit), travelText(max(0, room), t.Unit), it.Target.Quantity, it.Now, points(it.Target.Quantity.Measure))
}
