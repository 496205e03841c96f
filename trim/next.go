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

// leastGain is how much a turn must raise the chance of being inside to be worth it.
const leastGain = 0.1

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
