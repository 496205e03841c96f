package plan

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// small is a random problem that brute force can do: a few faults, noisy tests, covers,
// repairs that end by their own test or by a separate one, and a way out.
func small(rng *rand.Rand, faults, tests int) Problem {
	n := faults + 1
	pr := Problem{Sound: faults, P: make([]float64, n), EndCost: make([]float64, n), Reassemble: rng.IntN(2) == 0}
	for i := range 2 {
		pr.Covers = append(pr.Covers, Cover{Open: 8 * rng.Float64(), Close: 3 * rng.Float64(), Behind: rng.IntN(i+1) - 1})
	}
	sum := 0.0
	for s := range faults {
		pr.P[s] = 0.05 + rng.Float64()
		pr.EndCost[s] = 40
		sum += pr.P[s]
	}
	for s := range pr.P {
		pr.P[s] /= sum
	}
	place := func() int { return rng.IntN(3) - 1 }
	for range tests {
		a := Action{Cost: 4 * rng.Float64(), Cover: place(), Once: true}
		if rng.IntN(3) == 0 && a.Cover == None {
			a.Shut = []int{1}
		}
		for range n {
			p := []float64{0, 0.1, 0.9, 1}[rng.IntN(4)]
			a.Like = append(a.Like, []float64{p, 1 - p})
		}
		pr.Actions = append(pr.Actions, a)
	}
	for f := range faults {
		a := curing(faults, map[int]float64{f: []float64{0.8, 1}[rng.IntN(2)]}, 3+12*rng.Float64(), place())
		a.Once = true
		if rng.IntN(3) == 0 { // shows nothing by itself
			a.Like, a.Ends = nil, nil
		}
		pr.Actions = append(pr.Actions, a)
	}
	verify := Action{ID: "verify", Cost: 1 + 3*rng.Float64(), Cover: None, Ends: []bool{true, false}, Once: true}
	if rng.IntN(2) == 0 {
		verify.Shut = []int{0}
	}
	for s := range n {
		p := 0.0
		if s == faults {
			p = 1
		}
		verify.Like = append(verify.Like, []float64{p, 1 - p})
	}
	pr.Actions = append(pr.Actions, verify, Action{ID: "give up", Cost: 60 + 20*rng.Float64(), Cover: None, Ends: []bool{true}})
	return pr
}

// enumerate is the least expected cost by trying every action in every history, apart
// from the code under test: beliefs over states, covers as a set of booleans, no memory.
func enumerate(pr *Problem, b []float64, open []bool, used []bool) float64 {
	best := math.Inf(1)
	for i := range pr.Actions {
		a := &pr.Actions[i]
		if used[i] {
			continue
		}
		cost, then := a.Cost, slices.Clone(open)
		for again := true; again; { // close what is behind first
			again = false
			for c := range then {
				if then[c] && slices.ContainsFunc(a.Shut, func(s int) bool { return behind(pr, c, s) }) {
					cost, then[c], again = cost+pr.Covers[c].Close, false, true
				}
			}
		}
		for c := a.Cover; c != None; c = pr.Covers[c].Behind {
			if !then[c] {
				cost, then[c] = cost+pr.Covers[c].Open, true
			}
		}
		next := make([]float64, len(b))
		for s, x := range b {
			if a.To == nil || len(a.To[s]) == 0 {
				next[s] += x
				continue
			}
			for _, m := range a.To[s] {
				next[m.State] += x * m.P
			}
		}
		// Every action here is made once, but a test again after something moved; one
		// that would tell nothing is skipped, which never costs more.
		now := slices.Clone(used)
		if a.To != nil {
			for j := range pr.Actions {
				now[j] = now[j] && pr.Actions[j].To != nil
			}
		}
		now[i] = true
		outcomes := 1
		if a.Like != nil {
			outcomes = len(a.Like[0])
		}
		for o := range outcomes {
			post, p := make([]float64, len(b)), 0.0
			for s, x := range next {
				post[s] = x
				if a.Like != nil {
					post[s] *= a.Like[s][o]
				}
				p += post[s]
			}
			if p < 1e-15 {
				continue
			}
			if a.Ends != nil && a.Ends[o] {
				for s, x := range post {
					cost += x * pr.EndCost[s]
				}
				for c := range then {
					if then[c] && pr.Reassemble {
						cost += p * pr.Covers[c].Close
					}
				}
				continue
			}
			for s := range post {
				post[s] /= p
			}
			cost += p * enumerate(pr, post, then, now)
		}
		best = min(best, cost)
	}
	return best
}

func behind(pr *Problem, c, of int) bool {
	for ; c != None; c = pr.Covers[c].Behind {
		if c == of {
			return true
		}
	}
	return false
}

// TestExactIsTheOptimum compares with enumeration of every history.
func TestExactIsTheOptimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	for n := range 60 {
		pr := small(rng, 2, 1+n%2)
		want := enumerate(&pr, pr.P, make([]bool, len(pr.Covers)), make([]bool, len(pr.Actions)))
		got := optimum(t, ready(t, pr)).Cost
		if math.Abs(got-want) > 1e-9*max(1, want) {
			t.Errorf("case %d (seed 11, 1): %.12g, every history tried %.12g", n, got, want)
		}
	}
}

// TestNoPolicyBeatsTheOptimum: clairvoyant ≤ exact ≤ rollout ≤ its base, and what Rank
// and the crew expect is never below the optimum.
func TestNoPolicyBeatsTheOptimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	ctx := context.Background()
	ratios := map[string]float64{}
	worst := map[string]float64{}
	cases := 60
	if testing.Short() {
		cases = 20
	}
	for n := range cases {
		m := ready(t, small(rng, 3, 1+n%3))
		sol := optimum(t, m)
		seen, err := m.Clairvoyant(ctx, Situation{})
		if err != nil {
			t.Fatal(err)
		}
		if seen > sol.Cost+1e-9 {
			t.Errorf("case %d (seed 12, 1): a clairvoyant pays %.9g, the optimum is %.9g", n, seen, sol.Cost)
		}
		bases := map[string]Policy{"repairs": m.Repairs(), "information": m.Information(), "myopic": m.Myopic(m.Repairs(), 100_000)}
		for name, base := range bases {
			c := costOf(t, m, base)
			r := costOf(t, m, m.Rollout(base, 100_000))
			if r > c*(1+1e-9) {
				t.Errorf("case %d (seed 12, 1): rollout of %s costs %.9g, %s %.9g", n, name, r, name, c)
			}
			for what, v := range map[string]float64{name: c, "rollout of " + name: r} {
				if v < sol.Cost-1e-9 {
					t.Errorf("case %d (seed 12, 1): %s costs %.9g, the optimum is %.9g", n, what, v, sol.Cost)
				}
				ratios[what] += v / sol.Cost / float64(cases)
				worst[what] = max(worst[what], v/sol.Cost)
			}
		}
		for name, o := range map[string]Options{"rank, fast": {NoExact: true, Fast: true}, "rank": {NoExact: true}} {
			r, err := m.Rank(ctx, Situation{}, o)
			if err != nil {
				t.Fatal(err)
			}
			if r.Cost < sol.Cost*(1-1e-5) {
				t.Errorf("case %d (seed 12, 1): %s expects %.9g, the optimum is %.9g", n, name, r.Cost, sol.Cost)
			}
			v := costOf(t, m, ranking(m, o))
			ratios[name] += v / sol.Cost / float64(cases)
			worst[name] = max(worst[name], v/sol.Cost)
		}
	}
	for name, r := range ratios {
		t.Logf("%s: mean %.4f of the optimum, worst %.4f", name, r, worst[name])
	}
}

// TestFreeTestsNeverHurt: with a free test at hand the least cost is not above that
// without it, by the exact plan and by what Rank expects after it.
func TestFreeTestsNeverHurt(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 1))
	for n := range 60 {
		pr := small(rng, 3, 2)
		pr.Actions[0].Cost, pr.Actions[0].Cover, pr.Actions[0].Shut = 0, None, nil
		with := optimum(t, ready(t, pr))
		if with.Q[0] < math.Inf(1) && with.Q[0] > with.Cost+1e-9 {
			t.Errorf("case %d (seed 13, 1): the free test first costs %.9g, the optimum %.9g", n, with.Q[0], with.Cost)
		}
		without := pr
		without.Actions = pr.Actions[1:]
		if v := optimum(t, ready(t, without)).Cost; with.Cost > v+1e-9 {
			t.Errorf("case %d (seed 13, 1): %.9g with a free test, %.9g without", n, with.Cost, v)
		}
	}
}

// TestRankIsDeterministic: the same question has the same answer to the last bit.
func TestRankIsDeterministic(t *testing.T) {
	p := bench(rand.New(rand.NewPCG(2, 1)), 12, 24, 30, 3, 14, 5)
	var first *Ranking
	for range 3 {
		r, err := Rank(context.Background(), p, Situation{}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = r
		}
		if r.Cost != first.Cost || len(r.Steps) != len(first.Steps) {
			t.Fatalf("%v and %d steps, first %v and %d", r.Cost, len(r.Steps), first.Cost, len(first.Steps))
		}
		for i := range r.Steps {
			if r.Steps[i].Action != first.Steps[i].Action || r.Steps[i].Q != first.Steps[i].Q {
				t.Errorf("step %d: %+v, first %+v", i, r.Steps[i], first.Steps[i])
			}
		}
	}
}

// TestSeveralFaults: a state with two faults is cured by both repairs; with both sure
// and one proof for both, that is what is done.
func TestSeveralFaults(t *testing.T) {
	// states: sound, a, b, both; repairs without proof; a test of function that wants
	// the cover shut
	pr := Problem{P: []float64{0, 0, 0, 1}, Sound: 0, Covers: []Cover{{Open: 5, Close: 7, Behind: None}},
		Actions: []Action{
			{ID: "a", Cost: 10, Cover: 0, To: [][]Move{nil, {{0, 1}}, nil, {{2, 1}}}},
			{ID: "b", Cost: 20, Cover: 0, To: [][]Move{nil, nil, {{0, 1}}, {{1, 1}}}},
			{ID: "try", Cost: 3, Cover: None, Shut: []int{0}, Ends: []bool{true, false},
				Like: [][]float64{{1, 0}, {0, 1}, {0, 1}, {0, 1}}},
		}}
	m := ready(t, pr)
	want := 5.0 + 10 + 20 + 7 + 3
	check(t, "optimum", optimum(t, m).Cost, want, 1e-12)
	check(t, "repairs", costOf(t, m, m.Repairs()), want, 1e-12)
	seen, err := m.Clairvoyant(context.Background(), Situation{})
	if err != nil {
		t.Fatal(err)
	}
	check(t, "clairvoyant", seen, want, 1e-12)
	// Found open and with a already repaired
	s := Situation{Belief: []float64{0, 0, 1, 0}, Open: []int{0}}
	r, err := m.Rank(context.Background(), s, Options{NoExact: true})
	if err != nil {
		t.Fatal(err)
	}
	check(t, "what is left", r.Cost, 20+7+3, 1e-12)
	if r.Steps[0].Action != 1 || !r.Stop {
		t.Errorf("next is %+v, stop %v, want repair b and stop", r.Steps[0], r.Stop)
	}
}

// TestCancelled: a cancelled context ends planning with its error.
func TestCancelled(t *testing.T) {
	m := ready(t, bench(rand.New(rand.NewPCG(3, 1)), 36, 64, 150, 6, 40, 12))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := m.Rank(ctx, Situation{}, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want cancelled", err)
	}
}

// TestMistakesAreNamed: each thing that is wrong in a problem is an error.
func TestMistakesAreNamed(t *testing.T) {
	good := func() Problem {
		return Problem{P: []float64{0.5, 0.5}, Sound: None, Covers: []Cover{{Open: 1, Behind: None}, {Open: 1, Behind: 0}},
			Actions: []Action{{Cover: 1, Like: [][]float64{{1, 0}, {0, 1}}, Ends: []bool{true, true}}}}
	}
	if _, err := New(good()); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*Problem){
		"no states":           func(p *Problem) { p.P = nil },
		"P does not sum":      func(p *Problem) { p.P = []float64{0.5, 0.6} },
		"P negative":          func(p *Problem) { p.P = []float64{-0.5, 1.5} },
		"P NaN":               func(p *Problem) { p.P[0] = math.NaN() },
		"sound state":         func(p *Problem) { p.Sound = 2 },
		"classes":             func(p *Problem) { p.Class = []int{1} },
		"end costs":           func(p *Problem) { p.EndCost = []float64{1} },
		"cover behind itself": func(p *Problem) { p.Covers[0].Behind = 1 },
		"cover costs":         func(p *Problem) { p.Covers[0].Open = math.NaN() },
		"cover unknown":       func(p *Problem) { p.Actions[0].Cover = 2 },
		"open and shut":       func(p *Problem) { p.Actions[0].Shut = []int{0} },
		"rows of Like":        func(p *Problem) { p.Actions[0].Like = p.Actions[0].Like[:1] },
		"Like does not sum":   func(p *Problem) { p.Actions[0].Like[1] = []float64{0.5, 0.6} },
		"ends":                func(p *Problem) { p.Actions[0].Ends = []bool{true} },
		"To unknown":          func(p *Problem) { p.Actions[0].To = [][]Move{{{2, 1}}, nil} },
		"To does not sum":     func(p *Problem) { p.Actions[0].To = [][]Move{{{0, 0.5}}, nil} },
		"renews undiscounted": func(p *Problem) { p.Actions[0].Renews = true },
		"cost":                func(p *Problem) { p.Actions[0].Cost = math.Inf(1) },
	} {
		p := good()
		spoil(&p)
		if _, err := New(p); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
